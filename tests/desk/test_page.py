"""The page in a real browser: open, hear, correct, save, locate, by keyboard alone."""

from __future__ import annotations

import re
import threading
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import pytest

from treeward.desk.serve import ReviewServer
from treeward.hunt.hunt import Hunt

from .pages import DESK, LOOK_MS, PHONE, lacking

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Browser

    from .conftest import Prepared
    from .pages import Sitting

pytestmark = pytest.mark.model


@pytest.mark.slow
def test_the_file_that_the_browser_is_started_with_leads_in(
    browser: Browser, prepared: Prepared
) -> None:
    server = ReviewServer(prepared.hunt)
    thread = threading.Thread(target=server.run)
    thread.start()
    context = browser.new_context()
    try:
        page = context.new_page()
        page.set_default_timeout(LOOK_MS)
        with server.doorstep() as doorstep:
            page.goto(doorstep)
            page.wait_for_selector("html[data-ready=yes]")
        assert page.url == f"{server.guard.origin}/"
        page.reload()
        page.wait_for_selector("html[data-ready=yes]")
    finally:
        context.close()
        server.stop()
        thread.join(timeout=20)


@pytest.mark.slow
def test_the_whole_way_by_keyboard(
    open_page: Callable[..., Sitting], whole_hunt: Prepared
) -> None:
    names = whole_hunt.doubtful
    sitting = open_page(whole_hunt)
    page = sitting.page
    assert "To look at: 4 notes." in page.inner_text("#progress")
    page.wait_for_selector('#rows[data-ordered="yes"]')
    sitting.walk_to(names["value"])

    # Hear: the clip that comes is sound, and it plays to its end.
    with page.expect_response(re.compile(r"/clip\.wav\?")) as clip:
        sitting.press(" ")
    assert clip.value.headers["content-type"] == "audio/wav"
    assert int(clip.value.headers["content-length"]) > 44 + 4 * 16_000 * 2
    page.wait_for_selector('#play[aria-pressed="true"]')
    page.wait_for_selector('#play[aria-pressed="false"]')

    # Correct: a value that was lost, another reading, one that is right, one to drop.
    sitting.press("v")
    page.keyboard.type("205")
    sitting.press("Enter")
    page.wait_for_selector(f'[data-row="{names["value"]}"].changed')
    assert whole_hunt.row(names["value"]).event.value == "205"
    sitting.walk_to(names["mark"])
    trips_before = page.inner_text("#bees")
    sitting.press("1")
    page.wait_for_selector(f'[data-row="{names["mark"]}"]', state="detached")
    assert whole_hunt.row(names["mark"]).event.mark == "yellow"
    assert page.inner_text("#bees") != trips_before
    sitting.walk_to(names["right"])
    sitting.press("Enter")
    page.wait_for_selector(f'[data-row="{names["right"]}"]', state="detached")
    assert whole_hunt.row(names["right"]).decision == "keep"
    sitting.walk_to(names["talk"])
    sitting.press("d")
    page.wait_for_selector("#rows-empty:not([hidden])")
    assert whole_hunt.row(names["talk"]).decision == "drop"

    # Locate: the answer follows, and the results are written.
    page.wait_for_selector("#answer-box:not(.stale)")
    assert "from station" in page.inner_text("#headline")
    sitting.press("w")
    page.wait_for_selector("#report-link")
    assert (whole_hunt.hunt.results_dir / "map.kml").stat().st_size > 1000
    with page.context.expect_page() as report:
        page.click("#report-link")
    assert "Marl Hollow" in report.value.inner_text("h1")

    # Finish: the server ends.
    page.click("#finish")
    page.wait_for_selector(".note h1:has-text('Done')")
    assert {url.split("/")[2] for url in sitting.asked if url[:4] != "blob"} == {
        sitting.server.guard.host
    }
    assert sitting.faults == []


