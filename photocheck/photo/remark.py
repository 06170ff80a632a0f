"""One thing to be said about a photo."""

from __future__ import annotations

from dataclasses import dataclass

from photocheck.case.model import Point


@dataclass(frozen=True)
class Remark:
    """One thing about the photo that costs something.

    Attributes
    ----------
    name : str
        "blurred", "dark", "bright", "coarse", "small_reference", "far_reference",
        "oblique" or "cut_off".
    sentence : str
        What was measured and what it costs.
    instruction : str
        What puts it right.
    marks : tuple of str
        Landmark names it concerns; empty for the whole photo.
    doubt_mm : float or None
        Standard deviation it adds to each of those marks, mm.
    doubt : float or None
        Standard deviation it adds to every length, as a fraction.
    at_px : tuple of Point
        Where to point, px.
    """

    name: str
    sentence: str
    instruction: str
    marks: tuple[str, ...] = ()
    doubt_mm: float | None = None
    doubt: float | None = None
    at_px: tuple[Point, ...] = ()
