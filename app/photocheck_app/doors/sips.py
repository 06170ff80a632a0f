"""What comes over a connection, read a little at a time.

The servers underneath take apart whatever has arrived in one go, a quarter of a megabyte, on the
one thread that answers everybody; of frames, chunks or lines of a few bytes that is forty
thousand, half a second for one connection, and nothing else is answered meanwhile.  Here a
connection is read by the kilobyte; the pieces in it are counted, and one that has sent too many is
not read for a while.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Final

from photocheck.server.pace import PIECES_OF_CONNECTION, Bucket

SIP_BYTES: Final = 1024
"""Read at once; of the smallest frames 170, which take two milliseconds (measured)."""

MOST_UNREAD: Final = 2**21
"""Bytes.  Where more has come than is read, reading it from the connection is paused; so twice what
arrives in one go is never there but by intent."""


class Sips:
    """What has come and was not read yet.

    Parameters
    ----------
    loop : asyncio event loop
    read : function of bytes
        Reads a sip, and says of how many pieces it was.
    ready : function
        How many bytes may be read at once now; 0 for none.
    again : function
        Called once more may be read of a connection that was held.
    """

    def __init__(
        self,
        loop: asyncio.AbstractEventLoop,
        read: Callable[[bytes], int],
        ready: Callable[[], int],
        again: Callable[[], None],
    ) -> None:
        self._loop, self._read, self._ready, self._again = loop, read, ready, again
        self._unread = bytearray()
        self._pieces = Bucket(PIECES_OF_CONNECTION, loop.time)
        self._held: asyncio.TimerHandle | None = None

    @property
    def full(self) -> bool:
        """Whether nothing more is to be taken from the connection for now."""
        return bool(self._unread) or self._held is not None

    @property
    def over(self) -> bool:
        """Whether more lies here than ever should."""
        return len(self._unread) > MOST_UNREAD

    def take(self, data: bytes) -> None:
        """Something has come."""
        self._unread += data

    def go_on(self) -> None:
        """Read what may be read."""
        while self._unread and self._held is None and (many := self._ready()):
            part = bytes(self._unread[:many])
            del self._unread[:many]
            if wait_s := self._pieces.wait_s(self._read(part)):
                self._held = self._loop.call_later(wait_s, self._let_go)

    def _let_go(self) -> None:
        self._held = None
        self._again()

    def end(self) -> None:
        """Nothing more is read."""
        self._unread.clear()
        if self._held is not None:
            self._held.cancel()
            self._held = None
