"""Connections before anybody has asked for anything: how many, from where, and how patiently.

The server underneath waits for a request's headers for as long as it takes, and holds as many
connections as come.  Here each has so long for its headers, for the next part of what it brings and
for taking what it is given; and there are so many of one address and of all together, fewer
than the process may have files open.  Where there is no room, whoever has been waiting longest
without asking for anything leaves: first at the address that has most.  So one that only holds
connections open keeps nobody out, be it at the visitor's own address.

Connections from a proxy are not counted by address: who is behind it is known only when it has
asked (`photocheck_app.doors.open_pages` counts those).
"""

from __future__ import annotations

import asyncio
import ipaddress
import os
import re
from collections import defaultdict
from typing import Any, Final

import h11
from uvicorn.protocols.http.flow_control import HIGH_WATER_LIMIT
from uvicorn.protocols.http.h11_impl import H11Protocol
from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol
from websockets.frames import Frame

from photocheck.server.access.rates import visitor
from photocheck.server.serving import is_this_machine
from photocheck_app.doors.sips import SIP_BYTES, Sips

HEADERS_S: Final = 10.0
"""From the first moment, or the first byte of a further request, to the end of the headers."""

IDLE_S: Final = 5
"""Between two requests of one connection."""

PART_S: Final = 30.0
"""Between two parts of a body, or of an answer being taken: a phone in a lift."""

BODY_S: Final = 900.0
"""A whole body: the largest photo at half a megabit a second."""

HEADER_LINES: Final = 100
"""Lines of a request's headers; browsers send some twenty.  Apache's HTTP server takes as many
unless told otherwise (its documentation, LimitRequestFields)."""

PIECES_OF_SIP: Final = 4
"""Of a request: what a kilobyte consists of where chunks are of half a kilobyte or more; those of
programs and proxies are of some (judgement)."""

MOST_PARTS: Final = 512
"""Frames that one message may come in: the largest, in parts of 2 kB."""

OF_ADDRESS: Final = 400
"""Connections of one address: fifty browsers, each with six and its page's own."""

IN_ALL: Final = 4000
"""Connections of all, where the process may have enough files open."""

RESERVED: Final = 200
"""Of the files that the process may have open: the store's, the decoding processes', its own."""

BACKLOG: Final = 100
"""Connections that are taken on in one go."""

TRUSTED_VARIABLE: Final = "FORWARDED_ALLOW_IPS"
"""Environment variable of the server underneath: the proxies it believes."""

_BUSY: Final = (
    b"HTTP/1.1 503 Service Unavailable\r\n"
    b"Content-Type: text/plain; charset=utf-8\r\n"
    b"Retry-After: 10\r\n"
    b"Content-Length: 0\r\n"
    b"Connection: close\r\n\r\n"
)


_TOO_MANY_LINES: Final = (
    b"HTTP/1.1 431 Request Header Fields Too Large\r\n"
    b"Content-Type: text/plain; charset=utf-8\r\n"
    b"Content-Length: 0\r\n"
    b"Connection: close\r\n\r\n"
)
_HEADERS_END = re.compile(rb"\n\r?\n")


def raise_descriptors() -> int:
    """Let this process have as many files open as it may; how many that is."""
    try:
        import resource
    except ImportError:  # Windows has no such bound
        return IN_ALL + RESERVED
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = IN_ALL + RESERVED if hard == resource.RLIM_INFINITY else min(hard, IN_ALL + RESERVED)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
        soft = wanted
    return wanted if soft == resource.RLIM_INFINITY else int(soft)


def is_proxy(address: str) -> bool:
    """Whether others are behind an address: a server of this machine, or one that was named."""
    named = os.environ.get(TRUSTED_VARIABLE, "")
    if is_this_machine(address) or named == "*":
        return True
    for one in filter(None, (part.strip() for part in named.split(","))):
        try:
            if ipaddress.ip_address(address) in ipaddress.ip_network(one, strict=False):
                return True
        except ValueError:
            continue
    return False


