"""The letters that are put into PDF files: free to embed, and what becomes of those they lack."""

from __future__ import annotations

import io
import unicodedata
from functools import cache
from importlib.resources import files
from typing import Final

FONT, BOLD = "photocheck", "photocheck-bold"
"""Bitstream Vera, which ReportLab brings; free to embed."""

MISSING: Final = "\u25a1"


@cache
def fonts() -> frozenset[int]:
    """Make the two fonts known to ReportLab, and give the letters that both have."""
    from reportlab.pdfbase.pdfmetrics import registerFont, registerFontFamily
    from reportlab.pdfbase.ttfonts import TTFont

    folder = files("reportlab") / "fonts"
    have: frozenset[int] | None = None
    for name, file in ((FONT, "Vera.ttf"), (BOLD, "VeraBd.ttf")):
        font = TTFont(name, io.BytesIO((folder / file).read_bytes()))
        registerFont(font)
        letters = frozenset(font.face.charToGlyph)
        have = letters if have is None else have & letters
    registerFontFamily(FONT, normal=FONT, bold=BOLD, italic=FONT, boldItalic=BOLD)
    assert have is not None
    return have


def written(text: str) -> str:
    """The text in letters that the fonts have: plainer ones for those they lack.

    A letter that has no plainer form becomes an empty square: it is seen that something stood
    there.

    >>> written("Žižka, Łódź")
    'Žižka, Łódz'
    """
    have = fonts()
    return "".join(_letter(c, have) for c in text)


def _letter(letter: str, have: frozenset[int]) -> str:
    if ord(letter) in have or letter == "\n":
        return letter
    plain = unicodedata.normalize("NFKD", letter)
    known = "".join(c for c in plain if ord(c) in have and not unicodedata.combining(c))
    if known:
        return known
    return "" if unicodedata.combining(letter) else MISSING if ord(MISSING) in have else "?"
