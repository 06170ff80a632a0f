"""What the log says of a store that is away."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from threading import Lock
from typing import Final

from photocheck.orders.model import StoreError

LOG_EVERY_S: Final = 60.0
SURE_S: Final = 15.0
"""Seconds without trouble after which it is over: every page tries several times in them."""

_log = logging.getLogger(__name__)


class Trouble:
    """What the log says of a store that is away: seldom, whatever the number of visitors."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = Lock()
        self._since: float | None = None
        self._last = self._said = float("-inf")

    def away(self, error: StoreError) -> None:
        """Somebody could not reach it."""
        now = self._clock()
        with self._lock:
            self._since = now if self._since is None else self._since
            self._last = now
            if now - self._said < LOG_EVERY_S:
                return
            self._said = now
        # Never the statement: what somebody typed stands in it.
        why = getattr(error.__cause__, "orig", None) or error.wrong
        _log.warning("the orders cannot be reached: %s", why)

    def there(self) -> None:
        """Somebody could; others may have to wait for it still."""
        now = self._clock()
        with self._lock:
            if self._since is None or now - self._last < SURE_S:
                return
            lasted = self._last - self._since
            self._since = None
            self._said = float("-inf")
        _log.warning("the orders are there again, after %.0f s", lasted)


TROUBLE: Final = Trouble()
