"""How much one visitor has open at once, and how fast open pages may ask."""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from starlette.types import Message, Receive

from photocheck.server.access.rates import too_often
from photocheck.server.pace import (
    FILES_OF_ADDRESS,
    MESSAGES_OF_ADDRESS,
    MESSAGES_OF_PAGE,
    Bucket,
    Buckets,
)

PAGES_OF_ADDRESS: Final = 150
"""Open at one address: a few dozen people with a few each."""

REQUESTS_OF_ADDRESS: Final = 100
"""Under way at one address, without the files that pages are made of."""

LONGEST_WAIT_S: Final = 10.0
"""For a file; who would wait longer is told to come again."""

BYTES_OF_ONE: Final = 20_000
"""A message counts once more for each of so many bytes."""

FILES: Final = Buckets(FILES_OF_ADDRESS)
MESSAGES: Final = Buckets(MESSAGES_OF_ADDRESS)
PAGES: Final[Counter[str]] = Counter()
REQUESTS: Final[Counter[str]] = Counter()


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


async def paced_file(who: str) -> None:
    """Wait until a visitor may have one more of the files that pages are made of.

    Raises
    ------
    TooOftenError
        When that is too long.
    """
    wait_s = FILES.of(who).wait_s(most_s=LONGEST_WAIT_S)
    if wait_s > LONGEST_WAIT_S:
        raise too_often(wait_s)
    if wait_s:
        await asyncio.sleep(wait_s)


def paced(receive: Receive, who: str) -> Receive:
    """A page's messages, no faster than a page and its address may ask.

    What has not been taken from the connection is not read from it, so that whoever asks too
    fast is slowed by it filling up.
    """
    own, shared = Bucket(MESSAGES_OF_PAGE), MESSAGES.of(who)

    async def receiving() -> Message:
        message = await receive()
        if message["type"] == "websocket.receive":
            cost = 1 + len(message.get("bytes") or b"") / BYTES_OF_ONE
            wait_s = max(own.wait_s(cost), shared.wait_s(cost))
            if wait_s:
                await asyncio.sleep(wait_s)
        return message

    return receiving
