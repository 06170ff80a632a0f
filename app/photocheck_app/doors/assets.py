"""The files that pages are made of, from memory.

A first visit asks for 63 of them, and Streamlit looks each up on the disk, in another thread,
uncompressed.  Their names say what is in them, so that a browser that has one asks no more.  All of
them together take 26 MB, and 8 MB pressed.
"""

from __future__ import annotations

import asyncio
import gzip
import mimetypes
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from typing import Final

from starlette.requests import HTTPConnection
from starlette.responses import Response

from photocheck_app import framework
from photocheck_app.doors.origin import SAFE

FOLDER: Final = "/static/"
INDEX: Final = "/index.html"

KEPT: Final = "public, max-age=31536000, immutable"

_SMALLEST: Final = 1000
"""Bytes that are worth pressing."""

_PRESSED: Final = frozenset(
    {"text/html; charset=utf-8", "text/javascript", "text/css", "image/svg+xml", "application/json"}
)
"""Kinds that are not pressed already."""


@dataclass(frozen=True)
class Asset:
    """One file.

    Attributes
    ----------
    kind : str
        As in a Content-Type.
    content : bytes
    pressed : bytes or None
        By gzip, where that is worth it.
    tag : str
        As in an ETag: another for other content.
    """

    kind: str
    content: bytes
    pressed: bytes | None
    tag: str


_held: Final[dict[str, Asset]] = {}


_there = cache(framework.static_files)


def _read(inner: str) -> Asset:
    content = (framework.static_folder() / inner.removeprefix("/")).read_bytes()
    kind = mimetypes.guess_type(inner)[0] or "application/octet-stream"
    if kind in ("application/javascript", "text/html"):
        kind = {"text/html": "text/html; charset=utf-8"}.get(kind, "text/javascript")
    worth = kind in _PRESSED and len(content) >= _SMALLEST
    pressed = gzip.compress(content, 6, mtime=0) if worth else None
    return Asset(kind, content, pressed, f'"{sha256(content).hexdigest()[:32]}"')


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
        and inner in _there()
    )


async def asset(wanted: HTTPConnection, inner: str) -> Response:
    """The answer to who asks for such a file (`is_asset`)."""
    return _answer(wanted, await _found(inner), {"Cache-Control": KEPT})


async def page_file(wanted: HTTPConnection, inner: str) -> Response | None:
    """The answer to who asks for a page: the same for all of them, and what it shows comes later.

    None where Streamlit shall answer: to lead on to the path with or without a last stroke.
    """
    plain = inner == "/" or not inner.endswith("/")
    whole = wanted.scope["path"] == framework.base() + inner
    if wanted.scope["method"] not in SAFE or not (plain and whole):
        return None
    found = await _found(INDEX)
    headers = {"Cache-Control": "no-cache", "ETag": found.tag}
    if found.tag in wanted.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    return _answer(wanted, found, headers)


async def _found(inner: str) -> Asset:
    if inner not in _held:
        # Two who ask at once read it twice, to the same bytes.
        _held[inner] = await asyncio.to_thread(_read, inner)
    return _held[inner]


def _answer(wanted: HTTPConnection, found: Asset, headers: dict[str, str]) -> Response:
    headers["Content-Type"], content = found.kind, found.content
    if found.pressed is not None:
        headers["Vary"] = "Accept-Encoding"
        if "gzip" in wanted.headers.get("accept-encoding", ""):
            headers["Content-Encoding"], content = "gzip", found.pressed
    return Response(content, headers=headers)
