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
from typing import Final

from starlette.requests import HTTPConnection
from starlette.responses import Response

from photocheck_app import framework

FOLDER: Final = "/static/"

KEPT: Final = "public, max-age=31536000, immutable"

_SMALLEST: Final = 1000
"""Bytes that are worth pressing."""

_PRESSED: Final = frozenset({"text/javascript", "text/css", "image/svg+xml", "application/json"})
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
    """

    kind: str
    content: bytes
    pressed: bytes | None


_held: Final[dict[str, Asset]] = {}


@cache
def _there() -> frozenset[str]:
    folder = framework.static_folder()
    return frozenset(f"/{file.relative_to(folder).as_posix()}" for file in folder.rglob("*.*"))


def _read(inner: str) -> Asset:
    content = (framework.static_folder() / inner.removeprefix("/")).read_bytes()
    kind = mimetypes.guess_type(inner)[0] or "application/octet-stream"
    if kind == "application/javascript":
        kind = "text/javascript"
    worth = kind in _PRESSED and len(content) >= _SMALLEST
    return Asset(kind, content, gzip.compress(content, 6, mtime=0) if worth else None)


async def asset(wanted: HTTPConnection, inner: str) -> Response | None:
    """The answer to who asks for such a file; None where Streamlit shall answer.

    Parameters
    ----------
    inner : str
        A path as `photocheck_app.doors.paths.purpose_of` gives it: no part of it leads elsewhere.
    """
    if (
        not inner.startswith(FOLDER)
        or wanted.scope["method"] not in ("GET", "HEAD")
        or "range" in wanted.headers
        or inner not in _there()
    ):
        return None
    found = _held.get(inner)
    if found is None:
        # Two who ask at once read it twice, to the same bytes.
        found = _held[inner] = await asyncio.to_thread(_read, inner)
    headers = {"Cache-Control": KEPT, "Content-Type": found.kind}
    content = found.content
    if found.pressed is not None:
        headers["Vary"] = "Accept-Encoding"
        if "gzip" in wanted.headers.get("accept-encoding", ""):
            headers["Content-Encoding"], content = "gzip", found.pressed
    return Response(content, headers=headers)
