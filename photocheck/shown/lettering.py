"""Text on pictures: how large it is, and where its lines break."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from photocheck.shown.lines import pieces

if TYPE_CHECKING:
    from PIL import ImageDraw, ImageFont


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
