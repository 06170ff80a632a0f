"""What goes on for as long as the server runs, and what it waits for before it ends."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from time import monotonic
from typing import Any, Final

from photocheck.server.strain import EVERY_S, STRAIN
from photocheck_app.doors.programs import telling
from photocheck_app.doors.retention import forgetting, meanwhile, retention
from photocheck_app.doors.running import RUNS
from photocheck_app.framework import (
    begin_runs_elsewhere,
    finish_presses,
    read_lightly,
    send_together,
    take_no_odd_values,
)

RUNS_END_WITHIN_S: Final = 4.0
"""A run that saves what was typed takes a fraction of it; one that checks a photo is lost, as by a
closed page, and can be asked for again."""

_log = logging.getLogger(__name__)


@asynccontextmanager
async def watching() -> AsyncIterator[None]:
    """Look how late the loop comes, for as long as the block lasts."""
    async with meanwhile(_looking()):
        yield


async def _looking() -> None:
    while True:
        began = monotonic()
        await asyncio.sleep(EVERY_S)
        STRAIN.late(monotonic() - began - EVERY_S)


@asynccontextmanager
async def lifespan(app: Any) -> AsyncIterator[None]:
    """Tidy meanwhile and look how hard the server is pressed; before the end let runs of pages
    finish what they write."""
    begin_runs_elsewhere()
    finish_presses()
    send_together()
    read_lightly()
    take_no_odd_values()
    async with retention(app), forgetting(), telling(app), watching():
        yield
        # The threads they run in would be ended in the middle of it.
        if not await asyncio.to_thread(RUNS.wait_until_done, RUNS_END_WITHIN_S):
            _log.warning("pages were still being run after %.0f s", RUNS_END_WITHIN_S)
