"""What a request brings along, bounded and counted while it arrives, whatever it says it is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from starlette.types import Message, Receive

from photocheck.photo.kind import MAX_BYTES
from photocheck.server.access.rates import too_often
from photocheck_app import framework
from photocheck_app.doors.open_pages import Leaving
from photocheck_app.doors.paths import Purpose

SMALL: Final = 16_000
"""Bytes of a form, or of anything that brings nothing: a name and a password take hundreds."""

_AROUND: Final = 2**20
"""What a form has around its file."""


def most_bytes(purpose: Purpose | None, method: str) -> int:
    """How much a request may bring."""
    if purpose == "interface":
        # What each may bring is told there, once it is known who asks.
        return MAX_BYTES + _AROUND
    if purpose == "upload" and method == "PUT":
        return framework.most_upload_bytes() + _AROUND
    return SMALL


class Arriving(Leaving):
    """Stands between the server and what reads a body.

    Parameters
    ----------
    receive : ASGI receive
    most : int
        Bytes.
    count : function of the bytes that came so far
        Raises what ends it.

    Attributes
    ----------
    refused : Exception or None
        Why it was ended.
    """

    def __init__(self, receive: Receive, most: int, count: Callable[[int], None]) -> None:
        super().__init__()
        self._receive, self._most, self._count = receive, most, count
        self._came = 0
        self.refused: Exception | None = None

    async def __call__(self) -> Message:
        """As ASGI's receive; once it is too much, as if the visitor had left."""
        if self.refused is None:
            message = await self.next(self._receive)
            if message is None:
                self.refused = too_often(1.0)
                return {"type": "http.disconnect"}
            if message["type"] != "http.request":
                return message
            self._came += len(message.get("body", b""))
            if not message.get("more_body", False):
                self.place = None  # whoever waits for the answer now may wait for it
            try:
                if self._came > self._most:
                    raise TooLargeError
                self._count(self._came)
            except Exception as error:  # of any kind, told by who answers
                self.refused = error
            else:
                return message
        return {"type": "http.disconnect"}


class TooLargeError(Exception):
    """More than such a request brings."""
