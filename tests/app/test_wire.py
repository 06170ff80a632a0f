"""What a page sends at once has a bound, and what is beyond reaches nobody."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from starlette.types import Message

from photocheck.orders.bounds import MOST_MESSAGE_BYTES
from photocheck_app.doors.wire import TOO_BIG, bounded


def passed_on(message: Message) -> tuple[Message, list[Any]]:
    said: list[Any] = []

    async def receive() -> Message:
        return message

    async def send(what: Any) -> None:
        said.append(what)

    return asyncio.run(_one(bounded(receive, send))), said


async def _one(receive: Any) -> Message:
    found: Message = await receive()
    return found


@pytest.mark.parametrize("kind", ["bytes", "text"])
def test_a_message_beyond_the_bound_closes_its_page(kind: str) -> None:
    letter = b"x" if kind == "bytes" else "x"
    whole = {"type": "websocket.receive", kind: letter * MOST_MESSAGE_BYTES}
    assert passed_on(whole) == (whole, [])
    message, said = passed_on(
        {"type": "websocket.receive", kind: letter * (MOST_MESSAGE_BYTES + 1)}
    )
    assert (message["type"], message["code"]) == ("websocket.disconnect", TOO_BIG)
    (closed,) = said
    assert (closed["type"], closed["code"]) == ("websocket.close", TOO_BIG)


@pytest.mark.parametrize("kind", ["websocket.connect", "websocket.disconnect"])
def test_what_is_no_message_is_let_through(kind: str) -> None:
    assert passed_on({"type": kind}) == ({"type": kind}, [])
