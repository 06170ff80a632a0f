"""The files that pages are made of, from memory.

A first visit asks for 113 of them, and Streamlit looks each up on the disk, in another thread,
uncompressed.  Their names say what is in them, so that a browser that has one asks no more.  All of
them together take 26 MB, and 8 MB pressed.
"""

from __future__ import annotations

import asyncio
import mimetypes
from contextlib import suppress
from functools import cache
from typing import Final

from starlette.requests import HTTPConnection
from starlette.responses import Response

from photocheck.server.access.addresses import LINK
from photocheck_app import framework
from photocheck_app.doors import shell
from photocheck_app.doors.awaited import awaited
from photocheck_app.doors.language import language_of
from photocheck_app.doors.open_pages import REQUESTS, Asking
from photocheck_app.doors.origin import SAFE
from photocheck_app.doors.paths import WORKSHOP
from photocheck_app.doors.pressed import Pressed, answer

FOLDER: Final = "/static/"

KEPT: Final = "public, max-age=31536000, immutable"

PATIENCE_S: Final = 1.0
"""Waited for a store that is slow to answer: the app can wait for it, and say so (judgement)."""

_held: Final[dict[str, Pressed]] = {}
_pages: Final[dict[tuple[str, bool], Pressed]] = {}


_there = cache(framework.static_files)


def _read(inner: str) -> Pressed:
    if inner in shell.scripts():
        return Pressed.of("text/javascript", shell.scripts()[inner])
    content = (framework.static_folder() / inner.removeprefix("/")).read_bytes()
    kind = mimetypes.guess_type(inner)[0] or "application/octet-stream"
    return Pressed.of("text/javascript" if kind == "application/javascript" else kind, content)


def is_asset(wanted: HTTPConnection, inner: str) -> bool:
    """Whether such a file is asked for, whole.

    Parameters
    ----------
    inner : str
        A path as `photocheck_app.doors.paths.purpose_of` gives it: no part of it leads elsewhere.
    """
    return (
        inner.startswith(FOLDER)
        and wanted.scope["method"] in SAFE
        and "range" not in wanted.headers
        and (inner in _there() or inner in shell.scripts())
    )


async def asset(wanted: HTTPConnection, inner: str) -> Response:
    """The answer to who asks for such a file (`is_asset`)."""
    if inner not in _held:
        # Two who ask at once read it twice, to the same bytes.
        _held[inner] = await asyncio.to_thread(_read, inner)
    return answer(wanted, _held[inner], {"Cache-Control": KEPT})


async def page_file(wanted: HTTPConnection, inner: str, who: Asking) -> Response | None:
    """The answer to who asks for a page: the same for all of them, and what it shows comes later;
    but who comes by a link is told at once what there is to know of that order.

    None where Streamlit shall answer: to lead on to the path with or without a last stroke.

    Parameters
    ----------
    who : Asking
        Where it asks faster than what looks into the store may be asked for, the app tells it.
    """
    plain = inner == "/" or not inner.endswith("/")
    whole = wanted.scope["path"] == framework.base() + inner
    if wanted.scope["method"] not in SAFE or not (plain and whole):
        return None
    language = language_of(wanted)
    link = wanted.query_params.get(LINK, "") if inner == "/" else ""
    told = ""
    if link and REQUESTS.of(who.address).now(who.browser):
        with suppress(TimeoutError):
            looking = asyncio.to_thread(awaited, link, who.address, language)
            told = await asyncio.wait_for(looking, PATIENCE_S)
    if told:
        held = await asyncio.to_thread(shell.page_telling, language, told)
        return answer(wanted, held, {"Cache-Control": "no-store", "X-Robots-Tag": "noindex"})
    what = language, inner.strip("/") == WORKSHOP
    if what not in _pages:
        _pages[what] = await asyncio.to_thread(shell.page, *what)
    headers = {"Cache-Control": "no-cache", "Vary": "Accept-Encoding, Accept-Language"}
    return answer(wanted, _pages[what], headers)
