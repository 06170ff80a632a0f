"""Plane geometry for `locate` and for reports: homography, pose and scale of a reference.

Frames: camera x right, y down, z forward; reference plane x right, y down, z
away from the camera.  ``X_camera = R @ X_plane + t`` with
``R = Ry(yaw) @ Rx(pitch) @ Rz(roll)``, each a right-handed turn about its axis.
These figures describe one picture; the estimate that photocheck judges by
weighs them against what is known of the camera.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from photocheck.errors import ScaleError
from photocheck.scale.light import Floats
from photocheck.scale.seen import ReferenceSeen
from photocheck.speech import tr


@dataclass(frozen=True)
class Pose:
    """Where a reference plane stands.

    Attributes
    ----------
    rotation : (3, 3) float
        R of ``X_camera = R @ X_plane + t``.
    translation : (3,) float
        t, mm: the reference's centre in the camera frame.
    yaw, pitch, roll : float
        Radians.
    distance_mm : float
        From the camera to the reference's centre, mm.
    miss_px : float
        Root mean square distance between seen and projected points, px.
    """

    rotation: Floats
    translation: Floats
    yaw: float
    pitch: float
    roll: float
    distance_mm: float
    miss_px: float

    @property
    def degrees(self) -> tuple[float, float, float]:
        """Yaw, pitch and roll in degrees."""
        yaw, pitch, roll = np.rad2deg([self.yaw, self.pitch, self.roll])
        return float(yaw), float(pitch), float(roll)


def fit_homography(points_mm: Floats, points_px: Floats) -> Floats | None:
    """Homography (3, 3) from mm to px by least squares in the picture, or None.

    Parameters
    ----------
    points_mm, points_px : (N, 2) float, N at least 4

    None when the points do not fix one (three in a line, or coincident).

    >>> sheet = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 50.0], [0.0, 50.0]])
    >>> matrix = fit_homography(sheet, 2.0 * sheet + 10.0)
    >>> project(matrix, np.array([[50.0, 25.0]])).round(6).tolist()
    [[110.0, 60.0]]
    """
    if len(points_mm) < 4:
        return None
    # Normalised by hand: OpenCV's refinement works on the numbers as they come.
    centre = points_px.mean(axis=0)
    scale = max(float(np.mean(np.hypot(*(points_px - centre).T))), 1e-9)
    matrix, _ = cv2.findHomography(
        np.ascontiguousarray(points_mm, np.float64),
        np.ascontiguousarray((points_px - centre) / scale, np.float64),
        0,
    )
    if matrix is None or not np.all(np.isfinite(matrix)):
        return None
    back = np.array([[scale, 0, centre[0]], [0, scale, centre[1]], [0, 0, 1.0]])
    whole = back @ np.asarray(matrix, np.float64)
    if abs(whole[2, 2]) < 1e-12 or abs(np.linalg.det(whole)) < 1e-12:
        return None
    return np.asarray(whole / whole[2, 2])


def project(matrix: Floats, points: Floats) -> Floats:
    """Points (N, 2) through a homography (3, 3); (N, 2)."""
    points = np.asarray(points, np.float64)
    scaled = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(scaled[:, :2] / scaled[:, 2:])


def homography(seen: ReferenceSeen) -> Floats:
    """Homography (3, 3) from true mm on the reference to px in the photo.

    The proof bar's `size_factor` is applied, so mm are true millimetres.

    Raises
    ------
    ScaleError
        When the reference is a disc, a ball or two points, or its points do not
        fix a plane.
    """
    if len(seen.points_mm) < 4:
        raise ScaleError(
            tr("Fewer than four known points do not fix a plane"),
            where=seen.kind,
            do=tr("Use the marker sheet, a card or a sheet of paper when the plane is needed"),
        )
    matrix = fit_homography(seen.points_mm * seen.size_factor, seen.points_px)
    if matrix is None:
        raise ScaleError(
            tr("The reference's points lie so that they fix no plane"),
            where=seen.kind,
            do=tr("Mark the corners again"),
        )
    return matrix


def angles(rotation: Floats) -> tuple[float, float, float]:
    """Yaw, pitch and roll, radians, of ``Ry(yaw) @ Rx(pitch) @ Rz(roll)``.

    Rotation's third column is (sin yaw cos pitch, -sin pitch, cos yaw cos pitch), its
    second row cos pitch (sin roll, cos roll, -tan pitch).
    """
    yaw = float(np.arctan2(rotation[0, 2], rotation[2, 2]))
    pitch = float(np.arcsin(np.clip(-rotation[1, 2], -1.0, 1.0)))
    roll = float(np.arctan2(rotation[1, 0], rotation[1, 1]))
    return yaw, pitch, roll


def poses(seen: ReferenceSeen, focal_px: float, centre_px: tuple[float, float]) -> tuple[Pose, ...]:
    """The one or two poses that explain a flat reference, better one first.

    A plane seen nearly without perspective has two poses that project almost
    alike; both are returned with what they miss by.  Collins and Bartoli,
    "Infinitesimal plane-based pose estimation", IJCV 109 (2014), through OpenCV.

    Parameters
    ----------
    seen : ReferenceSeen with at least four points
    focal_px : float
        Focal length, px.
    centre_px : (float, float)
        Principal point, px; for a picture W x H uncropped ((W - 1) / 2, (H - 1) / 2).

    Raises
    ------
    ScaleError
        When the points do not fix a plane or no pose explains them.
    """
    homography(seen)
    flat = np.column_stack([seen.points_mm * seen.size_factor, np.zeros(len(seen.points_mm))])
    camera = np.array([[focal_px, 0, centre_px[0]], [0, focal_px, centre_px[1]], [0, 0, 1.0]])
    exact = np.ascontiguousarray(seen.points_px, np.float64)
    found = []
    for rotation, translation in _ippe(flat, exact, camera) or _ippe(flat, _nudged(exact), camera):
        in_camera = flat @ rotation.T + translation
        seen_at = in_camera[:, :2] / in_camera[:, 2:] * focal_px + np.array(centre_px)
        miss = seen_at - seen.points_px
        yaw, pitch, roll = angles(rotation)
        found.append(
            Pose(
                rotation=rotation,
                translation=translation,
                yaw=yaw,
                pitch=pitch,
                roll=roll,
                distance_mm=float(np.linalg.norm(translation)),
                miss_px=float(np.sqrt(np.mean(np.sum(miss**2, axis=1)))),
            )
        )
    if not found:
        raise ScaleError(
            tr("No position of the camera explains the reference's corners"),
            where=seen.kind,
            do=tr("Check that the right kind of reference was named, and mark its corners again"),
        )
    return tuple(sorted(found, key=lambda pose: pose.miss_px))


def _ippe(flat: Floats, points_px: Floats, camera: Floats) -> list[tuple[Floats, Floats]]:
    """Rotation and shift of each pose in front of the camera that OpenCV finds."""
    _, turns, shifts, _ = cv2.solvePnPGeneric(
        flat, points_px, camera, None, flags=cv2.SOLVEPNP_IPPE
    )
    found = []
    for turn, shift in zip(turns, shifts, strict=True):
        rotation = np.asarray(cv2.Rodrigues(turn)[0], np.float64)
        translation = np.asarray(shift, np.float64).ravel()
        if np.all(np.isfinite(rotation)) and translation[2] > 0:
            found.append((rotation, translation))
    return found


def _nudged(points_px: Floats) -> Floats:
    """A thousandth of a pixel aside: a plane seen exactly symmetrically gives OpenCV's way nan."""
    aside = 1e-3 * np.sin(1.0 + np.arange(points_px.size))
    return np.asarray(points_px + aside.reshape(points_px.shape))


