"""How many runs of pages wait for their turn at each address (`photocheck_app.doors.running`).

Apart from those runs, which know what an address owes (`photocheck_app.doors.open_pages`), for
whoever keeps that account looks here before anybody is called.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock
from typing import Final

MOST: Final = 16
"""Runs that wait at one address before whoever asks for another waits for that: a thread each,
which the server's loop begins and tells every page about.  Four run at a time, so that none of
those is idle for it (judgement)."""


class Crowd:
    """Those of one server.

    Examples
    --------
    >>> crowd = Crowd()
    >>> with crowd.one_more("192.0.2.7"):
    ...     crowd.of("192.0.2.7")
    1
    >>> crowd.of("192.0.2.7")
    0
    """

    def __init__(self) -> None:
        self._waiting: Counter[str] = Counter()
        self._lock = Lock()

    def of(self, who: str) -> int:
        """How many of one address."""
        return self._waiting[who]

    def too_many(self, who: str) -> bool:
        """Whether whoever asks for another waits for it."""
        return self.of(who) >= MOST

    @contextmanager
    def one_more(self, who: str) -> Iterator[None]:
        """One for as long as the block lasts; from any thread."""
        with self._lock:
            self._waiting[who] += 1
        try:
            yield
        finally:
            with self._lock:
                self._waiting[who] -= 1
                if not self._waiting[who]:
                    del self._waiting[who]


CROWD: Final = Crowd()
"""The one of this server."""
