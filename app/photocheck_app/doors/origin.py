"""Whether a request comes from a page of this server, or from nobody's page.

A browser says by ``Origin`` whose page asks, and no page can make it say otherwise.  It must be
this server's scheme and host to the letter: another port of the same machine is somebody else, and
what is compared more loosely here than behind is let through here and decided there.

- A websocket without it comes from no browser (RFC 6455, 4.1, item 8): a program, which brings
  nobody's cookie but its own.  It is let through.
- What may change things (POST, PUT, DELETE and whatever else) without it comes from no browser
  either (Fetch standard, "append a request `Origin` header"); it is let through unless
  ``Sec-Fetch-Site`` names another site all the same.
- GET and HEAD change nothing, links lead here from everywhere, and browsers send no ``Origin`` with
  them unless a page of another origin wants to read the answer: let through without, refused with
  another's.
"""

from __future__ import annotations

from typing import Final

from starlette.requests import HTTPConnection

SAFE: Final = frozenset({"GET", "HEAD"})
"""Methods that change nothing (RFC 9110, 9.2.1)."""

_HERE: Final = ("same-origin", "none")
"""What ``Sec-Fetch-Site`` says of a page of this server, and of what was typed."""


def is_foreign(wanted: HTTPConnection) -> bool:
    """Whether another site's page asks, in its visitor's name.

    Parameters
    ----------
    wanted : HTTPConnection
        Its scheme is the visitor's: behind a trusted proxy as `X-Forwarded-Proto` says.
    """
    origins, hosts = wanted.headers.getlist("origin"), wanted.headers.getlist("host")
    if len(origins) > 1 or len(hosts) > 1:
        return True
    changes = wanted.scope["type"] == "websocket" or wanted.scope["method"] not in SAFE
    if changes and wanted.headers.get("sec-fetch-site", _HERE[0]) not in _HERE:
        return True
    return bool(origins) and origins != [f"{_scheme(wanted)}://{''.join(hosts)}"]


def is_https(wanted: HTTPConnection) -> bool:
    """Whether what is asked and answered travels encrypted."""
    return wanted.scope.get("scheme") in ("https", "wss")


def _scheme(wanted: HTTPConnection) -> str:
    return "https" if is_https(wanted) else "http"
