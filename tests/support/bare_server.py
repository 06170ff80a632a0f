"""uvicorn with this project's connections, and an app of a test's own behind them."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import uvicorn
from starlette.types import ASGIApp, Receive, Send

from photocheck.server.serving import listening
from photocheck_app.doors import connections
from tests.support.waiting import until_in_loop


async def lifespan(receive: Receive, send: Send) -> None:
    """An app's part in beginning and ending (ASGI, "Lifespan Protocol")."""
    while (await receive())["type"] != "lifespan.shutdown":
        await send({"type": "lifespan.startup.complete"})
    await send({"type": "lifespan.shutdown.complete"})


async def all_that_came(receive: Receive) -> int:
    """Bytes of a request's body, once it is there."""
    came, more = 0, True
    while more:
        message = await receive()
        came, more = came + len(message.get("body", b"")), message.get("more_body", False)
    return came


@asynccontextmanager
async def bare_server(app: ASGIApp, **settings: Any) -> AsyncIterator[tuple[str, int]]:
    """Where it answers, at a port of its own.

    Parameters
    ----------
    settings
        Of `uvicorn.Config`.
    """
    listener = listening("127.0.0.1", 0)
    config = uvicorn.Config(
        app, http=connections.Http, ws=connections.Websocket, log_config=None, **settings
    )
    server = uvicorn.Server(config)
    serving = asyncio.create_task(server._serve([listener]))
    await until_in_loop(lambda: server.started, "the server answers")
    host, port = listener.getsockname()
    try:
        yield host, port
    finally:
        server.should_exit = server.force_exit = True
        await serving
