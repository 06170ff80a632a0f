"""What is kept long enough goes by itself, once a day."""

from __future__ import annotations

import asyncio
import logging
import os
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from typing import Any, Final

from photocheck.errors import PhotocheckError
from photocheck.orders.store.privacy import tidy
from photocheck.server import bench
from photocheck.server.serving import KEEP_VARIABLE
from photocheck_app.doors.settings import the_store

EVERY_S: Final = 24 * 3600.0

_log = logging.getLogger(__name__)


@asynccontextmanager
async def retention(_: Any) -> AsyncIterator[None]:
    """Tidy for as long as the server runs, unless it was told to keep everything."""
    if os.environ.get(KEEP_VARIABLE):
        yield
        return
    task = asyncio.create_task(_again_and_again())
    try:
        yield
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


async def _again_and_again() -> None:
    while True:
        try:
            orders, copies = await asyncio.to_thread(tidy, the_store())
        except PhotocheckError as error:
            _log.warning("nothing was tidied: %s", error)
        else:
            if orders:
                bench.drop()  # whose they were is not told; what is needed is made again
            if orders or copies:
                _log.warning("kept long enough: %d orders and %d copies went", orders, copies)
        await asyncio.sleep(EVERY_S)
