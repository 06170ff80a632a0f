"""Text that people typed, made harmless for showing it."""

from __future__ import annotations

import unicodedata


def plain(text: str, longest: int) -> str:
    """Text without control and direction characters, line breaks kept, not too long."""
    kept = "".join(c for c in text if c == "\n" or unicodedata.category(c)[0] != "C")
    return kept.strip() if len(kept) <= longest else f"{kept[:longest].strip()} …"


def whole(text: str) -> str:
    """Text that can be written in UTF-8: U+FFFD in place of each half of a surrogate pair.

    >>> whole("Ju\\ud800no") == "Ju\\ufffdno"
    True
    """
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def one_line(text: str, longest: int) -> str:
    """`plain`, on one line."""
    return plain(" ".join(text.split()), longest)
