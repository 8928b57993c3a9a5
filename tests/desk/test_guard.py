"""Nobody but the page that was opened with the key comes in."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pytest

from treeward.desk.serve import MOST_BYTES, Guard

if TYPE_CHECKING:
    from starlette.types import Message, Receive, Scope, Send

PORT = 51515
HOST = f"127.0.0.1:{PORT}"
ORIGIN = f"http://{HOST}"
JSON = "application/json"


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes


async def inside(scope: Scope, receive: Receive, send: Send) -> None:
    """Read the whole body and say how long it was."""
    assert scope["type"] == "http"
    size = 0
    while True:
        message = await receive()
        size += len(message.get("body", b""))
        if not message.get("more_body"):
            break
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": f"inside {size}".encode()})


def knock(
    guard: Guard,
    path: str = "/api/state",
    *,
    method: str = "GET",
    query: str = "",
    headers: dict[str, str] | None = None,
    raw: list[tuple[bytes, bytes]] | None = None,
    chunks: tuple[bytes, ...] = (b"",),
) -> Answer:
    given = {"host": HOST} | (headers or {})
    scope: dict[str, Any] = {
        "type": "http",
        "method": method,
        "path": path,
        "query_string": query.encode(),
        "headers": [(n.encode(), v.encode()) for n, v in given.items()] + (raw or []),
    }
    messages: list[Message] = [
        {"type": "http.request", "body": chunk, "more_body": n + 1 < len(chunks)}
        for n, chunk in enumerate(chunks)
    ]
    sent: list[Message] = []

    async def receive() -> Message:
        return messages.pop(0)

    async def send(message: Message) -> None:
        sent.append(message)

    asyncio.run(guard(scope, receive, send))
    return Answer(
        status=sent[0]["status"],
        headers={n.decode(): v.decode() for n, v in sent[0]["headers"]},
        body=sent[1]["body"],
    )


@pytest.fixture
def guard() -> Guard:
    return Guard(inside, port=PORT)


@pytest.fixture
def cookie(guard: Guard) -> dict[str, str]:
    answer = knock(guard, "/", query=guard.address.partition("?")[2])
    return {"cookie": answer.headers["set-cookie"].partition(";")[0]}


def test_the_key_is_exchanged_for_a_cookie_once(guard: Guard) -> None:
    query = guard.address.partition("?")[2]

    first, second = (knock(guard, "/", query=query) for _ in range(2))

    assert first.status == 303
    assert first.headers["location"] == "/"
    assert first.headers["set-cookie"].endswith("; Path=/; HttpOnly; SameSite=Strict")
    assert second.status == 403
    assert "set-cookie" not in second.headers


def test_reloading_the_address_with_the_cookie_leads_to_the_page(
    guard: Guard, cookie: dict[str, str]
) -> None:
    again = knock(guard, "/", query=guard.address.partition("?")[2], headers=cookie)

    assert again.status == 303


def test_the_address_names_this_machine_only_and_the_key_is_long(guard: Guard) -> None:
    head, _, key = guard.address.partition("/?key=")

    assert head == ORIGIN
    assert len(key) >= 43  # 32 bytes
    assert Guard(inside, port=PORT).address != guard.address


@pytest.mark.parametrize(
    "headers",
    [{}, {"cookie": f"treeward_{PORT}=x"}, {"cookie": "treeward_1=x"}, {"cookie": "="}],
)
@pytest.mark.parametrize("path", ["/", "/api/state", "/sound/x/clip.wav", "/desk.css"])
def test_nothing_is_shown_without_the_cookie(
    guard: Guard, path: str, headers: dict[str, str]
) -> None:
    answer = knock(guard, path, headers=headers)

    assert answer.status == 403
    assert b"treeward review --browser" in answer.body


def test_a_wrong_key_is_refused(guard: Guard) -> None:
    assert knock(guard, "/", query="key=abc").status == 403
    assert knock(guard, "/", query="key=%C3%A9").status == 403


@pytest.mark.parametrize(
    "host",
    ["evil.example", "localhost", f"localhost:{PORT}", "127.0.0.1", "", f"{HOST}.x"],
)
def test_another_host_is_refused_even_with_the_cookie(
    guard: Guard, cookie: dict[str, str], host: str
) -> None:
    assert knock(guard, headers=cookie | {"host": host}).status == 421


def test_two_hosts_are_refused(guard: Guard, cookie: dict[str, str]) -> None:
    twice = [(b"host", HOST.encode())]

    assert knock(guard, headers=cookie, raw=twice).status == 421


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": f"https://{HOST}"},
        {"origin": f"http://127.0.0.1:{PORT + 1}"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_requests_of_other_pages_are_refused(
    guard: Guard, cookie: dict[str, str], headers: dict[str, str]
) -> None:
    assert knock(guard, headers=cookie | headers).status == 403


def test_what_changes_something_needs_origin_and_json(
    guard: Guard, cookie: dict[str, str]
) -> None:
    def post(**headers: str) -> int:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return knock(guard, method="POST", headers=cookie | named).status

    assert post(content_type=JSON) == 403
    assert post(origin=ORIGIN) == 415
    assert post(origin=ORIGIN, content_type="text/plain") == 415
    assert post(origin=ORIGIN, content_type=JSON) == 200
    assert knock(guard, method="DELETE", headers=cookie).status == 405


@pytest.mark.parametrize("length", [str(MOST_BYTES + 1), "9" * 5000, "-1", "²", "x"])
def test_a_body_that_says_it_is_too_long_is_refused(
    guard: Guard, cookie: dict[str, str], length: str
) -> None:
    assert knock(guard, headers=cookie | {"content-length": length}).status == 413


def test_a_body_that_turns_out_too_long_is_refused(
    guard: Guard, cookie: dict[str, str]
) -> None:
    headers = cookie | {"origin": ORIGIN, "content-type": JSON}
    half = b"x" * (MOST_BYTES // 2)

    fits = knock(guard, method="POST", headers=headers, chunks=(half, half))
    long = knock(guard, method="POST", headers=headers, chunks=(half, half, b"x"))

    assert fits.body == f"inside {MOST_BYTES}".encode()
    assert long.status == 413


def test_every_answer_forbids_what_comes_from_outside(
    guard: Guard, cookie: dict[str, str]
) -> None:
    for answer in (knock(guard, headers=cookie), knock(guard)):
        rules = answer.headers["content-security-policy"]
        assert rules.startswith(
            "default-src 'none'; script-src 'self'; style-src 'self'"
        )
        assert "http" not in rules
        assert "unsafe" not in rules
        assert answer.headers["cache-control"] == "no-store"
        assert answer.headers["x-content-type-options"] == "nosniff"
