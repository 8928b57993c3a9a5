"""Lines that made no note stand below the note, and become one with one key."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import soundfile

from treeward.cli.locate import answer_lines
from treeward.desk.desk import line_key
from treeward.desk.edits import LineJudged
from treeward.desk.terminal import review_dict, row_lines
from treeward.errors import ReviewError
from treeward.report.page import page_text
from treeward.report.result_json import result_dict
from treeward.report.wording import left_text

from .conftest import RATE_HZ
from .pages import PHONE
from .test_terminal import sit

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


def shorten(prepared: Prepared) -> None:
    """Leave a silent second of the recording, which a transcribe hears at once."""
    path = prepared.hunt.recordings_dir / SOUND
    soundfile.write(path, np.zeros(RATE_HZ, np.float32), RATE_HZ)


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


@pytest.mark.usefixtures("unweighed")
def test_in_the_terminal_lines_come_after_the_rows(prepared: Prepared) -> None:
    keep(prepared, (140.4, "yellow back"), (881.0, "that was the white one I think"))

    # Four rows are passed; the first line says a note, the second is nothing.
    said = sit(prepared, ["n"] * 4 + ["p", "m", "n", "d"])

    assert "5 of 6  station-1.flac 2:20" in said
    assert "no note was made of it" in said
    event = prepared.row("h0001").event
    assert (event.kind, event.mark, event.start_s) == ("back", "yellow", 140.4)
    assert shown(prepared) == []
    assert "That was the last one; still to look at: 4 notes." in said


@pytest.mark.slow
@pytest.mark.usefixtures("unweighed")
def test_in_the_terminal_a_dismissed_line_comes_back(prepared: Prepared) -> None:
    keep(prepared, (140.4, "yellow back"), (881.0, "she is off"))
    said = sit(prepared, ["n"] * 4 + ["d", "b", "d", "q"])
    assert "judged" in said
    assert shown(prepared) == ["yellow back", "she is off"]

    said = sit(prepared, ["n"] * 4 + ["d", "?", "u", "q"])
    assert "Taken back." in said
    assert "dismiss it: there is nothing in it" in said
    assert shown(prepared) == ["yellow back", "she is off"]


@pytest.mark.slow
@pytest.mark.usefixtures("unweighed")
def test_in_the_terminal_a_typed_line_is_made_a_note_with_its_time(
    prepared: Prepared,
) -> None:
    shorten(prepared)
    hunt = prepared.hunt
    page = hunt.recordings_dir / "page.txt"
    page.write_text("2026-07-14\n9:05 yellow away\n9:07 blue ???\nblue or so\n")
    hunt.transcribe([page])
    places = [line.place for line in prepared.desk.lines(prepared.desk.sheet())]
    assert places == ["line 3", "line 4"]

    said = sit(
        prepared,
        ["n"] * len(prepared.desk.state()["queue"]) + ["m", "n", "m", "q"],
        ["2", "", "blue back", "9:30"],
    )

    assert "page.txt line 3" in said
    rows = [prepared.row(name).event for name in ("h0001", "h0002")]
    assert [(e.kind, e.mark, e.heard) for e in rows] == [
        ("away", "blue", "9:07 blue ???"),
        ("back", "blue", "blue or so"),
    ]
    assert [f"{e.clock:%H:%M}" for e in rows if e.clock] == ["09:07", "09:30"]
    assert shown(prepared) == []
    hunt.transcribe()  # nor do they come back when the page is read again
    assert shown(prepared) == []


@pytest.mark.usefixtures("unweighed")
def test_the_list_tells_lines_without_a_note(prepared: Prepared) -> None:
    keep(prepared, (140.4, "yellow back"))
    lines = row_lines(prepared.desk, all_rows=False)

    assert "station-1.flac 2:20  'yellow back'" in lines
    assert lines[-1].startswith("To look at: 4 notes and 1 line without a note, of ")
    values = review_dict(prepared.desk, all_rows=False)
    assert len(values["rows"]) == 4
    (line,) = values["lines_without_note"]
    assert (line["recording"], line["start_s"], line["text"]) == (
        SOUND,
        140.4,
        "yellow back",
    )


@pytest.mark.usefixtures("unweighed")
def test_every_screen_says_one_count_of_what_is_left(prepared: Prepared) -> None:
    keep(prepared, (140.4, "yellow back"), (881.0, "she is off"))
    count = "4 notes and 2 lines without a note"
    result = prepared.hunt.locate()

    said = answer_lines(result)

    assert f"{count} are still to look at (treeward review):" in said
    assert f"{count} are still" in page_text(result, drawings={})
    assert result_dict(result)["left_to_look_at"] == {
        "notes": 4,
        "rows": prepared.desk.state()["queue"],
        "lines_without_note": 2,
    }
    assert prepared.desk.state()["left"] == count
    assert f"To look at: {count}, of " in row_lines(prepared.desk, all_rows=False)[-1]
    values = review_dict(prepared.desk, all_rows=False)["to_look_at"]
    assert (values["notes"], values["lines"]) == (4, 2)
    assert f"still to look at: {count}." in " ".join(sit(prepared, ["n"] * 6).split())
    shorten(prepared)
    done = prepared.hunt.transcribe()
    assert left_text(done.left) == left_text(prepared.hunt.left())


def test_a_line_that_is_gone_is_not_judged(prepared: Prepared) -> None:
    keep(prepared, (140.4, "yellow back"))
    (line,) = prepared.desk.lines(prepared.desk.sheet())
    keep(prepared, (140.4, "yellow away"))

    with pytest.raises(ReviewError, match="no such line any more"):
        prepared.desk.apply([LineJudged(line=line_key(line), dismissed=True)])


@pytest.mark.slow
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

    # Of what is no phrase the notes that it may hold are offered, a key each.
    sitting.press("o")
    page.wait_for_selector("#add-dialog[open]")
    assert page.inner_text("#add-line") == "“that was the white one I think”"
    assert page.input_value("#a-phrase") == ""
    offers = page.locator("#offers button").all_inner_texts()
    assert offers == ["white back 1", "white away 2"]
    with page.expect_response("**/api/edit"):
        sitting.press("2")
    page.wait_for_selector("#add-dialog", state="hidden")
    event = prepared.row("h0002").event
    assert (event.kind, event.mark) == ("away", "white")
    assert event.start_s == pytest.approx(881.0)
    assert page.is_hidden("#lines-box")
    assert sitting.faults == []


@pytest.mark.slow
@pytest.mark.model
def test_a_line_may_be_written_in_words_as_well(
    open_page: Callable[..., Sitting], prepared: Prepared
) -> None:
    keep(prepared, (881.0, "that was the white one I think"))
    sitting = open_page(prepared)
    page: Any = sitting.page
    sitting.press("o")
    page.wait_for_selector("#add-dialog[open]")

    page.keyboard.type("yellow's gone, two ten")  # the focus is on what is offered
    page.wait_for_selector("#add-becomes label:has-text('bearing 210 (yellow)')")
    assert page.input_value("#a-phrase") == "yellow's gone, two ten"
    page.focus("#a-phrase")
    with page.expect_response("**/api/edit"):
        sitting.press("Enter")

    rows = [prepared.row(name).event for name in ("h0001", "h0002")]
    assert [(e.kind, e.mark, e.value) for e in rows] == [
        ("away", "yellow", ""),
        ("bearing", "yellow", "210"),
    ]
    sitting.press("u")
    page.wait_for_selector("#undo[disabled]")
    assert shown(prepared) == ["that was the white one I think"]


@pytest.mark.slow
@pytest.mark.model
def test_a_line_becomes_a_note_by_touch(
    open_page: Callable[..., Sitting], prepared: Prepared
) -> None:
    keep(prepared, (140.4, "yellow back"))
    page: Any = open_page(prepared, PHONE, touch=True).page

    with page.expect_response("**/api/edit"):
        page.tap("#lines .make-note")

    assert prepared.row("h0001").event.mark == "yellow"
