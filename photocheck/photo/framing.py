"""What the photo's quality and framing cost in doubt, each with what puts it right.

Measured, not judged by looks: a reference of few pixels or at a distance from the dog brings its
share of doubt on every length.  What is said of single marks is in `photocheck.photo.at_marks`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from photocheck.case.model import Marking, Point, first_marks
from photocheck.photo.at_marks import blur_remarks, light_remarks
from photocheck.photo.blur import edge_blur
from photocheck.photo.photo import Photo
from photocheck.photo.quality import quality_at
from photocheck.photo.remark import Remark
from photocheck.speech import later, listed, tr
from photocheck.words import LANDMARK_TITLES, TAGS

COARSE_PX_PER_CM: Final = 4.0
"""Fewer px per cm than this are remarked on: a mark set one or two px off is then up to
half a centimetre off, as much as marks are doubted anyway."""
PLACED_PX: Final = 1.5
"""Standard deviation of placing a mark on the screen, px (judgement)."""
SMALL_DOUBT: Final = 0.02
"""Doubt of the scale from the reference's size in px that is remarked on: two thirds of
what marks bring (judgement)."""
CORNER_PX: Final = 1.0
"""Standard deviation of a reference's corner, px, when not told."""
FAR_DOUBT: Final = 0.025
"""Doubt of every length from the reference's distance to the dog that is remarked on:
what a tape itself is doubted by (2 %) and a little more."""
FAR_FROM_CHEST: Final = 0.04
"""Doubt of every width in a photo from the front from the same that is remarked on: what the place
of the ring is doubted by (as in `photocheck.body.shape.FRONT_LOOK`)."""
OBLIQUE_DOUBT: Final = 0.02
"""The same from the slant of the view."""
DOG_TURN_RAD: Final = 0.085
"""How far dogs stand from parallel to the reference, standard deviation (as in
`photocheck.scale.priors`)."""
SIDES: Final = (later("bottom"), later("left"), later("right"), later("top"))
RIM: Final = 0.004
"""A mark or outline nearer to the edge than this share of the picture's longer side is cut."""


