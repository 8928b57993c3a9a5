"""The page's server, asked over a real socket by a plain client."""

from __future__ import annotations

import http.client
import json
import threading
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import pytest

from treeward.desk.serve import ReviewServer

from .conftest import said_at

if TYPE_CHECKING:
    from collections.abc import Iterator

    from .conftest import Prepared


class Client:
    """Speaks to the server as its page does."""

    def __init__(self, server: ReviewServer) -> None:
        self.host = server.guard.host
        self.cookie = ""
        status, headers, _ = self.raw("GET", server.address.partition(self.host)[2])
        assert status == 303
        self.cookie = headers["set-cookie"].partition(";")[0]

    def raw(
        self, method: str, path: str, body: bytes | None = None
    ) -> tuple[int, dict[str, str], bytes]:
        connection = http.client.HTTPConnection(self.host, timeout=30)
        headers = {"Cookie": self.cookie}
        if method == "POST":
            headers |= {
                "Origin": f"http://{self.host}",
                "Content-Type": "application/json",
            }
        connection.request(method, path, body, headers)
        answer = connection.getresponse()
        content = answer.read()
        connection.close()
        return answer.status, {k.lower(): v for k, v in answer.getheaders()}, content

    def get(self, path: str) -> Any:
        status, _, content = self.raw("GET", path)
        assert status == 200, content
        return json.loads(content)

    def post(self, path: str, body: Any) -> tuple[int, Any]:
        status, _, content = self.raw("POST", path, json.dumps(body).encode())
        return status, json.loads(content)


@pytest.fixture
def client(prepared: Prepared) -> Iterator[Client]:
    server = ReviewServer(prepared.hunt)
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        yield Client(server)
    finally:
        server.stop()
        thread.join(timeout=20)
        assert not thread.is_alive()


def cell(row: str, column: str, value: str, was: str) -> dict[str, str]:
    return {"kind": "cell", "row": row, "column": column, "value": value, "was": was}


def test_the_page_comes_from_here_alone(client: Client) -> None:
    status, headers, content = client.raw("GET", "/")

    assert status == 200
    assert headers["content-type"] == "text/html; charset=utf-8"
    assert b"http:" not in content
    assert b"https:" not in content


@pytest.mark.parametrize(
    "path",
    [
        "/page.py",
        "/../app.py",
        "/%2e%2e/app.py",
        "/..%2fapp.py",
        "/hunt.toml",
        "/report.html",
        "//etc/passwd",
        "/sound/..%2f..%2fhunt.toml/clip.wav?start=0&end=1",
        "/sound/2026-07-14_1012_station-1.ogg/clip.wav?start=0&end=1",
        "/sound/x/outline",
    ],
)
def test_no_other_file_is_given_out(client: Client, path: str) -> None:
    client.get("/api/state")

    assert client.raw("GET", path)[0] == 404


def test_the_state_holds_rows_queue_trips_and_sounds(
    client: Client, prepared: Prepared
) -> None:
    state = client.get("/api/state")

    names = prepared.doubtful
    assert state["hunt"] == "Marl Hollow"
    assert state["queue"][0] == names["value"]
    assert set(state["queue"]) == set(names.values())
    said = [kind for _, kind, _, _ in said_at("station-1.flac")]
    assert state["trips"]["counts"].endswith(f", {said.count('bearing') - 1} bearings")
    (sound,) = state["sounds"].values()
    assert sound["duration_s"] > 60


def test_a_correction_is_saved_and_comes_back_with_its_undo(
    client: Client, prepared: Prepared
) -> None:
    name = prepared.doubtful["mark"]

    status, told = client.post(
        "/api/edit", {"edits": [cell(name, "mark", "yellow", "white")]}
    )

    assert status == 200
    assert told["undo"] == [cell(name, "mark", "white", "yellow")]
    assert name not in told["queue"]
    assert prepared.row(name).event.mark == "yellow"


def test_a_conflict_comes_back(client: Client, prepared: Prepared) -> None:
    name = prepared.doubtful["mark"]
    prepared.change_by_hand(name, mark="blue")

    _, told = client.post(
        "/api/edit", {"edits": [cell(name, "mark", "yellow", "white")]}
    )

    assert told["conflicts"] == [
        {
            "row": name,
            "column": "mark",
            "was": "white",
            "theirs": "blue",
            "mine": "yellow",
        }
    ]
    assert prepared.row(name).event.mark == "blue"


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({}, 422),
        ({"edits": []}, 422),
        ({"edits": [{"kind": "cell"}]}, 422),
        ({"edits": [{"kind": "shell", "row": "r1"}]}, 422),
        ({"edits": [cell("r0001", "heard", "x", "")]}, 409),
        ({"edits": [cell("r0001", "event", "landing", "station")]}, 409),
        ({"edits": [cell("r0001", "nothing", "x", "")]}, 409),
    ],
)
def test_a_faulty_request_is_one_line_and_changes_nothing(
    client: Client, prepared: Prepared, body: Any, status: int
) -> None:
    before = prepared.hunt.review_path.read_bytes()

    got, told = client.post("/api/edit", body)

    assert got == status
    assert told["fault"]
    assert "Traceback" not in told["fault"]
    assert prepared.hunt.review_path.read_bytes() == before