@pytest.mark.slow
def test_a_drawing_is_there(
    open_page: Callable[..., Sitting], prepared: Prepared
) -> None:
    page = open_page(prepared).page
    page.wait_for_timeout(1500)
    ink = """canvas => {
        const data = canvas.getContext('2d')
            .getImageData(0, 0, canvas.width, canvas.height).data;
        let count = 0;
        for (let i = 3; i < data.length; i += 4) count += data[i] > 0;
        return count / (canvas.width * canvas.height);
    }"""

    for name in ("#whole", "#near"):
        assert 0.01 < page.eval_on_selector(name, ink) < 0.6
        assert "notes" in (page.get_attribute(name, "aria-label") or "")


@pytest.mark.slow
def test_every_cell_can_be_corrected_by_keyboard_and_undone(
    open_page: Callable[..., Sitting], prepared: Prepared
) -> None:
    name = prepared.doubtful["mark"]
    before = prepared.hunt.review_path.read_bytes()
    sitting = open_page(prepared)
    page = sitting.page
    sitting.press("l")
    page.click(f'#rows [data-row="{name}"]')

    def write(key: str, text: str) -> None:
        sitting.press(key)
        page.keyboard.press("Control+a")
        page.keyboard.type(text)
        with page.expect_response("**/api/edit"):
            sitting.press("Enter")
        page.wait_for_selector("#saved:has-text('Saved')")

    write("m", "blue")
    write("t", "10:19:30")
    write("r", "seen again on the photo")
    with page.expect_response("**/api/edit"):
        sitting.press("e", "m", "Enter")  # types ahead to "mark", in the list of kinds
    with page.expect_response("**/api/edit"):
        sitting.press("]")
    row = prepared.row(name)
    assert row.event.mark == "blue"
    assert row.event.kind == "mark"
    assert row.remark == "seen again on the photo"
    assert f"{row.event.clock:%H:%M:%S}" == "10:19:31"

    for _ in range(5):
        with page.expect_response("**/api/edit"):
            sitting.press("u")
    page.wait_for_selector("#undo[disabled]")
    assert prepared.hunt.review_path.read_bytes() == before


@pytest.mark.slow
def test_a_note_is_added_where_the_sound_is(
    open_page: Callable[..., Sitting], prepared: Prepared
) -> None:
    beside = prepared.row(prepared.doubtful["value"]).event
    assert beside.start_s is not None
    sitting = open_page(prepared)
    page = sitting.page

    sitting.press("ArrowUp", ".", ".", "a")
    page.keyboard.type("blue back")
    sitting.press("Enter")
    page.wait_for_selector('#rows [aria-current="true"][data-row="h0001"]')

    added = prepared.row("h0001").event
    assert (added.kind, added.mark, added.recording) == (
        "back",
        "blue",
        beside.recording,
    )
    assert added.start_s == pytest.approx(beside.start_s + 1.0)


@pytest.mark.slow
def test_both_changes_are_kept_and_a_conflict_is_shown(
    open_page: Callable[..., Sitting], prepared: Prepared
) -> None:
    name = prepared.doubtful["mark"]
    sitting = open_page(prepared)
    page = sitting.page
    page.click(f'#rows [data-row="{name}"]')
    page.fill("#f-mark", "yellow")
    prepared.change_by_hand(name, mark="blue", remark="from the spreadsheet")
    page.press("#f-mark", "Enter")

    page.wait_for_selector(".conflict:has-text('another program wrote “blue”')")
    page.mouse.wheel(0, 2000)
    box = page.locator(".conflict").bounding_box()
    assert box is not None
    assert 0 <= box["y"] < DESK["height"] - box["height"]  # in sight, however scrolled
    assert prepared.row(name).event.mark == "blue"
    assert prepared.row(name).remark == "from the spreadsheet"
    page.click(".conflict .write-mine")
    page.wait_for_selector(".conflict", state="detached")
    assert prepared.row(name).event.mark == "yellow"
    assert prepared.row(name).remark == "from the spreadsheet"


