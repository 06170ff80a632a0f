"""How many may be busy at once, and how many may wait."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from threading import BoundedSemaphore, Lock
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
        self._free = BoundedSemaphore(places)
        self._most = places + waiting
        self._patience_s = patience_s
        self._full = full
        self._here = 0
        self._lock = Lock()

    @contextmanager
    def place(self) -> Iterator[None]:
        """A place inside for as long as the block lasts.

        Raises
        ------
        BusyError
            When too many wait already, or no place came free in time.
        """
        with self._lock:
            if self._here >= self._most:
                raise self._busy()
            self._here += 1
        try:
            if not self._free.acquire(timeout=self._patience_s):
                raise self._busy()
            try:
                yield
            finally:
                self._free.release()
        finally:
            with self._lock:
                self._here -= 1

    def _busy(self) -> BusyError:
        return BusyError(tr(self._full), do=tr("Wait a minute and try again"))
