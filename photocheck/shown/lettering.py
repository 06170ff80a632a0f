"""Text on pictures: how large it is, and where its lines break."""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from photocheck.shown.lines import pieces
from photocheck.speech import spoken

if TYPE_CHECKING:
    from PIL import ImageDraw, ImageFont


_WIDER_SHARE: Final = 0.9
"""Size of the font with more letters over that of Pillow's: so its lines are as long."""


def font_for(
    size_px: float, said: Sequence[str] = ()
) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """The font to write on a picture with, in the language spoken now.

    Pillow's own has the letters of English only.  Another language, or a text with other letters,
    gets Bitstream Vera, which ReportLab brings.

    Parameters
    ----------
    size_px : float
        Of Pillow's own font; the other is made as wide.
    said : sequence of str
        Texts that may be in another language, such as those of a report made earlier.
    """
    from PIL import ImageFont

    if spoken() == "en" and all(text.isascii() for text in said):
        return ImageFont.load_default(size_px)
    return ImageFont.truetype(io.BytesIO(_wider()), _WIDER_SHARE * size_px)


@cache
def _wider() -> bytes:
    return (files("reportlab") / "fonts" / "Vera.ttf").read_bytes()


def line_height(size_px: float) -> float:
    """From one line of text to the next, px."""
    return size_px * 1.15


def text_size(
    draw: ImageDraw.ImageDraw,
    lines: Sequence[str],
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    size_px: float,
) -> tuple[float, float]:
    """Width and height of lines one below the other, px."""
    width = max(draw.textlength(line, font=font) for line in lines)
    return float(width), len(lines) * line_height(size_px)


def wrapped(
    draw: ImageDraw.ImageDraw,
    text: str,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    room: float,
) -> list[str]:
    """The text in lines of at most `room` px where its words allow."""
    lines: list[str] = []
    for word in pieces(text):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and draw.textlength(longer, font=font) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines or [""]
