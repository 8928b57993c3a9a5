"""Typed notes pasted into the page, and a find entered there."""

from __future__ import annotations

import http.client
import json
import threading
from typing import TYPE_CHECKING, Any

import pytest

from treeward.desk.serve import ReviewServer
from treeward.hunt.finds import FindTable, add_find, checked, read_finds
from treeward.hunt.hunt import Hunt

from .pages import DESK, PHONE
from .test_app import Client

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from .pages import Sitting

PAGE = "9:05 yellow away, north east\n9:07 blue ???\n9:11 yellow back\n"
PLACE = "52.297100, -3.614400"


@pytest.fixture
def client(typed_hunt: Path) -> Iterator[Client]:
    server = ReviewServer(Hunt(typed_hunt))
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        yield Client(server)
    finally:
        server.stop()
        thread.join(timeout=20)
        assert not thread.is_alive()


def find(**changed: Any) -> dict[str, Any]:
    return {
        "position": PLACE,
        "found": "2026-07-15",
        "nest": "tree",
        "height_m": 6,
        "entrance": "south-east",
        "remark": "",
        "may_know": "",
    } | changed


def test_pasted_notes_are_shown_then_taken(client: Client, typed_hunt: Path) -> None:
    before = (typed_hunt / "review.csv").read_bytes()
    status, seen = client.post("/api/typed", {"text": PAGE, "day": "2026-07-14"})
    assert status == 200
    assert (seen["notes"], seen["days"]) == (3, ["14 July 2026"])
    assert seen["unread"] == [{"place": "line 2", "text": "9:07 blue ???"}]
    assert (typed_hunt / "review.csv").read_bytes() == before

    status, told = client.post("/api/take", {"text": PAGE, "day": "2026-07-14"})

    assert status == 200
    own = [row for row in told["rows"] if row["recording"] == seen["name"]]
    assert [row["said"] for row in own][:1] == ["yellow away"]
    assert len(told["rows"]) == 16 + 3
    (line,) = told["lines"]
    assert (line["place"], line["start_s"]) == ("line 2", None)
    # Of that line a note is made, which has its words and its time.
    cells = line["cells"] | {"event": "away", "mark": "blue"}
    status, told = client.post(
        "/api/edit", {"edits": [{"kind": "add", "cells": cells}]}
    )
    assert (status, told["lines"]) == (200, [])
    made = next(row for row in told["rows"] if row["row"] == told["added"][0])
    assert (made["heard"], made["clock"]) == ("9:07 blue ???", "09:07:00")
    assert Hunt(typed_hunt).transcribe().unread == ()


def test_each_reading_stands_with_its_line_and_why_it_is_in_doubt(
    client: Client,
) -> None:
    page = "9:05 Y & W off\n9:09  yellow nearly back\n9:12 Y not back\n"

    _, seen = client.post("/api/typed", {"text": page, "day": "2026-07-14"})

    assert [(one["said"], one["line"], one["doubts"]) for one in seen["said"]] == [
        ("yellow away", "9:05 Y & W off", []),
        ("white away", "9:05 Y & W off", []),
        ("yellow back", "9:09 yellow nearly back", ["doubt in words: 'nearly'"]),
    ]
    assert (seen["notes"], seen["in_doubt"], seen["lines_unread"]) == (3, 1, 1)


def test_a_dismissed_line_comes_back_by_undo(client: Client) -> None:
    client.post("/api/take", {"text": PAGE, "day": "2026-07-14"})
    (line,) = client.get("/api/state")["lines"]
    edit = {"kind": "line", "line": line["key"], "dismissed": True}

    _, told = client.post("/api/edit", {"edits": [edit]})
    assert (told["lines"], len(told["dismissed"])) == ([], 1)
    status, told = client.post("/api/edit", {"edits": told["undo"]})

    assert status == 200
    assert (told["lines"], told["dismissed"]) == ([line], [])


@pytest.mark.parametrize("path", ["/api/typed", "/api/take", "/api/find", "/api/edit"])
@pytest.mark.parametrize(
    "headers",
    [{"Origin": "http://evil.example"}, {"Cookie": ""}, {"Content-Type": "text/plain"}],
    ids=["origin", "cookie", "type"],
)
def test_nobody_else_puts_anything_into_the_hunt(
    client: Client, typed_hunt: Path, path: str, headers: dict[str, str]
) -> None:
    connection = http.client.HTTPConnection(client.host, timeout=30)
    ours = {
        "Cookie": client.cookie,
        "Origin": f"http://{client.host}",
        "Content-Type": "application/json",
    }
    body = json.dumps(
        find() if path == "/api/find" else {"text": PAGE, "day": "2026-07-14"}
    )
    connection.request("POST", path, body, ours | headers)
    assert connection.getresponse().status in {403, 415}
    connection.close()
    assert not (typed_hunt / "recordings").exists()
    assert not (typed_hunt / "found.toml").exists()


