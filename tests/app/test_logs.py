"""The log has a bound, whatever strangers do."""

from __future__ import annotations

import logging
import sys

from photocheck_app.doors import logs
from photocheck_app.doors.logs import Bounded


def _record(said: str, *args: object, line: int = 1, error: bool = False) -> logging.LogRecord:
    info = None
    if error:
        try:
            raise ValueError
        except ValueError:
            info = sys.exc_info()
    return logging.LogRecord("a.place", logging.WARNING, "place.py", line, said, args, info)


def test_of_one_kind_some_lines_are_let_through_and_the_rest_is_told() -> None:
    now = [0.0]
    bound = Bounded(lambda: now[0])
    assert [bound.filter(_record("a %d", n)) for n in range(25)] == [True] * 20 + [False] * 5
    assert bound.filter(_record("another kind", line=2))
    now[0] = 60.0
    again = _record("a %d", 25)
    assert bound.filter(again)
    assert again.getMessage() == "a 25 (and 5 more like it, left out)"
    assert [bound.filter(_record("a %d", n)) for n in range(20)] == [True] * 19 + [False]


def test_one_with_a_traceback_counts_more() -> None:
    bound = Bounded(lambda: 0.0)
    let = [bound.filter(_record("oh", error=True)) for _ in range(6)]
    assert let == [True] * 4 + [False] * 2


def test_a_long_line_is_cut() -> None:
    long = _record("%s", "x" * 100_000)
    assert Bounded().filter(long)
    assert len(long.getMessage()) == logs.MOST_CHARACTERS + 3


def test_what_a_visitor_alone_did_is_one_line() -> None:
    from google.protobuf.message import DecodeError
    from streamlit.proto.BackMsg_pb2 import BackMsg

    bound = Bounded(lambda: 0.0)
    for _ in range(20):
        try:
            BackMsg().ParseFromString(b"\xff\xff\xff")
        except DecodeError:
            record = logging.LogRecord("a.place", 30, "place.py", 1, "oh", None, sys.exc_info())
        assert bound.filter(record)
        assert "\n" not in logging.Formatter().format(record)


def _with_traceback(said: str) -> logging.LogRecord:
    try:
        raise KeyError(said)
    except KeyError:
        return logging.LogRecord("a.place", 40, "place.py", 1, "oh", None, sys.exc_info())


def test_a_long_traceback_is_cut_in_its_middle() -> None:
    # KeyError quotes its key (Python's own documentation of `repr`), and the key was a stranger's.
    long = _with_traceback("k" * 400_000)
    assert Bounded().filter(long)
    said = logging.Formatter().format(long)
    assert len(said) < logs.MOST_OF_TRACEBACK + 100
    assert "Traceback (most recent call last)" in said
    assert said.endswith("kkk'")
    short = _with_traceback("a key")
    assert Bounded().filter(short)
    assert logging.Formatter().format(short).endswith("KeyError: 'a key'")
    assert "..." not in logging.Formatter().format(short)


def test_nothing_that_is_quoted_steers_a_terminal() -> None:
    # ECMA-48: ESC begins a control sequence, and so does 0x9b alone; U+202E turns what follows
    # (Unicode Standard Annex 9).
    told = _record("error %s", "\x1b[2J\x9b31m\u202e\r\x07\ttab\nline")
    assert Bounded().filter(told)
    assert told.getMessage() == "error \\x1b[2J\\x9b31m\\u202e\\r\\x07\ttab\nline"
    quoting = _record("oh", error=True)
    assert quoting.exc_info is not None
    quoting.exc_info = (ValueError, ValueError("a\x1b]0;b\x07"), None)
    assert Bounded().filter(quoting)
    assert "\x1b" not in logging.Formatter().format(quoting)


def test_the_shipped_bounds_of_the_log() -> None:
    assert logs.MOST_OF_TRACEBACK == 16_000
    assert (logs.LINES, logs.OF_TRACEBACK, logs.WINDOW_S, logs.MOST_CHARACTERS) == (20, 5, 60, 4000)
