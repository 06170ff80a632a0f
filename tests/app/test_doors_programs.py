"""Where other programs come in: who is let in, how much is read, and how many photos at once."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from typing import Any

import pytest
from starlette.types import Message

from photocheck.orders.model import STORE_VARIABLE, OrderError, StoreError
from photocheck.orders.store import kept_clients
from photocheck.server.access.clients import end_client, make_client
from photocheck.server.access.rates import Rates
from photocheck.server.interface.asked import Asked
from photocheck.server.interface.problems import Reply
from photocheck_app.doors import programs, settings
from tests.support.waiting import until_in_loop

JSON = {"content-type": "application/json"}
PHOTO = "/api/v1/orders/" + "x" * 43 + "/photos"


@pytest.fixture
def answered(
    monkeypatch: pytest.MonkeyPatch, empty_store: Any, tmp_path: Any
) -> Iterator[list[Asked]]:
    """What came through to be answered, in a store of its own."""
    (tmp_path / "orders.sqlite3").write_bytes(empty_store.read_bytes())
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "orders.sqlite3"))
    monkeypatch.setattr(programs, "COUNTS", Rates())
    came: list[Asked] = []

    def answer(_desk: object, _client: object, asked: Asked) -> Reply:
        came.append(asked)
        return Reply(204)

    monkeypatch.setattr(programs, "answer", answer)
    yield came
    settings.close_stores()


@pytest.fixture
def token(answered: list[Asked]) -> str:
    return make_client(settings.the_store(), "Printer")


def _scope(method: str, path: str, token: str, headers: dict[str, str]) -> dict[str, Any]:
    said = {"Authorization": f"Bearer {token}"} | headers if token else headers
    path, _, query = path.partition("?")
    return {
        "type": "http",
        "method": method,
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": query.encode(),
        "root_path": "",
        "server": ("shop.example", 80),
        "headers": [(name.lower().encode(), value.encode()) for name, value in said.items()],
        "client": ("203.0.113.7", 1),
    }


async def _asked(
    interface: programs.Interface,
    method: str,
    path: str,
    token: str = "",
    parts: tuple[bytes, ...] = (b"",),
    **headers: str,
) -> tuple[int, dict[str, str], bytes]:
    sent: list[Message] = []
    coming = [
        {"type": "http.request", "body": part, "more_body": number < len(parts)}
        for number, part in enumerate(parts, start=1)
    ]

    async def receive() -> Message:
        return coming.pop(0)

    async def send(message: Message) -> None:
        sent.append(message)

    told = {name.replace("_", "-"): value for name, value in headers.items()}
    await interface(_scope(method, path, token, told), receive, send)
    given = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    return sent[0]["status"], given, sent[1]["body"]


def ask(*asked: Any, **more: Any) -> tuple[int, dict[str, str], bytes]:
    return asyncio.run(_asked(programs.Interface(), *asked, **more))


def test_where_no_program_can_come_in_nothing_is_there(answered: list[Asked]) -> None:
    for token in ("", "photocheck_" + "x" * 43):
        status, headers, said = ask("GET", "/api/v1/orders", token)
        assert (status, said) == (404, b"There is no such file.")
        assert headers["content-type"].startswith("text/plain")
    make_client(settings.the_store(), "Printer")
    assert ask("GET", "/api/v1/orders")[0] == 401
    end_client(settings.the_store(), "Printer")
    assert ask("GET", "/api/v1/orders")[0] == 404


def test_what_was_asked_comes_through_as_it_was(answered: list[Asked], token: str) -> None:
    told = {"X_Any": "Thing", **{name.replace("-", "_"): value for name, value in JSON.items()}}
    status, headers, said = ask(
        "POST", "/api/v1/orders?a=1&b=&a=2", token, (b'{"a"', b":1}"), **told
    )
    assert (status, said) == (204, b"")
    assert "content-type" not in headers
    (one,) = answered
    assert (one.method, one.path, one.body) == ("POST", "/orders", b'{"a":1}')
    assert list(one.query) == [("a", "1"), ("b", ""), ("a", "2")]
    assert one.headers["x-any"] == "Thing"


def test_whoever_breaks_off_in_the_middle_of_a_body_is_no_failure(
    answered: list[Asked], token: str
) -> None:
    """A connection that was cut, or pieces that are none: it stood in the log as the server's."""
    coming: list[Message] = [
        {"type": "http.request", "body": b"{", "more_body": True},
        {"type": "http.disconnect"},
    ]
    sent: list[Message] = []

    async def receive() -> Message:
        return coming.pop(0)

    async def send(message: Message) -> None:
        sent.append(message)

    asyncio.run(programs.Interface()(_scope("POST", "/api/v1/orders", token, JSON), receive, send))
    assert (sent, answered, coming) == ([], [], [])


def test_of_two_tokens_none_is_taken(answered: list[Asked], token: str) -> None:
    """What stands before the server may go by the other one."""
    for other in (f"Bearer {token}", "Bearer other"):
        scope = _scope("GET", "/api/v1/orders", token, {})
        scope["headers"].append((b"authorization", other.encode()))
        sent: list[Message] = []

        async def receive() -> Message:
            return {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: Message, sent: list[Message] = sent) -> None:
            sent.append(message)

        asyncio.run(programs.Interface()(scope, receive, send))
        assert sent[0]["status"] == 401
    assert answered == []


