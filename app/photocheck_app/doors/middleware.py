"""Every request passes here: counted, given its cookie, kept from others' files."""

from __future__ import annotations

import secrets
from math import ceil
from typing import Final

import streamlit as st
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from photocheck.server.access.addresses import DESK
from photocheck.server.access.rates import MEGABYTE, TooOftenError, visitor
from photocheck_app.doors.belonging import COOKIE, may_fetch, owns_session
from photocheck_app.doors.counting import COUNTS

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

MEDIA: Final = "/media/"
"""Where pages' photos and downloads are served."""

UPLOADS: Final = "/_stcore/upload_file/"
"""Where pages put files; the name of their session follows."""

HTTPS_ONLY: Final = "max-age=31536000"


class Doors:
    """Around the whole app.

    Parameters
    ----------
    app : ASGI application
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request, or one page's connection."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        wanted = HTTPConnection(scope)
        try:
            _count(scope, wanted)
        except TooOftenError as error:
            await _turned_away(scope, receive, send, str(error))
            return
        visit = wanted.cookies.get(COOKIE, "")
        if scope["type"] == "websocket":
            scope = _own_session_only(scope, visit)
        elif not _is_theirs(scope["path"], visit):
            missing = PlainTextResponse("There is no such file.", 404)
            await missing(scope, receive, _safely(scope, wanted, send))
            return
        await self._app(scope, receive, _safely(scope, wanted, send))


def _is_theirs(path: str, visit: str) -> bool:
    """Whether a browser may have, or put, what is at this path."""
    place = path.removeprefix(_base())
    if place.startswith(MEDIA):
        return may_fetch(place, visit)
    if place.startswith(UPLOADS):
        return owns_session(place.removeprefix(UPLOADS).partition("/")[0], visit)
    return True


def _base() -> str:
    base = str(st.get_option("server.baseUrlPath") or "").strip("/")
    return f"/{base}" if base else ""


def _own_session_only(scope: Scope, visit: str) -> Scope:
    """Streamlit's pages name the session they go on with; another's is taken out of the request,
    so that a new one begins.  It is the third of the protocols asked for."""
    name = b"sec-websocket-protocol"
    headers = []
    for key, value in scope["headers"]:
        parts = [part.strip() for part in value.split(b",")]
        if key.lower() == name and len(parts) > 2:
            if not owns_session(parts[2].decode("latin-1"), visit):
                parts = parts[:2]
            value = b", ".join(parts)
        headers.append((key, value))
    return {**scope, "headers": headers, "subprotocols": _protocols(headers)}


def _protocols(headers: list[tuple[bytes, bytes]]) -> list[str]:
    said = [value for key, value in headers if key.lower() == b"sec-websocket-protocol"]
    return [part.strip().decode("latin-1") for value in said for part in value.split(b",")]


def _count(scope: Scope, wanted: HTTPConnection) -> None:
    who = visitor(scope["client"][0] if scope.get("client") else None)
    if scope["type"] == "websocket":
        COUNTS.count("visits from address", who)
        return
    COUNTS.count("requests from address", who)
    if scope["method"] in ("PUT", "POST") and UPLOADS in scope["path"]:
        COUNTS.count("photos from address", who)
        length = wanted.headers.get("content-length", "")
        size = int(length) if length.isdecimal() and len(length) < 16 else MEGABYTE
        COUNTS.count("megabytes from address", who, cost=ceil(size / MEGABYTE))


async def _turned_away(scope: Scope, receive: Receive, send: Send, said: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1013, "reason": said[:100]})
        return
    answer = PlainTextResponse(said, 429, {"Retry-After": "60"})
    await answer(scope, receive, send)


def _safely(scope: Scope, wanted: HTTPConnection, send: Send) -> Send:
    known = COOKIE in wanted.cookies
    # Not by what is answered: of a page that the browser still holds, only that it is the same.
    asks_for_page = "text/html" in wanted.headers.get("accept", "")
    private = scope["path"].removeprefix(_base()).startswith(MEDIA)
    signed_in = scope["path"] == f"{_base()}/oauth2callback"
    https = scope.get("scheme") in ("https", "wss")

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            message.setdefault("headers", [])
            headers = MutableHeaders(scope=message)
            for name, value in SAFE_HEADERS.items():
                headers.setdefault(name, value)
            if private:
                headers["Cache-Control"] = _kept_where(headers)
            if https:
                headers.setdefault("Strict-Transport-Security", HTTPS_ONLY)
            if signed_in and headers.get("location") == f"{_base()}/":
                # Who signs in means to come to the desk; Streamlit leads to the first page.
                headers["location"] = f"{_base()}{DESK}"
            if not known and asks_for_page:
                headers.append("Set-Cookie", cookie(COOKIE, secrets.token_urlsafe(18), https))
        await send(message)

    return sending


def _kept_where(headers: Headers) -> str:
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