class Room:
    """Who is here, and for how many there is room.

    Parameters
    ----------
    in_all, of_address : int
        Most connections.
    """

    def __init__(self, in_all: int = IN_ALL, of_address: int = OF_ADDRESS) -> None:
        self.in_all, self.of_address = in_all, of_address
        self._here: dict[asyncio.BaseTransport, str] = {}
        # In the order in which they began to wait.
        self._waiting: dict[str, dict[asyncio.BaseTransport, None]] = defaultdict(dict)
        self._many: dict[str, int] = defaultdict(int)

    def __len__(self) -> int:
        return len(self._here)

    def enter(self, transport: asyncio.BaseTransport, address: str) -> bool:
        """Take a connection on, in place of one that waits where there is no room."""
        who = "" if is_proxy(address) else visitor(address)
        if who and self._many.get(who, 0) >= self.of_address and not self._send_away(who):
            return False
        if len(self._here) >= self.in_all and not self._send_one_away(who):
            return False
        self._here[transport] = who
        self._many[who] += 1
        self._waiting[who][transport] = None
        return True

    def leave(self, transport: asyncio.BaseTransport) -> None:
        """A connection is gone."""
        who = self._here.pop(transport, None)
        if who is None:
            return
        self._waiting[who].pop(transport, None)
        self._many[who] -= 1
        if not self._many[who]:
            del self._many[who], self._waiting[who]

    def asks(self, transport: asyncio.BaseTransport) -> None:
        """A connection has asked for something: it stays until that is answered."""
        who = self._here.get(transport)
        if who is not None:
            self._waiting[who].pop(transport, None)

    def waits(self, transport: asyncio.BaseTransport) -> None:
        """A connection was answered."""
        who = self._here.get(transport)
        if who is not None:
            self._waiting[who].setdefault(transport)

    def _send_one_away(self, newcomer: str) -> bool:
        own = self._many.get(newcomer, 0)
        busiest = sorted(self._many, key=self._many.__getitem__, reverse=True)
        # Nobody takes the room of an address that has less.
        return any(self._send_away(who) for who in busiest if self._many[who] >= max(own, 1))

    def _send_away(self, who: str) -> bool:
        for transport in self._waiting.get(who, ()):
            self.leave(transport)
            if isinstance(transport, asyncio.Transport):
                transport.abort()
            return True
        return False


ROOM: Final = Room()
"""The one of this server."""


