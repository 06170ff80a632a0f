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
from collections import defaultdict
from typing import Any, Final

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol
from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol

from photocheck.server.access.rates import visitor
from photocheck.server.serving import is_this_machine

HEADERS_S: Final = 10.0
"""From the first moment, or the first byte of a further request, to the end of the headers."""

IDLE_S: Final = 5
"""Between two requests of one connection."""

PART_S: Final = 30.0
"""Between two parts of a body, or of an answer being taken: a phone in a lift."""

BODY_S: Final = 900.0
"""A whole body: the largest photo at half a megabit a second."""

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


class Http(H11Protocol):
    """A connection that asks by HTTP, and has only so long."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
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
        ROOM.leave(self.transport)
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """They say something."""
        if not self._admitted:
            return
        super().data_received(data)
        self._look()

    def on_response_complete(self) -> None:
        """They were answered; what they said meanwhile is read next."""
        super().on_response_complete()
        self._look()

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
    """An open page; the server underneath asks every half minute whether it is still there."""

    def connection_lost(self, exc: Exception | None) -> None:
        """It is gone."""
        ROOM.leave(self.transport)
        super().connection_lost(exc)

    def keepalive_timeout(self) -> None:
        """It does not answer, and perhaps takes nothing either."""
        super().keepalive_timeout()
        self.loop.call_later(PART_S, self.transport.abort)
