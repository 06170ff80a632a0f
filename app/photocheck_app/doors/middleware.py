"""Every request passes here: counted, given its cookie, kept from others' files."""

from __future__ import annotations

import logging
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from math import ceil
from typing import Any, Final, TypeAlias
from urllib.parse import urlsplit

import streamlit as st
from starlette.datastructures import MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from photocheck.errors import PhotocheckError, disk_is_full
from photocheck.orders.model import StoreError
from photocheck.server.access.addresses import DESK, DESK_COOKIE
from photocheck.server.access.browsers import known_apart, new_browser
from photocheck.server.access.passes import AccessError, at_desk
from photocheck.server.access.rates import MEGABYTE, TooOftenError, visitor
from photocheck.server.interface.operations import BASE
from photocheck.server.interface.problems import problem
from photocheck.server.serving import is_this_machine
from photocheck.speech import speaking, tr
from photocheck_app import framework
from photocheck_app.doors.assets import asset, is_asset, page_file
from photocheck_app.doors.bodies import Arriving, TooLargeError, most_bytes
from photocheck_app.doors.cookies import cookie, give_out, taken_in
from photocheck_app.doors.first_page import first_page, is_first_page, led_on
from photocheck_app.doors.language import language_of
from photocheck_app.doors.open_pages import (
    ANSWERED,
    MOST_PAGES,
    MOST_REQUESTS,
    OPEN,
    PAGES,
    PROVIDER,
    REQUESTS,
    Asking,
    Page,
    may_have_file,
    may_visit,
    turn,
)
from photocheck_app.doors.origin import SAFE, is_foreign, is_https
from photocheck_app.doors.paths import Purpose, purpose_of
from photocheck_app.doors.rate_limits import COUNTS
from photocheck_app.doors.sessions import COOKIE, may_fetch, owns_session
from photocheck_app.doors.settings import desk_is_open, the_store
from photocheck_app.doors.wire import bounded
from photocheck_app.proofs import self_test

_log: Final = logging.getLogger(__name__)

SAFE_HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    # An owner's link is in the address: no other page shall learn of it.
    "Referrer-Policy": "no-referrer",
    "X-Frame-Options": "DENY",
    "Content-Security-Policy": "frame-ancestors 'none'; base-uri 'self'; object-src 'none'",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), camera=()",
}
"""OWASP ASVS 5.0, 3.4.  Streamlit brings its own scripts, so that what a page may run is not
narrowed further here."""

PASSED_ON: Final = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip", "via")
"""Headers by which a server in between says that somebody else has asked."""

HTTPS_ONLY: Final = "max-age=31536000"

Found: TypeAlias = tuple[Purpose, str] | None
"""What lies at a path (`photocheck_app.doors.paths.purpose_of`)."""


