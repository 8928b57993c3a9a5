"""The cue card is one page that holds what the phrase book says."""

from __future__ import annotations

import shutil
import subprocess
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import pytest

from treeward.errors import ReportError
from treeward.language.phrasebook import PhraseBook, sections
from treeward.report.figures import new_figure
from treeward.report.figures.sheets import (
    _MEANS,
    _RIGHT,
    A5_INCHES,
    _draw,
    card_pdf,
    write_card,
)

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.slow
def test_the_card_is_one_page_and_the_same_every_time(tmp_path: Path) -> None:
    book = PhraseBook.load()

    write_card(book, tmp_path / "card.pdf")

    data = (tmp_path / "card.pdf").read_bytes()
    assert data.startswith(b"%PDF-")
    assert data.count(b"/Type /Page ") + data.count(b"/Type /Page\n") == 1
    assert card_pdf(book) == data


@pytest.mark.slow
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


def test_what_sayings_mean_is_written_in_one_size_and_none_runs_off_the_card() -> None:
    book = PhraseBook.load()
    figure = new_figure(*A5_INCHES)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)

    _draw(axes, book)

    means = [text for text in axes.texts if text.get_position()[0] == _MEANS]
    whole = " ".join(text.get_text() for text in means)
    for section in sections(book):
        for saying in section.sayings:
            assert saying.means in whole
    assert len({text.get_fontsize() for text in means}) == 1
    canvas: Any = figure.canvas
    right = _RIGHT * figure.bbox.width
    ends = [text.get_window_extent(canvas.get_renderer()).x1 for text in axes.texts]
    assert max(ends) <= right + 1
    lows = sorted(text.get_position()[1] for text in means)
    assert min(high - low for low, high in pairwise(lows)) * A5_INCHES[1] * 72 > 7.0


def test_another_ending_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ReportError, match=r"ends in \.pdf"):
        write_card(PhraseBook.load(), tmp_path / "card.docx")


def test_the_card_recommends_what_is_heard_best() -> None:
    says = [s.say for part in sections(PhraseBook.load()) for s in part.sayings]

    assert any(say.startswith("bearing") for say in says)
    assert any(say.startswith("time") for say in says)
    assert "yellow landed" in says