@pytest.mark.parametrize(
    ("path", "body", "status"),
    [
        ("/api/take", {"text": PAGE, "day": None}, 409),
        ("/api/take", {"text": PAGE, "day": "soon"}, 422),
        ("/api/take", {"text": PAGE, "day": "2026-07-14", "name": "../x.txt"}, 422),
        ("/api/take", {"text": "9:05 yellow away\n" * 5000, "day": "2026-07-14"}, 422),
        ("/api/take", {"text": "9:05 yellow away\0", "day": "2026-07-14"}, 409),
        ("/api/take", {"text": "\ud800 9:05 yellow away", "day": "2026-07-14"}, 422),
        ("/api/take", {"text": ["x"], "day": "2026-07-14"}, 422),
        ("/api/find", find(position="the old oak"), 409),
        ("/api/find", find(position="99, 999"), 409),
        ("/api/find", find(found="2999-01-01"), 409),
        ("/api/find", find(nest="hole"), 409),
        ("/api/find", find(height_m=5000), 409),
        ("/api/find", find(entrance="x" * 300), 409),
        ("/api/find", find(path="/etc/passwd"), 422),
    ],
)
def test_what_cannot_be_is_one_line_and_keeps_nothing(
    client: Client, typed_hunt: Path, path: str, body: dict[str, Any], status: int
) -> None:
    before = sorted(path.name for path in typed_hunt.iterdir())
    got, told = client.post(path, body)

    assert (got, "\n" in told["fault"]) == (status, False)
    assert "Traceback" not in told["fault"]
    after = sorted(path.name for path in typed_hunt.iterdir())
    assert set(after) - set(before) <= {".treeward"}


def test_a_body_beyond_the_limit_is_not_taken_in(client: Client) -> None:
    body = json.dumps({"text": "x" * 300_000, "day": None}).encode()
    status, _, _ = client.raw("POST", "/api/take", body)
    assert status == 413


def test_a_find_is_kept_as_found_keeps_it(client: Client, typed_hunt: Path) -> None:
    status, told = client.post("/api/find", find(may_know="Non, the owner"))

    assert (status, told["find"]) == (200, "1")
    (kept,) = read_finds(typed_hunt).find
    assert (kept.nest, kept.height_m, kept.may_know) == (
        "tree",
        6,
        ("Non", "the owner"),
    )
    assert kept.position.latitude_deg == pytest.approx(52.2971)
    assert "52.297" not in json.dumps(told)  # nor does the answer say where
    assert not (typed_hunt / "results").exists()


def paste(page: Any, text: str) -> None:
    """Put text in as the clipboard does."""
    page.focus("#p-text")
    page.keyboard.insert_text(text)


@pytest.mark.slow
@pytest.mark.model
def test_notes_are_pasted_by_keyboard_alone(
    open_page: Callable[..., Sitting], typed_hunt: Path
) -> None:
    sitting = open_page(Hunt(typed_hunt), DESK)
    page: Any = sitting.page
    sitting.press("i")
    page.wait_for_selector("#paste-dialog[open]")
    page.keyboard.insert_text(PAGE)
    sitting.press("Tab")
    page.keyboard.type("07142026")
    assert page.input_value("#p-day") == "2026-07-14"
    sitting.press("Enter")
    page.wait_for_selector("#p-take:focus")
    seen = page.inner_text("#p-seen")
    assert "3 notes, 14 July 2026; 1 line not understood" in seen
    assert "line 2 9:07 blue ???" in seen
    assert "9:05 yellow away" in seen.replace("09:05", "9:05")

    sitting.press("Enter")
    page.wait_for_selector("#paste-dialog", state="hidden")

    assert page.inner_text("#lines-title") == "1 line without a note"
    assert "typed-2026-07-14.txt, line 2" in page.inner_text("#lines")
    assert (typed_hunt / "recordings" / "typed-2026-07-14.txt").exists()
    sitting.press("x")
    page.wait_for_selector("#lines-title:has-text('No line without a note is left')")
    sitting.press("u")
    page.wait_for_selector("#lines-title:has-text('1 line without a note')")
    sitting.press("o")  # no note by itself: it is given to be written as one
    page.wait_for_selector("#add-dialog[open]")
    assert page.input_value("#a-clock").startswith("2026-07-14T09:07")
    page.keyboard.type("blue away")
    sitting.press("Enter")
    page.wait_for_selector("#lines-box", state="hidden")
    text = (typed_hunt / "review.csv").read_text("utf-8-sig")
    assert "9:07 blue ???" in text
    assert [fault for fault in sitting.faults if "409" not in fault] == []


@pytest.mark.slow
@pytest.mark.model
def test_readings_are_shown_below_the_lines_they_were_made_of(
    open_page: Callable[..., Sitting], typed_hunt: Path
) -> None:
    sitting = open_page(Hunt(typed_hunt), PHONE, touch=True)
    page: Any = sitting.page
    page.tap("#paste")
    paste(page, "9:05 Y & <b>W</b> off\n9:14 Y, W back?\n9:15 W station\n")
    page.fill("#p-day", "2026-07-14")
    page.tap("#p-look")
    page.wait_for_selector("#p-take:has-text('Take')")

    rows = [row.inner_text().split("\n") for row in page.locator(".read > li").all()]
    assert rows[-1] == [
        "9:14 Y, W back?",
        "09:14 yellow back; doubt in words: '?'",
        "09:14 white back; doubt in words: '?'",
    ]
    assert page.locator("#p-seen b").count() == 0  # what was pasted is text
    assert "in doubt" in page.inner_text("#p-seen .sum")
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
    assert sitting.faults == []


