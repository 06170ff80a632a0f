"""Who is next where one address asks for more than it may: whoever of those there had least.

An address is a household, a school or a whole phone company.  Its pace (`photocheck.server.pace`)
keeps it from taking what others need; within it one of them, with however many connections, must
not take what the rest need.  So turns are not given in the order in which they were asked for, but
to the browser that has had least of late.  A browser is known by what it was given and cannot make
up (`photocheck.server.access.browsers`); all that show nothing of the kind are one together.

Whoever comes as another browser each time has always had least.  So that this keeps nobody waiting
without an end, every third turn goes to who has waited longest.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Collection
from functools import partial
from math import inf
from time import monotonic
from typing import Final

from cachetools import LRUCache

from photocheck.server.pace import MOST_VISITORS, Bucket, Pace

HALF_S: Final = 20.0
"""After this long half of what was had is forgotten: who hurried through one screen and reads the
next is not held back by it (judgement)."""

LONGEST_EVERY: Final = 3
"""Of so many turns one goes to who has waited longest: however many come after, nobody waits longer
than it takes to serve those who came before (judgement: of those who ask for all there is, who asks
for little feels a third)."""

MOST_BROWSERS: Final = 2_000
"""Of one address, whose share is remembered; the one not seen for longest begins anew."""

MOST_WAITING: Final = 600
"""At one address."""

LOOKS_S: Final = 0.05
"""Until a line is looked at again in which nobody could be called for being held back."""


class Had:
    """What each of several has had of late.

    Parameters
    ----------
    clock : function
        Seconds from any moment on.
    newcomers : float
        What one that was not seen before counts as having had by then.

    Examples
    --------
    >>> now = [0.0]
    >>> had = Had(clock=lambda: now[0])
    >>> had.more("one", 8)
    >>> now[0] = 2 * HALF_S
    >>> had.of("one"), had.of("other")
    (2.0, 0.0)
    """

    def __init__(self, clock: Callable[[], float] = monotonic, newcomers: float = 0.0) -> None:
        self._clock, self._newcomers = clock, newcomers
        self._had: LRUCache[str, tuple[float, float]] = LRUCache(MOST_BROWSERS)

    def of(self, who: str) -> float:
        """How much; what is long past counts less."""
        amount, at = self._had.get(who, (0.0, 0.0))
        return amount * float(0.5 ** ((self._clock() - at) / HALF_S)) if amount else 0.0

    def came(self, who: str) -> None:
        """One is here, perhaps for the first time."""
        if who not in self._had:
            self._had[who] = self._newcomers, self._clock()

    def more(self, who: str, amount: float) -> None:
        """One has had more."""
        self._had[who] = self.of(who) + amount, self._clock()


def goes_to_longest(called: int) -> bool:
    """Whether the next turn, after so many, is for who has waited longest (`LONGEST_EVERY`)."""
    return called % LONGEST_EVERY == LONGEST_EVERY - 1


class FullError(Exception):
    """So many wait already that nobody else can, or it took too long."""


class _Ticket:
    def __init__(self, cost: float, number: int) -> None:
        self.cost, self.number = cost, number
        self.waits = True
        self.called: asyncio.Future[None] = asyncio.get_running_loop().create_future()


class _Kind:
    """Those who wait for turns of one kind."""

    def __init__(self) -> None:
        # By browser, each in the order in which they came.
        self.waiting: dict[str, deque[_Ticket]] = {}
        self.called = 0
        # What this kind has had; while nobody waits it falls behind, and is not given it later.
        self.had = 0.0

    def next(self, had: Had) -> str:
        """The browser whose turn is next; among equals who came first."""
        if goes_to_longest(self.called):
            return min(self.waiting, key=lambda one: self.waiting[one][0].number)
        return min(self.waiting, key=had.of)


class Line(Bucket):
    """The pace of one address, and those there who wait for their turn; for one event loop.

    Where turns are of several kinds, all kinds that are waited for get equal shares.

    Parameters
    ----------
    pace : Pace
    clock : function
        As for `Bucket`.
    newcomers : float
        As for `Had`.
    held_back : function, optional
        The kinds of which just now nobody is called, whatever the pace.
    price : function, optional
        As for `Bucket`.
    """

    def __init__(
        self,
        pace: Pace,
        clock: Callable[[], float] = monotonic,
        newcomers: float = 0.0,
        held_back: Callable[[], Collection[str]] = tuple,
        price: Callable[[], float] = lambda: 1.0,
    ) -> None:
        super().__init__(pace, clock, price)
        self._held_back = held_back
        self._had = Had(clock, newcomers)
        self._kinds: dict[str, _Kind] = {}
        self._had_by_kinds = 0.0
        self._many = 0
        self._came = 0
        self._timer: asyncio.TimerHandle | None = None

    def __len__(self) -> int:
        return self._many

    def came(self, browser: str) -> None:
        """A browser is here, and will ask for turns; empty for those that are not known apart."""
        self._had.came(browser)

    async def turn(
        self, browser: str, cost: float = 1, *, kind: str = "", most_s: float = inf
    ) -> None:
        """Wait until it is a browser's turn.

        Parameters
        ----------
        browser : str
            Empty for those that are not known apart.
        cost : float
            How much it counts.
        kind : str
            Of which kind the turn is.
        most_s : float
            How long it waits at most.

        Raises
        ------
        FullError
            When too many wait, or it would take longer than that.
        """
        cost = min(cost, self.most)
        self.came(browser)
        free = not self._many and kind not in self._held_back()
        if free and not self.wait_s(cost, most_s=0):
            self._had.more(browser, cost)
            return
        if self._many >= MOST_WAITING and browser == self._longest():
            raise FullError
        self._came += 1
        ticket = _Ticket(cost, self._came)
        of = self._kinds.setdefault(kind, _Kind())
        if not of.waiting:
            of.had = max(of.had, self._had_by_kinds)
        of.waiting.setdefault(browser, deque()).append(ticket)
        self._many += 1
        self._wait()
        try:
            async with asyncio.timeout(None if most_s == inf else most_s):
                await ticket.called
        except TimeoutError:
            raise FullError from None
        finally:
            if ticket.waits:
                self._leave(of, browser, ticket)

    def now(self, browser: str, cost: float = 1) -> bool:
        """Whether it is a browser's turn without waiting; it is then taken."""
        if self._many or self.wait_s(cost, most_s=0):
            return False
        self._had.more(browser, cost)
        return True

    def owe(self, browser: str, cost: float, *, kind: str = "") -> None:
        """What a turn took turned out to be more by so much; whoever comes next waits for it."""
        self.wait_s(cost)
        self._had.more(browser, cost)
        if kind in self._kinds:
            self._kinds[kind].had += cost

    def _longest(self) -> str:
        """The browser that waits for most."""
        many = [(len(line), one) for of in self._kinds.values() for one, line in of.waiting.items()]
        return max(many)[1]

    def _leave(self, of: _Kind, browser: str, ticket: _Ticket) -> None:
        of.waiting[browser].remove(ticket)
        self._gone(of, browser)
        if not self._many and self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _gone(self, of: _Kind, browser: str) -> None:
        self._many -= 1
        if not of.waiting[browser]:
            del of.waiting[browser]

    def _next(self) -> tuple[_Kind, str] | None:
        """Of whom the next turn is; None where all who wait are held back."""
        back = self._held_back()
        waiting = [of for kind, of in self._kinds.items() if of.waiting and kind not in back]
        if not waiting:
            return None
        of = min(waiting, key=lambda one: one.had)
        return of, of.next(self._had)

    def _wait(self) -> None:
        if self._timer is None and self._many:
            wait_s = LOOKS_S
            if next_one := self._next():
                of, browser = next_one
                wait_s = self.until_s(of.waiting[browser][0].cost)
            self._timer = asyncio.get_running_loop().call_later(wait_s, self._call)

    def _call(self) -> None:
        self._timer = None
        while next_one := self._next():
            of, browser = next_one
            ticket = of.waiting[browser][0]
            # Who has just given up takes nothing.
            if not ticket.called.done():
                if self.wait_s(ticket.cost, most_s=0):
                    break
                self._had.more(browser, ticket.cost)
                self._had_by_kinds = of.had
                of.had += ticket.cost
                of.called += 1
                ticket.called.set_result(None)
            ticket.waits = False
            of.waiting[browser].popleft()
            self._gone(of, browser)
        self._wait()


class Lines:
    """One for each address.

    Parameters
    ----------
    pace : Pace
    clock : function
        As for `Bucket`.
    newcomers : float
        As for `Had`.
    held_back, price : function, optional
        As for `Line`, of an address.
    """

    def __init__(
        self,
        pace: Pace,
        clock: Callable[[], float] = monotonic,
        newcomers: float = 0.0,
        held_back: Callable[[str], Collection[str]] = lambda who: (),
        price: Callable[[str], float] = lambda who: 1.0,
    ) -> None:
        self._pace, self._clock, self._newcomers = pace, clock, newcomers
        self._held_back, self._price = held_back, price
        self._of: LRUCache[str, Line] = LRUCache(MOST_VISITORS)

    def of(self, who: str) -> Line:
        """The one of an address."""
        line = self._of.get(who)
        if line is None:
            held_back = partial(self._held_back, who)
            price = partial(self._price, who)
            line = self._of[who] = Line(self._pace, self._clock, self._newcomers, held_back, price)
        return line