class Guard:
    """Around the whole app.

    Parameters
    ----------
    app : ASGI application
    self_test : function of a served application
        What is no longer as these doors need it; while there is anything, only this machine is
        answered.
    """

    def __init__(self, app: ASGIApp, self_test: Callable[[Any], Sequence[str]] = self_test) -> None:
        self._app = app
        self._self_test = self_test
        self._doubts: tuple[str, ...] | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request, or one page's connection; the first of all is the server's own start."""
        if self._doubts is None:
            self._doubts = tuple(self._self_test(scope.get("app")))
            if self._doubts:
                _tell(self._doubts)
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        if is_https(HTTPConnection(scope)):
            scope = taken_in(scope)
        wanted = HTTPConnection(scope)
        with speaking(language_of(wanted)):
            found = purpose_of(scope)
            safely = _safely(scope, wanted, found[0] if found else None, send)
            if self._doubts and not _from_this_machine(scope, wanted):
                said = tr(
                    "This server answers only to the machine it runs on just now. Whoever runs it "
                    "finds the reason where it was started."
                )
                await _turned_away(scope, receive, safely, 503, said)
                return
            if is_foreign(wanted):
                said = tr("Another site's page asked for this. Open this page by its own address.")
                await _turned_away(scope, receive, safely, 403, said)
                return
            if _has_two_lengths(wanted):
                await _turned_away(scope, receive, safely, 400, _two_lengths())
                return
            try:
                if scope["type"] == "websocket":
                    await self._page(scope, receive, safely, wanted, found)
                elif found is not None and is_asset(wanted, found[1]):
                    held = await asset(wanted, found[1])
                    await may_have_file(_asking(scope, wanted), len(held.body))
                    await held(scope, receive, safely)
                else:
                    await self._request(scope, receive, safely, wanted, found)
            except TooOftenError as error:
                await _turned_away(scope, receive, safely, 429, str(error))

    async def _page(
        self, scope: Scope, receive: Receive, send: Send, wanted: HTTPConnection, found: Found
    ) -> None:
        who, visit = _asking(scope, wanted), wanted.cookies.get(COOKIE, "")
        await may_visit(who)
        if found is None:
            await _turned_away(scope, receive, send, 404, _nothing_there())
            return
        page = Page(bounded(receive, send), send, who)
        with OPEN.one_more(who, MOST_PAGES, page.send_away) as page.place:
            try:
                await self._app(_own_session_only(scope, visit), page.receive, page.send)
            except Exception:
                # Streamlit takes a visitor who left in the middle of it for one with a wrong
                # message, and stumbles.
                if not page.left:
                    raise

    async def _request(
        self, scope: Scope, receive: Receive, send: Send, wanted: HTTPConnection, found: Found
    ) -> None:
        asking = _asking(scope, wanted)
        who = asking.address
        await turn(PAGES if found and found[0] == "page" and _reads(scope) else REQUESTS, asking)
        if found is None or not _is_theirs(*found, wanted.cookies.get(COOKIE, "")):
            await _turned_away(scope, receive, send, 404, _nothing_there())
            return
        if leading := led_on(wanted, found[1]):
            await leading(scope, receive, send)
            return
        if is_first_page(wanted, found[1]):
            await first_page(wanted)(scope, receive, send)
            return
        if found[0] == "page" and (held := await page_file(wanted, found[1], asking)):
            await held(scope, receive, send)
            return
        if found[0] == "provider":
            await turn(PROVIDER, asking)
        uploads = found[0] == "upload" and scope["method"] in ("PUT", "POST")
        brings = _who_brings(wanted, who) if uploads else ("", "")
        if uploads:
            COUNTS.count(f"photos {brings[0]}", brings[1])
        length = _length(wanted)
        most = most_bytes(found[0], scope["method"])
        if length is not None and length > most:
            await _turned_away(scope, receive, send, 413, _too_large())
            return
        body = Arriving(receive, most, _counting(brings, length) if uploads else _for_nothing)
        with ANSWERED.one_more(asking, MOST_REQUESTS, body.send_away) as body.place:
            answer = _Answer(send, body)
            try:
                await self._app(scope, body, answer)
            except Exception as error:
                if body.refused is None and disk_is_full(error) and not answer.begun:
                    _log.warning("%s", error)
                    await _turned_away(scope, receive, send, 507, _no_room())
                    return
                # Whatever stumbled over a body that was cut off: why it was, is told instead.
                if body.refused is None:
                    raise
            if body.refused is None or answer.begun:
                return
            if isinstance(body.refused, TooLargeError):
                await _turned_away(scope, receive, send, 413, _too_large())
                return
            raise body.refused


class _Answer:
    """Passes on what is answered, until what was brought is refused."""

    def __init__(self, send: Send, body: Arriving) -> None:
        self._send, self._body = send, body
        self.begun = False

    async def __call__(self, message: Message) -> None:
        """As ASGI's send."""
        if self._body.refused is None or self.begun:
            self.begun = True
            await self._send(message)


def _who(scope: Scope) -> str:
    return visitor(scope["client"][0] if scope.get("client") else None)


def _asking(scope: Scope, wanted: HTTPConnection) -> Asking:
    return Asking(_who(scope), known_apart(wanted.cookies.get(COOKIE, "")))


def _reads(scope: Scope) -> bool:
    return scope["method"] in SAFE


def _length(wanted: HTTPConnection) -> int | None:
    """What a request says of its size, where it can be believed: the server holds it to that."""
    said = wanted.headers.get("content-length", "")
    chunked = "transfer-encoding" in wanted.headers
    return int(said) if said.isdecimal() and len(said) < 16 and not chunked else None


def _has_two_lengths(wanted: HTTPConnection) -> bool:
    """Whether a request says how long it is both by a number and by its chunks.

    What stands before this server may have gone by the other, and taken for one request what is
    two here (RFC 9112, 6.1: it may be refused, and in any case nothing more may be answered on
    that connection).
    """
    return "content-length" in wanted.headers and "transfer-encoding" in wanted.headers


def _who_brings(wanted: HTTPConnection, who: str) -> tuple[str, str]:
    """Whose count an upload goes to: that of who is at the desk, who brings in a shop's orders of a
    day, or the address's, which is a stranger's."""
    if desk_is_open():
        return "of staff", who
    if carried := wanted.cookies.get(DESK_COOKIE, ""):
        # A pass that opens nothing, or a store that is away: a stranger's bound does.
        with suppress(AccessError, StoreError):
            return "of staff", at_desk(the_store(), carried)
    return "from address", who


def _counting(brings: tuple[str, str], length: int | None) -> Callable[[int], None]:
    """Count megabytes: those announced before any has come, and others as they come."""
    what, who = f"megabytes {brings[0]}", brings[1]
    counted = 1 if length is None else ceil(length / MEGABYTE)
    COUNTS.count(what, who, cost=counted)

    def count(came: int) -> None:
        nonlocal counted
        more = ceil(came / MEGABYTE) - counted
        if more > 0:
            COUNTS.count(what, who, cost=more)
            counted += more

    return count


def _for_nothing(_: int) -> None:
    """What is small and brings no photo is not counted by its size."""


def _nothing_there() -> str:
    return tr("There is no such file.")


