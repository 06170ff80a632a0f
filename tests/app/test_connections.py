"""Connections that ask for nothing, or never finish: how many and how long they are borne.

The server is uvicorn itself, at a port of its own, with a trivial app behind it.
"""

from __future__ import annotations

import asyncio
import resource
from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from starlette.types import Receive, Scope, Send

from photocheck_app import start
from photocheck_app.doors import connections
from photocheck_app.doors.connections import Room
from tests.support.bare_server import all_that_came, bare_server, lifespan
from tests.support.waiting import loop_turns, until_in_loop

HEAD = b"GET / HTTP/1.1\r\nHost: here\r\n"
LONG_S = 1000.0
SHORT_S = 0.05


async def _app(scope: Scope, receive: Receive, send: Send) -> None:
    """Reads all it is sent, and says how much it was; or much, to who asks for much."""
    if scope["type"] == "lifespan":
        return await lifespan(receive, send)
    came = await all_that_came(receive)
    body = b"x" * 50_000_000 if scope["path"] == "/much" else str(came).encode()
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": body})


@pytest.fixture(autouse=True)
def room(monkeypatch: pytest.MonkeyPatch) -> Room:
    fresh = Room(in_all=3)
    monkeypatch.setattr(connections, "ROOM", fresh)
    for name in ("HEADERS_S", "PART_S", "BODY_S"):
        monkeypatch.setattr(connections, name, LONG_S)
    return fresh


def _run(work: Callable[[Callable[[], Awaitable[Any]]], Awaitable[None]]) -> None:
    async def running() -> None:
        async with bare_server(_app, timeout_keep_alive=int(LONG_S)) as place:
            await asyncio.wait_for(work(lambda: asyncio.open_connection(*place)), 60)

    asyncio.run(running())


@pytest.mark.parametrize(
    ("patience", "sent"),
    [
        ("HEADERS_S", b""),
        ("HEADERS_S", HEAD),
        ("HEADERS_S", HEAD + b"\r\n" + HEAD),  # the second of one connection
        ("PART_S", b"PUT / HTTP/1.1\r\nHost: here\r\nContent-Length: 9\r\n\r\nabc"),
        ("BODY_S", b"PUT / HTTP/1.1\r\nHost: here\r\nContent-Length: 9\r\n\r\nabc"),
        ("BODY_S", b"PUT / HTTP/1.1\r\nHost: here\r\nTransfer-Encoding: chunked\r\n\r\n3\r\nabc"),
        ("PART_S", b"GET /much HTTP/1.1\r\nHost: here\r\n\r\n"),  # and never read
    ],
)
def test_who_does_nothing_for_too_long_is_parted_from(
    patience: str, sent: bytes, monkeypatch: pytest.MonkeyPatch, room: Room
) -> None:
    monkeypatch.setattr(connections, patience, SHORT_S)

    async def work(connect: Callable[[], Awaitable[Any]]) -> None:
        _, writer = await connect()
        if b"/much" in sent:
            writer.transport.pause_reading()
        writer.write(sent)
        await until_in_loop(lambda: len(room), "the connection is there")
        await until_in_loop(lambda: not len(room), "the connection was ended")
        writer.close()

    _run(work)


def test_who_asks_is_answered_however_often() -> None:
    async def work(connect: Callable[[], Awaitable[Any]]) -> None:
        reader, writer = await connect()
        for _ in range(3):
            writer.write(b"PUT / HTTP/1.1\r\nHost: here\r\nContent-Length: 3\r\n\r\nabc")
            assert (await reader.readuntil(b"\r\n\r\n")).startswith(b"HTTP/1.1 200 OK")
            assert (await reader.readuntil(b"0\r\n\r\n"))[3:4] == b"3"
        writer.close()

    _run(work)


def test_where_no_room_is_left_who_waited_longest_leaves(room: Room) -> None:
    async def work(connect: Callable[[], Awaitable[Any]]) -> None:
        silent = [await connect() for _ in range(3)]
        silent[2][1].write(HEAD)
        await until_in_loop(lambda: len(room) == 3, "all are there")
        reader, writer = await connect()
        writer.write(HEAD + b"\r\n")
        assert (await reader.readline()) == b"HTTP/1.1 200 OK\r\n"
        assert await silent[0][0].read() == b""
        assert len(room) == 3

    _run(work)


def test_where_all_are_being_served_the_next_is_told(room: Room) -> None:
    async def work(connect: Callable[[], Awaitable[Any]]) -> None:
        served = [await connect() for _ in range(3)]
        for _, writer in served:
            writer.write(b"PUT / HTTP/1.1\r\nHost: here\r\nContent-Length: 9\r\n\r\nabc")
        await until_in_loop(
            lambda: len(room) == 3 and not room._waiting[""], "all are being served"
        )
        reader, writer = await connect()
        assert (await reader.readline()) == b"HTTP/1.1 503 Service Unavailable\r\n"
        assert len(room) == 3

    _run(work)


class Line(asyncio.Transport):
    def __init__(self) -> None:
        super().__init__()
        self.gone = False

    def abort(self) -> None:
        self.gone = True


def test_one_address_takes_no_others_room() -> None:
    room = Room(in_all=6, of_address=4)
    flood = [Line() for _ in range(4)]
    assert all(room.enter(line, "203.0.113.66") for line in flood)
    honest = Line()
    assert room.enter(honest, "203.0.113.7")
    # one more of many: in its own place
    again = Line()
    assert room.enter(again, "203.0.113.66")
    assert [line.gone for line in flood] == [True, False, False, False]
    # all full: whoever has most gives way, and who is being served does not
    room.asks(flood[1])
    others = [Line(), Line()]
    assert all(room.enter(line, f"203.0.113.{8 + n}") for n, line in enumerate(others))
    assert [line.gone for line in (*flood, again)] == [True, False, True, False, False]
    assert not honest.gone
    assert len(room) == 6
    # who has more takes no room of who has less, but the other way about
    for line in (flood[3], again):
        room.asks(line)
    assert not room.enter(Line(), "203.0.113.66")
    assert not honest.gone
    room.waits(flood[1])
    assert room.enter(Line(), "203.0.113.7")
    assert flood[1].gone
    room.leave(honest)
    assert len(room) == 5


