"""Whether orders can be kept just now, for whatever watches over the server.

Streamlit's own ``/_stcore/health`` says only that the server runs, and pages ask it before they go
on: it must not fail when the store does, or nobody would see the plain page that says so.
"""

from __future__ import annotations

import asyncio
import shutil
import time
from typing import Final

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from photocheck.errors import PhotocheckError
from photocheck.orders.model import StoreError
from photocheck.orders.store.copies import beside
from photocheck.server.access.addresses import HEALTH
from photocheck.speech import speaking, tr
from photocheck_app.doors.language import language_of
from photocheck_app.doors.settings import the_store
from photocheck_app.doors.trouble import TROUBLE

WITHIN_S: Final = 3.0
"""Longer than this nobody is kept waiting: a store that takes longer is as good as away."""

HELD_S: Final = 5.0
"""How long an answer is good: however often it is asked for, the store is tried no oftener."""

LEAST_FREE_BYTES: Final = 200_000_000
"""On the disk of a store that is a file; less is three photos of the largest (judgement)."""


class Health:
    """The last answer, and the one try that is under way."""

    def __init__(self) -> None:
        self._said = ""
        self._at = float("-inf")
        self._trying: asyncio.Task[str] | None = None

    async def trouble(self) -> str:
        """What is wrong, or nothing."""
        if self._trying is None and time.monotonic() - self._at < HELD_S:
            return self._said
        if self._trying is None:
            self._trying = asyncio.create_task(asyncio.to_thread(_trouble))
            self._trying.add_done_callback(self._done)
        done, _ = await asyncio.wait({self._trying}, timeout=WITHIN_S)
        return self._said if done else SLOW

    def _done(self, task: asyncio.Task[str]) -> None:
        self._trying = None
        self._said = FAILED if task.cancelled() or task.exception() else task.result()
        self._at = time.monotonic()


SLOW: Final = "slow"
FULL: Final = "full"
FAILED: Final = "failed"
NOW: Final = Health()


def _trouble() -> str:
    try:
        store = the_store()
        store.prove_writing()
        free = shutil.disk_usage(beside(store).parent).free if store.in_a_file else None
    except StoreError as error:
        TROUBLE.away(error)
        return FAILED
    except (PhotocheckError, OSError):
        return FAILED
    return FULL if free is not None and free < LEAST_FREE_BYTES else ""


async def answer(request: Request) -> Response:
    """200 and "ok", or 503 and one sentence; never more than `WITHIN_S` later."""
    trouble = await NOW.trouble()
    with speaking(language_of(request)):
        said = {
            "": "ok",
            SLOW: tr("The orders do not answer in time."),
            FULL: tr("The disk on which the orders lie is almost full."),
            FAILED: tr("The orders cannot be read or written."),
        }[trouble]
    return PlainTextResponse(said, 503 if trouble else 200, {"Cache-Control": "no-store"})


ROUTES: Final = [Route(HEALTH, answer)]
