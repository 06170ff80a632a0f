"""Breaking sentences into lines without tearing a length apart."""

from __future__ import annotations

import re
from typing import Final

_JOINT: Final = "\0"
_INSIDE_A_LENGTH = re.compile(r"(?<=\d) (?=\d+/\d)|(?<=\d) (?=(?:in|cm|m|mm|px|%)\b)|(?<=\d) (?=%)")


def joined(text: str) -> str:
    """The text with the spaces inside lengths ("13 1/4 in") replaced by an unbreakable mark."""
    return _INSIDE_A_LENGTH.sub(_JOINT, " ".join(text.split()))


def parted(text: str) -> str:
    """The inverse of `joined`."""
    return text.replace(_JOINT, " ")


def pieces(text: str) -> list[str]:
    """The words of a text, a number with its fraction and its unit being one word."""
    return [parted(word) for word in joined(text).split(" ")]
