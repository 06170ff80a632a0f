"""Where other programs come in: who asks is recognised, what is sent is read within its bounds."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import Receive, Scope, Send

from photocheck.errors import PhotocheckError
from photocheck.orders.model import StoreError
from photocheck.orders.store.kept_clients import Client, any_client
from photocheck.server.access.clients import recognised_client
from photocheck.server.access.rates import visitor
from photocheck.server.hooks.telling import Teller
from photocheck.server.interface.answering import Desk, answer
from photocheck.server.interface.asked import Asked, most_bytes, operation_of, refuse_kind
from photocheck.server.interface.operations import BASE, Operation
from photocheck.server.interface.problems import (
    Reply,
    problem_of,
    too_large,
    unknown_token,
)
from photocheck.server.interface.subscribing import change_told
from photocheck.server.shop import shop_of
from photocheck.speech import tr
from photocheck.uploads.gate import BusyError
from photocheck_app.doors.rate_limits import COUNTS
from photocheck_app.doors.settings import the_store
from photocheck_app.doors.trouble import TROUBLE

PHOTOS_AT_ONCE: Final = 4
"""Photos of clients that are on their way or being decoded: each may have 60 MB."""

PATIENCE_S: Final = 30.0
"""How long one more waits for its turn."""


class Interface:
    """All paths below `BASE`."""

    def __init__(self) -> None:
        self._photos = asyncio.Semaphore(PHOTOS_AT_ONCE)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Reply one request."""
        request = Request(scope, receive)
        try:
            found = await run_in_threadpool(_who_asks, request)
            if found is None:
                # As of any other path of which nothing is known.
                await PlainTextResponse(tr("There is no such file."), 404)(scope, receive, send)
                return
            made = await self._answered(request, found)
        except ClientDisconnect:
            return  # nobody is there to be answered, and nothing failed here
        except StoreError as error:
            TROUBLE.away(error)
            made = problem_of(error)
        except PhotocheckError as error:
            made = problem_of(error)
        await _response(made)(scope, receive, send)

    async def _answered(self, request: Request, client: Client) -> Reply:
        asked = Asked(
            request.method,
            request.url.path.removeprefix(BASE),
            request.query_params.multi_items(),
            # what is said in several lines is one list (RFC 9110, 5.2)
            {name: ", ".join(request.headers.getlist(name)) for name in request.headers},
        )
        operation, _ = operation_of(asked)
        refuse_kind(operation, asked)
        if operation.body != "photo":
            return await self._with_body(request, client, asked, operation)
        try:
            async with asyncio.timeout(PATIENCE_S):
                await self._photos.acquire()
        except TimeoutError as error:
            raise BusyError(
                tr("many photos are being read just now"), do=tr("Wait a minute and try again")
            ) from error
        try:
            return await self._with_body(request, client, asked, operation)
        finally:
            self._photos.release()

    async def _with_body(
        self, request: Request, client: Client, asked: Asked, operation: Operation
    ) -> Reply:
        body = await _body(request, most_bytes(operation))
        whole = Asked(asked.method, asked.path, asked.query, asked.headers, body)
        return await run_in_threadpool(answer, Desk(the_store(), shop_of, COUNTS), client, whole)


def _who_asks(request: Request) -> Client | None:
    """The client whose token this is; None where nobody could be one.

    Raises
    ------
    RefusedError
        When the token opens nothing.
    TooOftenError
        When too many of them came from that address; who has a right one is never kept out.
    """
    store = the_store()
    if not any_client(store):
        return None
    # Of two, a proxy may go by the other one (RFC 9110, 5.3 and 11.6.2: there is one).
    said = request.headers.getlist("authorization")
    kind, _, token = (said[0] if len(said) == 1 else "").partition(" ")
    found = recognised_client(store, token.strip()) if kind.lower() == "bearer" else None
    if found is None:
        who = visitor(request.client.host if request.client else None)
        if token:
            COUNTS.count("unknown tokens from address", who)
        raise unknown_token()
    return found


async def _body(request: Request, most: int) -> bytes:
    told = request.headers.get("content-length", "")
    if told.isdecimal() and int(told) > most:
        raise too_large()
    came = bytearray()
    async for part in request.stream():
        came += part
        if len(came) > most:
            raise too_large()
    return bytes(came)


def _response(made: Reply) -> Response:
    headers = dict(made.headers)
    return Response(made.content, made.status, headers, made.kind or None)


@asynccontextmanager
async def telling(_: Any) -> AsyncIterator[None]:
    """For as long as the server runs, tell subscribers what changed."""
    teller = Teller(the_store, change_told)
    teller.start()
    try:
        yield
    finally:
        teller.end()


ROUTES: Final = [Route(f"{BASE}/{{rest:path}}", Interface())]
