"""What was seen of the reference in one photo, without any dog: a look at the scale alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photocheck.case.model import Point, Reference
from photocheck.errors import ScaleError
from photocheck.photo.camera import FRAME_DIAGONAL_MM, MAIN_CAMERA_35MM
from photocheck.photo.photo import Photo
from photocheck.photo.whole import framing_said
from photocheck.scale.catalogue import paper_of
from photocheck.scale.kinds import BesideDog
from photocheck.scale.planes import mm_per_px
from photocheck.scale.pose import View, likely_poses
from photocheck.scale.priors import offset_prior
from photocheck.scale.seen import ReferenceSeen
from photocheck.speech import later, tr


@dataclass(frozen=True)
class Located:
    """The reference in one photo.

    Attributes
    ----------
    reference : str
        A key of `photocheck.scale.catalogue.REFERENCES`.
    how : str
        "markers", "found" or "marked".
    points_px : tuple of Point
        Corners or other known points, or the outline of a disc or ball, px.
    size_px : (int, int)
        Width and height of the upright photo, px.
    distance_mm : float
        From the camera to the reference's centre, mm.
    yaw_deg, pitch_deg, roll_deg : float
        Of the camera against the reference's plane, degrees; with a ball or two points
        only what is usual, which a remark says.
    px_per_mm : float
        In the reference's plane, at its centre.
    focal_35mm : float
        35 mm equivalent the distance rests on, mm.
    focal_source : str
    remarks : tuple of str
    """

    reference: str
    how: str
    points_px: tuple[Point, ...]
    size_px: tuple[int, int]
    distance_mm: float
    yaw_deg: float
    pitch_deg: float
    roll_deg: float
    px_per_mm: float
    focal_35mm: float
    focal_source: str
    remarks: tuple[str, ...] = ()


def locate(
    photo: Photo,
    reference: Reference | None = None,
    *,
    near: Point | None = None,
    diameter_mm: float | None = None,
    beside: BesideDog | None = None,
) -> tuple[Located, ...]:
    """Find the reference in a photo and where the camera stood.

    Parameters
    ----------
    photo : Photo
    reference : Reference or None
        What to look for, and where; None to look for everything known.
    near : Point or None
        Without a reference: a rough mark inside it, px.  Without this too, only the
        marker sheet can be found.
    diameter_mm : float or None
        Without a reference: the diameter of the disc or ball at the mark, mm.
    beside : BesideDog or None
        Without a reference: given where a dog is in the photo, which helps to tell kinds apart.

    Returns
    -------
    tuple of Located
        At least one; several when no kind was named and several explain the same
        outline, the likeliest first.

    Raises
    ------
    ScaleError
        When nothing is seen.
    """
    from photocheck.scale.find import locate_any, see_reference

    if reference is not None:
        return (_located(photo, see_reference(photo.rgb, reference), reference),)
    found = locate_any(photo.rgb, near, diameter_mm=diameter_mm, beside=beside)
    if not found:
        raise ScaleError(
            tr("nothing of known size was found"),
            where="photo",
            do=tr(
                "Say what it is and mark a point inside it; only the marker sheet is found unaided"
            ),
        )
    return tuple(_located(photo, seen, Reference(seen.kind)) for seen in found)


def beside_dog(photo: Photo, land: str = "") -> BesideDog:
    """What is known of a photo of a dog that helps to tell kinds of reference apart.

    Parameters
    ----------
    photo : Photo
    land : str
        Where the person lives, ISO 3166; empty where not known.
    """
    focal_35mm = photo.camera.focal_35mm or MAIN_CAMERA_35MM
    diagonal = float(np.hypot(*photo.size))
    return BesideDog(focal_35mm * diagonal / FRAME_DIAGONAL_MM, paper_of(land))


def _located(photo: Photo, seen: ReferenceSeen, reference: Reference) -> Located:
    view = View(size_px=photo.size, camera=photo.camera, seen=seen, offset=offset_prior(reference))
    pose = likely_poses(view)[0]
    depth = float(np.exp(pose[5]))
    said = framing_said(photo.camera.framing, photo.size)
    yaw, pitch, roll = (float(angle) for angle in np.degrees(pose[:3]))
    return Located(
        reference=seen.kind,
        how=seen.how,
        points_px=_points(seen),
        size_px=photo.size,
        distance_mm=depth * float(np.sqrt(1.0 + pose[3] ** 2 + pose[4] ** 2)),
        yaw_deg=yaw,
        pitch_deg=pitch,
        roll_deg=roll,
        px_per_mm=1.0 / mm_per_px(seen),
        focal_35mm=float(np.exp(view.log_focal_35mm.mean)),
        focal_source=photo.camera.focal_source,
        remarks=(*seen.remarks, *said)
        if _shows_turn(seen)
        else (*seen.remarks, tr(_NO_TURN), *said),
    )


_NO_TURN = later("How the camera was turned cannot be told from this kind of reference.")


def _shows_turn(seen: ReferenceSeen) -> bool:
    """A plane or a disc is foreshortened when turned; a ball and two points are not."""
    return len(seen.points_px) >= 4 or (len(seen.outline_px) > 0 and seen.kind != "ball")


def _points(seen: ReferenceSeen) -> tuple[Point, ...]:
    points = seen.used_px
    return tuple((float(x), float(y)) for x, y in points)