def _too_large() -> str:
    return tr("This is more than can be taken in at once.")


def _two_lengths() -> str:
    return tr("This request says in two ways how long it is.")


def _no_room() -> str:
    return tr("There is no room for this just now. Nothing is lost; try again later.")


def _tell(doubts: Sequence[str]) -> None:
    """Say in one line, to whoever started the server, why others are turned away."""
    said = tr(
        "Other machines are turned away, for Streamlit {found} is not as it was read in {read_in}: "
        "{what}. Install the one that is known: pip install '{known}'",
        found=st.__version__,
        read_in=framework.READ_IN,
        what="; ".join(doubts),
        known=framework.INSTALL,
    )
    print(" ".join(said.split()), file=sys.stderr, flush=True)


def _from_this_machine(scope: Scope, wanted: HTTPConnection) -> bool:
    """Whether nobody elsewhere can have asked, be it through a server on this machine."""
    client = scope.get("client")
    # A socket that serves both kinds of address gives this machine's older one so.
    asked_by = str(client[0]).lower().removeprefix("::ffff:") if client else ""
    host = urlsplit(f"//{wanted.headers.get('host', '')}").hostname or ""
    return (
        is_this_machine(asked_by)
        and is_this_machine(host)
        and not any(name in wanted.headers for name in PASSED_ON)
    )


def _is_theirs(purpose: Purpose, inner: str, visit: str) -> bool:
    """Whether a browser may have, or put, what is at this path."""
    if purpose == "media":
        return may_fetch(inner, visit)
    if purpose == "upload":
        form = framework.UPLOAD_FORM.fullmatch(inner)
        return form is not None and owns_session(form[1], visit)
    return True


_PROTOCOLS: Final = b"sec-websocket-protocol"


def _own_session_only(scope: Scope, visit: str) -> Scope:
    """Streamlit's pages name the session they go on with; another's is taken out of the request,
    so that a new one begins."""
    headers = [
        (key, framework.without_session(value, lambda name: owns_session(name, visit)))
        if key.lower() == _PROTOCOLS
        else (key, value)
        for key, value in scope["headers"]
    ]
    return {**scope, "headers": headers, "subprotocols": _protocols(headers)}


def _protocols(headers: list[tuple[bytes, bytes]]) -> list[str]:
    said = [value for key, value in headers if key.lower() == _PROTOCOLS]
    return [part.strip().decode("latin-1") for value in said for part in value.split(b",")]


async def _turned_away(scope: Scope, receive: Receive, send: Send, status: int, said: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1013, "reason": _shortened(said)})
        return
    if str(scope["path"]).startswith(f"{BASE}/"):
        # Programs read problems; and theirs is nobody else's page.
        refused = problem(status, PhotocheckError(said.removesuffix(".")), headers=_more(status))
        answer = Response(refused.content, status, dict(refused.headers), refused.kind)
        await answer(scope, receive, send)
        return
    await PlainTextResponse(said, status, _more(status))(scope, receive, send)


def _more(status: int) -> dict[str, str] | None:
    closed = {"Connection": "close"}
    return {429: {"Retry-After": "60", **closed}, **dict.fromkeys((400, 413, 507), closed)}.get(
        status
    )


def _shortened(said: str) -> str:
    """What fits into the frame that closes a websocket (RFC 6455, 5.5: 125 bytes with its code)."""
    return said.encode()[:120].decode(errors="ignore")


def _safely(scope: Scope, wanted: HTTPConnection, purpose: Purpose | None, send: Send) -> Send:
    known = COOKIE in wanted.cookies
    # Not by what is answered: of a page that the browser still holds, only that it is the same.
    asks_for_page = "text/html" in wanted.headers.get("accept", "")
    before = framework.base()
    signed_in = scope["path"] == f"{before}{framework.CALLBACK}"
    https = is_https(wanted)

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            message.setdefault("headers", [])
            headers = MutableHeaders(scope=message)
            for name, value in SAFE_HEADERS.items():
                headers.setdefault(name, value)
            if purpose == "media":
                headers["Cache-Control"] = _kept_where(headers)
            if https:
                headers.setdefault("Strict-Transport-Security", HTTPS_ONLY)
            if signed_in and headers.get("location") == f"{before}/":
                # Who signs in means to come to the desk; Streamlit leads to the first page.
                headers["location"] = f"{before}{DESK}"
            if not known and asks_for_page:
                headers.append("Set-Cookie", cookie(COOKIE, new_browser(), https))
            if https:
                give_out(headers)
        await send(message)

    return sending


def _kept_where(headers: MutableHeaders) -> str:
    """Photos of people's dogs and homes stay in no cache (OWASP ASVS 5.0, 14.3.2).

    Streamlit's page begins every download once before anybody asks for it and does not read it
    to the end: what no cache may hold would then keep a connection busy for as long as the
    page is open.  Such files stay in the browser's own cache.
    """
    photo = headers.get("content-type", "").startswith("image/")
    return "no-store" if photo else "private, no-cache"
