"""Every request passes here: counted, given its cookie, kept from others' files."""

from __future__ import annotations

import secrets
import sys
from collections.abc import Callable, Sequence
from math import ceil
from typing import Any, Final
from urllib.parse import urlsplit

import streamlit as st
from starlette.datastructures import MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from photocheck.server.access.addresses import DESK
from photocheck.server.access.rates import MEGABYTE, TooOftenError, visitor
from photocheck.server.serving import is_this_machine
from photocheck.speech import speaking, tr
from photocheck_app import framework
from photocheck_app.doors.language import language_of
from photocheck_app.doors.paths import Purpose, purpose_of
from photocheck_app.doors.rate_limits import COUNTS
from photocheck_app.doors.sessions import COOKIE, may_fetch, owns_session
from photocheck_app.doors.wire import bounded
from photocheck_app.proofs import self_test

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
        wanted = HTTPConnection(scope)
        visit = wanted.cookies.get(COOKIE, "")
        found = purpose_of(scope)
        safely = _safely(scope, wanted, found[0] if found else None, send)
        with speaking(language_of(wanted)):
            if self._doubts and not _from_this_machine(scope, wanted):
                said = tr(
                    "This server answers only to the machine it runs on just now. Whoever runs it "
                    "finds the reason where it was started."
                )
                await _turned_away(scope, receive, safely, 503, said)
                return
            try:
                _count(scope, wanted, found)
            except TooOftenError as error:
                await _turned_away(scope, receive, safely, 429, str(error))
                return
            if found is None or not _is_theirs(*found, visit):
                await _turned_away(scope, receive, safely, 404, tr("There is no such file."))
                return
        if scope["type"] == "websocket":
            scope = _own_session_only(scope, visit)
            receive = bounded(receive, send)
        await self._app(scope, receive, safely)


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


def _count(scope: Scope, wanted: HTTPConnection, found: tuple[Purpose, str] | None) -> None:
    who = visitor(scope["client"][0] if scope.get("client") else None)
    if scope["type"] == "websocket":
        COUNTS.count("visits from address", who)
        return
    COUNTS.count("requests from address", who)
    if scope["method"] in ("PUT", "POST") and found is not None and found[0] == "upload":
        COUNTS.count("photos from address", who)
        length = wanted.headers.get("content-length", "")
        size = int(length) if length.isdecimal() and len(length) < 16 else MEGABYTE
        COUNTS.count("megabytes from address", who, cost=ceil(size / MEGABYTE))


async def _turned_away(scope: Scope, receive: Receive, send: Send, status: int, said: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1013, "reason": _shortened(said)})
        return
    wait = {"Retry-After": "60"} if status == 429 else None
    await PlainTextResponse(said, status, wait)(scope, receive, send)


def _shortened(said: str) -> str:
    """What fits into the frame that closes a websocket (RFC 6455, 5.5: 125 bytes with its code)."""
    return said.encode()[:120].decode(errors="ignore")


def _safely(scope: Scope, wanted: HTTPConnection, purpose: Purpose | None, send: Send) -> Send:
    known = COOKIE in wanted.cookies
    # Not by what is answered: of a page that the browser still holds, only that it is the same.
    asks_for_page = "text/html" in wanted.headers.get("accept", "")
    before = framework.base()
    signed_in = scope["path"] == f"{before}{framework.CALLBACK}"
    https = scope.get("scheme") in ("https", "wss")

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
                headers.append("Set-Cookie", cookie(COOKIE, secrets.token_urlsafe(18), https))
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


def cookie(name: str, value: str, https: bool, *, seconds: int | None = None) -> str:
    """A cookie that no script can read and no other site's request brings along.

    Parameters
    ----------
    https : bool
        Whether it may travel encrypted only.
    seconds : int or None
        How long the browser keeps it; None until it is closed, 0 to take it away.
    """
    parts = [f"{name}={value}", "Path=/", "HttpOnly", "SameSite=Lax"]
    if https:
        parts.append("Secure")
    if seconds is not None:
        parts.append(f"Max-Age={seconds}")
    return "; ".join(parts)