def test_whoever_left_is_counted_no_more() -> None:
    """However many came before, one address has as much room as on the first day."""
    room = Room(in_all=50, of_address=3)
    for _ in range(20):
        lines = [Line() for _ in range(3)]
        for line in lines:
            assert room.enter(line, "203.0.113.7")
            room.asks(line)  # and is being served: it gives no place away
        assert not room.enter(Line(), "203.0.113.7")
        for line in lines:
            room.leave(line)
            room.leave(line)  # both ends may tell of it
            room.asks(line)
            room.waits(line)
    assert len(room) == 0
    assert not room._many
    assert not room._waiting


def test_behind_a_proxy_connections_are_not_counted_by_address(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv(connections.TRUSTED_VARIABLE, "10.0.0.0/8, 192.0.2.9")
    room = Room(in_all=100, of_address=2)
    for proxy in ("127.0.0.1", "::1", "10.1.2.3", "192.0.2.9"):
        assert all(room.enter(Line(), proxy) for _ in range(5)), proxy
    lines = [Line() for _ in range(3)]
    for line in lines:
        room.enter(line, "192.0.2.10")
        room.asks(line)
    assert not room.enter(Line(), "192.0.2.10")
    # IPv6: a household is one address (RFC 6177)
    for n in range(3):
        room.enter(line := Line(), f"2001:db8:1:2::{n}")
        room.asks(line)
    assert not room.enter(Line(), "2001:db8:1:2::9")
    assert room.enter(Line(), "2001:db8:1:3::9")


def test_files_may_be_open_for_all_connections(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[tuple[int, int]] = []
    monkeypatch.setattr(resource, "setrlimit", lambda _, both: told.append(both))
    for soft, hard, may in (
        (1024, 4096, 4096),
        (1024, resource.RLIM_INFINITY, 4200),
        (1024, 1024, 1024),
        (20_000, 20_000, 20_000),
    ):
        both = (soft, hard)
        monkeypatch.setattr(resource, "getrlimit", lambda _, both=both: both)
        assert connections.raise_descriptors() == may
    assert told == [(4096, 4096), (4200, resource.RLIM_INFINITY)]


def test_the_shipped_limits_of_connections() -> None:
    assert (connections.IDLE_S, connections.OF_ADDRESS, connections.IN_ALL) == (5, 400, 4000)
    assert (connections.RESERVED, connections.BACKLOG) == (200, 100)
    assert (start.HEADERS_BYTES, start.MOST_BUFFERED_BYTES) == (32_000, 2**20)


def test_who_takes_what_is_given_after_a_while_gets_all_of_it(room: Room) -> None:
    """Only who takes nothing is waited for."""

    async def work(connect: Callable[[], Awaitable[Any]]) -> None:
        reader, writer = await connect()
        writer.transport.pause_reading()
        writer.write(b"GET /much HTTP/1.1\r\nHost: here\r\n\r\n")
        await until_in_loop(lambda: len(room), "the connection is there")
        (there,) = room._here
        asked: Any = there.get_protocol()  # type: ignore[attr-defined]
        await until_in_loop(lambda: asked._writing.waiting, "it is waited for")
        assert asked.flow.write_paused  # and no more of it is held here meanwhile
        writer.transport.resume_reading()
        head = await reader.readuntil(b"\r\n\r\n")
        assert head.startswith(b"HTTP/1.1 200 OK")
        came = 0
        while came < 50_000_000:
            came += len(await reader.read(2**20))
        await until_in_loop(lambda: not asked._writing.waiting, "nothing is waited for")
        # It may ask again: now its further request is waited for, and nothing else.
        await until_in_loop(lambda: asked._reading.waiting, "what comes next is waited for")
        assert not asked._body.waiting
        writer.close()

    _run(work)


def test_patience_is_for_the_last_thing_that_was_waited_for() -> None:
    async def work() -> None:
        patience, gone = connections.Patience(asyncio.get_running_loop()), Line()
        assert not patience.waiting
        patience.wait(gone, 0.0)
        patience.wait(gone, LONG_S)
        await loop_turns(2)
        assert (gone.gone, patience.waiting) == (False, True)
        patience.end()
        assert not patience.waiting
        patience.end()
        patience.wait(gone, 0.0)
        await until_in_loop(lambda: gone.gone, "it is ended")

    asyncio.run(work())


@pytest.mark.parametrize(
    ("named", "address", "proxy"),
    [
        ("", "203.0.113.7", False),
        ("", "127.0.0.1", True),
        ("*", "203.0.113.7", True),
        ("203.0.113.7", "203.0.113.7", True),
        ("203.0.113.7", "203.0.113.8", False),
        ("x, 203.0.113.9/24 ,", "203.0.113.8", True),  # what is no address names nobody
        ("x, y", "203.0.113.8", False),
        ("203.0.113.0/24", "no address", False),
        ("2001:db8::/32", "2001:db8::7", True),
        ("2001:db8::/32", "203.0.113.7", False),
    ],
)
def test_others_are_behind_whom_the_server_believes(
    named: str, address: str, proxy: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(connections.TRUSTED_VARIABLE, named)
    assert connections.is_proxy(address) is proxy
