"""How many may be busy at once, and how many may wait."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from threading import Condition
from typing import Final

from photocheck.errors import PhotocheckError
from photocheck.speech import later, tr

_READING: Final = later("many photos are being read just now")


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
    """

    def __init__(self, places: int, waiting: int, patience_s: float, full: str = _READING) -> None:
        self._free = places
        self._most = places + waiting
        self._patience_s = patience_s
        self._full = full
        self._here = 0
        self._waiting: list[tuple[int, int]] = []
        self._numbers = count()
        self._changed = Condition()

    @contextmanager
    def place(self, rank: int = 1) -> Iterator[None]:
        """A place inside for as long as the block lasts.

        Parameters
        ----------
        rank : int
            Of those who wait, the lowest goes first, and among equals who came first.

        Raises
        ------
        BusyError
            When too many wait already, or no place came free in time.
        """
        with self._changed:
            if self._here >= self._most:
                raise self._busy()
            ticket = (rank, next(self._numbers))
            self._here += 1
            self._waiting.append(ticket)
            try:
                if not self._changed.wait_for(lambda: self._may_enter(ticket), self._patience_s):
                    raise self._busy()
                self._free -= 1
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
                self._here -= 1
                self._changed.notify_all()

    def _may_enter(self, ticket: tuple[int, int]) -> bool:
        return self._free > 0 and min(self._waiting) == ticket

    def _busy(self) -> BusyError:
        return BusyError(tr(self._full), do=tr("Wait a minute and try again"))