def test_a_body_that_is_no_json_is_refused(client: Client) -> None:
    assert client.raw("POST", "/api/edit", b"{")[0] == 422


def test_a_typed_phrase_is_read(client: Client) -> None:
    status, told = client.post("/api/read", {"text": "yellow away"})
    assert (status, told["plain"], told["said"]) == (200, True, ["yellow away"])
    assert told["adds"] == [{"event": "away", "mark": "yellow", "value": ""}]
    status, told = client.post("/api/read", {"text": "good morning"})
    assert status == 200
    assert "is no note" in told["none"]


def test_a_sentence_is_read_as_what_a_row_should_say(
    client: Client, prepared: Prepared
) -> None:
    row = prepared.row(prepared.doubtful["mark"])  # "white away" for yellow's

    sent = {"text": "red away, bearing one oh eight", "row": row.name}
    told = client.post("/api/read", sent)[1]

    assert told["row"] == {"event": "away", "mark": "red", "value": ""}
    assert told["said"] == ["red away", "bearing 108 (red)"]
    assert not told["plain"]
    (added,) = told["adds"]
    assert (added["mark"], added["value"]) == ("red", "108")
    assert float(added["start_s"]) == row.event.start_s
    assert f"{row.event.clock:%H:%M:%S}" in added["clock"]
    same = client.post("/api/read", {"text": "white away", "row": row.name})[1]
    assert same["same"]
    assert client.post("/api/read", {"text": "x", "row": "r9999"})[1]["none"]


def test_a_note_that_stands_beside_the_row_is_not_offered_again(
    client: Client, prepared: Prepared
) -> None:
    away, bearing = next(
        (one, other)
        for one, other in pairwise(prepared.desk.sheet().rows)
        if (one.event.kind, other.event.kind) == ("away", "bearing")
    )
    text = f"{away.event.mark} away, bearing {bearing.event.value}"

    assert client.post("/api/read", {"text": text, "row": away.name})[1]["adds"] == []
    # One of another value is.
    told = client.post("/api/read", {"text": f"{text[:-1]}9", "row": away.name})[1]
    assert [note["event"] for note in told["adds"]] == ["bearing"]


def test_a_line_is_offered_as_notes(client: Client, prepared: Prepared) -> None:
    entry = {"start_s": 150.0, "end_s": 152.0, "marks": [], "text": "she's off again"}
    path = prepared.hunt.machine_dir / "unread.json"
    path.write_text(json.dumps({"station-1.flac": [entry]}), "utf-8")
    (line,) = client.get("/api/state")["lines"]

    status, told = client.post("/api/offers", {"line": line["key"]})

    assert status == 200
    assert len(told["offers"]) <= 9
    gone = line["key"] | {"text": "something else"}
    assert client.post("/api/offers", {"line": gone})[0] == 409
    first = told["offers"][0]
    last = [
        row.event.mark
        for row in prepared.desk.sheet().rows
        if row.event.mark and (row.event.start_s or 0.0) <= 150.0
    ][-1]
    assert first["said"] == f"{last} away"
    assert first["notes"] == [{"event": "away", "mark": last, "value": ""}]


def test_sound_comes_as_a_clip_and_as_an_outline(client: Client) -> None:
    (sound,) = client.get("/api/state")["sounds"].values()
    base = f"/sound/{sound['key']}"

    status, headers, clip = client.raw("GET", f"{base}/clip.wav?start=10&end=12.5")
    refused = client.raw("GET", f"{base}/clip.wav?start=10&end=900")[0]
    broken = client.raw("GET", f"{base}/clip.wav?start=x&end=9")[0]
    first = client.raw("GET", f"{base}/outline?from=0")

    assert (status, headers["content-type"]) == (200, "audio/wav")
    assert len(clip) == 44 + 2.5 * 16_000 * 2
    assert (refused, broken) == (422, 422)
    assert first[0] == 200
    assert first[1]["x-bin-seconds"] == "0.02"


def test_a_faulty_file_is_told_with_its_row(client: Client, prepared: Prepared) -> None:
    name = prepared.doubtful["value"]
    prepared.change_by_hand(name, event="landing")

    status, _, content = client.raw("GET", "/api/state")

    assert status == 409
    assert f"({name}): event: 'landing' is no event" in json.loads(content)["fault"]
