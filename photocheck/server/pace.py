"""How fast one visitor may ask: who asks faster is slowed, and nobody is turned away."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from threading import Lock
from time import monotonic
from typing import Final

MOST_VISITORS: Final = 20_000
"""Whose pace is remembered; the one not seen for longest begins anew."""


@dataclass(frozen=True)
class Pace:
    """A token bucket.

    Attributes
    ----------
    a_second : float
        What may be asked for in the long run.
    at_once : float
        What may be asked for after a rest.
    """

    a_second: float
    at_once: float


MESSAGES_OF_PAGE: Final = Pace(a_second=5, at_once=60)
"""Messages of one open page.  A person who types presses some ten keys a second into one field,
which is sent once; marks are sent when they are let go (judgement)."""

PIECES_OF_CONNECTION: Final = Pace(a_second=20, at_once=200)
"""Pieces that come over one connection: messages, which have the slower pace of their own, answers
to the server's asking, and parts of a large message, of which browsers make one of 16 to 128 kB
(judgement)."""

WORK_OF_ADDRESS: Final = Pace(a_second=0.6, at_once=1.5)
"""Seconds of a processor that opening pages, the files they are made of, and what open pages ask
for take at one address: together, for one that asks for all of it at once takes no more.  One run
of the first page takes 4 ms, of an order's 10, of a result 30 (measured); Python lets one thread at
a time work, and what is left over is for the others."""

PAGES_OF_ADDRESS: Final = Pace(a_second=200, at_once=200)
"""Pages asked for at one address; they are given from memory.  Whoever comes for the first time has
nothing yet that tells one browser from others, and waits among all that have not."""

PROVIDER_OF_ADDRESS: Final = Pace(a_second=1.0, at_once=4.0)
"""Going to the identity provider and coming back from it: each makes its own client, reads all
certificates for it and asks the provider, a tenth of a second in which nobody else is answered
(measured).  Staff do either once in a shift."""

REQUESTS_OF_ADDRESS: Final = Pace(a_second=50, at_once=400)
"""Other requests of one address, without the files that pages are made of; a first visit has
two."""


class Bucket:
    """What is left of a pace.

    Parameters
    ----------
    pace : Pace
    clock : function
        Seconds from any moment on.
    price : function, optional
        How much more than else everything counts just now; nothing counts for more than there can
        be in it, for that is never had.

    Examples
    --------
    >>> bucket = Bucket(Pace(a_second=2, at_once=1), clock=lambda: 0.0)
    >>> bucket.wait_s(), bucket.wait_s(), bucket.wait_s()
    (0.0, 0.5, 1.0)
    """

    def __init__(
        self,
        pace: Pace,
        clock: Callable[[], float] = monotonic,
        price: Callable[[], float] = lambda: 1.0,
    ) -> None:
        self._pace, self._clock, self._price = pace, clock, price
        self._left, self._at = pace.at_once, clock()
        self._lock = Lock()

    @property
    def most(self) -> float:
        """What there can be in it."""
        return self._pace.at_once

    def until_s(self, cost: float = 1) -> float:
        """How long until there is enough in it; nothing is taken."""
        with self._lock:
            return self._wait_s(self._priced(cost))

    def wait_s(self, cost: float = 1, *, most_s: float = inf) -> float:
        """Take from it, and say how long to wait first; 0 where enough is left.

        Parameters
        ----------
        cost : float
        most_s : float
            Nothing is taken where one would have to wait longer than this.
        """
        with self._lock:
            cost = self._priced(cost)
            wait_s = self._wait_s(cost)
            if wait_s <= most_s:
                self._left -= cost
            return wait_s

    def _priced(self, cost: float) -> float:
        return min(cost * self._price(), max(cost, self.most))

    def _wait_s(self, cost: float) -> float:
        now = self._clock()
        grown = self._left + (now - self._at) * self._pace.a_second
        self._left, self._at = min(grown, self._pace.at_once), now
        return max(0.0, (cost - self._left) / self._pace.a_second)
