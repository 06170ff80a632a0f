"""How many may be busy at once, and how many may wait."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from itertools import count
from math import inf
from threading import Condition
from time import monotonic
from typing import Final

from photocheck.errors import PhotocheckError
from photocheck.speech import later, tr

SOON_S: Final = 0.5
"""Half of what is done inside has ended by then: a photo as phones write them has been looked
at (measured: 0.2 to 2 s)."""

HEEDS_S: Final = 0.5
"""How soon who waits learns that nobody waits for it any more (judgement)."""

_READING: Final = later("many photos are being read just now")


_Ticket = tuple[int, int, str]
"""Rank, number, and on whose behalf."""

_who: Final[ContextVar[str]] = ContextVar("on whose behalf", default="")
_heed: Final[ContextVar[Callable[[], None] | None]] = ContextVar("what to heed", default=None)


@contextmanager
def on_behalf_of(who: str, heed: Callable[[], None] | None = None) -> Iterator[None]:
    """Whose everything in this block is, where places are shared out: an address, say.

    Who has fewest is next, and one of several has neither all places, unless the gate gives them
    (`Gate`), nor all in front of them; what is nobody's is not held back.

    Parameters
    ----------
    who : str
    heed : function, optional
        Called now and then by whoever waits in front of a gate that heeds (`Gate`), and soon done;
        what it raises ends the waiting, and is raised there.
    """
    before, heeded = _who.set(who), _heed.set(heed)
    try:
        yield
    finally:
        _who.reset(before)
        _heed.reset(heeded)


class BusyError(PhotocheckError):
    """Too much is being done at once; later it will do."""


class Gate:
    """Lets a few through at a time, a few more wait, and turns the rest away at once.

    Parameters
    ----------
    places : int
        How many may be inside.
    waiting : int
        How many may stand in front of it.
    patience_s : float
        How long each of them stands there.
    full : str
        What is said to those turned away, perhaps kept by `photocheck.speech.later`.
    waiting_of_one : int, optional
        How many of one may stand in front of it; a third of all if not given.
    soon_done : bool
        Whether what is done inside is done so soon that one may have all places while nobody else
        waits: whoever comes then has the next that comes free.
    soon_s : float
        Where it is not: after so long, s, in which one had all places, a further one opens beside
        them, for somebody else.  Whoever brings what takes minutes then keeps nobody out.
    heeds : bool
        Whether who waits leaves when what it would do is wanted no more (`on_behalf_of`); not where
        something would be lost by it.
    """

    def __init__(
        self,
        places: int,
        waiting: int,
        patience_s: float,
        full: str = _READING,
        *,
        waiting_of_one: int | None = None,
        soon_done: bool = False,
        soon_s: float = SOON_S,
        heeds: bool = False,
    ) -> None:
        self._free = places
        self._soon_s = soon_s if soon_done else inf
        self._latest_s = -inf
        self._most = places + waiting
        self._patience_s = patience_s
        self._full = full
        self._heeds = heeds
        self._here = 0
        self._waiting: list[_Ticket] = []
        self._most_of_one = places if soon_done else max(1, places - 1)
        self._most_waiting_of_one = max(
            1, waiting // 3 if waiting_of_one is None else waiting_of_one
        )
        self._inside: Counter[str] = Counter()
        self._numbers = count()
        self._changed = Condition()

    @contextmanager
    def place(self, rank: int = 1) -> Iterator[None]:
        """A place inside for as long as the block lasts.

        Parameters
        ----------
        rank : int
            Of those who wait and have equally many places, the lowest goes first, and among equals
            who came first.

        Raises
        ------
        BusyError
            When too many wait already, or no place came free in time.
        """
        with self._changed:
            who = _who.get()
            if self._here >= self._most or self._queued(who) >= self._most_waiting_of_one:
                raise self._busy()
            ticket = (rank, next(self._numbers), who)
            self._here += 1
            self._waiting.append(ticket)
            try:
                if not self._came_in(ticket):
                    raise self._busy()
                self._latest_s = monotonic()
                self._free -= 1
                self._inside[who] += 1
            except BaseException:
                self._here -= 1
                raise
            finally:
                self._waiting.remove(ticket)
                self._changed.notify_all()
        try:
            yield
        finally:
            with self._changed:
                self._free += 1
                self._inside[who] -= 1
                self._inside += Counter()  # those who hold nothing are not remembered
                self._here -= 1
                self._changed.notify_all()

    def _came_in(self, ticket: _Ticket) -> bool:
        until_s = monotonic() + self._patience_s
        heed = _heed.get() if self._heeds else None
        while not self._may_enter(ticket):
            if heed is not None:
                heed()
            left_s = until_s - monotonic()
            if left_s <= 0:
                return False
            opens_s = self._latest_s + self._soon_s - monotonic()
            wait_s = min(left_s, opens_s) if opens_s > 0 else left_s
            self._changed.wait(wait_s if heed is None else min(wait_s, HEEDS_S))
        return True

    def _may_enter(self, ticket: _Ticket) -> bool:
        may = [one for one in self._waiting if not self._has_enough(one[2])]
        if not may or min(may, key=self._turn) != ticket:
            return False
        return self._free > 0 or self._opens_beside(ticket[2])

    def _opens_beside(self, who: str) -> bool:
        """Whether one further place is there for who waits: one other has all, for long."""
        (*holders,) = self._inside
        other = len(holders) == 1 and holders[0] not in ("", who)
        return other and self._free == 0 and monotonic() - self._latest_s >= self._soon_s

    def _turn(self, ticket: _Ticket) -> tuple[int, int, int]:
        rank, number, who = ticket
        return self._inside[who] if who else 0, rank, number

    def _has_enough(self, who: str) -> bool:
        return bool(who) and self._inside[who] >= self._most_of_one

    def _queued(self, who: str) -> int:
        return sum(one[2] == who for one in self._waiting) if who else 0

    def _busy(self) -> BusyError:
        return BusyError(tr(self._full), do=tr("Wait a minute and try again"))
