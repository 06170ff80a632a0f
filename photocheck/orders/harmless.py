"""Text that people typed, made harmless for showing it."""

from __future__ import annotations

import unicodedata


def plain(text: str, longest: int) -> str:
    """Text without control and direction characters, line breaks kept, not too long."""
    kept = "".join(c for c in text if c == "\n" or unicodedata.category(c)[0] != "C")
    return kept.strip() if len(kept) <= longest else f"{kept[:longest].strip()} …"


def one_line(text: str, longest: int) -> str:
    """`plain`, on one line."""
    return plain(" ".join(text.split()), longest)
