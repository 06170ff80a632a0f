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


SOURCE_COLOURS: Final = MappingProxyType(
    {
        "front_turn": (22, 66, 91),
        "neck_width": (230, 159, 0),
        "trunk_width": (86, 180, 233),
        "neck_boxiness": (122, 59, 94),
        "offset": (0, 114, 178),
        "marks": (0, 158, 115),
        "trunk_depth": (213, 94, 0),
        "front_surplus": (204, 121, 167),
        "rear_surplus": (240, 228, 66),
        "flank_width": (16, 112, 112),
        "coat": (64, 64, 16),
        "dog_turn": (217, 210, 176),
        "size": (112, 40, 16),
        "focal": (160, 40, 232),
        "tags": (128, 128, 128),
        "corners": (232, 16, 64),
        "square": (136, 136, 40),
        "lens": (16, 232, 232),
        "framing": (16, 112, 16),
        "girth": (16, 232, 40),
        "weight": (136, 136, 232),
        "height": (232, 160, 136),
        "breed": (136, 88, 16),
        "front_look": (160, 232, 184),
        "neck_boards": (208, 184, 232),
        "chest_boards": (88, 88, 136),
    }
)
"""Of each source of doubt, the same in every order.  Ten of them Okabe and Ito's or chosen by eye,
the others chosen one after the other as far from all before as a colour of this lightness can be
(CIEDE2000); no two are nearer than 17."""


REST_COLOUR: Final[Colour] = (196, 202, 205)
"""Of what has no colour of its own: all other sources together."""


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


def source_colour(source: str) -> Colour:
    """Of a source of doubt; that of the rest for one that has none, of an older report say."""
    return SOURCE_COLOURS.get(source, REST_COLOUR)


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
