"""How much one visitor has open at once, and how fast open pages may ask."""

from __future__ import annotations

import asyncio
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial
from time import monotonic
from typing import Final

from starlette.types import Message, Receive, Send

from photocheck.server.access.rates import MEGABYTE, too_often
from photocheck.server.pace import (
    MESSAGES_OF_PAGE,
    PAGES_OF_ADDRESS,
    PROVIDER_OF_ADDRESS,
    REQUESTS_OF_ADDRESS,
    WORK_OF_ADDRESS,
    Bucket,
)
from photocheck.server.strain import STRAIN
from photocheck.server.turns import FullError, Lines
from photocheck_app.doors.crowd import CROWD

MOST_PAGES: Final = 150
"""Open at one address: a few dozen people with a few each."""

MOST_REQUESTS: Final = 100
"""Being answered at one address, once their turn has come, without the files that pages are
made of."""

LONGEST_WAIT_S: Final = 4.0
"""For one's turn; who has waited longer is told to come again.  Less than a proxy in between waits
before it takes the server for one that hangs (help/workshop.md, "Several servers")."""

LONGEST_VISIT_S: Final = 10.0
"""The same for opening a page, for which a proxy waits longer."""

BYTES_OF_ONE: Final = 20_000
"""A message counts once more for each of so many bytes."""

VISIT_S: Final = 0.004
"""Of a processor, for opening a page and closing it, without its first run (measured)."""

FILE_S: Final = 0.0004
"""Of a processor, for one of the files that pages are made of, 113 for a first visit (measured: a
third of a millisecond)."""

FILE_MEGABYTE_S: Final = 0.002
"""The same for each megabyte sent of it.  The server's own part is 0.2 to 0.4 ms (measured); the
rest is for the line by which all visitors are reached: one address has no more than 300 MB of it a
second, and a first visit, 1 MB pressed, costs a twentieth more (judgement)."""

MESSAGE_S: Final = 0.008
"""Of a processor, for a message and what is answered, without the run between.  More than the
about 2 ms of one whose run ends: one that breaks off a run has the framework begin another, and of
such whoever does not wait for the answer sends many (judgement)."""

RUN_MOST_S: Final = 0.05
"""So much of a run counts: more is a photo that came or a check, of which an address and a link
have so many an hour (`photocheck.server.access.rates`), and whose visitor does not come again at
once."""

NEWCOMERS_S: Final = 0.2
"""What a browser counts as having had that is here for the first time: about what one has had that
does something every three seconds.  To come as another browser each time is no way past those who
are at work here (judgement)."""

AWAY_CODE: Final = 1013
"""Of a websocket whose place somebody else is given: "try again later" (IANA's registry of close
codes).  The page opens again by itself, and goes on where it was."""


@dataclass(frozen=True)
class Asking:
    """Who asks.

    Attributes
    ----------
    address : str
        As `photocheck.server.access.rates.visitor` says.
    browser : str
        As `photocheck.server.access.browsers.known_apart` says; empty for one that is not known
        apart from others of its address.
    """

    address: str
    browser: str = ""


PAGES: Final = Lines(PAGES_OF_ADDRESS, price=STRAIN.price)
REQUESTS: Final = Lines(REQUESTS_OF_ADDRESS, price=STRAIN.price)
PROVIDER: Final = Lines(PROVIDER_OF_ADDRESS)

VISIT: Final = "visit"
MESSAGE: Final = "message"
FILE: Final = "file"
"""The kinds of work: who opens pages, one after another, takes no turns from those that are open,
nor they from whoever comes; nor does either wait for those who ask for files without end."""

WORK: Final = Lines(
    WORK_OF_ADDRESS,
    newcomers=NEWCOMERS_S,
    held_back=lambda address: (VISIT, MESSAGE) if CROWD.too_many(address) else (),
    price=STRAIN.price,
)
"""What begins a run waits while many of that address wait already."""


