"""What visitors carry, signed: a link's key or a cookie, as it was made and not otherwise."""

from __future__ import annotations

import re
from typing import Final

_MADE_OF: Final = re.compile(r"[A-Za-z0-9_.-]+")


def may_be_signed(text: str, longest: int) -> bool:
    """Whether a text is made of what signed texts are made of; which is worth looking at further.

    Python's URL-safe Base64 passes over letters that are none of its own (RFC 4648, 3.3, tells to
    refuse them): without this a true signature with anything between its letters would be one too.

    >>> may_be_signed("Zm9v.YmFy", 20), may_be_signed("Zm9v.Ym'Fy", 20), may_be_signed("", 20)
    (True, False, False)
    """
    return len(text) <= longest and _MADE_OF.fullmatch(text) is not None
