"""What the joint model takes in of each photo, and what it gives back of how it was taken."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Marking
from photocheck.judge.unknowns import Key, Unknowns
from photocheck.photo.camera import focal_35mm_from_px
from photocheck.scale import planes, priors
from photocheck.scale.pinhole import Pinhole
from photocheck.scale.pose import (
    POSE_STEP,
    View,
    camera_of,
    reference_residuals,
    square_residuals,
)
from photocheck.scale.tags_seen import TagSeen
from photocheck.words import TAGS

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Shot:
    """One photo ready for the estimate: its view, a starting pose, its markings.

    `log_odds` is the natural logarithm of how probable the view's framing is.
    """

    view: View
    pose: Array
    markings: tuple[Marking, ...]
    log_odds: float = 0.0

    def tag(self, marking: int, landmark: str) -> TagSeen | None:
        """The tag whose tip that marking has as its mark; None for a mark by hand."""
        return self.view.tags.of(landmark) if self.markings[marking].by == TAGS else None


def size_key(shot: Shot) -> tuple[object, ...]:
    """Photos with the same have one reference of one size."""
    seen = shot.view.seen
    return (seen.kind, seen.size_factor, seen.diameter_mm)


def focal_key(shot: Shot) -> tuple[object, ...]:
    """Photos with the same were taken by one camera."""
    view = shot.view
    spread = view.log_focal_35mm.spread
    return (view.camera.focal_35mm, view.camera.model, min(view.size_px), view.calibrated, spread)


def reserve_view(unknowns: Unknowns, shot: Shot, k: int) -> None:
    """Reserve what every photo has, from whatever side; what photos share has one key."""
    unknowns.add(("pose", k), [float(v) for v in shot.pose], POSE_STEP)
    unknowns.add(("size", size_key(shot)), [0.0], 1e-4)
    unknowns.add(("focal", focal_key(shot)), [0.0], 1e-4)
    unknowns.add(("lens", focal_key(shot)), [0.0], 1e-4)
    unknowns.add(("centre", k), [0.0, 0.0], 1e-4)
    if shot.view.frame.growth is not None:
        unknowns.add(("growth", k), [0.0], 1e-4)
    unknowns.add(("offset", k), [0.0], 1e-4)
    unknowns.add(("session", shot.view.offset), [0.0], 1e-4)
    unknowns.add(("dog_yaw", k), [0.0], 1e-4)


def start_camera(shot: Shot) -> Pinhole:
    """The camera that the fit begins with."""
    zero = np.zeros(())
    return camera_of(shot.view, shot.pose, zero, zero)


def camera_at(unknowns: Unknowns, theta: Array, shot: Shot, k: int) -> Pinhole:
    """The camera of photo `k`."""
    key = focal_key(shot)
    grown = ("growth", k)
    return camera_of(
        shot.view,
        unknowns.of(theta, ("pose", k)),
        unknowns.one(theta, ("focal", key)),
        unknowns.one(theta, ("lens", key)),
        unknowns.of(theta, ("centre", k)),
        unknowns.one(theta, grown) if grown in unknowns else None,
    )


def view_residuals(
    unknowns: Unknowns, theta: Array, shot: Shot, k: int, camera: Pinhole
) -> list[tuple[str, Array]]:
    """What photo `k` itself says of its camera, with the source of doubt: reference and pose."""
    pose = unknowns.of(theta, ("pose", k))
    size = unknowns.one(theta, ("size", size_key(shot)))
    return [
        ("corners", reference_residuals(shot.view, camera, pose[..., 2], size)),
        ("square", square_residuals(pose, shot.view.seen)),
    ]


def offset_slack(unknowns: Unknowns, theta: Array, offset: priors.Offset, k: int) -> Array:
    """How far the reference of photo `k` is off its usual place, (...), mm.

    Half of it (`priors.OFFSET_SHARED`) is the same in all photos that the same words describe.
    """
    shared = np.sqrt(priors.OFFSET_SHARED) * unknowns.one(theta, ("session", offset))
    own = np.sqrt(1.0 - priors.OFFSET_SHARED) * unknowns.one(theta, ("offset", k))
    return np.asarray(offset.spread_mm * (shared + own))


def px_per_mm(camera: Pinhole, at: Array) -> float:
    """Pixels per mm along the level at a place (3,) of the level frame, mm."""
    seen = camera.project(np.stack([at, at + np.array([10.0, 0.0, 0.0])]))
    return float(np.linalg.norm(seen[1] - seen[0]) / 10.0)


SQUARE_MM = 300.0 * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
"""A square in a plane of the dog, (4, 2), whose picture gives the plane's homography."""


def plane_to_pixels(camera: Pinhole, level: Array) -> Array:
    """Homography (3, 3), mm to px, of the plane in which `SQUARE_MM` lies at `level`, (4, 3).

    Raises
    ------
    ValueError
        When the plane is seen edge on.
    """
    matrix = planes.fit_homography(SQUARE_MM, camera.project(level))
    if matrix is None:
        raise ValueError("the dog's plane is seen edge on")
    return matrix


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
    tag : TagSeen or None
        Where a tag's tip is the mark.
    """

    shot: int
    marking: int
    landmark: str
    key: Key
    seen_px: Array
    spread_mm: float
    tag: TagSeen | None = None


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


def camera_view_of(
    unknowns: Unknowns,
    theta: Array,
    covariance: Array,
    shot: Shot,
    k: int,
    *,
    offset_mm: float,
    at: Array,
) -> CameraView:
    """How photo `k` was taken; `at`, (3,) level mm, is where the dog's px per mm are told."""
    camera = camera_at(unknowns, theta, shot, k)
    yaw, pitch, roll = np.degrees(unknowns.of(theta, ("pose", k))[:3])
    distance = unknowns.place(("pose", k)).start + 5
    return CameraView(
        distance_mm=float(np.linalg.norm(camera.translation)),
        distance_spread=float(np.sqrt(covariance[distance, distance])),
        yaw_deg=float(yaw),
        pitch_deg=float(pitch),
        roll_deg=float(roll),
        offset_mm=offset_mm,
        px_per_mm=px_per_mm(camera, at),
        focal_35mm=focal_35mm_from_px(float(camera.focal_px), 2.0 * float(camera.corner_radius_px)),
    )
