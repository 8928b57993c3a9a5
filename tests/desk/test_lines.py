"""Lines that made no note stand below the note, and become one with one key."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from .pages import PHONE

if TYPE_CHECKING:
    from collections.abc import Callable

    from .conftest import Prepared
    from .pages import Sitting

SOUND = "station-1.flac"
UNREAD_FILE = "unread.json"  # as hunt.unread_lines keeps it


def keep(prepared: Prepared, *lines: tuple[float, str]) -> None:
    """Write the lines that a transcribe kept."""
    entries = [
        {"start_s": start_s, "end_s": start_s + 2.0, "text": text, "marks": []}
        for start_s, text in lines
    ]
    path = prepared.hunt.machine_dir / UNREAD_FILE
    path.write_text(json.dumps({SOUND: entries}), "utf-8")


def shown(prepared: Prepared) -> list[str]:
    return [line.text for line in prepared.desk.lines(prepared.desk.sheet())]


def test_a_line_is_shown_until_a_note_stands_in_it(prepared: Prepared) -> None:
    taken = prepared.desk.sheet().rows[4].event.start_s
    assert taken is not None
    keep(prepared, (140.4, "yellow back"), (taken - 1.0, "she is off"))

    assert shown(prepared) == ["yellow back"]


@pytest.mark.parametrize(
    "kept", ["", "{", "[]", '{"a": [{"start_s": "x"}]}', '{"a": 3}', '{"a": [null]}']
)
def test_a_file_that_cannot_be_read_shows_none(prepared: Prepared, kept: str) -> None:
    (prepared.hunt.machine_dir / UNREAD_FILE).write_text(kept, "utf-8")
    assert shown(prepared) == []


@pytest.mark.model
def test_one_key_makes_a_note_of_a_line(
    open_page: Callable[..., Sitting], prepared: Prepared
) -> None:
    keep(prepared, (140.4, "yellow back"), (881.0, "that was the white one I think"))
    sitting = open_page(prepared)
    page: Any = sitting.page
    assert page.inner_text("#lines-title") == "2 lines without a note"

    sitting.press("l")
    sitting.walk_to(prepared.desk.sheet().rows[4].name)
    assert "yellow back" in page.inner_text("#lines li")
    with page.expect_response("**/api/edit"):
        sitting.press("o")
    page.wait_for_selector('#rows [aria-current="true"][data-row="h0001"]')
    event = prepared.row("h0001").event
    assert (event.kind, event.mark, event.recording) == ("back", "yellow", SOUND)
    assert event.start_s == pytest.approx(140.4)
    assert event.clock is not None
    assert page.inner_text("#lines-title") == "1 line without a note"

    # What is no single note is given to be written as one, at its second.
    sitting.press("o")
    page.wait_for_selector("#add-dialog[open]")
    assert page.input_value("#a-phrase") == "that was the white one I think"
    page.keyboard.type("white away")
    with page.expect_response("**/api/edit"):
        sitting.press("Enter")
    page.wait_for_selector("#add-dialog", state="hidden")
    assert prepared.row("h0002").event.start_s == pytest.approx(881.0)
    assert page.is_hidden("#lines-box")
    # The browser notes that the line could not be read as a note (409), as it should.
    assert [fault for fault in sitting.faults if "409" not in fault] == []


@pytest.mark.model
def test_a_line_becomes_a_note_by_touch(
    open_page: Callable[..., Sitting], prepared: Prepared
) -> None:
    keep(prepared, (140.4, "yellow back"))
    page: Any = open_page(prepared, PHONE, touch=True).page

    with page.expect_response("**/api/edit"):
        page.tap("#lines .make-note")

    assert prepared.row("h0001").event.mark == "yellow"
