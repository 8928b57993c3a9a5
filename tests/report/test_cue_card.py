"""The cue card is one page that holds what the phrase book says."""

from __future__ import annotations

import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest

from treeward.errors import ReportError
from treeward.language.phrasebook import PhraseBook, sections
from treeward.report.figures.sheets import card_pdf, write_card

if TYPE_CHECKING:
    from pathlib import Path


def test_the_card_is_one_page_and_the_same_every_time(tmp_path: Path) -> None:
    book = PhraseBook.load()

    write_card(book, tmp_path / "card.pdf")

    data = (tmp_path / "card.pdf").read_bytes()
    assert data.startswith(b"%PDF-")
    assert data.count(b"/Type /Page ") + data.count(b"/Type /Page\n") == 1
    assert card_pdf(book) == data


def test_the_card_says_what_the_phrase_book_says(tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is missing")
    own = tmp_path / "phrasebook.toml"
    own.write_text('[colours]\ncopper = ["copper"]\n', "utf-8")
    book = PhraseBook.for_hunt(tmp_path)
    write_card(book, tmp_path / "card.pdf")

    text = subprocess.run(
        ["pdftotext", str(tmp_path / "card.pdf"), "-"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout

    for section in sections(book):
        for saying in section.sayings:
            assert saying.say in text
    assert "copper" in text


def test_another_ending_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ReportError, match=r"ends in \.pdf"):
        write_card(PhraseBook.load(), tmp_path / "card.docx")


def test_the_card_recommends_what_is_heard_best() -> None:
    says = [s.say for part in sections(PhraseBook.load()) for s in part.sayings]

    assert any(say.startswith("bearing") for say in says)
    assert any(say.startswith("time") for say in says)
    assert "yellow landed" in says
