"""Where links lead: one place for the parts of an address that matter to access."""

from __future__ import annotations

from typing import Final
from urllib.parse import urlencode, urlsplit, urlunsplit

LINK: Final = "order"
"""The part of the address that carries an owner's link."""

STEP: Final = "step"
"""The part of the address that says what of an order, or of a sample, is shown."""

BEGIN: Final = "begin"
"""The part of the address that opens an order: one of `photocheck.orders.depths.DEPTHS`."""

DESK_COOKIE: Final = "photocheck_desk"
"""The cookie of who is signed in at the desk."""

KNOWN_COOKIE: Final = "photocheck_known"
"""The cookie of a browser in which somebody signed in before; it opens nothing."""

DESK: Final = "/desk"
"""Where the orders are."""

HEALTH: Final = "/health"
"""Where whatever watches over the server asks whether orders can be kept."""

SIGN_IN: Final = "/staff"
"""Where staff sign in and out."""


def address_of_link(page: str, link: str) -> str:
    """The whole address to give to an owner.

    Parameters
    ----------
    page : str
        Where the app is open, or any of its pages.
    link : str
        As `photocheck.server.access.passes.link_for` gives it.
    """
    parts = urlsplit(page)
    path = parts.path.rstrip("/")
    for way in (DESK, "/owner", "/practise", "/sheet"):
        path = path.removesuffix(way)
    return urlunsplit((parts.scheme, parts.netloc, f"{path}/", urlencode({LINK: link}), ""))
