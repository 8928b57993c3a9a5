"""Pages in which no note has its time: the line that is to be mended is named."""

from __future__ import annotations

import pytest

from notes.typed_page import BOOK
from treeward.notes.untimed import untimed_fault


@pytest.mark.parametrize(
    ("page", "line", "said"),
    [
        (
            "Station 1, 14 July 2026\nGareth  9:05 AM\nyellow away 48\n",
            3,
            "'yellow away 48' names a bee and no time",
        ),
        (
            "14 Gorffennaf 2026\ngorsaf 1\n9:05 melyn wedi mynd 48\n",
            3,
            "'9:05 melyn wedi mynd 48' has a time and no bee of a known mark (red",
        ),
        (
            "Datum;Zeit;Biene\n14.07.2026;09:05;gelb\n",
            2,
            "'14.07.2026;09:05;gelb' has a time and no bee",
        ),
        (
            "\nSunny, no wind\nlunch\n",
            2,
            "no line has a time, from 'Sunny, no wind' on",
        ),
    ],
)
def test_the_first_line_without_what_a_note_needs_is_named(
    page: str, line: int, said: str
) -> None:
    fault = untimed_fault(page, BOOK, where="page.txt")
    assert said in fault.line()
    assert f"page.txt line {line}:" in fault.line()
    assert len(fault.line().splitlines()) == 1
