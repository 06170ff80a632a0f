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
from dataclasses import dataclass
from functools import partial
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

LOOKS_AGAIN_S: Final = 0.02
"""Between two looks whether there is any to spare."""

BEHIND_S: Final = 0.1
"""A timer that comes later than this finds a server that is behind (judgement)."""


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


class Lately:
    """Who asked last, and when anybody but them did.

    Parameters
    ----------
    clock : function
        As for `Had`.

    Examples
    --------
    >>> at = iter([0.0, 5.0, 5.0, 5.0])
    >>> lately = Lately(at.__next__)
    >>> for who in ("one", "other"):
    ...     lately.asked(who)
    >>> lately.since_others_s("one"), lately.since_others_s("other")
    (0.0, 5.0)
    """

    def __init__(self, clock: Callable[[], float] = monotonic) -> None:
        self._clock = clock
        self._who, self._at, self._before_them = "", -inf, -inf

    def asked(self, who: str) -> None:
        """An address asks for something."""
        if who != self._who:
            self._who, self._before_them = who, self._at
        self._at = self._clock()

    def since_others_s(self, who: str) -> float:
        """How long ago any other address asked."""
        return self._clock() - (self._before_them if who == self._who else self._at)


class FullError(Exception):
    """So many wait already that nobody else can, or it took too long."""


class _Ticket:
    def __init__(self, cost: float) -> None:
        self.cost = cost
        self.waits = True
        self.called: asyncio.Future[None] = asyncio.get_running_loop().create_future()


@dataclass(frozen=True)
class Spare:
    """What an address may have beyond its pace, which keeps it from taking what others need: while
    there are no others, and the server itself is not behind.  It goes to browsers that are known
    apart; the others together could have all of it.

    Attributes
    ----------
    pace : Pace
        At most.
    alone : function of an address
        Whether nobody else wants anything now.
    """

    pace: Pace
    alone: Callable[[str], bool]


class Line(Bucket):
    """The pace of one address, and those there who wait for their turn; for one event loop.

    Parameters
    ----------
    pace : Pace
    clock : function
        As for `Bucket`.
    spare : Spare, optional
    who : str
        The address.
    """

    def __init__(
        self,
        pace: Pace,
        clock: Callable[[], float] = monotonic,
        spare: Spare | None = None,
        who: str = "",
    ) -> None:
        super().__init__(pace, clock)
        self._had = Had(clock)
        self._more = None if spare is None else Bucket(spare.pace, clock)
        self._alone = partial(spare.alone, who) if spare else None
        self._due = inf
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
            cost = self._waiting[self._next()][0].cost
            wait_s = self.until_s(cost)
            if self._more is not None:
                # Whether there is any to spare is seen then.
                wait_s = min(wait_s, max(self._more.until_s(cost), LOOKS_AGAIN_S))
            loop = asyncio.get_running_loop()
            self._due = loop.time() + wait_s
            self._timer = loop.call_later(wait_s, self._call)

    def _any_spare(self) -> bool:
        """Whether there may be more than the pace: a timer that comes late says that the server is
        behind with what it has."""
        late_s = asyncio.get_running_loop().time() - self._due
        return self._alone is not None and late_s < BEHIND_S and self._alone()

    def _take(self, browser: str, cost: float, spare: bool) -> bool:
        if not self.wait_s(cost, most_s=0):
            return True
        if self._more is None or not (spare and browser):
            return False
        return not self._more.wait_s(cost, most_s=0)

    def _call(self) -> None:
        self._timer = None
        spare = self._any_spare()
        while self._many:
            browser = self._next()
            ticket = self._waiting[browser][0]
            # Who has just given up takes nothing.
            if not ticket.called.done():
                if not self._take(browser, ticket.cost, spare):
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
    spare : Spare, optional
    """

    def __init__(
        self,
        pace: Pace,
        clock: Callable[[], float] = monotonic,
        spare: Spare | None = None,
    ) -> None:
        self._pace, self._clock, self._spare = pace, clock, spare
        self._of: LRUCache[str, Line] = LRUCache(MOST_VISITORS)

    def of(self, who: str) -> Line:
        """The one of an address."""
        line = self._of.get(who)
        if line is None:
            line = self._of[who] = Line(self._pace, self._clock, self._spare, who)
        return line