def jacobian(matrix: Floats, point_mm: Floats | tuple[float, float] = (0.0, 0.0)) -> Floats:
    """px per mm (2, 2) of a homography (3, 3) at one point of the plane."""
    point = np.asarray(point_mm, np.float64)
    depth = float(matrix[2, :2] @ point + matrix[2, 2])
    at = (matrix[:2, :2] @ point + matrix[:2, 2]) / depth
    return np.asarray((matrix[:2, :2] - np.outer(at, matrix[2, :2])) / depth)


def mm_per_px(seen: ReferenceSeen) -> float:
    """Millimetres in the reference's plane per pixel, at its centre.

    For a plane seen at an angle, the geometric mean over directions (area scale);
    for two points, their distance over their pixels; for a disc, its diameter over
    the longest diameter of the ellipse fitted to its outline (the one that is not
    foreshortened); for a ball likewise, neglecting that its outline lies a little
    in front of its centre.

    Raises
    ------
    ScaleError
        When nothing that fixes the scale was seen.
    """
    if len(seen.points_mm) >= 4:
        area = abs(float(np.linalg.det(jacobian(homography(seen)))))
        return 1.0 / float(np.sqrt(area))
    if len(seen.points_mm) == 2:
        true = float(np.hypot(*(seen.points_mm[1] - seen.points_mm[0]))) * seen.size_factor
        return true / float(np.hypot(*(seen.points_px[1] - seen.points_px[0])))
    if seen.diameter_mm is not None and len(seen.outline_px) >= 5:
        _, axes, _ = cv2.fitEllipseDirect(seen.outline_px.astype(np.float32).reshape(-1, 1, 2))
        return seen.diameter_mm * seen.size_factor / max(float(axes[0]), float(axes[1]))
    raise ScaleError(
        tr("Nothing was seen that fixes the scale"),
        where=seen.kind,
        do=tr("Mark the reference again"),
    )


def obliqueness(matrix: Floats) -> float:
    """Angle in radians between the plane's normal and the line of sight at its centre.

    From the ratio of the singular values of the homography's Jacobian, cos = s2 / s1:
    exact for a plane far away compared with its size, and near the picture's middle.
    """
    values = np.linalg.svd(jacobian(matrix), compute_uv=False)
    return float(np.arccos(np.clip(values[1] / values[0], 0.0, 1.0)))
