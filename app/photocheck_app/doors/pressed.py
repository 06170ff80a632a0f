"""Content that is held in memory, whole and by gzip, and told from other content by its hash."""

from __future__ import annotations

import gzip
from dataclasses import dataclass
from hashlib import sha256
from typing import Final

from starlette.requests import HTTPConnection
from starlette.responses import Response

_SMALLEST: Final = 1000
"""Bytes that are worth pressing."""

_PRESSED: Final = frozenset(
    {"text/html; charset=utf-8", "text/javascript", "text/css", "image/svg+xml", "application/json"}
)
"""Kinds that are not pressed already."""


@dataclass(frozen=True)
class Pressed:
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

    @classmethod
    def of(cls, kind: str, content: bytes) -> Pressed:
        """Press it once for all who ask."""
        worth = kind in _PRESSED and len(content) >= _SMALLEST
        pressed = gzip.compress(content, 9, mtime=0) if worth else None
        return cls(kind, content, pressed, f'"{sha256(content).hexdigest()[:32]}"')


def answer(wanted: HTTPConnection, held: Pressed, headers: dict[str, str]) -> Response:
    """The answer to who asks for it; where the browser still has it, only that it is the same.

    Parameters
    ----------
    headers : dict
        More of them; what varies by more than the encoding says so itself.
    """
    headers = {"ETag": held.tag, **headers}
    if held.tag in wanted.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    headers["Content-Type"], content = held.kind, held.content
    if held.pressed is not None:
        headers.setdefault("Vary", "Accept-Encoding")
        if "gzip" in wanted.headers.get("accept-encoding", ""):
            headers["Content-Encoding"], content = "gzip", held.pressed
    return Response(content, headers=headers)
