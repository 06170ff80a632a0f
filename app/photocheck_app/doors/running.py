"""Runs of pages that are under way: how many of one visitor's at a time, and when all are done.

Streamlit runs every open page in a thread of its own, and Python lets one thread at a time work.
Where one address has many pages that all want to run, a few run at a time and the rest of that
address wait their turn, so that the others' pages share the processor with few; and of that
address, whichever browser has run least of late goes first, and every third time the one that has
waited longest (`photocheck.server.turns`).  What takes longer than a moment is
taken to wait for something else, and no longer counts, but where the address owes processor time.

Whoever asks anew, or leaves, has a run that still waits end at once, but for what was pressed
(`photocheck_app.framework.heed`), and nobody asks for more while many wait
(`photocheck_app.doors.crowd`): else one address had a thousand threads waiting, and the loop that
begins each of them answered nobody for half a minute (measured).
"""

from __future__ import annotations

import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Condition, Event, get_ident
from time import monotonic, thread_time
from typing import Final

from cachetools import LRUCache

from photocheck.server.pace import MOST_VISITORS
from photocheck.server.turns import Had, goes_to_longest
from photocheck.uploads import gate
from photocheck_app.doors.crowd import CROWD
from photocheck_app.doors.open_pages import RUN_MOST_S, Asking, owes, ran

AT_ONCE: Final = 4
"""Of one address."""

OWING: Final = 1
"""Of one address that owes processor time: those that run at once have the loop that answers
everybody wait for each of them (judgement)."""

MOMENT_S: Final = 0.25
"""A run of the first page takes 15 ms of a processor of its own."""

AT_ALL: Final = 8
"""Of one address that owes processor time, with those that seem to wait for something else: where
many run, each takes longer than a moment for the others' sake, and then ever more would be let in
(judgement)."""

PATIENCE_S: Final = 30.0
"""Then it runs all the same: nobody waits for ever.  Much less, and those of a crowd would all run
at once, and keep whoever comes next from running."""

HEEDS_S: Final = gate.HEEDS_S
"""How soon a run that waits ends when it is wanted no more: as where it waits for a photo."""


class _Waiting:
    def __init__(self, browser: str) -> None:
        self.browser, self.may_run = browser, False
        self._thread, self._from_s = get_ident(), 0.0
        # Set when it may run, and when it is the one that looks whether anybody may.
        self.woken = Event()

    def begin(self) -> None:
        """It may run."""
        self.may_run, self._from_s = True, _processor_s(self._thread)
        self.woken.set()

    def took_s(self) -> float:
        """Of a processor, until now; only for as long as it runs."""
        return min(_processor_s(self._thread) - self._from_s, RUN_MOST_S)


def _processor_s(thread: int) -> float:
    """What a thread that has not ended has had of a processor; 0 where a system does not tell."""
    if sys.platform == "win32" or not hasattr(time, "pthread_getcpuclockid"):
        return 0.0
    return time.clock_gettime(time.pthread_getcpuclockid(thread))


class Runs:
    """Those of one server."""

    def __init__(self) -> None:
        self._changed = Condition()
        self._begun: dict[str, dict[_Waiting, float]] = defaultdict(dict)
        # In the order in which they came.
        self._waiting: dict[str, list[_Waiting]] = defaultdict(list)
        self._had: LRUCache[str, Had] = LRUCache(MOST_VISITORS)
        self._called = 0

    @contextmanager
    def one(
        self,
        who: str,
        browser: str = "",
        *,
        first: bool = False,
        heed: Callable[[], None] | None = None,
    ) -> Iterator[None]:
        """A run of a visitor's page, for as long as the block lasts.

        Parameters
        ----------
        who : str
            As `photocheck.server.access.rates.visitor` says.
        browser : str
            As `photocheck.server.access.browsers.known_apart` says.
        first : bool
            Whether the page has just been opened.
        heed : function, optional
            Called now and then while it waits; what it raises ends the waiting, and is raised here.
        """
        ticket = _Waiting(browser)
        with CROWD.one_more(who):
            self._wait(who, ticket, heed)
        began = thread_time()
        try:
            yield
        finally:
            # What it waited for is nobody's burden.
            took_s = min(thread_time() - began, MOMENT_S)
            ran(Asking(who, browser), took_s, first=first)
            with self._changed:
                self._had_of(who).more(browser, took_s)
                self._left(who, ticket)

    def _left(self, who: str, ticket: _Waiting) -> None:
        """It runs no more, or waits no more."""
        if ticket.may_run:
            del self._begun[who][ticket]
            if not self._begun[who]:
                del self._begun[who]
        else:
            self._no_longer_waits(who, ticket)
        self._let_in(who)
        self._changed.notify_all()

    def _wait(self, who: str, ticket: _Waiting, heed: Callable[[], None] | None) -> None:
        until = monotonic() + PATIENCE_S
        with self._changed:
            self._waiting[who].append(ticket)
            self._let_in(who)
        try:
            while not self._may_run(who, ticket, until):
                if heed is not None:
                    heed()
                with self._changed:
                    first = self._waiting[who][0] is ticket if who in self._waiting else False
                # Some that run become long ones without anybody's doing: one looks, and the rest
                # sleep.
                left_s = until - monotonic()
                wait_s = min(MOMENT_S, left_s) if first else left_s
                ticket.woken.wait(max(0.0, wait_s if heed is None else min(wait_s, HEEDS_S)))
        except BaseException:
            with self._changed:
                self._left(who, ticket)
            raise

    def _may_run(self, who: str, ticket: _Waiting, until: float) -> bool:
        with self._changed:
            ticket.woken.clear()
            if not ticket.may_run:
                self._let_in(who)
            if not ticket.may_run and monotonic() >= until:
                self._begin(who, ticket)
            return ticket.may_run

    def _let_in(self, who: str) -> None:
        had = self._had_of(who)
        while (waiting := self._waiting.get(who)) and self._room(who):
            longest = goes_to_longest(self._called)
            self._called += 1
            least = min(waiting, key=lambda one: had.of(one.browser))
            self._begin(who, waiting[0] if longest else least)

    def _no_longer_waits(self, who: str, ticket: _Waiting) -> None:
        self._waiting[who].remove(ticket)
        if self._waiting[who]:
            self._waiting[who][0].woken.set()
        else:
            del self._waiting[who]

    def _begin(self, who: str, ticket: _Waiting) -> None:
        self._no_longer_waits(who, ticket)
        self._begun[who][ticket] = monotonic()
        ticket.begin()

    def _had_of(self, who: str) -> Had:
        had = self._had.get(who)
        if had is None:
            had = self._had[who] = Had()
        return had

    def _room(self, who: str) -> bool:
        busy, begun = self._busy(who), self._begun.get(who, {})
        if busy >= AT_ONCE:
            return False
        if busy < OWING and len(begun) < AT_ALL:
            return True
        return not owes(who, sum(one.took_s() for one in begun))

    def _busy(self, who: str) -> int:
        since = monotonic() - MOMENT_S
        return sum(begun > since for begun in self._begun.get(who, {}).values())

    def wait_until_done(self, patience_s: float) -> bool:
        """Whether all runs have ended, before that long."""
        with self._changed:
            return self._changed.wait_for(lambda: not self._begun and not self._waiting, patience_s)


RUNS: Final = Runs()
"""The ones of this server."""
