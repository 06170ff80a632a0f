"""One door to the scale stage: from what the person said to what is in the picture.

How discs and the marker sheet are found is loaded when one is looked for: a check looks for one
kind.
"""

from __future__ import annotations

import numpy as np

from photocheck.case.model import Point, Reference
from photocheck.errors import CaseError, ScaleError
from photocheck.scale.catalogue import REFERENCES, ReferenceObject
from photocheck.scale.corners import CORNER_NAMES
from photocheck.scale.edges import find_rectangle
from photocheck.scale.kinds import BesideDog, likeliest_first
from photocheck.scale.light import Floats, Picture, as_grey
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.thresholds import HAND_SPREAD_PX, LEAST_ACROSS_PX, lies_inside
from photocheck.speech import listed, tr


def see_reference(photo_rgb: Picture, reference: Reference) -> ReferenceSeen:
    """Find or take over the reference in one photo.

    Parameters
    ----------
    photo_rgb : (H, W, 3) RGB or (H, W) grey, uint8
        The upright photo at full resolution.
    reference : Reference
        The marker sheet is found by itself; a card or sheet of paper from its four
        corners or a mark inside; two points from `ends` and `length_mm`; a disc or
        ball from `outline` or a mark inside, and `diameter_mm`.

    Raises
    ------
    CaseError
        When the kind is not in the catalogue.
    ScaleError
        When it is not found, its marks are unusable, or a size it needs is missing.
    """
    kind = REFERENCES.get(reference.kind)
    if kind is None:
        raise CaseError(
            tr("{kind!r} is no known reference", kind=reference.kind),
            where=tr("reference kind"),
            do=tr("Choose one of {names}", names=", ".join(REFERENCES)),
        )
    _check_spread(reference.corner_spread_px)
    if kind.form == "markers":
        return _sheet(photo_rgb, reference.bar_mm)
    if kind.form == "rectangle":
        return find_rectangle(
            photo_rgb,
            kind,
            near=reference.near,
            rough_corners=reference.corners,
            corner_spread_px=reference.corner_spread_px,
        )
    if kind.form == "points":
        return _two_points(photo_rgb, kind, reference)
    from photocheck.scale.discs import find_disc

    return find_disc(
        photo_rgb,
        reference.diameter_mm,
        kind.kind,
        near=reference.near,
        outline=reference.outline,
        spread_px=reference.corner_spread_px,
        size_spread=kind.size_spread,
    )


def locate_any(
    photo_rgb: Picture,
    near: Point | None = None,
    *,
    diameter_mm: float | None = None,
    beside: BesideDog | None = None,
) -> tuple[ReferenceSeen, ...]:
    """Everything known that is seen in a photo, the marker sheet first.

    Parameters
    ----------
    photo_rgb : (H, W, 3) RGB or (H, W) grey, uint8
    near : Point or None
        A rough mark inside a card, sheet of paper, disc or ball, px.  Without it
        only the marker sheet is looked for.
    diameter_mm : float or None
        Diameter of the disc or ball at the mark; without it neither is looked for.
    beside : BesideDog or None
        Given where the photo is one of a dog: it helps to tell kinds apart.

    Returns
    -------
    tuple of ReferenceSeen
        Kinds of rectangle that explain the same four sides are all returned, the
        likeliest first: a small picture alone cannot tell A4 from letter paper.
        Empty when nothing was seen.
    """
    from photocheck.scale.discs import find_disc
    from photocheck.scale.markers import find_sheet

    seen: list[ReferenceSeen] = []
    sheet = find_sheet(photo_rgb)
    if sheet is not None:
        seen.append(sheet)
    if near is None:
        return tuple(seen)
    flat: list[ReferenceSeen] = []
    round_ones: list[ReferenceSeen] = []
    for kind in REFERENCES.values():
        if kind.form == "rectangle":
            try:
                found = find_rectangle(photo_rgb, kind, near=near)
            except ScaleError:
                continue
            flat.append(found)
        elif kind.form in ("disc", "ball") and diameter_mm is not None:
            try:
                found = find_disc(
                    photo_rgb, diameter_mm, kind.kind, near=near, size_spread=kind.size_spread
                )
            except ScaleError:
                continue
            round_ones.append(found)
    return (*seen, *likeliest_first(photo_rgb, flat, beside), *round_ones)