@dataclass(eq=False)
class Stay:
    """Somebody's place among those of an address, for as long as it is theirs.

    Attributes
    ----------
    browser : str
    send_away : function
        Has whoever is here leave; what it does twice is done once.
    silent : bool
        Whether it is waited for: then it can be sent away.
    used : bool
        Whether more was asked for than what it began with.
    since : float
        From when on.
    """

    browser: str
    send_away: Callable[[], None]
    silent: bool = False
    used: bool = False
    since: float = field(default_factory=monotonic)

    @contextmanager
    def waited_for(self) -> Iterator[None]:
        """It is for as long as the block lasts."""
        self.silent, self.since = True, monotonic()
        try:
            yield
        finally:
            self.silent = False


class Places:
    """How many of one address are here at once.

    Where all places are taken, the browser that has most gives one up: the one that was silent
    longest.  So who has many keeps nobody out who has few.
    """

    def __init__(self) -> None:
        self._here: dict[str, dict[Stay, None]] = defaultdict(dict)

    def __len__(self) -> int:
        return sum(map(len, self._here.values()))

    @contextmanager
    def one_more(self, who: Asking, most: int, send_away: Callable[[], None]) -> Iterator[Stay]:
        """A place for as long as the block lasts.

        Parameters
        ----------
        who : Asking
        most : int
            Places of its address.
        send_away : function
            As for `Stay`.

        Raises
        ------
        TooOftenError
            When all are taken, and nobody has more than who asks.
        """
        here = self._here[who.address]
        place = Stay(who.browser, send_away)
        if len(here) >= most and not self._one_away(here, who.browser, most):
            raise too_often(1.0)
        here[place] = None
        try:
            yield place
        finally:
            here.pop(place, None)
            # Who was sent away may end when others have come since.
            if not here and self._here.get(who.address) is here:
                del self._here[who.address]

    def _one_away(self, here: dict[Stay, None], newcomer: str, most: int) -> bool:
        many = Counter(place.browser for place in here)
        # Those that are not known apart are many, and each of them takes the place of none that is.
        least = many[newcomer] + (1 if newcomer else 2)
        silent = [place for place in here if place.silent and many[place.browser] >= least]
        more = [place for place in silent if many[place.browser] > least]
        if not more and max(many.values()) > least and len(here) < 2 * most:
            # Nothing of those who have many here can be broken off, and it is soon done.
            return True
        if not silent:
            return False
        # Of those who have no more than who comes, one that nothing was done on yet.
        leaves = max(
            more or silent, key=lambda place: (many[place.browser], not place.used, -place.since)
        )
        del here[leaves]
        leaves.send_away()
        return True


OPEN: Final = Places()
ANSWERED: Final = Places()


async def turn(of: Lines, who: Asking) -> None:
    """Wait until it is a visitor's turn, for no longer than `LONGEST_WAIT_S`.

    Raises
    ------
    TooOftenError
        When that is too long.
    """
    await _called(of, who, 1, "", LONGEST_WAIT_S)


async def may_visit(who: Asking) -> None:
    """Wait until a visitor may open a page, for no longer than `LONGEST_VISIT_S`.

    Raises
    ------
    TooOftenError
        When that is too long.
    """
    await _called(WORK, who, VISIT_S, VISIT, LONGEST_VISIT_S)


async def _called(of: Lines, who: Asking, cost: float, kind: str, most_s: float) -> None:
    STRAIN.came(who.address)
    try:
        await of.of(who.address).turn(who.browser, cost, kind=kind, most_s=most_s)
    except FullError:
        raise too_often(1.0) from None


async def may_have_file(who: Asking, size: int) -> None:
    """Wait until a visitor may have one of the files that pages are made of, as `turn`.

    Parameters
    ----------
    who : Asking
    size : int
        Bytes, as they are sent.

    Raises
    ------
    TooOftenError
        When that is too long.
    """
    cost = FILE_S + FILE_MEGABYTE_S * size / MEGABYTE
    await _called(WORK, who, cost, FILE, LONGEST_WAIT_S)


