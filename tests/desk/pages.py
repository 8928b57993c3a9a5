"""The review page opened in a real browser; fixtures for the tests of it."""

from __future__ import annotations

import os
import shutil
import threading
from typing import TYPE_CHECKING, Any, NoReturn

import pytest

from treeward.desk.serve import ReviewServer
from treeward.hunt.hunt import Hunt

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from playwright.sync_api import Browser, Page

    from .conftest import Prepared

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
LOOK_MS = 30_000  # two busy cores may take their time
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1440, "height": 1000}


def lacking(what: str) -> NoReturn:
    """Skip for want of something, unless every test is to run."""
    reason = f"{what} is not installed"
    if os.environ.get("TREEWARD_REQUIRE_ALL_TESTS") == "1":
        pytest.fail(reason)
    pytest.skip(reason)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        lacking("playwright")
    names = ("chromium", "chromium-browser", "google-chrome")
    program = next(filter(None, map(shutil.which, names)), None)
    if program is None:
        lacking("chromium")
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=program, args=FLAGS)
        yield opened
        opened.close()


class Sitting:
    """A page that was opened on a hunt, and all that it asked for."""

    def __init__(self, server: ReviewServer, page: Page) -> None:
        self.server = server
        self.page = page
        self.asked: list[str] = []
        self.faults: list[str] = []
        page.set_default_timeout(LOOK_MS)
        page.on("request", lambda request: self.asked.append(request.url))
        page.on("pageerror", lambda error: self.faults.append(str(error)))
        page.on(
            "console",
            lambda said: (
                self.faults.append(said.text) if said.type == "error" else None
            ),
        )
        page.goto(server.address)
        page.wait_for_selector("html[data-ready=yes]")

    def current(self) -> str | None:
        return self.page.get_attribute('#rows [aria-current="true"]', "data-row")

    def walk_to(self, name: str) -> None:
        """Go to a row by the arrow keys alone."""
        self.page.evaluate("document.activeElement.blur()")
        for key in ("ArrowDown", "ArrowUp"):
            for _ in range(120):
                if self.current() == name:
                    return
                before = self.current()
                self.press(key)
                if self.current() == before:
                    break
        assert self.current() == name

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Callable[..., Sitting]]:
    servers: list[tuple[ReviewServer, threading.Thread]] = []
    contexts = []

    def opened(
        of: Prepared | Hunt, size: dict[str, int] = DESK, *, touch: bool = False
    ) -> Sitting:
        server = ReviewServer(of if isinstance(of, Hunt) else of.hunt)
        thread = threading.Thread(target=server.run)
        thread.start()
        servers.append((server, thread))
        context: Any = browser.new_context(
            viewport=size,  # type: ignore[arg-type]
            has_touch=touch,
            is_mobile=touch,
        )
        contexts.append(context)
        return Sitting(server, context.new_page())

    yield opened
    for context in contexts:
        context.close()
    for server, thread in servers:
        server.stop()
        thread.join(timeout=20)
        assert not thread.is_alive()