def test_what_is_said_in_several_lines_is_one_list(answered: list[Asked], token: str) -> None:
    """RFC 9110, 5.2: of two lines the last counted alone."""
    scope = _scope("GET", "/api/v1/orders", token, {"If-Match": '"one"'})
    scope["headers"].append((b"if-match", b"*"))

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        pass

    asyncio.run(programs.Interface()(scope, receive, send))
    assert answered[0].headers["if-match"] == '"one", *'


def test_guesses_are_counted_and_a_right_token_never_is(answered: list[Asked], token: str) -> None:
    def status(carried: str, **more: str) -> int:
        return ask("GET", "/api/v1/orders", carried, **more)[0]

    for _ in range(40):
        assert ask("GET", "/api/v1/orders")[0] == 401  # who shows nothing guesses nothing
    wrong = ["photocheck_" + "x" * 43, token[:-1], "x"] * 10
    assert {status(one) for one in wrong} == {401}
    assert status("x") == 429
    assert status("", Authorization="Basic x") == 429
    assert status("", Authorization=f"bEaReR  {token} ") == 204  # RFC 9110, 11.1
    assert status("", Authorization=f"Basic {token}") == 429
    assert [status(token) for _ in range(3)] == [204] * 3
    refused = ask("GET", "/api/v1/orders")
    assert refused[1]["www-authenticate"] == "Bearer"


@pytest.mark.parametrize(
    ("parts", "length", "status"),
    [
        ((b"x" * 10,), None, 204),
        ((b"x" * 5, b"x" * 5), None, 204),
        ((b"x" * 5, b"x" * 6), None, 413),
        ((b"x" * 11,), None, 413),
        ((b"x" * 10,), "10", 204),
        ((b"x",), "11", 413),
        ((b"x",), "x", 204),  # the server underneath has its own word on it
    ],
)
def test_no_more_is_read_than_may_be_sent(
    answered: list[Asked],
    token: str,
    monkeypatch: pytest.MonkeyPatch,
    parts: tuple[bytes, ...],
    length: str | None,
    status: int,
) -> None:
    monkeypatch.setattr(programs, "most_bytes", lambda _: 10)
    told = {"content_type": "application/json"} | ({"content_length": length} if length else {})
    said = ask("POST", "/api/v1/orders", token, parts, **told)
    assert said[0] == status
    assert said[1].get("connection") == ("close" if status == 413 else None)
    assert len(answered) == (status == 204)


def test_what_is_not_taken_is_not_read(answered: list[Asked], token: str) -> None:
    for method, path, kind, status in (
        ("GET", "/api/v1/nowhere", "", 404),
        ("PATCH", "/api/v1/orders", "", 405),
        ("POST", "/api/v1/orders", "text/plain", 415),
        ("POST", PHOTO, "text/plain", 415),
    ):
        said = ask(method, path, token, (), content_type=kind)  # reading it would fail
        assert said[0] == status
        assert json.loads(said[2])["status"] == status
    assert answered == []


def test_photos_are_read_a_few_at_a_time_and_others_do_not_wait(
    answered: list[Asked], token: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(programs, "PATIENCE_S", 0.01)
    inside: list[str] = []
    kind: Any = {"content_type": "image/jpeg"}

    async def work() -> None:
        go_on = asyncio.Event()
        interface = programs.Interface()
        with_body = interface._with_body

        async def held(request: Any, *more: Any) -> Reply:
            if request.headers.get("x-hold"):
                inside.append("photo")
                await go_on.wait()
                if request.headers["x-hold"] == "fails":
                    raise OrderError("x")
            return await with_body(request, *more)

        monkeypatch.setattr(interface, "_with_body", held)
        holding = [
            asyncio.create_task(_asked(interface, "POST", PHOTO, token, x_hold=how, **kind))
            for how in ("fails", "x", "x", "x")
        ]
        await until_in_loop(lambda: len(inside) == programs.PHOTOS_AT_ONCE, "all places are taken")
        busy = await _asked(interface, "POST", PHOTO, token, **kind)
        assert (busy[0], busy[1]["retry-after"]) == (503, "60")
        assert (await _asked(interface, "GET", "/api/v1/orders", token))[0] == 204
        go_on.set()
        assert [(await one)[0] for one in holding] == [409, 204, 204, 204]
        for _ in range(programs.PHOTOS_AT_ONCE + 1):  # every place is free again
            assert (await _asked(interface, "POST", PHOTO, token, **kind))[0] == 204
        assert interface._photos._value == programs.PHOTOS_AT_ONCE

    asyncio.run(work())


def test_a_store_that_is_away_is_told_and_stands_in_the_log(
    answered: list[Asked], token: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[object] = []
    monkeypatch.setattr(programs.TROUBLE, "away", told.append)

    def away(_: object) -> bool:
        raise StoreError("away")

    monkeypatch.setattr(programs, "any_client", away)
    status, headers, _ = ask("GET", "/api/v1/orders", token)
    assert (status, headers["retry-after"], len(told)) == (503, "60", 1)
    assert kept_clients.any_client(settings.the_store())


def test_what_changed_is_told_for_as_long_as_the_server_runs(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    noted: list[str] = []

    class Teller:
        def __init__(self, store: object, told: object) -> None:
            assert (store, told) == (programs.the_store, programs.change_told)

        def start(self) -> None:
            noted.append("begins")

        def end(self) -> None:
            noted.append("ends")

    monkeypatch.setattr(programs, "Teller", Teller)

    async def serve() -> None:
        async with programs.telling(None):
            noted.append("serves")
            raise KeyError

    with pytest.raises(KeyError):
        asyncio.run(serve())
    assert noted == ["begins", "serves", "ends"]
