"""Many connections that say nothing, odd numbers, and who sees the key."""

from __future__ import annotations

import contextlib
import http.client
import os
import socket
import stat
import threading
import time
import urllib.parse
import urllib.request
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from treeward.cli import transcribe as command
from treeward.desk import serve
from treeward.desk.serve import ReviewServer
from treeward.errors import ReviewError

from .conftest import Prepared
from .test_app import Client

if TYPE_CHECKING:
    from collections.abc import Iterator

HALF = b"GET /api/state HTTP/1.1\r\nHost: 127.0.0.1"


@pytest.fixture(scope="module")
def served(
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[tuple[ReviewServer, Prepared]]:
    prepared = Prepared(tmp_path_factory.mktemp("crowd") / "hunt", ["station-1.flac"])
    server = ReviewServer(prepared.hunt)
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        yield server, prepared
    finally:
        server.stop()
        thread.join(timeout=20)
        assert not thread.is_alive()


@pytest.fixture(scope="module")
def owner(served: tuple[ReviewServer, Prepared]) -> Client:
    return Client(served[0])


def connect(owner: Client, sent: bytes) -> socket.socket:
    name, _, port = owner.host.partition(":")
    line = socket.create_connection((name, int(port)), timeout=20)
    line.sendall(sent)
    return line


@pytest.mark.slow
def test_the_owner_works_beside_500_half_open_connections(owner: Client) -> None:
    lines = []
    try:
        for number in range(500):
            lines.append(connect(owner, (b"", HALF, b"\r\n")[number % 3]))
            if number % 50 == 0:
                assert owner.get("/api/state")["hunt"] == "Marl Hollow"
        for _ in range(5):
            assert owner.get("/api/state")["hunt"] == "Marl Hollow"
    finally:
        for line in lines:
            line.close()


@pytest.mark.slow
def test_a_burst_of_requests_is_answered(owner: Client) -> None:
    answers: list[int] = []

    def ask() -> None:
        answers.append(owner.raw("GET", "/api/pulse")[0])

    threads = [threading.Thread(target=ask) for _ in range(200)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert answers == [200] * 200


@pytest.mark.parametrize("sent", [b"", HALF])
def test_who_says_nothing_is_hung_up_on(
    owner: Client, sent: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve, "HEAD_S", 0.3)
    with connect(owner, sent) as line, contextlib.suppress(ConnectionResetError):
        assert line.recv(100) == b""


def test_who_goes_on_slowly_after_an_answer_is_hung_up_on(
    owner: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve, "HEAD_S", 0.6)
    head = f"GET / HTTP/1.1\r\nHost: {owner.host}\r\n\r\n".encode()
    with connect(owner, head) as line:
        assert line.recv(65536).startswith(b"HTTP/1.1 403")
        with pytest.raises((ConnectionError, BrokenPipeError)):  # noqa: PT012
            for _ in range(100):
                line.sendall(b"G")
                time.sleep(0.05)
            raise AssertionError("still open")


def test_a_request_that_takes_its_time_is_not_hung_up_on(
    served: tuple[ReviewServer, Prepared],
    owner: Client,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(serve, "HEAD_S", 0.2)
    plain = served[0].app.desk.state

    def slowly() -> object:
        time.sleep(1.0)
        return plain()

    monkeypatch.setattr(served[0].app.desk, "state", slowly)

    assert owner.get("/api/state")["hunt"] == "Marl Hollow"


NUMBERS = ("inf", "-inf", "nan", "1e300", "1e18", "-1e300", "9" * 400, "1e-300", "0x1")


@pytest.mark.slow
@pytest.mark.parametrize("number", NUMBERS)
def test_no_number_of_seconds_is_a_fault_of_ours(owner: Client, number: str) -> None:
    (sound,) = owner.get("/api/state")["sounds"].values()
    end = f"{number}1" if number.isdigit() else number
    for query in (f"start={number}&end=2", f"start=1&end={number}", f"start={number}"):
        status, _, _ = owner.raw("GET", f"/sound/{sound['key']}/clip.wav?{query}")
        assert status in {200, 409, 422}
    status, _, _ = owner.raw("GET", f"/sound/{sound['key']}/outline?from={end}")
    assert status in {200, 422}
    cells = {"event": "back", "mark": "blue", "recording": "station-1.flac"}
    for name in ("start_s", "end_s", "clock"):
        new = {"kind": "add", "cells": {**cells, name: number}}
        status, said = owner.post("/api/edit", {"edits": [new]})
        assert status in {200, 409, 422}
        assert status == 200 or said["fault"]
    assert owner.get("/api/state")["hunt"] == "Marl Hollow"


def test_more_seconds_than_a_recording_has_are_refused(prepared: Prepared) -> None:
    name = prepared.doubtful["mark"]
    prepared.change_by_hand(name, start_s="1e300")

    with pytest.raises(ReviewError, match="more seconds than any recording"):
        prepared.desk.sheet()


def test_the_page_plays_nothing_from_outside_the_hunt(
    prepared: Prepared, tmp_path: Path
) -> None:
    sound = prepared.hunt.recordings_dir / "station-1.flac"
    sound.replace(tmp_path / "mine.flac")
    sound.symlink_to(tmp_path / "mine.flac")

    assert prepared.desk.shelf.sound_for("station-1.flac") is None


# --- who sees the key ---------------------------------------------------------------


def test_the_browser_is_started_with_a_file_that_only_its_owner_reads(
    prepared: Prepared, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[str] = []
    read: list[tuple[int, str]] = []
    seen = threading.Event()

    def open_browser(address: str) -> bool:
        started.append(address)
        path = Path(urllib.request.url2pathname(urllib.parse.urlparse(address).path))
        read.append((path.stat().st_mode, path.read_text("utf-8")))
        seen.set()
        return True

    def run(server: ReviewServer) -> None:
        assert seen.wait(10)
        keys.append(server.address)
        server._socket.close()
        server.app.estimator.close()

    keys: list[str] = []
    monkeypatch.setattr("webbrowser.open", open_browser)
    monkeypatch.setattr(ReviewServer, "run", run)
    command._serve(prepared.hunt, open_page=True)

    (address,) = started
    ((mode, text),) = read
    assert address.startswith("file:///")
    assert "key" not in address
    assert keys[0].partition("key=")[2] not in address
    assert keys[0] in text
    if os.name != "nt":
        assert stat.S_IMODE(mode) & 0o077 == 0
    path = urllib.request.url2pathname(urllib.parse.urlparse(address).path)
    assert not Path(path).exists()  # gone with the page


def test_the_file_lies_elsewhere_where_the_disk_knows_no_owners(
    prepared: Prepared, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("treeward.within.Held.look", lambda *_: Path("/").stat())
    server = ReviewServer(prepared.hunt)
    with server.doorstep() as address:
        path = Path(urllib.request.url2pathname(urllib.parse.urlparse(address).path))
        assert prepared.hunt.path not in path.parents
        assert path.parent.stat().st_mode & 0o077 == 0
    assert not path.parent.exists()
    server._socket.close()
    server.app.estimator.close()


def test_coming_from_the_file_one_gets_in_and_a_redirect_is_not_used(
    prepared: Prepared,
) -> None:
    server = ReviewServer(prepared.hunt)
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        host = server.guard.host
        line = http.client.HTTPConnection(host, timeout=20)
        path = server.address.partition(host)[2]
        line.request("GET", path, headers={"Sec-Fetch-Site": "cross-site"})
        answer = line.getresponse()
        body = answer.read().decode()
        line.close()
    finally:
        server.stop()
        thread.join(timeout=20)

    assert answer.status == 200
    assert 'content="0; url=/"' in body
    assert "SameSite=Strict" in (answer.getheader("set-cookie") or "")
    assert server.address.partition("key=")[2] not in body
