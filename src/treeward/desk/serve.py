"""Serves the review page on this machine only, until the person is done.

Who may come in: this machine, this page, with the cookie that the key was given for.
The page listens on 127.0.0.1, but every program and every web page open on this
machine can send requests there. So the address holds a key that is good once and
turns into a cookie; the Host must be ours (a name that an outside page resolves to
127.0.0.1 is not), and so must the Origin of whatever may change something.
"""

from __future__ import annotations

import hmac
import html
import os
import secrets
import shutil
import socket
import stat
import tempfile
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from uvicorn.protocols.http.h11_impl import H11Protocol

from treeward.errors import TreewardError
from treeward.files import PREFIX
from treeward.within import held

if TYPE_CHECKING:
    import asyncio
    from collections.abc import Iterator

    import uvicorn
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from treeward.hunt.hunt import Hunt


MOST_BYTES = 256 * 1024  # of a request's body; a correction has less than one KB
HEADERS = (
    (
        "content-security-policy",
        (
            "default-src 'none'; script-src 'self'; style-src 'self'; "
            "img-src 'self'; media-src 'self' blob:; connect-src 'self'; "
            "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        ),
    ),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(), geolocation=(), microphone=()"),
    ("cache-control", "no-store"),
)
_CLOSED = (
    "This page belongs to a review that was opened from a terminal.\n"
    "Its address is good once. Start it again: treeward review --browser\n"
)
_COME_IN = (
    '<!doctype html><html lang="en"><meta http-equiv="refresh" content="0; url=/">'
    '<title>Treeward review</title><p><a href="/">To the review page</a></p>\n'
)
_NOT_HERE = "This address is not served here.\n"
_NOT_OURS = "Requests from other pages are refused.\n"
_NO_METHOD = "Only GET and POST are answered.\n"
_NO_ORIGIN = "A request that changes something must say its Origin.\n"
_TOO_LARGE = "The request is too large.\n"


class Guard:
    """ASGI application around another one, that lets only our own page in.

    The port that it is served on is part of Host and Origin.
    """

    def __init__(self, app: ASGIApp, *, port: int) -> None:
        self._app = app
        self.host = f"127.0.0.1:{port}"
        self.origin = f"http://{self.host}"
        self.cookie_name = f"treeward_{port}"  # cookies do not tell ports apart
        self._key: str | None = secrets.token_urlsafe(32)
        self._secret = secrets.token_urlsafe(32)
        self.address = f"{self.origin}/?key={self._key}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or refuse with the reason as plain text."""
        if scope["type"] != "http":
            return  # no web sockets here; uvicorn answers 403
        send = _with_headers(send)
        request = Request(scope)
        key = request.query_params.get("key", "") if scope["path"] == "/" else ""
        answer = self._refusal(request, entering=bool(key))
        if answer is None and key:
            answer = self._exchange(request, key)
        elif answer is None and not self._known(request):
            answer = PlainTextResponse(_CLOSED, 403)
        if answer is not None:
            await answer(scope, receive, send)
            return
        await self._limited(scope, receive, send)

    def _refusal(self, request: Request, *, entering: bool) -> Response | None:
        """Return the answer by the first rule that is broken; None where none is.

        Whoever has the key may come from anywhere: the file that leads here is, to a
        browser, another site.
        """
        headers = request.headers
        origin = headers.get("origin")
        changes = request.method == "POST"
        kind = headers.get("content-type", "").partition(";")[0].strip().lower()
        length = headers.get("content-length", "0")
        plain = len(length) < 10 and length.isascii() and length.isdigit()
        too_long = not plain or int(length) > MOST_BYTES
        fetched_by = headers.get("sec-fetch-site", "none")
        ours = entering or fetched_by in {"same-origin", "none"}
        rules = (
            (headers.getlist("host") != [self.host], 421, _NOT_HERE),
            (origin is not None and origin != self.origin, 403, _NOT_OURS),
            (not ours, 403, _NOT_OURS),
            (request.method not in {"GET", "HEAD", "POST"}, 405, _NO_METHOD),
            (changes and origin is None, 403, _NO_ORIGIN),
            (changes and kind != "application/json", 415, "The body must be JSON.\n"),
            (too_long, 413, _TOO_LARGE),
        )
        return next(
            (PlainTextResponse(why, status) for broken, status, why in rules if broken),
            None,
        )

    def _known(self, request: Request) -> bool:
        cookie = request.cookies.get(self.cookie_name, "")
        return hmac.compare_digest(cookie.encode(), self._secret.encode())

    def _exchange(self, request: Request, key: str) -> Response:
        headers = {}
        if self._key is not None and hmac.compare_digest(
            key.encode(), self._key.encode()
        ):
            self._key = None
            headers["set-cookie"] = (
                f"{self.cookie_name}={self._secret}; Path=/; HttpOnly; SameSite=Strict"
            )
        elif not self._known(request):
            return PlainTextResponse(_CLOSED, 403)
        if request.headers.get("sec-fetch-site") == "cross-site":
            # A redirect would still count as coming from there, without our cookie.
            return HTMLResponse(_COME_IN, headers=headers)
        return PlainTextResponse("", 303, headers={"location": "/"} | headers)

    async def _limited(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Take the body in, as long as it is no longer than allowed, and pass it on."""
        body = b""
        more = True
        while more:
            message = await receive()
            if message["type"] != "http.request":
                return  # hung up
            body += message.get("body", b"")
            more = message.get("more_body", False)
            if len(body) > MOST_BYTES:
                await PlainTextResponse(_TOO_LARGE, 413)(scope, receive, send)
                return
        whole: list[Message] = [
            {"type": "http.request", "body": body, "more_body": False}
        ]

        async def given() -> Message:
            return whole.pop() if whole else await receive()

        await self._app(scope, given, send)


def _with_headers(send: Send) -> Send:
    async def dressed(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS:
                headers.setdefault(name, value)
        await send(message)

    return dressed


HEAD_S = 10.0  # a browser sends a request's head in a few ms; choice
MOST_WAITING = 100  # a browser opens six to a host; macOS lets a program have 256 files


class PatientProtocol(H11Protocol):
    """HTTP/1.1 as uvicorn speaks it, with an end to the patience."""

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (uvicorn's)
        super().__init__(*args, **options)
        self._since_s = 0.0
        self._patience: asyncio.TimerHandle | None = None
        self._answered: object = None  # the cycle of request and answer that is over

    @property
    def waiting(self) -> bool:
        """Whether no request has come in, or the last one has been answered."""
        return self.cycle is self._answered  # None before the first

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection, in place of another that waits, if there are too many."""
        super().connection_made(transport)
        self._be_patient()
        waiting = [
            other
            for other in self.connections
            if isinstance(other, PatientProtocol) and other.waiting
        ]
        if len(waiting) > MOST_WAITING:
            min(waiting, key=lambda other: other._since_s)._hang_up()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the patience with it."""
        self._be_done()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Read on; the patience ends when a whole head has come."""
        super().data_received(data)
        if not self.waiting:
            self._be_done()

    def on_response_complete(self) -> None:
        """Wait for the next request, no longer than for the first."""
        self._answered = self.cycle
        self._be_patient()
        super().on_response_complete()
        if not self.waiting:
            self._be_done()

    def _be_patient(self) -> None:
        self._be_done()
        self._since_s = self.loop.time()
        self._patience = self.loop.call_later(HEAD_S, self._hang_up)

    def _be_done(self) -> None:
        if self._patience is not None:
            self._patience.cancel()
            self._patience = None

    def _hang_up(self) -> None:
        self._be_done()
        self.connections.discard(self)
        if not self.transport.is_closing():
            self.transport.abort()


_DOORSTEP = """\
<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="referrer" content="no-referrer">
<meta http-equiv="refresh" content="0; url={address}">
<title>Treeward review</title>
<p><a href="{address}">To the review page</a></p>
"""


class ReviewServer:
    """The review page of a hunt on a free port of 127.0.0.1."""

    def __init__(self, hunt: Hunt) -> None:
        import uvicorn

        from .app import ReviewApp

        self._hunt_dir = hunt.path
        self._machine_dir = hunt.machine_dir
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        exclusive = getattr(socket, "SO_EXCLUSIVEADDRUSE", None)  # Windows has it
        if exclusive is not None:
            self._socket.setsockopt(socket.SOL_SOCKET, exclusive, 1)
        self._socket.bind(("127.0.0.1", 0))
        self._socket.listen()  # a browser that is quicker than we are waits in line
        self.app = ReviewApp(hunt, on_finish=self.stop)
        self.guard = Guard(self.app.starlette, port=self._socket.getsockname()[1])
        self._uvicorn: uvicorn.Server = uvicorn.Server(
            uvicorn.Config(
                self.guard,
                http=PatientProtocol,
                log_level="critical",
                access_log=False,
                lifespan="off",
                ws="none",
                server_header=False,
                timeout_graceful_shutdown=2,
            )
        )

    @property
    def address(self) -> str:
        """The address to open, good once."""
        return self.guard.address

    @contextmanager
    def doorstep(self) -> Iterator[str]:
        """Give the address of a file that leads to the page, as long as that is served.

        What a browser is started with, every user of the machine can read; so that is
        not the key, but a file that its owner alone may read. It lies in the hunt,
        where also a browser may look that is kept out of the system's folders for
        temporary files, or there, if the hunt's disk does not know owners.
        """
        text = _DOORSTEP.format(address=html.escape(self.address)).encode()
        with _private_file(self._hunt_dir, self._machine_dir, text) as path:
            yield path.resolve().as_uri()

    def run(self) -> None:
        """Serve until `stop` is called or Ctrl-C is pressed."""
        try:
            self._uvicorn.run(sockets=[self._socket])
        finally:
            self.app.estimator.close()
            self._socket.close()

    def stop(self) -> None:
        """End soon; may be called from another thread."""
        self._uvicorn.should_exit = True


@contextmanager
def _private_file(hunt_dir: Path, folder: Path, data: bytes) -> Iterator[Path]:
    """Give a file that nobody else can read, gone when the block ends."""
    if os.name != "nt":  # there a folder's rights hold; the person's own is better
        with suppress(OSError, TreewardError), held(hunt_dir, folder, make=True) as own:
            name = own.make_file(f"{PREFIX}open-", ".html")
            try:
                found = own.look(name)
                if found and not found.st_mode & (stat.S_IRWXG | stat.S_IRWXO):
                    (own.path / name).write_bytes(data)
                    yield own.path / name
                    return
            finally:
                own.remove(name)
    temporary = Path(tempfile.mkdtemp(prefix="treeward-"))  # its owner's alone
    try:
        path = temporary / "open.html"
        path.write_bytes(data)
        yield path
    finally:
        shutil.rmtree(temporary, ignore_errors=True)
