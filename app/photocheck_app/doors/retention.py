"""What is kept long enough goes by itself, once a day."""

from __future__ import annotations

import asyncio
import logging
import os
import time
from collections.abc import AsyncIterator, Coroutine
from contextlib import asynccontextmanager, suppress
from typing import Any, Final

from photocheck.errors import PhotocheckError
from photocheck.orders.store.privacy import tidy
from photocheck.server import bench
from photocheck.server.serving import KEEP_VARIABLE
from photocheck_app.doors.settings import the_store

EVERY_S: Final = 24 * 3600.0

FORGOTTEN_EVERY_S: Final = 60.0
"""Between two looks at what was forgotten by another server or a command."""

MOST_JUMP_S: Final = 7 * 24 * 3600.0
"""How far the clock may be set while the server runs (judgement): an order goes that much too early
at most, and a computer that slept is not taken for a clock that jumped."""

_log = logging.getLogger(__name__)


@asynccontextmanager
async def retention(_: Any) -> AsyncIterator[None]:
    """Tidy for as long as the server runs, unless it was told to keep everything."""
    if os.environ.get(KEEP_VARIABLE):
        yield
        return
    async with meanwhile(_again_and_again()):
        yield


@asynccontextmanager
async def forgetting() -> AsyncIterator[None]:
    """For as long as the server runs, let its memory go of orders that others have forgotten."""
    async with meanwhile(_forget_with_others()):
        yield


@asynccontextmanager
async def meanwhile(work: Coroutine[Any, Any, None]) -> AsyncIterator[None]:
    """Work that goes on for as long as the block lasts."""
    task = asyncio.create_task(work)
    try:
        yield
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


async def _forget_with_others() -> None:
    while True:
        await asyncio.sleep(FORGOTTEN_EVERY_S)
        try:
            await asyncio.to_thread(lambda: bench.drop_forgotten(the_store()))
        except PhotocheckError:
            continue  # a store that is away is told elsewhere
        except Exception:  # it would end this task, and what was forgotten would stay in memory
            _log.exception("what others have forgotten could not be let go of")


def since_start_s() -> float:
    """Seconds that no setting of the clock changes, with those of sleep where the system says."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


class Clock:
    """Whether the wall clock has gone on as time did since the server started."""

    def __init__(self) -> None:
        self._begun = time.time() - since_start_s()

    def jumped(self) -> bool:
        """Whether it was set, either way, so far that it is not believed until a new start."""
        return abs(time.time() - since_start_s() - self._begun) > MOST_JUMP_S


async def _again_and_again() -> None:
    clock = Clock()
    while True:
        await tidied(clock)
        await asyncio.sleep(EVERY_S)


async def tidied(clock: Clock) -> None:
    """Tidy once, and have the log say what went or why nothing did."""
    if clock.jumped():
        _log.warning("nothing was tidied: the clock was set while the server ran; start it anew")
        return
    try:
        orders, copies = await asyncio.to_thread(lambda: tidy(the_store()))
    except PhotocheckError as error:
        _log.warning("nothing was tidied: %s", error)
        return
    except Exception:  # it would end this task, and nothing would ever be tidied again
        _log.exception("nothing was tidied")
        return
    if orders:
        bench.drop()  # whose they were is not told; what is needed is made again
    if orders or copies:
        _log.warning("kept long enough: %d orders and %d copies went", orders, copies)