def scale_remarks(
    *,
    px_per_cm: float,
    reference_px: ArrayLike,
    distance_mm: float,
    offset_spread_mm: float,
    yaw_deg: float,
    corner_px: float = CORNER_PX,
    measured_offset: bool = False,
) -> tuple[Remark, ...]:
    """Remarks on the scale: coarse picture, small or far reference, slanted view.

    Parameters
    ----------
    px_per_cm : float
        At the dog.
    reference_px : (N, 2)
        Points or outline of the reference, px; empty when not known.
    distance_mm : float
        Camera to the reference, mm.
    offset_spread_mm : float
        Standard deviation of the reference's distance from the dog's middle plane, mm.
    yaw_deg : float
        Of the camera against the reference plane, degrees.
    corner_px : float
        Standard deviation of the reference's points, px.
    measured_offset : bool
        The owner has measured how far the reference stood from the dog.

    Each doubt is worked out to first order: corners over the reference's size,
    offset over distance, and for a slanted view tan(yaw) times the dog's own turn.
    """
    if not (px_per_cm > 0 and distance_mm > 0 and corner_px > 0 and offset_spread_mm >= 0):
        raise ValueError("scale, distance and spreads must be above zero")
    said = []
    placing = 10.0 * PLACED_PX / px_per_cm
    if px_per_cm < COARSE_PX_PER_CM:
        said.append(
            Remark(
                "coarse",
                tr(
                    "The dog is small in the picture: {px_per_cm:.1f} pixels per cm, so that "
                    "a mark may be {placing:.1f} cm off.",
                    px_per_cm=px_per_cm,
                    placing=placing / 10.0,
                ),
                tr(
                    "Go nearer until the dog with its feet and tail fills the picture, or "
                    "send the photo at full size."
                ),
                doubt_mm=placing,
            )
        )
    ring = np.asarray(reference_px, float).reshape(-1, 2)
    if len(ring) >= 2:
        size = float(np.linalg.norm(np.ptp(ring, axis=0)))
        # Two ends a distance apart, each off by corner_px; more points share the error.
        doubt = float(np.sqrt(2.0) * corner_px / max(size, 1e-9) / np.sqrt(max(len(ring) / 4, 1)))
        if doubt > SMALL_DOUBT:
            said.append(
                Remark(
                    "small_reference",
                    tr(
                        "The thing of known size is only {size:.0f} pixels across: that alone "
                        "makes every length uncertain by {doubt:.1f} %.",
                        size=size,
                        doubt=100.0 * doubt,
                    ),
                    tr("Use something larger, such as the printed sheet, or go nearer."),
                    doubt=doubt,
                    at_px=tuple((float(x), float(y)) for x, y in ring),
                )
            )
    far = offset_spread_mm / distance_mm
    if far > FAR_DOUBT:
        said.append(
            Remark(
                "far_reference",
                tr(
                    "The thing of known size was not level with the dog, and by how much is "
                    "known to about {offset_spread_mm:.0f} cm only: that makes every length "
                    "uncertain by {far:.1f} %.",
                    offset_spread_mm=offset_spread_mm / 10.0,
                    far=100.0 * far,
                ),
                tr("Put it level with the dog's middle, in front of its chest or behind it.")
                if measured_offset
                else tr(
                    "Put it level with the dog's middle, in front of its chest or behind it, or "
                    "measure how far from the dog it stood."
                ),
                doubt=far,
                at_px=tuple((float(x), float(y)) for x, y in ring),
            )
        )
    slant = float(np.tan(np.radians(min(abs(yaw_deg), 80.0))) * DOG_TURN_RAD)
    if slant > OBLIQUE_DOUBT:
        said.append(
            Remark(
                "oblique",
                tr(
                    "The photo was taken {yaw_deg:.0f} degrees from square: a dog not quite "
                    "parallel to the thing of known size then reads wrong by about "
                    "{slant:.1f} %.",
                    yaw_deg=abs(yaw_deg),
                    slant=100.0 * slant,
                ),
                tr(
                    "Stand square to the dog's side, level with its shoulder, and take the "
                    "photo again."
                ),
                doubt=slant,
            )
        )
    return tuple(said)


def far_in_front(
    reference_px: ArrayLike, distance_mm: float, offset_spread_mm: float
) -> tuple[Remark, ...]:
    """The remark on a reference not level with the chest in a photo from the front, if any."""
    far = offset_spread_mm / distance_mm
    if far <= FAR_FROM_CHEST:
        return ()
    ring = np.asarray(reference_px, float).reshape(-1, 2)
    return (
        Remark(
            "far_reference",
            tr(
                "How far before or behind the chest the thing of known size stood is known to "
                "about {offset_spread_mm:.0f} cm only: that makes every width uncertain by "
                "{far:.1f} %.",
                offset_spread_mm=offset_spread_mm / 10.0,
                far=100.0 * far,
            ),
            tr("Stand it on the ground beside the front feet, or step further back."),
            doubt=far,
            at_px=tuple((float(x), float(y)) for x, y in ring),
        ),
    )


