"""The pose of the camera against the reference: a maximum a posteriori fit.

Four corners of a card fix its tilt so badly that an unregularised pose makes a
card's errors two to three times those of a sheet.  So what is known of how
such photos are taken (`scale.priors`) enters as residuals beside the corners.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from photocheck.least_squares import least_squares
from photocheck.numerics import Sloped
from photocheck.photo.camera import FRAME_DIAGONAL_MM
from photocheck.photo.photo import CameraFacts
from photocheck.scale import planes, priors
from photocheck.scale.catalogue import DOG_TAGS
from photocheck.scale.frames import Frame, frame_of, spread_with
from photocheck.scale.pinhole import (
    Pinhole,
    ball_conic,
    conic_distance,
    disc_conic,
    turn_about_both,
    turn_in_plane,
)
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.tags_seen import NO_TAGS, TagsSeen

Array = NDArray[np.float64]


@dataclass(frozen=True)
class View:
    """One photo as the scale stage hands it on.

    Attributes
    ----------
    size_px : (int, int)
        Width and height.
    camera : CameraFacts
    seen : ReferenceSeen
        With points in pixels already freed from a calibrated lens' distortion.
    offset : priors.Offset
    calibrated : bool
        Whether lens coefficients were given.
    cut : bool or None
        Whether the picture is taken as cut out of a larger one; None for what is more probable.
    tags : TagsSeen
        The tags on the dog, freed from a calibrated lens' distortion as well.
    at_tags : bool
        Whether the tape was held at their tips.
    """

    size_px: tuple[int, int]
    camera: CameraFacts
    seen: ReferenceSeen
    offset: priors.Offset
    calibrated: bool = False
    cut: bool | None = None
    tags: TagsSeen = NO_TAGS
    at_tags: bool = False

    @property
    def tip_mm(self) -> float:
        """Standard deviation per axis of a tag's tip about the point that the tape goes by, mm."""
        return priors.TAG_TIP_MM if self.at_tags else priors.TAG_FELT_MM

    @property
    def from_front(self) -> bool:
        """Whether the dog is seen from the front."""
        return isinstance(self.offset, priors.FrontOffset)

    @cached_property
    def frame(self) -> Frame:
        """What is believed of all that the camera took."""
        return frame_of(self.size_px, self.camera.framing, cut=self.cut)

    @cached_property
    def log_focal_35mm(self) -> priors.Normal:
        """Prior of ln(35 mm equivalent of the whole frame)."""
        equivalent = self.camera.focal_35mm or priors.FOCAL_35MM_UNKNOWN
        spread = self.camera.focal_spread or priors.LOG_FOCAL_UNKNOWN
        mean = float(np.log(equivalent)) + self.frame.log_focal.mean
        return priors.Normal(mean, spread_with(spread, self.frame))

    @cached_property
    def usual_focal_px(self) -> float:
        """Focal length of the likeliest frame, px."""
        zero = np.zeros(())
        return float(camera_of(self, np.zeros(6), zero, zero).focal_px)

    @property
    def corner_shift(self) -> priors.Normal:
        """Prior of the lens' radial distortion at the frame's corner."""
        return priors.LENS_CORNER_CALIBRATED if self.calibrated else priors.LENS_CORNER


POSE_STEP = 1e-6
"""Step of numerical derivatives of the six pose entries."""


def camera_of(
    view: View,
    pose: Array,
    focal: Array,
    lens: Array,
    centre: Array | None = None,
    growth: Array | None = None,
) -> Pinhole:
    """The camera from its unknowns.

    Parameters
    ----------
    pose : (..., 6)
        yaw, pitch, roll (rad), x/z, y/z of the reference's centre, ln(z in mm).
    focal, lens : (...)
        Standard deviations from the prior of focal length and distortion.
    centre : (..., 2), optional
        Those from the prior of the principal point; the frame's middle without.
    growth : (...), optional
        Those from the prior of how much larger the frame is than the smallest that can be.
    """
    frame = view.frame
    size = frame.size(np.zeros(np.shape(focal)) if growth is None else growth)
    if centre is None:
        centre = np.zeros((*np.shape(focal), 2))
    reach = np.asarray(np.hypot(size[..., 0], size[..., 1]) / 2.0)
    rotation = turn_about_both(pose[..., 0], pose[..., 1])
    depth = np.exp(pose[..., 5])
    translation = np.empty((*np.shape(depth), 3))
    translation[..., :2] = pose[..., 3:5] * depth[..., None]
    translation[..., 2] = depth
    return Pinhole(
        rotation=rotation,
        translation=translation,
        focal_px=np.exp(view.log_focal_35mm.at(focal)) * 2.0 * reach / FRAME_DIAGONAL_MM,
        corner_shift=view.corner_shift.at(lens),
        centre_px=frame.centre(centre, size),
        corner_radius_px=reach,
    )


def reference_residuals(view: View, camera: Pinhole, roll: Array, size: Array) -> Array:
    """Misfit of the reference, (..., m), in its own standard deviations.

    Parameters
    ----------
    roll : (...)
        Turn of the reference in its plane, rad.
    size : (...)
        Standard deviations of its true size from the nominal.
    """
    seen = view.seen
    factor = seen.size_factor * np.exp(seen.size_spread * size)
    if len(seen.points_px):
        flat = seen.points_mm @ np.swapaxes(turn_in_plane(roll), -1, -2)
        flat = flat * factor[..., None, None]
        level = np.zeros((*flat.shape[:-1], 3))
        level[..., :2] = flat
        miss = (camera.project(level) - seen.points_px) / _corner_px(seen)
        return np.asarray(miss.reshape(*miss.shape[:-2], -1))
    radius = 0.5 * (seen.diameter_mm or 0.0) * factor
    conic = ball_conic(camera, radius) if seen.kind == "ball" else disc_conic(camera, radius)
    return conic_distance(conic, camera.undistort(seen.outline_px)) / seen.spread_px


