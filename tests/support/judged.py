"""Hand-made views and marks for the tests of the judgement: plain pinhole arithmetic."""

from __future__ import annotations

import numpy as np

from photocheck.case.model import Marking
from photocheck.photo.photo import CameraFacts
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.pose import View
from photocheck.scale.priors import Offset
from photocheck.scale.seen import ReferenceSeen

SIZE = (4032, 3024)
FOCAL_35MM = 26.0
FOCAL_PX = FOCAL_35MM * np.hypot(*SIZE) / np.hypot(36.0, 24.0)
CENTRE = (np.array(SIZE) - 1.0) / 2.0

DOG = {
    "breastbone": (-300.0, 60.0),
    "shoulder_top": (-160.0, -140.0),
    "last_rib": (70.0, 0.0),
    "tail_base": (300.0, -100.0),
}
"""A dog facing left, in its middle plane, mm."""


def pixel(x: float, y: float, z: float) -> tuple[float, float]:
    """Of a point in front of a camera that looks along z."""
    return (FOCAL_PX * x / z + CENTRE[0], FOCAL_PX * y / z + CENTRE[1])


def corners_mm(kind: str) -> np.ndarray:
    """Four corners about the centre, clockwise from the top left."""
    item = REFERENCES[kind]
    w, h = (item.width_mm or 0) / 2, (item.height_mm or 0) / 2
    return np.array([[-w, -h], [w, -h], [w, h], [-w, h]])


def square_view(
    kind: str = "a4",
    *,
    distance: float = 2500.0,
    offset: Offset | None = None,
    at: tuple[float, float] = (0.0, 0.0),
    spread_px: float = 0.5,
    focal_known: bool = True,
) -> View:
    """A reference seen square on, `distance` mm away."""
    flat = corners_mm(kind)
    seen = np.array([pixel(x + at[0], y + at[1], distance) for x, y in flat])
    camera = (
        CameraFacts(FOCAL_35MM, "given", focal_spread=0.01)
        if focal_known
        else CameraFacts(None, "prior")
    )
    return View(
        SIZE,
        camera,
        ReferenceSeen(kind, "marked", flat, seen, spread_px, REFERENCES[kind].size_spread),
        offset or Offset(0.0, 0.0, 10.0),
    )


def marking(
    distance: float = 2500.0,
    *,
    half_flank: float = 0.0,
    noise: np.ndarray | None = None,
    mirrored: bool = False,
    **extra: object,
) -> Marking:
    """The marks of `DOG` seen square on from `distance` mm, noise in mm (4, 2)."""
    marks = {}
    for i, (name, (x, y)) in enumerate(DOG.items()):
        z = distance - (half_flank if name == "last_rib" else 0.0)
        dx, dy = (0.0, 0.0) if noise is None else noise[i]
        marks[name] = pixel((-x if mirrored else x) + dx, y + dy, z)
    return Marking(marks, **extra)  # type: ignore[arg-type]