def _check_spread(spread_px: float | None) -> None:
    if spread_px is not None and not (np.isfinite(spread_px) and 0 < spread_px <= 200):
        raise ScaleError(
            tr(
                "A spread of {spread_px:g} px for hand-placed marks cannot be used",
                spread_px=spread_px,
            ),
            where=tr("corner spread"),
            do=tr("Give a figure between 0 and 200 px, or leave it out"),
        )


def _sheet(photo_rgb: Picture, bar_mm: float | None) -> ReferenceSeen:
    from photocheck.scale.marker_detection import Counted, agreeing_markers, detect_markers
    from photocheck.scale.markers import find_sheet

    grey = as_grey(photo_rgb)
    counted: Counted = {}
    detected = detect_markers(grey, counted)
    seen = find_sheet(grey, bar_mm=bar_mm, seen=detected)
    if seen is not None:
        return seen
    lone = sorted({marker.place for marker in detected})
    if agreeing_markers(detect_markers(np.ascontiguousarray(grey[:, ::-1]), counted)):
        raise ScaleError(
            tr("The photo is mirrored: the marker sheet on it reads backwards"),
            where="reference",
            do=tr(
                "Send the photo as the camera saved it, or turn off mirroring in the camera's "
                "settings, and take it with the back camera"
            ),
        )
    if not lone:
        raise ScaleError(
            tr("The marker sheet was not found: none of its four squares was seen"),
            where="reference",
            do=tr(
                "Take the photo again, sharp and with the whole sheet in view, nothing "
                "over it and no glare on it"
            ),
        )
    names = listed([tr(CORNER_NAMES[place]) for place in lone])
    if len(lone) == 1:
        raise ScaleError(
            tr(
                "Of the marker sheet only the {names} square was seen, and two are needed",
                names=names,
            ),
            where="reference",
            do=tr("Take the photo again with the whole sheet in view and nothing over it"),
        )
    raise ScaleError(
        tr(
            "The {names} squares of the marker sheet were seen, but they do not lie "
            "on one flat sheet or are too small to measure",
            names=names,
        ),
        where="reference",
        do=tr("Glue the sheet flat on a stiff board and take the photo from nearer"),
    )


def _two_points(photo_rgb: Picture, kind: ReferenceObject, reference: Reference) -> ReferenceSeen:
    length = reference.length_mm
    if length is None or not np.isfinite(length) or length <= 0:
        raise ScaleError(
            tr("The distance between the two points is missing or not a positive length"),
            where="reference",
            do=tr("Type in how far apart the two points are"),
        )
    ends: Floats = np.array(reference.ends, np.float64).reshape(-1, 2)
    if len(ends) != 2:
        raise ScaleError(
            tr("{count} ends were marked and two are needed", count=len(ends)),
            where="reference",
            do=tr("Mark both ends of the known length"),
        )
    height, width = photo_rgb.shape[:2]
    for name, (x, y) in zip((tr("first"), tr("second")), ends, strict=True):
        if not lies_inside(x, y, photo_rgb.shape):
            raise ScaleError(
                tr(
                    "The {name} end at ({x:.0f}, {y:.0f}) lies outside the picture of "
                    "{width} x {height} px",
                    name=name,
                    x=x,
                    y=y,
                    width=width,
                    height=height,
                ),
                where="reference",
                do=tr("Mark the ends in the full-size upright photo"),
            )
    apart = float(np.hypot(*(ends[1] - ends[0])))
    if apart < LEAST_ACROSS_PX:
        raise ScaleError(
            tr("The two ends are only {apart:.0f} px apart: too near to measure by", apart=apart),
            where="reference",
            do=tr("Mark points farther apart, or take the photo from nearer"),
        )
    hand = HAND_SPREAD_PX if reference.corner_spread_px is None else reference.corner_spread_px
    # The x axis of the reference's plane runs from the first end to the second.
    points = np.array([[-length / 2, 0.0], [length / 2, 0.0]])
    return ReferenceSeen(
        kind=kind.kind,
        how="marked",
        points_mm=points,
        points_px=ends,
        spread_px=hand,
        size_spread=kind.size_spread,
        remarks=(tr("Two points give the scale but not how the reference is turned"),),
    )
