"""Cookies that, over HTTPS, no other server of the same domain can have planted.

A browser keeps a name that begins with ``__Host-`` only when this very host set it over HTTPS
(RFC 6265bis, 4.1.3.2).  The prefix is put on and taken off here, so that all behind knows one name.
"""

from __future__ import annotations

from typing import Final

from starlette.datastructures import MutableHeaders
from starlette.types import Scope

from photocheck_app import framework

PREFIX: Final = "__Host-"

BOUND: Final = ("photocheck_", *framework.SIGN_IN_COOKIES)
"""How the names begin that carry a pass or tell a visitor apart."""


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


def taken_in(scope: Scope) -> Scope:
    """A request over HTTPS with its bound cookies' own names, and none that came without prefix."""
    headers = [
        (key, b"; ".join(_known(value)) if key.lower() == b"cookie" else value)
        for key, value in scope["headers"]
    ]
    return {**scope, "headers": headers}


def _known(header: bytes) -> list[bytes]:
    kept = []
    for part in header.split(b";"):
        part = part.strip()
        if part.startswith(PREFIX.encode()):
            kept.append(part.removeprefix(PREFIX.encode()))
        elif part and not _is_bound(part.decode("latin-1")):
            kept.append(part)
    return kept


def give_out(headers: MutableHeaders) -> None:
    """Bind the cookies of an answer over HTTPS to this host, and have all of them encrypted."""
    given = headers.getlist("set-cookie")
    if not given:
        return
    del headers["set-cookie"]
    for one in given:
        pair, *rest = [part.strip() for part in one.split(";")]
        rest = [part for part in rest if part.lower() != "secure"] + ["Secure"]
        if _is_bound(pair):
            rest = ["Path=/", *(part for part in rest if not part.lower().startswith("path="))]
            pair = PREFIX + pair
        headers.append("set-cookie", "; ".join([pair, *rest]))


def _is_bound(pair: str) -> bool:
    return pair.startswith(BOUND)
