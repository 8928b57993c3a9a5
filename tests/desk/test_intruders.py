"""What other pages and programs on this machine may try, over a real socket."""

from __future__ import annotations

import json
import socket
import threading
from typing import TYPE_CHECKING

import pytest

from treeward.desk.serve import MOST_BYTES, ReviewServer
from treeward.review.file import cells_of

from .conftest import Prepared
from .test_app import Client, cell

if TYPE_CHECKING:
    from collections.abc import Iterator


class Target:
    """A served review with its cookie, and requests of any shape to it."""

    def __init__(self, server: ReviewServer, prepared: Prepared) -> None:
        self.client = Client(server)
        self.host = server.guard.host
        self.prepared = prepared
        self.before = prepared.hunt.review_path.read_bytes()
        name = prepared.doubtful["mark"]
        self.edit = json.dumps({"edits": [cell(name, "mark", "yellow", "white")]})

    def send(self, raw: bytes, *, patience_s: float = 10.0) -> bytes:
        """Send bytes as they are; return all that comes back."""
        name, _, port = self.host.partition(":")
        got = b""
        with socket.create_connection((name, int(port)), timeout=patience_s) as line:
            try:
                line.sendall(raw)
                while piece := line.recv(65536):
                    got += piece
            except (ConnectionError, TimeoutError):
                pass  # hung up on, or kept waiting, which are answers as well
        return got

    def ask(
        self,
        line: str,
        *,
        body: bytes = b"",
        length: str | None = None,
        **headers: str | None,
    ) -> tuple[int, bytes]:
        """Send one request with the right cookie, and headers changed or left out."""
        given: dict[str, str | None] = {
            "host": self.host,
            "cookie": self.client.cookie,
            "connection": "close",
        }
        if line.startswith("POST"):
            given |= {
                "origin": f"http://{self.host}",
                "content-type": "application/json",
                "content-length": length or str(len(body)),
            }
        given |= {key.replace("_", "-"): value for key, value in headers.items()}
        head = "".join(f"{k}: {v}\r\n" for k, v in given.items() if v is not None)
        got = self.send(f"{line}\r\n{head}\r\n".encode("latin-1") + body)
        return int(got.split(b" ", 2)[1]) if got else 0, got

    def check_unharmed(self) -> None:
        """Check that nothing was written and the page is still served."""
        assert self.prepared.hunt.review_path.read_bytes() == self.before
        assert self.client.get("/api/state")["hunt"] == "Marl Hollow"


@pytest.fixture(scope="module")
def target(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Target]:
    """Serve one hunt to all intruders; each test checks that it is unharmed."""
    prepared = Prepared(tmp_path_factory.mktemp("served") / "hunt", ["station-1.flac"])
    server = ReviewServer(prepared.hunt)
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        yield Target(server, prepared)
    finally:
        server.stop()
        thread.join(timeout=20)
        assert not thread.is_alive()


