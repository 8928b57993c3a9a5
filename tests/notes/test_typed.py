"""Written words are read as dictated ones."""

from __future__ import annotations

import pytest

from treeward.language.phrasebook import PhraseBook
from treeward.notes.parser import parse_typed

BOOK = PhraseBook.load()


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("yellow back", ["back:yellow:"]),
        ("yellow away bearing two one zero", ["away:yellow:", "bearing:yellow:210"]),
        ("wind calm", ["wind::calm"]),
        ("", []),
        ("  ", []),
        ("what a lovely day", []),
    ],
)
def test_typed_notes_are_read(text: str, read: list[str]) -> None:
    events = parse_typed(text, BOOK)

    assert [f"{e.kind}:{e.mark}:{e.value}" for e in events] == read