def _corner_px(seen: ReferenceSeen) -> float:
    """How exactly the corners of a reference are those of a plane along the dog's side, px.

    A tag's are not: it is turned on the dog as it likes, and of its corners only where they are
    is used.  How large things are there is told by the sizes of all tags, whatever their turn.
    """
    if seen.kind != DOG_TAGS:
        return seen.spread_px
    sides = np.linalg.norm(seen.points_px - np.roll(seen.points_px, 1, axis=0), axis=1)
    return float(np.hypot(seen.spread_px, priors.TAG_TURNED * sides.mean()))


def square_residuals(pose: Array, seen: ReferenceSeen) -> Array:
    """How unlike the usual way of taking such a photo a pose is, (..., 4)."""
    # A disc or ball looks the same however it is turned in its plane.
    turn = 0.5 if len(seen.outline_px) else 1e3
    means, spreads = np.array(
        [
            (priors.YAW_RAD.mean, priors.YAW_RAD.spread),
            (priors.PITCH_RAD.mean, priors.PITCH_RAD.spread),
            (0.0, turn),
            (priors.LOG_DISTANCE.mean, priors.LOG_DISTANCE.spread),
        ]
    ).T
    return np.asarray((np.take(pose, [0, 1, 2, 5], axis=-1) - means) / spreads)


def likely_poses(view: View) -> list[Array]:
    """The poses that explain the reference, likelier first, each (6,).

    A small plane seen from afar looks much the same tilted one way or the other,
    so the fit starts from square on, from both poses of the plain geometry, and
    from the mirrored tilt of what it finds; the joint estimate weighs what remains.
    """
    zero = np.zeros(())

    def misfit(pose: Array) -> Array:
        camera = camera_of(view, pose, zero, zero)
        return np.concatenate(
            [
                reference_residuals(view, camera, pose[..., 2], np.zeros(pose.shape[:-1])),
                square_residuals(pose, view.seen),
            ],
            axis=-1,
        )

    sloped = Sloped(misfit, np.full(6, POSE_STEP))
    found: list[tuple[float, Array]] = []

    def fit(start: Array) -> None:
        fitted = least_squares(sloped.value, start, sloped.slopes, most_calls=60)
        if all(np.linalg.norm(fitted.x[:2] - pose[:2]) > SAME_TILT for _, pose in found):
            found.append((float(fitted.cost), fitted.x))

    for start in _starts(view):
        fit(start)
    fit(min(found, key=lambda item: item[0])[1] * _MIRRORED)
    found.sort(key=lambda item: item[0])
    return [pose for cost, pose in found if cost < found[0][0] + HOPELESS]


SAME_TILT = 0.01
"""Tilts nearer than this, rad, are one pose."""
HOPELESS = 12.0
"""A pose whose half sum of squares is this much worse (odds of 1 to 160,000) is dropped."""
_MIRRORED = np.array([-1.0, -1.0, 1.0, 1.0, 1.0, 1.0])


def _starts(view: View) -> list[Array]:
    """Where the fit of the pose begins: square on, and where the geometry points."""
    square = _first_guess(view)
    starts = [square]
    seen = view.seen
    if len(seen.points_px) >= 4:
        centre = (float(view.frame.middle_px[0]), float(view.frame.middle_px[1]))
        for plain in planes.poses(seen, view.usual_focal_px, centre):
            x, y, z = plain.translation
            tilt = np.clip([plain.yaw, plain.pitch], -MOST_TILT, MOST_TILT)
            starts.append(np.array([*tilt, plain.roll, x / z, y / z, np.log(z)]))
    elif len(seen.outline_px) and seen.kind == "disc":
        # an ellipse tells how far a disc is tilted and about which line
        starts += [square + np.array([0.2, sign * 0.2, 0, 0, 0, 0]) for sign in (1.0, -1.0)]
    return starts


MOST_TILT = 1.0
"""Tilts beyond this, rad, come from noise, not from how people take photos (judgement)."""


def _first_guess(view: View) -> Array:
    """A square-on camera at the distance that the reference's size tells, (6,)."""
    seen = view.seen
    focal = view.usual_focal_px
    if len(seen.points_px):
        plane = seen.points_mm[:, 0] + 1j * seen.points_mm[:, 1]
        picture = seen.points_px[:, 0] + 1j * seen.points_px[:, 1]
        centred = plane - plane.mean()
        similarity = np.vdot(centred, picture - picture.mean()) / np.vdot(centred, centred)
        middle = picture.mean() - similarity * plane.mean()
        centre = np.array([middle.real, middle.imag])
        px_per_mm, roll = abs(similarity) / seen.size_factor, np.angle(similarity)
    else:
        centre = seen.outline_px.mean(axis=0)
        spread = np.sqrt(2.0 * np.mean(np.var(seen.outline_px, axis=0)))
        px_per_mm, roll = spread * 2.0 / (seen.diameter_mm or 1.0), 0.0
    across = (centre - view.frame.middle_px) / focal
    return np.array([0.0, 0.0, roll, across[0], across[1], np.log(focal / px_per_mm)])