def cut_remarks(
    size_px: tuple[int, int],
    points_px: Mapping[str, Point],
    titles: Mapping[str, str],
    *,
    touches: Sequence[str] = (),
) -> tuple[Remark, ...]:
    """Remarks on a dog that the picture cuts off.

    Parameters
    ----------
    size_px : (int, int)
        Width and height, px.
    points_px : mapping of landmark name to Point
    titles : mapping of landmark name to words
    touches : sequence of str
        Edges the dog's outline runs into ("left", "right", "top", "bottom"), from
        `photocheck.body.silhouette`; marks alone are looked at without it.
    """
    width, height = size_px
    rim = RIM * max(width, height)
    near: dict[str, list[str]] = {}
    for name, (x, y) in points_px.items():
        sides = {"left": x, "right": width - 1 - x, "top": y, "bottom": height - 1 - y}
        for side, gap in sides.items():
            if gap < rim:
                near.setdefault(side, []).append(name)
    said = []
    for side in SIDES:
        names = tuple(near.get(side, ()))
        if not names and side not in touches:
            continue
        part = _cut_part(side, points_px)
        if names:
            seen = tr(
                "The {names} lies on the {edge} edge of the picture, so that {cut}.",
                names=listed([tr(titles[n]) for n in names]),
                edge=tr(side),
                cut=tr(_CUT_OFF[part]),
            )
        else:
            seen = tr(
                "The dog runs into the {edge} edge of the picture, so that {cut}.",
                edge=tr(side),
                cut=tr(_CUT_OFF[part]),
            )
        said.append(
            Remark(
                "cut_off",
                seen,
                tr(_STEP_BACK[part]),
                marks=names,
                at_px=tuple(points_px[n] for n in names),
            )
        )
    return tuple(said)


_CUT_OFF: Final = {
    "feet": later("its feet may be cut off: the ground and the dog's height cannot be checked"),
    "head": later("its head may be cut off: how the head is held cannot be checked"),
    "tail": later("its tail may be cut off: where the back ends is harder to see"),
    "back": later("its back may be cut off: the line of the back cannot be checked"),
}
_STEP_BACK: Final = {
    "feet": later("Step back until the whole dog with its feet is in the picture."),
    "head": later("Step back until the whole dog with its head is in the picture."),
    "tail": later("Step back until the whole dog with its tail is in the picture."),
    "back": later("Step back until the whole dog with its back is in the picture."),
}


def _cut_part(side: str, points: Mapping[str, Point]) -> str:
    """Which part of the dog lies towards an edge."""
    if side == "bottom":
        return "feet"
    if side == "top":
        return "back"
    if "breastbone" in points and "tail_base" in points:
        faces_left = points["breastbone"][0] < points["tail_base"][0]
        return "head" if (side == "left") == faces_left else "tail"
    return "tail"


def photo_remarks(
    photo: Photo,
    markings: Sequence[Marking],
    *,
    reference_px: ArrayLike,
    px_per_cm: float,
    distance_mm: float,
    offset_spread_mm: float,
    yaw_deg: float,
    corner_px: float,
    measured_offset: bool,
    touches: Sequence[str] = (),
    front: bool = False,
) -> tuple[Remark, ...]:
    """Everything to be said of one photo: sharpness, light, scale and what is cut off.

    From the `front` neither the slant of the view nor the body's ends matter.  The first marking
    stands for all: others lie within a few mm of it.  For the rest see
    `blur_remarks`, `light_remarks`, `scale_remarks` and `cut_remarks`.
    """
    points = dict(markings[0].marks)
    if markings[-1].by == TAGS:  # they replace some marks of the first
        points = first_marks(markings)
    pixels = np.array(list(points.values()), float)
    qualities = quality_at(photo.rgb, pixels)
    said = blur_remarks(LANDMARK_TITLES, points, edge_blur(photo.rgb, pixels), px_per_cm, qualities)
    said += light_remarks(LANDMARK_TITLES, points, qualities)
    said += scale_remarks(
        px_per_cm=px_per_cm,
        reference_px=reference_px,
        distance_mm=distance_mm,
        offset_spread_mm=0.0 if front else offset_spread_mm,
        yaw_deg=0.0 if front else yaw_deg,
        corner_px=corner_px,
        measured_offset=measured_offset,
    )
    if front:
        return said + far_in_front(reference_px, distance_mm, offset_spread_mm)
    return said + cut_remarks(photo.size, points, LANDMARK_TITLES, touches=touches)