@pytest.mark.slow
def test_a_change_from_outside_appears_and_what_is_being_written_stays(
    open_page: Callable[..., Sitting], prepared: Prepared
) -> None:
    name = prepared.doubtful["value"]
    sitting = open_page(prepared)
    page = sitting.page
    page.click("#f-remark")
    page.keyboard.type("half writ")
    prepared.change_by_hand(name, value="215")

    page.wait_for_selector("#said:has-text('215')")
    page.wait_for_selector("#alerts:has-text('changed by another program')")
    assert page.input_value("#f-remark") == "half writ"
    page.keyboard.type("ten")
    sitting.press("Enter")
    page.wait_for_selector("#saved:has-text('Saved')")

    assert prepared.row(name).event.value == "215"
    assert prepared.row(name).remark == "half written"


def test_a_faulty_cell_is_said_and_not_saved(
    open_page: Callable[..., Sitting], prepared: Prepared
) -> None:
    page = open_page(prepared).page
    before = prepared.hunt.review_path.read_bytes()

    page.fill("#f-value", "east of the sun 999")
    page.press("#f-value", "Enter")

    page.wait_for_selector("#saved.fault:has-text('Write degrees from 0 to 359')")
    assert prepared.hunt.review_path.read_bytes() == before


def test_another_browser_without_the_cookie_sees_nothing(
    open_page: Callable[..., Sitting], prepared: Prepared, browser: Browser
) -> None:
    sitting = open_page(prepared)
    other = browser.new_context()
    page = other.new_page()

    for address in (sitting.server.guard.origin, sitting.server.address):
        answer = page.goto(address)
        assert answer is not None
        assert answer.status == 403
    other.close()


@pytest.mark.slow
def test_on_a_phone_nothing_is_cut_off_and_thumbs_find_their_buttons(
    open_page: Callable[..., Sitting], prepared: Prepared
) -> None:
    sitting = open_page(prepared, PHONE)
    page = sitting.page

    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide == PHONE["width"]
    for button in page.query_selector_all(".thumb button"):
        box = button.bounding_box()
        assert box is not None
        assert box["height"] >= 44
        assert box["width"] >= 44
    page.click('.thumb [data-deed="next"]')
    page.click('.thumb [data-deed="keep"]')

    page.wait_for_selector("#progress:has-text('To look at: 3 notes.')")
    kept = [row for row in prepared.desk.sheet().rows if row.decision == "keep"]
    assert [row.name for row in kept] == [prepared.doubtful["mark"]]


@pytest.fixture(scope="module")
def axe() -> str:
    try:
        return (files("axe_playwright_python") / "axe.min.js").read_text("utf-8")
    except ModuleNotFoundError:
        lacking("axe-playwright-python")


@pytest.mark.slow
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_axe_finds_no_fault(
    open_page: Callable[..., Sitting],
    prepared: Prepared,
    axe: str,
    scheme: Any,
    size: dict[str, int],
) -> None:
    sitting = open_page(prepared, size)
    page = sitting.page
    page.emulate_media(color_scheme=scheme)
    page.wait_for_selector(".bee .range")
    page.evaluate(axe)

    def faults() -> list[str]:
        found = page.evaluate(
            "axe.run(document, {resultTypes: ['violations', 'passes', 'inapplicable']})"
        )
        assert {"color-contrast", "label", "aria-required-attr"} <= {
            one["id"] for one in found["passes"] + found["inapplicable"]
        }
        assert "color-contrast" in {one["id"] for one in found["passes"]}
        return [
            f"{fault['id']}: {node['html']}: {node.get('failureSummary')}"
            for fault in found["violations"]
            for node in fault["nodes"]
        ]

    assert faults() == []
    name = prepared.doubtful["mark"]
    page.eval_on_selector(f'#rows [data-row="{name}"]', "button => button.click()")
    page.fill("#f-mark", "yellow")
    prepared.change_by_hand(name, mark="blue")
    page.press("#f-mark", "Enter")
    page.wait_for_selector(".conflict")
    assert faults() == []
    page.click("#keys-button")
    assert faults() == []
    page.click("#keys-close")
    page.eval_on_selector('[data-deed="add"]', "button => button.click()")
    page.wait_for_selector("#add-dialog[open]")
    assert faults() == []
    page.click("#add-cancel")
    page.eval_on_selector("#paste", "button => button.click()")
    page.fill("#p-text", "2026-07-14\n9:05 yellow away\n9:07 blue ???\n")
    page.click("#p-look")
    page.wait_for_selector("#p-take:focus")
    assert faults() == []
    page.click("#p-take")
    page.wait_for_selector("#lines .dismiss")
    page.eval_on_selector("#lines .dismiss", "button => button.click()")
    page.wait_for_selector("#dismissed-box", state="visible")
    page.eval_on_selector("#dismissed-box", "box => { box.open = true; }")
    assert faults() == []
    page.eval_on_selector("#find", "button => button.click()")
    page.wait_for_selector("#find-dialog[open]")
    assert faults() == []


