"""Runs of pages that are under way: how many of one visitor's at a time, and when all are done.

Streamlit runs every open page in a thread of its own, and Python lets one thread at a time work.
Where one address has many pages that all want to run, a few run at a time and the rest of that
address wait their turn, so that the others' pages share the processor with few.  What takes longer
than a moment is waiting for something else, and no longer counts.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Condition
from time import monotonic
from typing import Final

AT_ONCE: Final = 4
"""Of one address."""

MOMENT_S: Final = 0.25
"""A run of the first page takes 15 ms of a processor of its own."""

PATIENCE_S: Final = 3.0
"""Then it runs all the same: nobody waits for ever."""


class Runs:
    """Those of one server."""

    def __init__(self) -> None:
        self._changed = Condition()
        self._begun: dict[str, dict[object, float]] = defaultdict(dict)

    @contextmanager
    def one(self, who: str) -> Iterator[None]:
        """A run of a visitor's page, for as long as the block lasts.

        Parameters
        ----------
        who : str
            As `photocheck.server.access.rates.visitor` says.
        """
        ticket = object()
        until = monotonic() + PATIENCE_S
        with self._changed:
            while self._busy(who) >= AT_ONCE and (left := until - monotonic()) > 0:
                self._changed.wait(min(left, MOMENT_S))
            self._begun[who][ticket] = monotonic()
        try:
            yield
        finally:
            with self._changed:
                del self._begun[who][ticket]
                if not self._begun[who]:
                    del self._begun[who]
                self._changed.notify_all()

    def _busy(self, who: str) -> int:
        since = monotonic() - MOMENT_S
        return sum(begun > since for begun in self._begun.get(who, {}).values())

    def wait_until_done(self, patience_s: float) -> bool:
        """Whether all runs have ended, before that long."""
        with self._changed:
            return self._changed.wait_for(lambda: not self._begun, patience_s)


RUNS: Final = Runs()
"""The ones of this server."""
