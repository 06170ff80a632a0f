"""The browser tab's picture."""

from __future__ import annotations

import base64
from typing import Final


def as_address(svg: bytes) -> str:
    """An SVG as an address that holds it."""
    return "".join(("data:image/svg+xml;base64,", base64.b64encode(svg).decode()))


ICON: Final = as_address(
    b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><rect width="32" height="32" '
    b'rx="7" fill="#1f4e5f"/><path d="M5 20L20 5l7 7-15 15z" fill="#ffb45c"/>'
    b'<path d="M9 20l3 3m0-6l2 2m1-5l3 3m0-6l2 2" stroke="#7a3610" stroke-width="2"/></svg>'
)
"""A stretch of tape."""
