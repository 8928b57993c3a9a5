"""Every way of correcting on the page, by keyboard alone and by touch on a phone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from .pages import PHONE

if TYPE_CHECKING:
    from collections.abc import Callable

    from .conftest import Prepared
    from .pages import Sitting

pytestmark = pytest.mark.model


def _saved(page: Any, deed: Callable[[], object]) -> None:
    """Do something that saves, and wait until it is saved."""
    with page.expect_response("**/api/edit") as told:
        deed()
    assert told.value.status == 200


@pytest.fixture
def at_desk(open_page: Callable[..., Sitting], prepared: Prepared) -> Sitting:
    sitting = open_page(prepared)
    sitting.press("l")  # all notes, by time
    return sitting


@pytest.fixture
def on_phone(open_page: Callable[..., Sitting], prepared: Prepared) -> Sitting:
    sitting = open_page(prepared, PHONE, touch=True)
    sitting.page.tap("#rows-box summary")
    sitting.page.tap('label:has(input[value="all"])')
    return sitting


@pytest.mark.slow
def test_by_keyboard_as_it_was_said(at_desk: Sitting, prepared: Prepared) -> None:
    from playwright.sync_api import expect

    name = prepared.doubtful["mark"]
    page = at_desk.page
    at_desk.walk_to(name)

    at_desk.press("c")
    page.keyboard.type("blue back")
    _saved(page, lambda: at_desk.press("Enter"))

    event = prepared.row(name).event
    assert (event.kind, event.mark, event.value) == ("back", "blue", "")
    expect(page.locator("#f-phrase")).to_have_value("")
    at_desk.press("u")
    page.wait_for_selector("#undo[disabled]")
    assert prepared.row(name).event.mark == "white"
    assert at_desk.faults == []


@pytest.mark.slow
def test_by_keyboard_what_is_told_freely_is_shown_before_it_is_saved(
    at_desk: Sitting, prepared: Prepared
) -> None:
    name = prepared.doubtful["mark"]
    page = at_desk.page
    before = prepared.hunt.review_path.read_bytes()
    at_desk.walk_to(name)

    at_desk.press("c")
    page.keyboard.type("red away, bearing one oh eight")
    page.wait_for_selector("#phrase-becomes:has-text('It becomes “red away”.')")
    assert page.inner_text("#phrase-becomes label") == "add “bearing 108 (red)”"
    assert prepared.hunt.review_path.read_bytes() == before
    _saved(page, lambda: at_desk.press("Enter"))

    first, added = prepared.row(name).event, prepared.row("h0001").event
    assert (first.kind, first.mark) == ("away", "red")
    assert (added.kind, added.mark, added.value) == ("bearing", "red", "108")
    assert (added.clock, added.start_s) == (first.clock, first.start_s)
    at_desk.press("u")  # both at once
    page.wait_for_selector("#undo[disabled]")
    assert prepared.row(name).event.mark == "white"
    assert "h0001" not in {row.name for row in prepared.desk.sheet().rows}
    assert at_desk.faults == []


@pytest.mark.slow
def test_by_keyboard_enter_at_once_shows_free_words_and_the_next_saves(
    at_desk: Sitting, prepared: Prepared
) -> None:
    name = prepared.doubtful["mark"]
    page = at_desk.page
    at_desk.walk_to(name)
    at_desk.press("c")
    page.fill("#f-phrase", "white's back, and there's orange too")

    at_desk.press("Enter")
    page.wait_for_selector("#saved:has-text('once more')")
    assert prepared.row(name).event.kind == "away"
    page.uncheck("#phrase-becomes input")
    page.focus("#f-phrase")
    _saved(page, lambda: at_desk.press("Enter"))

    assert (prepared.row(name).event.kind, prepared.row(name).event.mark) == (
        "back",
        "white",
    )
    assert "h0001" not in {row.name for row in prepared.desk.sheet().rows}


@pytest.mark.parametrize(
    ("which", "typed", "cells"),
    [
        ("mark", "no, that was yellow", ("away", "yellow", "")),
        pytest.param("mark", "back", ("back", "white", ""), marks=pytest.mark.slow),
        pytest.param(
            "value", "210", ("bearing", "white", "210"), marks=pytest.mark.slow
        ),
    ],
)
def test_by_keyboard_a_bare_word_changes_its_cell(
    at_desk: Sitting,
    prepared: Prepared,
    which: str,
    typed: str,
    cells: tuple[str, str, str],
) -> None:
    name = prepared.doubtful[which]
    page = at_desk.page
    at_desk.walk_to(name)
    at_desk.press("c")
    page.keyboard.type(typed)
    _saved(page, lambda: at_desk.press("Enter"))

    event = prepared.row(name).event
    assert (event.kind, event.mark, event.value) == cells


@pytest.mark.slow
def test_by_keyboard_what_says_nothing_is_told_and_stays_to_be_mended(
    at_desk: Sitting, prepared: Prepared
) -> None:
    page = at_desk.page
    before = prepared.hunt.review_path.read_bytes()
    at_desk.walk_to(prepared.doubtful["mark"])

    at_desk.press("c")
    page.keyboard.type("the kettle")
    at_desk.press("Enter")

    page.wait_for_selector("#saved.fault:has-text('is no note')")
    assert page.input_value("#f-phrase") == "the kettle"
    assert prepared.hunt.review_path.read_bytes() == before


@pytest.mark.slow
@pytest.mark.parametrize(
    ("key", "column", "text"),
    [
        ("m", "mark", "blue"),
        ("v", "value", "195"),
        ("t", "clock", "10:19:30"),
        ("r", "remark", "seen on the photo"),
    ],
)
def test_by_keyboard_cell_by_cell(
    at_desk: Sitting, prepared: Prepared, key: str, column: str, text: str
) -> None:
    name = prepared.doubtful["value"]
    page = at_desk.page
    at_desk.walk_to(name)

    at_desk.press(key)
    page.keyboard.press("Control+a")
    page.keyboard.type(text)
    _saved(page, lambda: at_desk.press("Enter"))

    assert _cell(prepared, name, column) == text


@pytest.mark.slow
def test_by_keyboard_kind_decision_and_time(
    at_desk: Sitting, prepared: Prepared
) -> None:
    name = prepared.doubtful["right"]
    page = at_desk.page
    second = prepared.row(name).event.clock
    assert second is not None
    at_desk.walk_to(name)

    at_desk.press("e")
    _saved(page, lambda: at_desk.press("a", "Enter"))  # types ahead to "away"
    assert prepared.row(name).event.kind == "away"
    _saved(page, lambda: at_desk.press("]"))
    _saved(page, lambda: at_desk.press("]"))
    _saved(page, lambda: at_desk.press("["))
    now = prepared.row(name).event.clock
    assert now is not None
    assert (now - second).total_seconds() == 1
    page.focus("#f-decision")
    _saved(page, lambda: at_desk.press("k", "Enter"))
    assert prepared.row(name).decision == "keep"


@pytest.mark.slow
def test_by_keyboard_keep_drop_reading_add_and_undo(
    at_desk: Sitting, prepared: Prepared
) -> None:
    names = prepared.doubtful
    page = at_desk.page
    before = prepared.hunt.review_path.read_bytes()

    at_desk.walk_to(names["mark"])
    _saved(page, lambda: at_desk.press("1"))
    assert prepared.row(names["mark"]).event.mark == "yellow"
    at_desk.walk_to(names["right"])
    _saved(page, lambda: at_desk.press("Enter"))
    assert prepared.row(names["right"]).decision == "keep"
    at_desk.walk_to(names["talk"])
    _saved(page, lambda: at_desk.press("d"))
    assert prepared.row(names["talk"]).decision == "drop"
    at_desk.press("a")
    page.keyboard.type("blue back")
    _saved(page, lambda: at_desk.press("Enter"))
    page.wait_for_selector("#add-dialog", state="hidden")
    assert prepared.row("h0001").event.mark == "blue"

    for _ in range(4):
        _saved(page, lambda: at_desk.press("u"))
    assert prepared.hunt.review_path.read_bytes() == before


@pytest.mark.slow
def test_by_touch_as_it_was_said(on_phone: Sitting, prepared: Prepared) -> None:
    name = prepared.doubtful["mark"]
    page = on_phone.page
    page.tap(f'#rows [data-row="{name}"]')

    page.tap("#f-phrase")
    page.keyboard.type("blue back")
    box = page.locator("#save-phrase").bounding_box()
    assert box is not None
    assert min(box["width"], box["height"]) >= 44
    _saved(page, lambda: page.tap("#save-phrase"))

    event = prepared.row(name).event
    assert (event.kind, event.mark) == ("back", "blue")
    assert on_phone.faults == []


@pytest.mark.slow
def test_by_touch_cell_by_cell(on_phone: Sitting, prepared: Prepared) -> None:
    name = prepared.doubtful["value"]
    page = on_phone.page
    page.tap(f'#rows [data-row="{name}"]')

    for column, text in (
        ("mark", "blue"),
        ("value", "195"),
        ("clock", "10:19:30"),
        ("remark", "seen on the photo"),
    ):
        page.tap(f"#f-{column}")
        page.fill(f"#f-{column}", text)
        _saved(page, lambda: page.tap("#said"))  # anywhere else
        assert _cell(prepared, name, column) == text
    _saved(page, lambda: page.select_option("#f-event", "away"))
    assert prepared.row(name).event.kind == "away"
    _saved(page, lambda: page.select_option("#f-decision", "keep"))
    assert prepared.row(name).decision == "keep"


@pytest.mark.slow
def test_by_touch_keep_drop_reading_add_and_undo(
    on_phone: Sitting, prepared: Prepared
) -> None:
    names = prepared.doubtful
    page = on_phone.page
    before = prepared.hunt.review_path.read_bytes()

    page.tap(f'#rows [data-row="{names["mark"]}"]')
    _saved(page, lambda: page.tap("#readings button"))
    assert prepared.row(names["mark"]).event.mark == "yellow"
    page.tap(f'#rows [data-row="{names["right"]}"]')
    _saved(page, lambda: page.tap('.thumb [data-deed="keep"]'))
    assert prepared.row(names["right"]).decision == "keep"
    page.tap(f'#rows [data-row="{names["talk"]}"]')
    _saved(page, lambda: page.tap('.thumb [data-deed="drop"]'))
    assert prepared.row(names["talk"]).decision == "drop"
    page.tap('.thumb [data-deed="add"]')
    page.fill("#a-phrase", "blue back")
    _saved(page, lambda: page.tap("#add-form .main"))
    page.wait_for_selector("#add-dialog", state="hidden")
    assert prepared.row("h0001").event.mark == "blue"

    for _ in range(4):
        _saved(page, lambda: page.tap("#undo"))
    assert prepared.hunt.review_path.read_bytes() == before


def _cell(prepared: Prepared, name: str, column: str) -> str:
    row = prepared.row(name)
    if column == "clock":
        assert row.event.clock is not None
        return f"{row.event.clock:%H:%M:%S}"
    if column == "remark":
        return row.remark
    return str(getattr(row.event, column))