POST = "POST /api/edit HTTP/1.1"
CHUNKS = (b"1000\r\n" + b"x" * 4096 + b"\r\n") * (MOST_BYTES // 4096 + 2) + b"0\r\n\r\n"


@pytest.mark.parametrize(
    ("changed", "status"),
    [
        # A name of an outside page that was made to resolve to this machine.
        ({"host": "evil.example"}, 421),
        ({"host": "evil.example", "origin": "http://evil.example"}, 421),
        ({"host": "localhost"}, 421),
        ({"host": "127.0.0.1"}, 421),
        ({"host": "[::1]"}, 421),
        ({"host": None}, 400),
        # Another page, in a browser that holds our cookie.
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": None}, 403),
        ({"origin": None, "content_type": "text/plain"}, 403),
        ({"origin": None, "referer": "http://evil.example/"}, 403),
        ({"content_type": "text/plain"}, 415),
        ({"content_type": "application/x-www-form-urlencoded"}, 415),
        ({"content_type": "multipart/form-data; boundary=x"}, 415),
        ({"sec_fetch_site": "cross-site"}, 403),
        # Another program, that has no cookie or guesses one.
        ({"cookie": None}, 403),
        ({"cookie": "treeward=x"}, 403),
    ],
)
def test_a_correction_from_elsewhere_is_refused(
    target: Target, changed: dict[str, str | None], status: int
) -> None:
    got, text = target.ask(POST, body=target.edit.encode(), **changed)

    assert got == status
    assert b"access-control" not in text.lower()
    target.check_unharmed()


@pytest.mark.parametrize(
    "line",
    [
        "POST /api/edit HTTP/1.0",
        "POST http://evil.example/api/edit HTTP/1.1",
        "OPTIONS /api/edit HTTP/1.1",
        "PUT /api/edit HTTP/1.1",
        "CONNECT evil.example:80 HTTP/1.1",
        "TRACE / HTTP/1.1",
    ],
)
def test_odd_requests_change_nothing(target: Target, line: str) -> None:
    got, text = target.ask(
        line, body=target.edit.encode(), origin="http://evil.example"
    )

    assert got == 0 or 400 <= got < 500
    assert b"access-control" not in text.lower()
    target.check_unharmed()


def test_bodies_beyond_the_limit_are_not_taken_in(target: Target) -> None:
    told, _ = target.ask(POST, length=str(MOST_BYTES + 1))
    huge, _ = target.ask(POST, length="9" * 30)
    chunked, _ = target.ask(
        POST, body=CHUNKS, transfer_encoding="chunked", content_length=None
    )
    both, _ = target.ask(
        POST, body=b"0\r\n\r\n" + target.edit.encode(), transfer_encoding="chunked"
    )
    head, _ = target.ask("GET /api/state HTTP/1.1", x_filling="y" * 1_000_000)

    assert told == 413
    assert huge in {400, 413}
    assert chunked in {0, 413}  # 0: hung up while it was still being sent
    assert both in {400, 413, 422}  # never taken for two requests
    assert head in {0, 400, 431}
    target.check_unharmed()


@pytest.mark.parametrize(
    "path",
    [
        "/../../hunt.toml",
        "/../recordings/station-1.flac",
        "/%2e%2e/%2e%2e/hunt.toml",
        "/%252e%252e/hunt.toml",
        "/..%5c..%5chunt.toml",
        "/..\\..\\hunt.toml",
        "/....//hunt.toml",
        "/page.html%00.css",
        "/page.html/../../hunt.toml",
        "//127.0.0.1/hunt.toml",
        "/file:///etc/passwd",
        "/sound/../../hunt.toml/outline",
        "/sound/%2fetc%2fpasswd/clip.wav?start=0&end=1",
        "/sound/%00/outline",
    ],
)
def test_no_path_from_outside_reaches_the_disk(target: Target, path: str) -> None:
    got, text = target.ask(f"GET {path} HTTP/1.1")

    assert got in {400, 404}
    assert b"timezone" not in text
    assert b"root:" not in text
    target.check_unharmed()


def test_what_is_no_request_leaves_the_page_standing(target: Target) -> None:
    for raw in (
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(500),  # TLS
        b"GET / HTTP/9.9\r\n\r\n",
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
        b"\x00" * 100_000,
    ):
        got = target.send(raw, patience_s=0.3)
        assert b" 200 " not in got.partition(b"\r\n")[0]
    upgrade, _ = target.ask(
        "GET /api/state HTTP/1.1",
        connection="close, Upgrade",
        upgrade="websocket",
        sec_websocket_key="dGhlIHNhbXBsZSBub25jZQ==",
        sec_websocket_version="13",
        origin="http://evil.example",
    )

    assert upgrade == 403
    target.check_unharmed()


def test_the_same_request_of_our_own_page_is_let_in(target: Target) -> None:
    status, _ = target.ask(POST, body=target.edit.encode())

    assert status == 200
    assert target.prepared.hunt.review_path.read_bytes() != target.before
    target.prepared.hunt.review_path.write_bytes(target.before)


@pytest.mark.slow
def test_pages_that_save_at_once_lose_nothing_unseen(prepared: Prepared) -> None:
    names = [row.name for row in prepared.desk.sheet().rows][:12]
    shared = prepared.doubtful["mark"]
    servers = [ReviewServer(prepared.hunt) for _ in range(2)]
    threads = [threading.Thread(target=server.run) for server in servers]
    for thread in threads:
        thread.start()
    told: list[tuple[int, int, dict[str, object]]] = []

    def save(number: int, client: Client) -> None:
        mine = cell(names[number], "remark", f"seen by {number}", "")
        contested = cell(shared, "mark", ("blue", "yellow")[number % 2], "white")
        status, said = client.post("/api/edit", {"edits": [mine, contested]})
        told.append((number, status, said))

    try:
        clients = [Client(server) for server in servers]
        savers = [
            threading.Thread(target=save, args=(n, clients[n % 2]))
            for n in range(len(names))
        ]
        for saver in savers:
            saver.start()
        for saver in savers:
            saver.join()
    finally:
        for server, thread in zip(servers, threads, strict=True):
            server.stop()
            thread.join(timeout=20)

    rows = {row.name: cells_of(row) for row in prepared.desk.sheet().rows}
    kept = rows[shared]["mark"]
    assert len(told) == len(names)
    for number, status, said in told:
        wanted = ("blue", "yellow")[number % 2]
        if status == 409:  # the other page kept the file for too long, and said so
            assert "at work on this hunt" in str(said["fault"])
            continue
        assert status == 200
        assert rows[names[number]]["remark"] == f"seen by {number}"
        assert bool(said["conflicts"]) == (wanted != kept)
    assert kept in {"blue", "yellow"}
    assert any(status == 200 for _, status, _ in told)