@pytest.mark.slow
@pytest.mark.model
def test_the_first_notes_of_a_new_hunt_are_pasted_by_touch(
    open_page: Callable[..., Sitting], tmp_path: Path
) -> None:
    hunt = Hunt.create(tmp_path / "new", name="Marl Hollow", timezone="Europe/London")
    sitting = open_page(hunt, PHONE, touch=True)
    page: Any = sitting.page
    page.tap("#paste")
    paste(page, PAGE)
    page.tap("#p-look")
    page.wait_for_selector("#p-fault:has-text('Give the day')")
    page.fill("#p-day", "2026-07-14")
    page.tap("#p-look")
    page.wait_for_selector("#p-take:has-text('Take 3 notes')")
    for name in ("#p-take", "#p-cancel"):
        assert page.locator(name).bounding_box()["height"] >= 40
    page.fill("#p-text", PAGE + "9:20 yellow away\n")  # another text is shown anew
    assert page.is_hidden("#p-take")
    page.tap("#p-look")
    page.wait_for_selector("#p-take:has-text('Take 4 notes')")
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]

    page.tap("#p-take")
    page.wait_for_selector("#paste-dialog", state="hidden")

    page.wait_for_selector("#rows button >> nth=3", state="attached")
    page.tap("#lines .dismiss")
    page.wait_for_selector("#dismissed-title")
    page.tap("#dismissed-title")
    page.tap("#dismissed .bring-back")
    page.wait_for_selector("#lines .make-note")
    assert len(Hunt(hunt.path).rows()) == 4


@pytest.mark.slow
@pytest.mark.model
def test_a_find_is_entered_and_held_against_the_forecast(
    open_page: Callable[..., Sitting], typed_hunt: Path
) -> None:
    sitting = open_page(Hunt(typed_hunt), DESK)
    page: Any = sitting.page
    page.wait_for_selector(".bee .range", timeout=90_000)
    assert "stays in the hunt\u2019s folder" in page.inner_text("#finds-box")
    sitting.press("f")
    page.wait_for_selector("#find-dialog[open]")
    assert "stays in the hunt\u2019s folder" in page.inner_text("#find-dialog")
    page.keyboard.type("the old oak")
    sitting.press("Enter")
    page.wait_for_selector("#d-fault:has-text('Write it like')")
    page.fill("#d-position", PLACE)
    page.fill("#d-found", "2026-07-15")
    page.select_option("#d-nest", "wall")
    page.fill("#d-height", "4,5")
    page.fill("#d-know", "Non, the owner")
    page.press("#d-remark", "Enter")
    page.wait_for_selector("#find-dialog", state="hidden")

    said = page.inner_text("#finds")
    assert "Find 1, 15 July 2026, wall" in said
    assert "from the best place" in said
    assert "From station 1 it is" in said
    assert "52.297" not in page.inner_text("body")
    (kept,) = read_finds(typed_hunt).find
    assert (kept.height_m, kept.nest, len(kept.may_know)) == (4.5, "wall", 2)
    assert [fault for fault in sitting.faults if "409" not in fault] == []


def test_another_colony_at_a_kept_find_is_kept_where_it_is_said_to_be_one(
    client: Client, typed_hunt: Path
) -> None:
    client.post("/api/find", find())

    status, told = client.post("/api/find", find())
    assert (status, "find 1 is kept already" in told["fault"]) == (409, True)
    status, told = client.post("/api/find", find(another=True))

    assert (status, told["find"]) == (200, "2")
    assert [kept.id for kept in read_finds(typed_hunt).find] == ["1", "2"]


@pytest.mark.slow
@pytest.mark.model
def test_another_colony_has_a_button_at_each_find(
    open_page: Callable[..., Sitting], typed_hunt: Path
) -> None:
    add_find(Hunt(typed_hunt), checked(FindTable, find(may_know=()) | {"id": "1"}))
    sitting = open_page(Hunt(typed_hunt), PHONE, touch=True)
    page: Any = sitting.page
    button = page.locator("#finds button", has_text="Another colony near it")
    button.wait_for(timeout=90_000)
    assert button.bounding_box()["height"] >= 40
    button.tap()
    page.wait_for_selector("#find-dialog[open]")
    assert page.is_checked("#d-another")
    page.fill("#d-position", PLACE)
    page.tap("#d-keep")
    page.wait_for_selector("#find-dialog", state="hidden")

    assert page.locator("#finds .find").count() == 2
    assert len(read_finds(typed_hunt).find) == 2
    sitting.press("f")  # the button below all finds means no other by itself
    page.wait_for_selector("#find-dialog[open]")
    assert not page.is_checked("#d-another")
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
    assert sitting.faults == []
