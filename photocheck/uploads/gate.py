"""How many may be busy at once, and how many may wait."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from itertools import count
from threading import Condition
from typing import Final

from photocheck.errors import PhotocheckError
from photocheck.speech import later, tr

_READING: Final = later("many photos are being read just now")


_Ticket = tuple[int, int, str]
"""Rank, number, and on whose behalf."""

_who: Final[ContextVar[str]] = ContextVar("on whose behalf", default="")


@contextmanager
def on_behalf_of(who: str) -> Iterator[None]:
    """Whose everything in this block is, where places are shared out: an address, say.

    Who has fewest is next, and one of several has neither all places, unless the gate gives them
    (`Gate`), nor all in front of them; what is nobody's is not held back.
    """
    before = _who.set(who)
    try:
        yield
    finally:
        _who.reset(before)


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
    ) -> None:
        self._free = places
        self._most = places + waiting
        self._patience_s = patience_s
        self._full = full
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
                if not self._changed.wait_for(lambda: self._may_enter(ticket), self._patience_s):
                    raise self._busy()
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

    def _may_enter(self, ticket: _Ticket) -> bool:
        may = [one for one in self._waiting if not self._has_enough(one[2])]
        return self._free > 0 and bool(may) and min(may, key=self._turn) == ticket

    def _turn(self, ticket: _Ticket) -> tuple[int, int, int]:
        rank, number, who = ticket
        return self._inside[who] if who else 0, rank, number

    def _has_enough(self, who: str) -> bool:
        return bool(who) and self._inside[who] >= self._most_of_one

    def _queued(self, who: str) -> int:
        return sum(one[2] == who for one in self._waiting) if who else 0

    def _busy(self) -> BusyError:
        return BusyError(tr(self._full), do=tr("Wait a minute and try again"))
