"""The report in a real Chromium: readable for all, moving, and needing no network.

Needs Debian's chromium, playwright and axe-playwright-python (axe-core's rules for
accessibility); skipped where one is missing.
"""

from __future__ import annotations

import io
import shutil
import wave
from typing import TYPE_CHECKING

import pytest

from drawing import mostly_slow
from treeward.report.figures.map import LETTERING
from treeward.report.writing import write_results

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from treeward.report.model import HuntResult

pytestmark = pytest.mark.model
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def silent_clip() -> bytes:
    out = io.BytesIO()
    with wave.open(out, "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(8000)
        sound.writeframes(bytes(16_000))
    return out.getvalue()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    playwright = pytest.importorskip("playwright.sync_api")
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine")
    with playwright.sync_playwright() as running:
        yield running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])


@pytest.fixture(scope="module")
def address(two_days: HuntResult, tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("browser") / "results"
    clips = {"2": silent_clip(), "3": silent_clip()}
    return write_results(two_days, folder, with_sound=clips).report.as_uri()


def view_box(page: Page) -> list[float]:
    box = page.locator("#map-view .on-page svg.drawing").get_attribute("viewBox")
    assert box is not None
    return [float(part) for part in box.split()]


@pytest.mark.slow
def test_the_settings_are_read_on_a_telephone_without_scrolling_aside(
    browser: Browser, address: str
) -> None:
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto(address)
    shown, whole = page.locator("table.settings").evaluate(
        "(table) => [table.parentElement.clientWidth, table.scrollWidth]"
    )
    page.close()

    assert 0 < whole <= shown


@pytest.mark.slow
def test_on_a_telephone_nothing_is_cut_off(browser: Browser, address: str) -> None:
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto(address)
    page.locator("#notes summary").click()

    boxes = page.locator(".scroll:visible, .on-phone:visible")
    widths = boxes.evaluate_all(
        "(all) => all.map((one) => [one.clientWidth, one.scrollWidth])"
    )
    drawn = page.locator("svg.drawing:visible").evaluate_all(
        "(all) => all.map((one) => [one.id, one.getBoundingClientRect().right])"
    )
    page.close()

    assert len(widths) > 8
    assert [(seen, whole) for seen, whole in widths if whole > seen] == []
    assert [name for name, _ in drawn] == [
        "map-phone", "timeline-phone", "away-phone", "distance-phone"
    ]  # fmt: skip
    assert all(right <= 390 for _, right in drawn)


@pytest.mark.slow
@pytest.mark.parametrize("scheme", mostly_slow(["light", "dark"], quick=["light"]))
@pytest.mark.parametrize("width", mostly_slow([390, 1200], quick=[1200]))
def test_contrast_and_labels_pass_axe(
    browser: Browser, address: str, scheme: str, width: int
) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    # The page's own content rule would keep the checker's script out.
    context = browser.new_context(
        viewport={"width": width, "height": 900},
        color_scheme=scheme,  # type: ignore[arg-type]
        bypass_csp=True,
    )
    page = context.new_page()
    page.goto(address)

    found = axe.Axe().run(page).response["violations"]

    assert [(one["id"], one["nodes"][0]["html"]) for one in found] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    context.close()


def test_the_map_zooms_and_moves(browser: Browser, address: str) -> None:
    page = browser.new_page(viewport={"width": 1200, "height": 900})
    page.goto(address)
    whole = view_box(page)

    page.get_by_label("Zoom in").click()
    closer = view_box(page)
    frame = page.locator("#map-view .on-page svg.drawing").bounding_box()
    assert frame is not None
    page.mouse.move(frame["x"] + 300, frame["y"] + 200)
    page.mouse.down()
    page.mouse.move(frame["x"] + 200, frame["y"] + 150)
    page.mouse.up()
    moved = view_box(page)
    page.get_by_label("Show all").click()

    assert closer[2] == pytest.approx(0.6 * whole[2])
    assert moved[0] > closer[0]
    assert moved[1] > closer[1]
    assert view_box(page) == whole
    page.close()


def test_a_phone_gets_a_map_with_letters_to_read(
    browser: Browser, address: str
) -> None:
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto(address)

    shown = page.locator("#map-view svg.drawing:visible")
    frame, box = shown.bounding_box(), shown.get_attribute("viewBox")
    assert frame is not None
    assert box is not None
    pixels_a_point = frame["width"] / float(box.split()[2])

    assert shown.get_attribute("id") == "map-phone"
    assert LETTERING["phone"].small_pt * pixels_a_point > 9.0
    page.get_by_label("Zoom in").click()
    closer = shown.get_attribute("viewBox")
    assert closer is not None
    assert float(closer.split()[2]) == pytest.approx(0.6 * float(box.split()[2]))
    page.close()


@pytest.mark.slow
def test_the_outline_of_a_day_can_be_hidden(
    browser: Browser, two_days: HuntResult, tmp_path: Path
) -> None:
    page = browser.new_page(viewport={"width": 1200, "height": 900})
    page.goto(write_results(two_days, tmp_path / "results").report.as_uri())
    first = page.locator('.on-page [data-day="0"] path').first
    second = page.locator('.on-page [data-day="1"] path').first

    assert first.is_visible()
    page.get_by_label("14 Jul 2026 alone").uncheck()
    assert not first.is_visible()
    assert second.is_visible()
    page.get_by_label("14 Jul 2026 alone").check()
    assert first.is_visible()
    page.close()


def test_a_trip_leads_to_its_note_and_its_sound(browser: Browser, address: str) -> None:
    page = browser.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("pageerror", lambda error: asked.append(str(error)))
    page.goto(address)

    page.locator('a[href="#note-2"]').first.click()
    page.locator("#note-2").wait_for(state="visible")
    page.locator('[data-play="note-2"]').first.click()
    page.wait_for_function("!document.querySelector('#note-2 audio').paused")

    assert [url for url in asked if not url.startswith("data:")] == [address]
    page.close()


def test_without_a_script_the_page_is_whole(browser: Browser, address: str) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(address)

    assert page.locator("svg.drawing:visible").count() == 4
    assert not page.locator(".map-tools").is_visible()
    page.locator("#notes summary").click()
    assert page.locator("#note-2 audio").is_visible()
    context.close()
