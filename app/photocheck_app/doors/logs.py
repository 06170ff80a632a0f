"""The server's log, with a bound on what strangers can have it say."""

from __future__ import annotations

import logging
from collections import defaultdict
from collections.abc import Callable
from time import monotonic
from typing import Any, Final

from photocheck_app import framework

LINES: Final = 20
"""Of one kind, which is one place in the program, in one `WINDOW_S`."""

OF_TRACEBACK: Final = 5
"""How many lines one with a traceback counts as."""

WINDOW_S: Final = 60.0

MOST_CHARACTERS: Final = 4000
"""Of one message without its traceback."""

MOST_OF_TRACEBACK: Final = 16_000
"""Of a traceback its beginning and its end, half of each: errors quote what was sent, and a page
may send a megabyte at once."""

_FORMATTER: Final = logging.Formatter()


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
        if record.exc_info and framework.is_strangers(record.exc_info[1]):
            record.exc_info = None  # what it says, and nothing of where
        self._said[kind] += OF_TRACEBACK if record.exc_info else 1
        if self._said[kind] > LINES:
            return False
        said = record.getMessage()
        # No more than is shown is looked at: what is escaped only grows.
        shown = _harmless(said[: MOST_CHARACTERS + 1])
        if len(shown) > MOST_CHARACTERS:
            shown = f"{shown[:MOST_CHARACTERS]}..."
        if shown != said:
            record.msg, record.args = shown, None
        if record.exc_info and not record.exc_text:
            # Formatters take this where it is there (logging, "Formatter.format").
            record.exc_text = _bounded(_FORMATTER.formatException(record.exc_info))
        return True


def _bounded(traceback: str) -> str:
    half = MOST_OF_TRACEBACK // 2
    if len(traceback) > MOST_OF_TRACEBACK:
        traceback = f"{traceback[:half]}\n...\n{traceback[-half:]}"
    return _harmless(traceback)


def _harmless(said: str) -> str:
    """Nothing that was quoted may steer a terminal (OWASP ASVS 5.0, 16.4.1); lines stay lines."""
    return "".join(c if c.isprintable() or c in "\n\t" else _escaped(c) for c in said)


def _escaped(c: str) -> str:
    return c.encode("unicode_escape").decode("ascii")


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
