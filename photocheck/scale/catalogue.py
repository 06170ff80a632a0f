"""The reference objects photocheck knows, and what their sizes rest on.

Sizes are in millimetres, landscape or portrait as the standard prints them;
each carries the standard deviation of its size as a fraction (how far a real
one may be from the nominal), and its source.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from types import MappingProxyType
from typing import Final

from photocheck.case.lengths import MM_PER
from photocheck.speech import later

MM_PER_INCH: Final = float(MM_PER["in"])
"""Exact: international yard and pound agreement of 1959; NIST SP 811 (2008), B.6."""
CM_PER_INCH: Final = MM_PER_INCH / 10.0


@dataclass(frozen=True)
class ReferenceObject:
    """One kind of reference.

    Attributes
    ----------
    kind : str
    title : str
        For people, through `photocheck.speech.tr`.
    form : str
        "markers", "tags", "rectangle", "points", "disc" or "ball".
    width_mm, height_mm : float or None
        Outer size of a sheet or card, the longer side first.
    size_spread : float
        Standard deviation of its true size over its nominal size, a fraction.
    source : str
        Where size and spread come from.
    """

    kind: str
    title: str
    form: str
    width_mm: float | None
    height_mm: float | None
    size_spread: float
    source: str

    @property
    def size_mm(self) -> tuple[float, float]:
        """The longer and the shorter side of a sheet or card, mm.

        >>> REFERENCES["id_card"].size_mm
        (85.6, 53.98)

        Raises
        ------
        ValueError
            When it has no fixed size.
        """
        if self.width_mm is None or self.height_mm is None:
            raise ValueError(f"a reference of form {self.form} has no fixed size")
        return self.width_mm, self.height_mm


DOG_TAGS: Final = "dog_tags"
"""The kind of reference that the tags on the dog are, where nothing else is of known size."""

_ALL = (
    ReferenceObject(
        "marker_sheet",
        later("photocheck marker sheet"),
        "markers",
        None,
        None,
        0.010,
        "own layout, see photocheck.scale.sheet; home printers scale by a per cent or so "
        "unless the proof bar was measured (common practice, no source)",
    ),
    ReferenceObject(
        DOG_TAGS,
        later("photocheck tags on the dog"),
        "tags",
        None,
        None,
        0.010,
        "own layout, see photocheck.scale.tag_layout; home printers as for the marker sheet",
    ),
    ReferenceObject(
        "id_card",
        later("bank or identity card"),
        "rectangle",
        85.60,
        53.98,
        0.001,
        "ISO/IEC 7810:2019 ID-1: 85.60 mm x 53.98 mm, corner radius 2.88 to 3.48 mm",
    ),
    ReferenceObject(
        "a4",
        later("A4 sheet"),
        "rectangle",
        297.0,
        210.0,
        0.002,
        "ISO 216:2007: 210 mm x 297 mm, tolerance 2 mm above 150 mm",
    ),
    ReferenceObject(
        "letter",
        later("North American letter sheet"),
        "rectangle",
        11 * MM_PER_INCH,
        8.5 * MM_PER_INCH,
        0.002,
        "ANSI/ASME Y14.1 size A: 8.5 in x 11 in",
    ),
    ReferenceObject(
        "two_points",
        later("two points a known distance apart"),
        "points",
        None,
        None,
        0.003,
        "ruler or tape: 1 mm in 300 mm, judgement",
    ),
    ReferenceObject(
        "disc",
        later("flat disc of known diameter"),
        "disc",
        None,
        None,
        0.005,
        "the owner's own measurement of it, judgement",
    ),
    ReferenceObject(
        "ball",
        later("ball of known diameter"),
        "ball",
        None,
        None,
        0.010,
        "the owner's own measurement of it, judgement",
    ),
)

REFERENCES: Final = MappingProxyType({item.kind: item for item in _ALL})


@dataclass(frozen=True)
class UsualRound:
    """A coin or ball whose size is laid down, to be named instead of measured.

    Attributes
    ----------
    kind : str
        "disc" or "ball".
    title : str
        For people, through `photocheck.speech.tr`.
    across_mm : float
        Its diameter.
    lands : frozenset of str
        Where it is in use, ISO 3166; empty for everywhere.
    source : str
    """

    kind: str
    title: str
    across_mm: float
    lands: frozenset[str]
    source: str


_EURO_LANDS: Final = frozenset(
    ("AD", "AT", "BE", "BG", "CY", "DE", "EE", "ES", "FI", "FR", "GR", "HR", "IE", "IT", "LT",
     "LU", "LV", "MC", "ME", "MT", "NL", "PT", "SI", "SK", "SM", "VA", "XK")
)  # fmt: skip
_DOLLAR_LANDS: Final = frozenset(("EC", "PR", "SV", "US"))
_EURO: Final = "Council Regulation (EU) No 729/2014, annex I (from memory)"
_DOLLAR: Final = "31 U.S.C. 5112 (a) (from memory)"

USUAL_ROUNDS: Final = (
    UsualRound("disc", later("2 euro"), 25.75, _EURO_LANDS, _EURO),
    UsualRound("disc", later("1 euro"), 23.25, _EURO_LANDS, _EURO),
    UsualRound("disc", later("50 euro cent"), 24.25, _EURO_LANDS, _EURO),
    UsualRound("disc", later("quarter dollar"), 0.955 * MM_PER_INCH, _DOLLAR_LANDS, _DOLLAR),
    UsualRound("disc", later("half dollar"), 1.205 * MM_PER_INCH, _DOLLAR_LANDS, _DOLLAR),
    UsualRound("disc", later("dollar coin"), 1.043 * MM_PER_INCH, _DOLLAR_LANDS, _DOLLAR),
    UsualRound(
        "ball",
        later("tennis ball"),
        67.0,
        frozenset(),
        "ITF Rules of Tennis, appendix I: 6.54 to 6.86 cm (from memory), its middle",
    ),
    UsualRound(
        "ball",
        later("football, size 5"),
        690.0 / pi,
        frozenset(),
        "IFAB Laws of the Game, law 2: 68 to 70 cm around (from memory), its middle",
    ),
)
"""Coins of two currencies, and balls; others are measured."""


def usual_rounds(kind: str, land: str) -> tuple[UsualRound, ...]:
    """Those of a kind in use where somebody is, by ISO 3166; of all lands where that is not known.

    >>> [one.title for one in usual_rounds("disc", "DE")]
    ['2 euro', '1 euro', '50 euro cent']
    """
    return tuple(
        one
        for one in USUAL_ROUNDS
        if one.kind == kind and (not land or not one.lands or land in one.lands)
    )


LETTER_LANDS: Final = frozenset(
    ("BZ", "CA", "CL", "CO", "CR", "GT", "MX", "NI", "PA", "PH", "PR", "SV", "US", "VE")
)
"""Countries, by ISO 3166, whose paper is the North American letter sheet; all others have A4.
The example of `paperSize` in Unicode Technical Standard 35 (CLDR)."""


def paper_of(land: str) -> str:
    """The kind of paper in use in a country, by its ISO 3166 code; empty for none.

    >>> paper_of("US"), paper_of("DE"), paper_of("")
    ('letter', 'a4', '')
    """
    if not land:
        return ""
    return "letter" if land in LETTER_LANDS else "a4"