class Patience:
    """Ends a connection that does nothing for too long.

    Parameters
    ----------
    loop : asyncio event loop
    """

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self._timer: asyncio.TimerHandle | None = None

    def wait(self, transport: asyncio.Transport, seconds: float) -> None:
        """From now on, instead of what was waited for."""
        self.end()
        self._timer = self._loop.call_later(seconds, transport.abort)

    def end(self) -> None:
        """Wait for nothing."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    @property
    def waiting(self) -> bool:
        """Whether anything is waited for."""
        return self._timer is not None


class _Counted(h11.Connection):
    """One that knows how many events there were."""

    events = 0

    def next_event(self) -> Any:
        event = super().next_event()
        self.events += event is not h11.NEED_DATA and event is not h11.PAUSED
        return event


class Http(H11Protocol):
    """A connection that asks by HTTP, has only so long, and is read a little at a time."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        most = self.config.h11_max_incomplete_event_size
        self._counted = _Counted(h11.SERVER, *() if most is None else (most,))
        self.conn = self._counted
        self._sips = Sips(self.loop, self._sip, self._at_once, self._read_on)
        self._lines, self._end_of_last, self._stopped = 0, b"", False
        self._reading, self._writing = Patience(self.loop), Patience(self.loop)
        self._body = Patience(self.loop)
        self._admitted = False

    # uvicorn's own says Transport where asyncio's protocol says BaseTransport
    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Somebody has come."""
        super().connection_made(transport)
        self._admitted = ROOM.enter(transport, self.client[0] if self.client else "")
        if not self._admitted:
            transport.write(_BUSY)
            self._close()
            return
        self._reading.wait(transport, HEADERS_S)

    def connection_lost(self, exc: Exception | None) -> None:
        """They have gone."""
        self._end_all()
        self._sips.end()
        ROOM.leave(self.transport)
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """They say something."""
        if not self._admitted:
            return
        self._sips.take(data)
        self._read_on()

    def _read_on(self) -> None:
        self._sips.go_on()
        if self.transport.get_protocol() is not self:
            return
        if self._sips.over:
            self.transport.abort()
        elif self._sips.full:
            self._stopped = True
            self.flow.pause_reading()
        elif self._stopped:
            self._stopped = False
            # Where more has come of a body than was taken, whoever takes it lets it go on.
            if self.cycle is None or len(self.cycle.body) <= HIGH_WATER_LIMIT:
                self.flow.resume_reading()
        self._look()

    def _at_once(self) -> int:
        if self.transport.get_protocol() is not self or self.transport.is_closing():
            return 0
        if self.conn.their_state is h11.IDLE:
            return SIP_BYTES
        if self.conn.their_state is not h11.SEND_BODY:
            return 0  # what comes next is read when this was answered
        if any(name == b"transfer-encoding" for name, _ in self.headers):
            return SIP_BYTES
        return HIGH_WATER_LIMIT  # in one piece

    def _sip(self, part: bytes) -> int:
        before, asking = self._counted.events, self.conn.their_state is h11.IDLE
        if asking:
            self._lines += self._lines_of_headers(part)
            if self._lines > HEADER_LINES:
                self.transport.write(_TOO_MANY_LINES)
                self._close()
                return 0
        super().data_received(part)
        events = self._counted.events - before
        if events:
            self._lines, self._end_of_last = 0, b""
        elif not asking:
            # Between chunks, or behind the last, where there may be headers again.
            self._lines += part.count(b"\n")
            if self._lines > HEADER_LINES:
                self._close()
        return max(0, events - PIECES_OF_SIP)

    def _lines_of_headers(self, part: bytes) -> int:
        """The lines in it that are not of the body behind them."""
        said = self._end_of_last + part
        end = _HEADERS_END.search(said)
        lines: int = said.count(b"\n", 0, end.end() if end else len(said))
        known = self._end_of_last.count(b"\n")
        self._end_of_last = said[-2:]
        return lines - known

    def on_response_complete(self) -> None:
        """They were answered; what they said meanwhile is read next."""
        # Behind a body that was read in one piece there can be any number of requests more.  Who
        # sends those before the answer must be ready to send them again (RFC 9112, 9.3.2).
        if len(self.conn.trailing_data[0]) > SIP_BYTES:
            self._close()
        super().on_response_complete()
        self._read_on()

    def pause_writing(self) -> None:
        """They do not take what they are given."""
        super().pause_writing()
        self._writing.wait(self.transport, PART_S)

    def resume_writing(self) -> None:
        """They have taken some."""
        super().resume_writing()
        self._writing.end()

    def handle_websocket_upgrade(self, event: h11.Request) -> None:
        """They go on by a websocket, which has its own rules."""
        self._end_all()
        self._sips.end()
        ROOM.asks(self.transport)
        super().handle_websocket_upgrade(event)

    def _look(self) -> None:
        if self.transport.get_protocol() is not self:
            return
        if self.transport.is_closing():
            self._close()
            return
        if self.conn.their_state is h11.SEND_BODY:
            ROOM.asks(self.transport)
            self._reading.wait(self.transport, PART_S)
            if not self._body.waiting:
                self._body.wait(self.transport, BODY_S)
            return
        self._body.end()
        if self.cycle is not None and not self.cycle.response_complete:
            ROOM.asks(self.transport)
            self._reading.end()
            return
        ROOM.waits(self.transport)
        if not self._reading.waiting:
            self._reading.wait(self.transport, HEADERS_S)

    def _close(self) -> None:
        # What was written is sent first, to those who take it.
        self._end_all()
        self.transport.close()
        self._writing.wait(self.transport, PART_S)

    def _end_all(self) -> None:
        for patience in (self._reading, self._writing, self._body):
            patience.end()


class Websocket(WebSocketsSansIOProtocol):
    """An open page, read a little at a time.

    The server underneath asks again and again whether it is still there.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._sips = Sips(self.loop, self._sip, self._at_once, self._read_on)
        self._pieces, self._parts = 0, 0

    def data_received(self, data: bytes) -> None:
        """It says something."""
        self._sips.take(data)
        self._read_on()

    async def receive(self) -> Any:
        """The next message; what came behind it is read then."""
        message = await super().receive()
        self._read_on()
        return message

    def _read_on(self) -> None:
        self._sips.go_on()
        if self._sips.over:
            self.transport.abort()
        elif self._sips.full:
            self.transport.pause_reading()
        elif not self.read_paused:
            self.transport.resume_reading()

    def _at_once(self) -> int:
        return 0 if self.read_paused or self.transport.is_closing() else SIP_BYTES

    def _sip(self, part: bytes) -> int:
        self._pieces = 0
        super().data_received(part)
        return self._pieces

    def handle_text(self, event: Frame) -> None:
        """A message, or its first part."""
        self._pieces, self._parts = self._pieces + 1, 1
        super().handle_text(event)

    def handle_bytes(self, event: Frame) -> None:
        """A message, or its first part."""
        self._pieces, self._parts = self._pieces + 1, 1
        super().handle_bytes(event)

    def handle_cont(self, event: Frame) -> None:
        """A further part."""
        self._pieces, self._parts = self._pieces + 1, self._parts + 1
        if self._parts > MOST_PARTS:
            self.transport.abort()
            return
        super().handle_cont(event)

    def handle_ping(self) -> None:
        """It asks whether this side is still there."""
        self._pieces += 1
        super().handle_ping()

    def handle_pong(self, event: Frame) -> None:
        """It is still there."""
        self._pieces += 1
        super().handle_pong(event)

    def connection_lost(self, exc: Exception | None) -> None:
        """It is gone."""
        self._sips.end()
        ROOM.leave(self.transport)
        super().connection_lost(exc)

    def keepalive_timeout(self) -> None:
        """It does not answer, and perhaps takes nothing either."""
        super().keepalive_timeout()
        self.loop.call_later(PART_S, self.transport.abort)
