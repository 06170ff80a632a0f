"""How much one visitor has open at once, and how fast open pages may ask."""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from starlette.types import Message, Receive, Send

from photocheck.server.access.rates import too_often
from photocheck.server.pace import (
    FILES_OF_ADDRESS,
    MESSAGES_OF_ADDRESS,
    MESSAGES_OF_PAGE,
    REQUESTS_OF_ADDRESS,
    VISITS_OF_ADDRESS,
    Bucket,
    Buckets,
)

MOST_PAGES: Final = 150
"""Open at one address: a few dozen people with a few each."""

MOST_REQUESTS: Final = 100
"""Being answered at one address, once their turn has come, without the files that pages are
made of."""

LONGEST_WAIT_S: Final = 10.0
"""For one's turn; who would wait longer is told to come again."""

BYTES_OF_ONE: Final = 20_000
"""A message counts once more for each of so many bytes."""

FILES: Final = Buckets(FILES_OF_ADDRESS)
REQUESTS: Final = Buckets(REQUESTS_OF_ADDRESS)
VISITS: Final = Buckets(VISITS_OF_ADDRESS)
MESSAGES: Final = Buckets(MESSAGES_OF_ADDRESS)

OPEN: Final[Counter[str]] = Counter()
ANSWERED: Final[Counter[str]] = Counter()


@contextmanager
def one_more(of: Counter[str], who: str, most: int) -> Iterator[None]:
    """One more of a visitor's for as long as the block lasts.

    Raises
    ------
    TooOftenError
        When there are as many as may be.
    """
    if of[who] >= most:
        raise too_often(1.0)
    of[who] += 1
    try:
        yield
    finally:
        of[who] -= 1
        if not of[who]:
            del of[who]


async def turn(of: Buckets, who: str) -> None:
    """Wait until it is a visitor's turn.

    Raises
    ------
    TooOftenError
        When that is too long.
    """
    wait_s = of.of(who).wait_s(most_s=LONGEST_WAIT_S)
    if wait_s > LONGEST_WAIT_S:
        raise too_often(wait_s)
    if wait_s:
        await asyncio.sleep(wait_s)


class Page:
    """An open page's connection, between the server and Streamlit.

    What has not been taken from the connection is not read from it, so that whoever asks faster
    than a page and its address may is slowed by it filling up.

    Parameters
    ----------
    receive, send : ASGI receive and send
    who : str
        As `photocheck.server.access.rates.visitor` says.

    Attributes
    ----------
    left : bool
        Whether the visitor has gone, or was sent away.
    """

    def __init__(self, receive: Receive, send: Send, who: str) -> None:
        self._receive, self._send = receive, send
        self._own, self._shared = Bucket(MESSAGES_OF_PAGE), MESSAGES.of(who)
        self.left = False

    async def receive(self) -> Message:
        """As ASGI's receive, once it is this page's turn."""
        if self.left:
            return {"type": "websocket.disconnect", "code": 1005}
        message = await self._receive()
        if message["type"] == "websocket.receive":
            if message.get("bytes") is None:
                # Pages send none; Streamlit would write a traceback into the log.
                self.left = True
                await self._send({"type": "websocket.close", "code": 1003})
                return {"type": "websocket.disconnect", "code": 1003}
            cost = 1 + len(message["bytes"]) / BYTES_OF_ONE
            wait_s = max(self._own.wait_s(cost), self._shared.wait_s(cost))
            if wait_s:
                await asyncio.sleep(wait_s)
        elif message["type"] == "websocket.disconnect":
            self.left = True
        return message

    async def send(self, message: Message) -> None:
        """As ASGI's send."""
        try:
            await self._send(message)
        except OSError:  # ASGI's word for a visitor who has gone
            self.left = True
            raise
