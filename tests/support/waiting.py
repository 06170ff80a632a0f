"""Waiting for a state until a deadline; no test waits for a time to pass."""

from __future__ import annotations

import asyncio
import subprocess
import time
from collections.abc import Callable
from contextlib import suppress
from typing import TypeVar

Made = TypeVar("Made")


def until(so: Callable[[], object], what: str, *, patience_s: float = 60.0) -> None:
    """Return as soon as it is so; after `patience_s` say that `what` did not come about."""
    deadline = time.monotonic() + patience_s
    while not so():
        assert time.monotonic() < deadline, f"waited {patience_s:.0f} s in vain: {what}"
        time.sleep(0.002)


async def until_in_loop(so: Callable[[], object], what: str, *, patience_s: float = 60.0) -> None:
    """`until` where the event loop has to go on meanwhile."""
    deadline = time.monotonic() + patience_s
    while not so():
        assert time.monotonic() < deadline, f"waited {patience_s:.0f} s in vain: {what}"
        await asyncio.sleep(0.001)


async def loop_turns(count: int) -> None:
    """Let an event loop run whatever is ready, so many times; no time passes by itself."""
    for _ in range(count):
        await asyncio.sleep(0)


def patiently(work: Callable[[], Made], busy: type[Exception], *, patience_s: float = 1200) -> Made:
    """What `work` gives, asked again and again as by a visitor who is told to come back later."""
    deadline = time.monotonic() + patience_s
    while True:
        try:
            return work()
        except busy:
            assert time.monotonic() < deadline
            time.sleep(0.2)


def some_moment(process: subprocess.Popen[bytes], most_s: float) -> None:
    """Let a process run for `most_s` seconds, or to its end."""
    with suppress(subprocess.TimeoutExpired):
        process.wait(most_s)
