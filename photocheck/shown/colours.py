"""The colours of pictures and plots, and how far apart they are."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

Colour = tuple[int, int, int]


DARK: Final[Colour] = (17, 17, 17)


WHITE: Final[Colour] = (255, 255, 255)


# Okabe and Ito's palette, as printed by Wong, Nature Methods 8, 441 (2011).
SPAN_COLOURS: Final = MappingProxyType(
    {
        "half_neck": (240, 228, 66),
        "front_length": (86, 180, 233),
        "rear_length": (230, 159, 0),
        "full_length": (204, 121, 167),
    }
)


WIDTH_COLOURS: Final = MappingProxyType(
    {
        "neck_width": SPAN_COLOURS["half_neck"],
        "chest_width": SPAN_COLOURS["rear_length"],
    }
)
"""Of the widths seen from the front: the colours of the lengths that they tell of."""


REFERENCE_COLOUR: Final[Colour] = (255, 255, 255)


RULE: Final[Colour] = (110, 110, 110)
"""Between rows."""


BANNER_COLOURS: Final = MappingProxyType(
    {
        "agrees": (0, 92, 69),
        "could_hide": (88, 66, 120),
        "measure_again": (160, 62, 0),
        "retake": (0, 88, 140),
        "cannot_tell": (70, 70, 70),
    }
)
"""Grounds for white text: the palette's green, vermilion and blue, darkened, and a violet."""


def contrast(one: Colour, other: Colour) -> float:
    """Contrast ratio of two sRGB colours, 1 to 21 (WCAG 2.2, "contrast ratio")."""
    bright, dim = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def _luminance(colour: Colour) -> float:
    linear = [
        c / 255 / 12.92 if c / 255 <= 0.04045 else ((c / 255 + 0.055) / 1.055) ** 2.4
        for c in colour
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
