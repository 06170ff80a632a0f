"""What a page may send at once over its websocket."""

from __future__ import annotations

from starlette.types import Message, Receive, Send

from photocheck.orders.bounds import MOST_MESSAGE_BYTES
from photocheck.speech import tr

TOO_BIG = 1009
"""The code of RFC 6455, 7.4.1, for a message that is too big."""


def bounded(receive: Receive, send: Send) -> Receive:
    """What a page sends, until it sends more at once than any page does: then it is closed.

    It is looked at before anything reads it, so that others do not wait meanwhile.
    """

    async def receiving() -> Message:
        message = await receive()
        if message["type"] != "websocket.receive":
            return message
        size = len(message.get("bytes") or b"") + len(message.get("text") or "")
        if size <= MOST_MESSAGE_BYTES:
            return message
        said = tr("Too much was sent at once.")
        await send({"type": "websocket.close", "code": TOO_BIG, "reason": said})
        return {"type": "websocket.disconnect", "code": TOO_BIG, "reason": said}

    return receiving