def ran(who: Asking, took_s: float, *, first: bool) -> None:
    """A run of a visitor's page took so much of a processor; from any thread.

    Parameters
    ----------
    first : bool
        Whether it was the first of a page, which belongs to opening it.
    """
    if _loop is None:
        return  # nothing was opened by way of these doors
    took_s = min(took_s, RUN_MOST_S)
    owe = partial(WORK.of(who.address).owe, who.browser, took_s, kind=VISIT if first else MESSAGE)
    with suppress(RuntimeError):  # the server has ended meanwhile
        _loop.call_soon_threadsafe(owe)


def owes(address: str, running_s: float) -> bool:
    """Whether an address has had more of a processor than it may; from any thread.

    Parameters
    ----------
    running_s : float
        What runs have had that have not ended, which is not counted elsewhere yet.
    """
    return WORK.of(address).until_s(running_s) > 0


_loop: asyncio.AbstractEventLoop | None = None


class Leaving:
    """What comes next, for as long as whoever it comes from may stay.

    Attributes
    ----------
    place : Stay or None
        That it has, where it may be sent away.
    """

    def __init__(self) -> None:
        self._away = asyncio.Event()
        self.place: Stay | None = None

    def send_away(self) -> None:
        """Have it leave, to come again."""
        self._away.set()

    async def next(self, receive: Receive) -> Message | None:
        """The next message, or None where it is to leave."""
        if self.place is None:
            return await receive()
        coming = asyncio.ensure_future(receive())
        away = asyncio.ensure_future(self._away.wait())
        try:
            with self.place.waited_for():
                await asyncio.wait({coming, away}, return_when=asyncio.FIRST_COMPLETED)
            return coming.result() if coming.done() else None
        finally:
            away.cancel()
            coming.cancel()


class Page(Leaving):
    """An open page's connection, between the server and Streamlit.

    What has not been taken from the connection is not read from it, so that whoever asks faster
    than a page and its address may is slowed by it filling up.

    Parameters
    ----------
    receive, send : ASGI receive and send
    who : Asking

    Attributes
    ----------
    left : bool
        Whether the visitor has gone, or was sent away.
    """

    def __init__(self, receive: Receive, send: Send, who: Asking) -> None:
        global _loop
        super().__init__()
        _loop = asyncio.get_running_loop()
        self._receive, self._send, self._who = receive, send, who
        self._own, self._shared = Bucket(MESSAGES_OF_PAGE), WORK.of(who.address)
        self.left, self._begun = False, False
        # From here on: who reads first what there is, is less of a newcomer by then.
        self._shared.came(who.browser)

    async def receive(self) -> Message:
        """As ASGI's receive, once it is this page's turn."""
        if self.left:
            return {"type": "websocket.disconnect", "code": 1005}
        message = await self.next(self._receive)
        if message is None:
            return await self._shut(AWAY_CODE)
        if message["type"] == "websocket.receive":
            if message.get("bytes") is None:
                # Pages send none; Streamlit would write a traceback into the log.
                return await self._shut(1003)
            STRAIN.came(self._who.address)
            cost = 1 + len(message["bytes"]) / BYTES_OF_ONE
            first, self._begun = not self._begun, True
            if self.place is not None:
                self.place.used = not first
            if wait_s := self._own.wait_s(cost):
                await asyncio.sleep(wait_s)
            # What a page begins with belongs to opening it.
            if not first or len(message["bytes"]) > BYTES_OF_ONE:
                await self._shared.turn(self._who.browser, MESSAGE_S * cost, kind=MESSAGE)
        elif message["type"] == "websocket.disconnect":
            self.left = True
        return message

    async def _shut(self, code: int) -> Message:
        self.left = True
        await self._send({"type": "websocket.close", "code": code})
        return {"type": "websocket.disconnect", "code": code}

    async def send(self, message: Message) -> None:
        """As ASGI's send."""
        if self.left:
            raise OSError
        try:
            await self._send(message)
        except OSError:  # ASGI's word for a visitor who has gone
            self.left = True
            raise
        except RuntimeError as error:
            if self.left:  # sent away while this waited to be written
                raise OSError from error
            raise
