"""Pictures of report and review page, of any hunt: python pictures.py HUNT DIR.

The ones in fixtures/pictures are of the example hunt, as `treeward demo` leaves it.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
import threading
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from treeward.desk.serve import ReviewServer
from treeward.hunt.hunt import Hunt

PICTURES = (  # name, width, height, dots per pixel, scheme
    ("review-page.png", 1280, 900, 1, "light"),
    ("review-page-dark.png", 1280, 900, 1, "dark"),
    ("review-page-phone.png", 390, 844, 2, "light"),
)


def report_pictures(browser: Browser, hunt: Hunt, directory: Path) -> None:
    """Picture the opening of the report, and keep the map's picture."""
    written = hunt.write_results(hunt.weigh_doubts(hunt.locate()))
    page = browser.new_page(
        viewport={"width": 1000, "height": 1240}, color_scheme="light"
    )
    page.goto(written.report.resolve().as_uri())
    page.screenshot(path=directory / "report.png")
    page.close()
    shutil.copyfile(written.directory / "map.png", directory / "map.png")


def settle(page: Page) -> None:
    """Wait until everything is drawn and the answer is there."""
    page.wait_for_selector("html[data-ready=yes]")
    page.wait_for_selector("#answer-box:not(.stale)", timeout=120_000)
    page.wait_for_selector(".bee .range", timeout=120_000)
    page.wait_for_timeout(3000)  # the outline comes in pieces


def main() -> None:
    """Take the pictures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("hunt", type=Path, help="a hunt that was transcribed")
    parser.add_argument("directory", type=Path, help="where the pictures go")
    parser.add_argument("--only", metavar="NAME", help="report.png or a review page's")
    arguments = parser.parse_args()
    arguments.directory.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        copy = Path(shutil.copytree(arguments.hunt, Path(folder) / "hunt"))
        browser = play.chromium.launch(
            executable_path=shutil.which("chromium"),
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        if arguments.only in {None, "report.png"}:
            report_pictures(browser, Hunt(copy), arguments.directory)
        for name, width, height, dots, scheme in PICTURES:
            if arguments.only not in {None, name}:
                continue
            server = ReviewServer(Hunt(copy))
            threading.Thread(target=server.run, daemon=True).start()
            page = browser.new_page(
                viewport={"width": width, "height": height},
                device_scale_factor=dots,
                color_scheme="dark" if scheme == "dark" else "light",
            )
            page.goto(server.address)
            settle(page)
            with_readings = page.query_selector("#rows button:nth-child(1)")
            if with_readings is not None and width > 400:
                page.keyboard.press("ArrowDown")
                page.wait_for_timeout(3000)  # another recording may come up
            path = arguments.directory / name
            page.screenshot(path=path)
            print(f"{path}: {path.stat().st_size / 1024:.0f} KB")
            page.close()
            server.stop()
        browser.close()


if __name__ == "__main__":
    main()