@pytest.mark.slow
def test_a_hunt_typed_by_hand_needs_no_sound(
    open_page: Callable[..., Sitting], typed_hunt: Path
) -> None:
    sitting = open_page(Hunt(typed_hunt))
    page = sitting.page
    assert "Nothing left to look at" in page.inner_text("#progress")
    assert "typed by hand" in page.inner_text("#no-sound")
    assert page.is_disabled("#play")

    sitting.press("a")
    page.keyboard.type("yellow away")
    page.fill("#a-clock", "10:19:30")
    page.press("#a-clock", "Enter")
    page.wait_for_selector('#rows [aria-current="true"][data-row="h0017"]')

    lines = (typed_hunt / "review.csv").read_text("utf-8").splitlines()
    assert any("T10:19:30+01:00,away,yellow" in line for line in lines)
    assert sitting.faults == []


@pytest.mark.slow
def test_on_a_phone_times_stay_in_one_line(
    open_page: Callable[..., Sitting], prepared: Prepared
) -> None:
    page: Any = open_page(prepared, PHONE, touch=True).page
    page.tap("#rows-box summary")
    page.tap('label:has(input[value="all"])')
    name = next(
        row.name
        for row in prepared.desk.sheet().rows
        if (row.event.kind, row.event.mark) == ("bearing", "yellow-blue")
    )
    page.tap(f'#rows [data-row="{name}"]')
    page.wait_for_selector("#said:has-text('yellow-blue')")

    # How many lines of its own height each takes. Looked for and measured at once: rows
    # are drawn anew whenever it is known what one of them moves.
    lines = page.evaluate(
        """() => [...document.querySelectorAll("#rows .clock, #said .kicker")].map(
          one => {
            const range = document.createRange();
            range.selectNodeContents(one);
            const tops = [...range.getClientRects()].map(r => Math.round(r.top));
            return new Set(tops).size;
          })"""
    )

    assert len(lines) > 20
    assert set(lines) == {1}


@pytest.mark.slow
def test_on_a_phone_no_word_runs_off_the_edge_of_the_sound(
    open_page: Callable[..., Sitting], prepared: Prepared
) -> None:
    page: Any = open_page(prepared, PHONE, touch=True).page
    page.evaluate(
        """() => {
            window.written = [];
            const draw = CanvasRenderingContext2D.prototype.fillText;
            CanvasRenderingContext2D.prototype.fillText = function (text, x, y) {
                const wide = this.measureText(text).width;
                window.written.push([this.canvas.id, text, x, x + wide]);
                return draw.call(this, text, x, y);
            };
        }"""
    )
    wide = page.eval_on_selector("#near", "canvas => canvas.clientWidth")
    for _ in prepared.doubtful:
        page.tap('.thumb [data-deed="next"]')
        page.wait_for_timeout(300)  # until it is drawn

    near = [written for written in page.evaluate("written") if written[0] == "near"]
    assert any("away" in text or "back" in text for _, text, *_ in near)
    assert [one for one in near if one[2] < 0 or one[3] > wide] == []
