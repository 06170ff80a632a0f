"""The reference objects photocheck knows, and what their sizes rest on.

Sizes are in millimetres, landscape or portrait as the standard prints them;
each carries the standard deviation of its size as a fraction (how far a real
one may be from the nominal), and its source.
"""

from __future__ import annotations

from dataclasses import dataclass
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
