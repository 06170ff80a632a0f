"""Who is next where one address asks for more than it may: whoever of those there had least.

An address is a household, a school or a whole phone company.  Its pace (`photocheck.server.pace`)
keeps it from taking what others need; within it one of them, with however many connections, must
not take what the rest need.  So turns are not given in the order in which they were asked for, but
to the browser that has had least of late.  A browser is known by what it was given and cannot make
up (`photocheck.server.access.browsers`); all that show nothing of the kind are one together.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable
from math import inf
from time import monotonic
from typing import Final

from cachetools import LRUCache

from photocheck.server.pace import MOST_VISITORS, Bucket, Pace

HALF_S: Final = 20.0
"""After this long half of what was had is forgotten: who hurried through one screen and reads the
next is not held back by it (judgement)."""

MOST_BROWSERS: Final = 2_000
"""Of one address, whose share is remembered; the one not seen for longest begins anew."""

MOST_WAITING: Final = 600
"""At one address."""


class Had:
    """What each of several has had of late.

    Parameters
    ----------
    clock : function
        Seconds from any moment on.

    Examples
    --------
    >>> now = [0.0]
    >>> had = Had(clock=lambda: now[0])
    >>> had.more("one", 8)
    >>> now[0] = 2 * HALF_S
    >>> had.of("one"), had.of("other")
    (2.0, 0.0)
    """

    def __init__(self, clock: Callable[[], float] = monotonic) -> None:
        self._clock = clock
        self._had: LRUCache[str, tuple[float, float]] = LRUCache(MOST_BROWSERS)

    def of(self, who: str) -> float:
        """How much; what is long past counts less."""
        amount, at = self._had.get(who, (0.0, 0.0))
        return amount * float(0.5 ** ((self._clock() - at) / HALF_S)) if amount else 0.0

    def more(self, who: str, amount: float) -> None:
        """One has had more."""
        self._had[who] = self.of(who) + amount, self._clock()


class FullError(Exception):
    """So many wait already that nobody else can, or it took too long."""


class _Ticket:
    def __init__(self, cost: float) -> None:
        self.cost = cost
        self.waits = True
        self.called: asyncio.Future[None] = asyncio.get_running_loop().create_future()


class Line(Bucket):
    """The pace of one address, and those there who wait for their turn; for one event loop.

    Parameters
    ----------
    pace : Pace
    clock : function
        As for `Bucket`.
    """

    def __init__(self, pace: Pace, clock: Callable[[], float] = monotonic) -> None:
        super().__init__(pace, clock)
        self._had = Had(clock)
        # By browser, each in the order in which they came.
        self._waiting: dict[str, deque[_Ticket]] = {}
        self._many = 0
        self._timer: asyncio.TimerHandle | None = None

    def __len__(self) -> int:
        return self._many

    async def turn(self, browser: str, cost: float = 1, *, most_s: float = inf) -> None:
        """Wait until it is a browser's turn.

        Parameters
        ----------
        browser : str
            Empty for those that are not known apart.
        cost : float
            How much it counts.
        most_s : float
            How long it waits at most.

        Raises
        ------
        FullError
            When too many wait, or it would take longer than that.
        """
        cost = min(cost, self.most)
        if not self._many and not self.wait_s(cost, most_s=0):
            self._had.more(browser, cost)
            return
        if self._many >= MOST_WAITING and browser == self._longest():
            raise FullError
        ticket = _Ticket(cost)
        self._waiting.setdefault(browser, deque()).append(ticket)
        self._many += 1
        self._wait()
        try:
            async with asyncio.timeout(None if most_s == inf else most_s):
                await ticket.called
        except TimeoutError:
            raise FullError from None
        finally:
            if ticket.waits:
                self._leave(browser, ticket)

    def now(self, browser: str, cost: float = 1) -> bool:
        """Whether it is a browser's turn without waiting; it is then taken."""
        if self._many or self.wait_s(cost, most_s=0):
            return False
        self._had.more(browser, cost)
        return True

    def _longest(self) -> str:
        return max(self._waiting, key=lambda one: len(self._waiting[one]))

    def _leave(self, browser: str, ticket: _Ticket) -> None:
        self._waiting[browser].remove(ticket)
        self._gone(browser)
        if not self._many and self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _gone(self, browser: str) -> None:
        self._many -= 1
        if not self._waiting[browser]:
            del self._waiting[browser]

    def _next(self) -> str:
        """The browser whose turn is next; among equals who came first."""
        return min(self._waiting, key=self._had.of)

    def _wait(self) -> None:
        if self._timer is None and self._many:
            wait_s = self.until_s(self._waiting[self._next()][0].cost)
            self._timer = asyncio.get_running_loop().call_later(wait_s, self._call)

    def _call(self) -> None:
        self._timer = None
        while self._many:
            browser = self._next()
            ticket = self._waiting[browser][0]
            # Who has just given up takes nothing.
            if not ticket.called.done():
                if self.wait_s(ticket.cost, most_s=0):
                    break
                self._had.more(browser, ticket.cost)
                ticket.called.set_result(None)
            ticket.waits = False
            self._waiting[browser].popleft()
            self._gone(browser)
        self._wait()


class Lines:
    """One for each address.

    Parameters
    ----------
    pace : Pace
    clock : function
        As for `Bucket`.
    """

    def __init__(self, pace: Pace, clock: Callable[[], float] = monotonic) -> None:
        self._pace, self._clock = pace, clock
        self._of: LRUCache[str, Line] = LRUCache(MOST_VISITORS)

    def of(self, who: str) -> Line:
        """The one of an address."""
        line = self._of.get(who)
        if line is None:
            line = self._of[who] = Line(self._pace, self._clock)
        return line
