"""The server's log, with a bound on what strangers can have it say."""

from __future__ import annotations

import logging
from collections import defaultdict
from collections.abc import Callable
from time import monotonic
from typing import Any, Final

LINES: Final = 20
"""Of one kind, which is one place in the program, in one `WINDOW_S`."""

OF_TRACEBACK: Final = 5
"""How many lines one with a traceback counts as."""

WINDOW_S: Final = 60.0

MOST_CHARACTERS: Final = 4000
"""Of one message without its traceback."""


class Bounded(logging.Filter):
    """Lets so many lines of one kind through, and then says how many were left out.

    Parameters
    ----------
    clock : function
        Seconds from any moment on.
    """

    def __init__(self, clock: Callable[[], float] = monotonic) -> None:
        super().__init__()
        self._clock = clock
        self._began: dict[str, float] = {}
        self._said: dict[str, int] = defaultdict(int)

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether a line is let through; the first one after a pause says what was left out."""
        kind = f"{record.name}:{record.pathname}:{record.lineno}"
        now = self._clock()
        if now - self._began.get(kind, -WINDOW_S) >= WINDOW_S:
            left_out = self._said[kind] - LINES
            self._began[kind], self._said[kind] = now, 0
            if left_out > 0:
                record.msg = f"{record.getMessage()} (and {left_out} more like it, left out)"
                record.args = None
        self._said[kind] += OF_TRACEBACK if record.exc_info else 1
        if self._said[kind] > LINES:
            return False
        said = record.getMessage()
        if len(said) > MOST_CHARACTERS:
            record.msg, record.args = f"{said[:MOST_CHARACTERS]}...", None
        return True


def bound_logs() -> None:
    """Bound all that this process logs from now on.

    Streamlit gives each of its modules a handler when it is first needed, so that a filter on those
    that are there would leave some out.
    """
    bound, handle = Bounded(), logging.Handler.handle

    def handling(self: logging.Handler, record: logging.LogRecord) -> Any:
        return bound.filter(record) and handle(self, record)

    # Of every handler there will be; mypy takes an assigned method for a slip.
    logging.Handler.handle = handling  # type: ignore[method-assign]
