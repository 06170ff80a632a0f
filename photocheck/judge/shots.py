"""What the joint model takes in of each photo, and what it gives back of how it was taken."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Marking
from photocheck.judge.unknowns import Key, Unknowns
from photocheck.scale.pinhole import Pinhole
from photocheck.scale.pose import View, camera_of

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Shot:
    """One photo ready for the estimate: its view, a starting pose, its markings."""

    view: View
    pose: Array
    markings: tuple[Marking, ...]


def size_key(shot: Shot) -> tuple[object, ...]:
    """Photos with the same have one reference of one size."""
    seen = shot.view.seen
    return (seen.kind, seen.size_factor, seen.diameter_mm)


def focal_key(shot: Shot) -> tuple[object, ...]:
    """Photos with the same were taken by one camera."""
    view = shot.view
    return (view.camera.focal_35mm, view.camera.model, sorted(view.size_px)[0], view.calibrated)


def camera_at(unknowns: Unknowns, theta: Array, shot: Shot, k: int) -> Pinhole:
    """The camera of photo `k`."""
    key = focal_key(shot)
    return camera_of(
        shot.view,
        unknowns.of(theta, ("pose", k)),
        unknowns.one(theta, ("focal", key)),
        unknowns.one(theta, ("lens", key)),
    )


@dataclass(frozen=True)
class Mark:
    """One mark as an observation.

    Attributes
    ----------
    shot, marking : int
        Which photo, which marking of it.
    landmark : str
        Its name; for a bend point, the span with its place in the row.
    key : tuple
        The unknown it observes.
    seen_px : (2,)
    spread_mm : float
    """

    shot: int
    marking: int
    landmark: str
    key: Key
    seen_px: Array
    spread_mm: float


@dataclass(frozen=True)
class CameraView:
    """How one photo was taken, as estimated.

    Attributes
    ----------
    distance_mm : float
        Camera to the reference's centre, mm.
    distance_spread : float
        Standard deviation of its logarithm.
    yaw_deg, pitch_deg, roll_deg : float
        Camera against the reference plane, degrees.
    offset_mm : float
        The reference in front of the dog's middle plane, mm.
    px_per_mm : float
        At the dog's middle plane.
    focal_35mm : float
    """

    distance_mm: float
    distance_spread: float
    yaw_deg: float
    pitch_deg: float
    roll_deg: float
    offset_mm: float
    px_per_mm: float
    focal_35mm: float
