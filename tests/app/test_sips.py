"""What comes in crumbs is read a little at a time, and nobody else waits for it.

The server is uvicorn itself, with a trivial app behind it; its clients are websockets' own and bare
connections.  How long pieces are waited for is set so that it is never over, or at once.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable
from typing import Any, Final

import pytest
from starlette.types import Receive, Scope, Send
from websockets.asyncio.client import connect
from websockets.exceptions import ConnectionClosed

from photocheck.server.pace import Pace
from photocheck_app.doors import connections, sips
from tests.support.bare_server import all_that_came, bare_server, lifespan
from tests.support.waiting import until_in_loop

NEVER: Final = Pace(a_second=1e-9, at_once=10)
AT_ONCE: Final = Pace(a_second=1e9, at_once=10)

CHUNKED: Final = b"PUT / HTTP/1.1\r\nHost: here\r\nTransfer-Encoding: chunked\r\n\r\n"
ASKS: Final = b"GET / HTTP/1.1\r\nHost: here\r\n\r\n"


async def _app(scope: Scope, receive: Receive, send: Send) -> None:
    """Says how much it was sent; a page, message by message."""
    if scope["type"] == "lifespan":
        await lifespan(receive, send)
    elif scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.accept"})
        while (message := await receive())["type"] == "websocket.receive":
            came = message["bytes"]
            await send({"type": "websocket.send", "text": json.dumps([len(came), sum(came)])})
    else:
        body = str(await all_that_came(receive)).encode()
        length = (b"content-length", str(len(body)).encode())
        await send({"type": "http.response.start", "status": 200, "headers": [length]})
        await send({"type": "http.response.body", "body": body})


class Place:
    """Where the server is."""

    def __init__(self, host: str, port: int) -> None:
        self.host, self.port = host, port

    async def bare(self, sent: bytes = b"") -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        reader, writer = await asyncio.open_connection(self.host, self.port)
        writer.write(sent)
        return reader, writer

    async def answers(self) -> None:
        """Somebody else is answered."""
        reader, writer = await self.bare(ASKS)
        assert await told(reader) == (200, b"0")
        writer.close()


async def told(reader: asyncio.StreamReader) -> tuple[int, bytes]:
    head = await reader.readuntil(b"\r\n\r\n")
    (length,) = [
        int(line.partition(b":")[2])
        for line in head.split(b"\r\n")
        if line.lower().startswith(b"content-length")
    ]
    return int(head.split()[1]), await reader.readexactly(length)


def _run(work: Callable[[Place], Awaitable[None]]) -> None:
    async def running() -> None:
        bounds = {"ws_max_size": 2**20, "h11_max_incomplete_event_size": 32_000}
        async with bare_server(_app, **bounds) as place:
            await asyncio.wait_for(work(Place(*place)), 60)

    asyncio.run(running())


@pytest.fixture
def held(monkeypatch: pytest.MonkeyPatch) -> list[sips.Sips]:
    """Those of all connections, of which none has pieces again once its own are used up."""
    made: list[sips.Sips] = []
    begin = sips.Sips.__init__

    def noted(self: sips.Sips, *args: Any) -> None:
        begin(self, *args)
        made.append(self)

    monkeypatch.setattr(sips.Sips, "__init__", noted)
    monkeypatch.setattr(sips, "PIECES_OF_CONNECTION", NEVER)
    return made


# --- headers -------------------------------------------------------------------------------


@pytest.mark.parametrize("split", [1, 7, 1024, 10**6])
@pytest.mark.parametrize("more", [-1, 0, 1])
def test_a_request_has_so_many_lines_and_no_more(
    split: int, more: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sips, "SIP_BYTES", split)
    monkeypatch.setattr(connections, "SIP_BYTES", split)
    # The first line, `Host` and the empty one are lines too; those of the body are none.
    lines = b"".join(b"x-%d: y\r\n" % k for k in range(connections.HEADER_LINES - 4 + more))
    body = b"\n" * 500
    asked = b"PUT / HTTP/1.1\r\nHost: here\r\n%sContent-Length: %d\r\n\r\n" % (lines, len(body))

    async def work(place: Place) -> None:
        for _ in range(2):
            reader, writer = await place.bare(asked + body)
            if more <= 0:
                assert await told(reader) == (200, b"500")
                writer.write(asked + body)
                assert await told(reader) == (200, b"500")  # each request has as many
            else:
                assert (await told(reader))[0] == 431
                assert await reader.read() == b""
            writer.close()

    _run(work)


def test_lines_behind_the_last_chunk_are_counted_too() -> None:
    async def work(place: Place) -> None:
        line, body = b"x: %s\r\n" % (b"y" * 50), CHUNKED + b"3\r\nabc\r\n0\r\n"
        reader, writer = await place.bare(body + line * 20 + b"\r\n")
        assert await told(reader) == (200, b"3")
        writer.close()
        reader, writer = await place.bare(body + line * 150 + b"\r\n")
        assert b"200" not in await reader.read()
        writer.close()

    _run(work)


# --- bodies --------------------------------------------------------------------------------


def test_a_body_of_crumbs_is_not_read_on_and_others_are_answered(held: list[sips.Sips]) -> None:
    async def work(place: Place) -> None:
        _, writer = await place.bare(CHUNKED + b"1\r\n&\r\n" * 40_000)
        await until_in_loop(lambda: any(one.full for one in held), "it is held")
        await place.answers()
        (one,) = [one for one in held if one.full]
        assert len(one._unread) <= 2**18  # what came in one go, and no more is taken meanwhile
        writer.close()

    _run(work)


@pytest.mark.parametrize("chunk", [512, 5000, 65_536])
def test_a_body_in_usual_chunks_is_read_as_ever(chunk: int, held: list[sips.Sips]) -> None:
    body = b"%x\r\n%s\r\n" % (chunk, b"\n" * chunk) * (400_000 // chunk)

    async def work(place: Place) -> None:
        reader, writer = await place.bare(CHUNKED + body + b"0\r\n\r\n")
        assert await told(reader) == (200, b"%d" % (400_000 // chunk * chunk))
        writer.close()

    _run(work)


def test_a_body_of_crumbs_is_read_on_where_there_is_room_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sips, "PIECES_OF_CONNECTION", AT_ONCE)

    async def work(place: Place) -> None:
        reader, writer = await place.bare(CHUNKED + b"1\r\n&\r\n" * 9000 + b"0\r\n\r\n")
        assert await told(reader) == (200, b"9000")
        writer.write(ASKS)
        assert await told(reader) == (200, b"0")
        writer.close()

    _run(work)


def test_requests_behind_one_are_answered_in_turn_but_not_any_number_behind_a_body() -> None:
    async def work(place: Place) -> None:
        reader, writer = await place.bare(ASKS * 50)
        for _ in range(50):
            assert await told(reader) == (200, b"0")
        writer.close()
        body = b"PUT / HTTP/1.1\r\nHost: here\r\nContent-Length: 3\r\n\r\nabc"
        reader, writer = await place.bare(body + ASKS)
        assert await told(reader) == (200, b"3")
        assert await told(reader) == (200, b"0")
        writer.close()
        many = b"x: " + b"y" * 5000 + b"\r\n"
        tall = b"PUT / HTTP/1.1\r\nHost: here\r\nContent-Length: 2000\r\n\r\n" + b"a" * 2000
        reader, writer = await place.bare(tall + ASKS[:-2] + many + b"\r\n")
        assert await told(reader) == (200, b"2000")
        assert await reader.read() == b""
        writer.close()

    _run(work)


def test_a_large_body_comes_whole() -> None:
    async def work(place: Place) -> None:
        body = b"\n" * 3_000_000
        head = b"PUT / HTTP/1.1\r\nHost: here\r\nContent-Length: %d\r\n\r\n" % len(body)
        reader, writer = await place.bare(head + body)
        assert await told(reader) == (200, b"3000000")
        writer.write(ASKS)
        assert await told(reader) == (200, b"0")
        writer.close()

    _run(work)


# --- pages ---------------------------------------------------------------------------------

PING: Final = b"\x89\x80\0\0\0\0"
NOTHING: Final = b"\x82\x80\0\0\0\0"
BEGINS: Final = b"\x02\x81\0\0\0\0a"
GOES_ON: Final = b"\0\x80\0\0\0\0"
"""RFC 6455, 5.2: final or not, what it is, masked and how long, a mask of noughts, and content."""


def _page(place: Place) -> Any:
    return connect(f"ws://{place.host}:{place.port}", proxy=None, compression=None, max_size=None)


@pytest.mark.parametrize(
    ("first", "again"),
    [(b"", PING), (b"", NOTHING), (BEGINS, GOES_ON), (b"", b"\x8a\x80\0\0\0\0")],
    ids=["asking", "nothing", "parts of nothing", "answers to nothing"],
)
def test_frames_of_a_page_that_sends_too_many_are_not_read_on(
    first: bytes, again: bytes, held: list[sips.Sips]
) -> None:
    async def work(place: Place) -> None:
        async with _page(place) as page:
            page.transport.write(first + again * 40_000)
            await until_in_loop(lambda: any(one.full for one in held), "it is held")
            await place.answers()
            (one,) = [one for one in held if one.full]
            assert len(one._unread) <= 2**18
            page.transport.abort()

    _run(work)


def test_messages_come_whole_and_in_their_order(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sips, "PIECES_OF_CONNECTION", AT_ONCE)
    sizes = [0, 1, 125, 126, 1000, 1024, 1025, 65_535, 65_536, 1_000_000, 3]
    sent = [bytes(k % 251 for k in range(size)) for size in sizes]

    async def work(place: Place) -> None:
        async with _page(place) as page:
            for one in sent:
                await page.send(one)
            for one in sent:
                assert json.loads(await page.recv()) == [len(one), sum(one)]
            await page.send([b"ab"] * 100)  # in a hundred parts
            assert json.loads(await page.recv()) == [200, 100 * sum(b"ab")]
            await (await page.ping())

    _run(work)


def test_a_message_in_more_parts_than_any_browser_makes_is_not_waited_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sips, "PIECES_OF_CONNECTION", AT_ONCE)

    async def work(place: Place) -> None:
        async with _page(place) as page:
            # websockets ends them with a part of nothing
            await page.send([b"a"] * (connections.MOST_PARTS - 1))
            assert json.loads(await page.recv())[0] == connections.MOST_PARTS - 1
            page.transport.write(BEGINS + GOES_ON * connections.MOST_PARTS)
            with pytest.raises(ConnectionClosed):
                await page.recv()

    _run(work)


# --- by itself -----------------------------------------------------------------------------


def test_pieces_are_paid_for_and_what_is_held_is_read_when_they_are_there_again() -> None:
    async def work() -> None:
        read: list[bytes] = []

        def one(part: bytes) -> int:
            read.append(part)
            return 1

        again = asyncio.Event()
        here = sips.Sips(asyncio.get_running_loop(), one, lambda: 2, again.set)
        here.take(b"abcde")
        here.go_on()
        assert (read, here.full) == ([b"ab", b"cd", b"e"], False)
        read.clear()
        here.take(b"x" * 2 * (int(sips.PIECES_OF_CONNECTION.at_once) + 7))
        here.go_on()
        # three were used up, and one more is read before it is known that there is none left
        assert len(read) == sips.PIECES_OF_CONNECTION.at_once - 3 + 1
        assert here.full
        await asyncio.wait_for(again.wait(), 60)
        here.go_on()
        assert len(read) > sips.PIECES_OF_CONNECTION.at_once - 3 + 1
        here.end()
        assert not here.full

    asyncio.run(work())


def test_more_than_ever_lies_unread_is_told() -> None:
    async def work() -> None:
        here = sips.Sips(asyncio.get_running_loop(), len, lambda: 0, lambda: None)
        here.take(bytes(sips.MOST_UNREAD))
        assert not here.over
        here.take(b"a")
        assert here.over

    asyncio.run(work())
