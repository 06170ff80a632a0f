"""What the photo's quality and framing cost in doubt, each with what puts it right.

Measured, not judged by looks: a blurred edge can be placed no better than its blur,
which the scale turns into centimetres of doubt on the dog; a reference of few pixels or
at a distance from the dog brings its share of doubt on every length.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photocheck.case.model import Marking, Point
from photocheck.photo.photo import Photo
from photocheck.photo.quality import BLURRED, CLIPPED, MarkQuality, quality_at
from photocheck.speech import later, listed, tr
from photocheck.words import LANDMARK_TITLES

Array = NDArray[np.float64]

EDGE_SHARE: Final = 0.5
"""How well people place a mark on a blurred edge: this share of the blur's radius
(judgement; an edge blurred by a Gaussian rises from 31 to 69 % over one radius)."""
MARK_DOUBT_MM: Final = 5.5
"""What a mark is doubted by anyway, as in the estimate (`photocheck.body.shape`)."""
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
OBLIQUE_DOUBT: Final = 0.02
"""The same from the slant of the view."""
DOG_TURN_RAD: Final = 0.085
"""How far dogs stand from parallel to the reference, standard deviation (as in
`photocheck.scale.priors`)."""
SIDES: Final = (later("bottom"), later("left"), later("right"), later("top"))
EDGES: Final = 6
"""How many edges near a mark are looked at."""
RIM: Final = 0.004
"""A mark or outline nearer to the edge than this share of the picture's longer side is cut."""


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


def edge_blur(
    rgb: NDArray[np.uint8], points_px: ArrayLike, *, window_px: int | None = None
) -> tuple[float | None, ...]:
    """Radius of the blur near each point, by the sharpest of the strong edges there.

    The grey values are averaged along an edge's own direction, and the width of their
    slope is measured: an ideal edge blurred by a Gaussian has a Gaussian as its slope, whose
    standard deviation is the blur's (the line spread function of ISO 12233, slanted edge).
    Shadows and folds are soft in a sharp photo too: the sharpest edge tells.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
    points_px : (N, 2)
        Marks (x, y), px.
    window_px : int or None
        Side of the window, px; by default a twenty-fifth of the picture's longer side, at
        least 33.  Blurs up to about an eighth of it can be measured.

    Returns
    -------
    tuple of float or None
        Standard deviation of the blur, px, with the pixel's own width in it (0.3 to 0.8 for
        a sharp photo); None where there is no clear edge.
    """
    height, width = rgb.shape[:2]
    half = (window_px or max(33, max(height, width) // 25)) // 2
    found: list[float | None] = []
    for x, y in np.asarray(points_px, float).reshape(-1, 2):
        if not (half <= x < width - half and half <= y < height - half):
            found.append(None)
            continue
        column, row = round(x), round(y)
        window = rgb[row - half : row + half + 1, column - half : column + half + 1]
        found.append(_blur_of(window.astype(np.float64) @ np.array([0.299, 0.587, 0.114])))
    return tuple(found)


def _blur_of(grey: Array) -> float | None:
    """Blur of the sharpest of the strongest edges of a square window, px."""
    import cv2

    smooth = cv2.GaussianBlur(grey, (0, 0), 1.5)
    gx = np.asarray(cv2.Sobel(smooth, cv2.CV_64F, 1, 0, ksize=3)) / 8.0
    gy = np.asarray(cv2.Sobel(smooth, cv2.CV_64F, 0, 1, ksize=3)) / 8.0
    strength = np.hypot(gx, gy)
    # An edge needs room for its slope on both sides.
    rim = max(6, len(grey) // 5)
    strength[:rim] = strength[-rim:] = 0.0
    strength[:, :rim] = strength[:, -rim:] = 0.0
    blurs = []
    for _ in range(EDGES):
        top, left = np.unravel_index(int(np.argmax(strength)), strength.shape)
        size = float(strength[top, left])
        if size <= 0.0:
            break
        normal = np.array([gx[top, left], gy[top, left]]) / size
        blur = _edge_width(grey, np.array([left, top], float), normal)
        if blur is not None:
            blurs.append(blur)
        apart = max(3, len(grey) // 12)
        strength[max(top - apart, 0) : top + apart + 1, max(left - apart, 0) : left + apart + 1] = 0
    return min(blurs) if blurs else None


def _edge_width(grey: Array, at: Array, normal: Array) -> float | None:
    """Blur of one edge, px; None when it is no clear step."""
    import cv2

    reach = float(min(at.min(), (np.array(grey.shape[::-1]) - 1 - at).min()))
    steps = np.linspace(-reach, reach, 4 * int(reach) + 1)
    along = np.linspace(-3.0, 3.0, 7)
    spots = (
        at
        + steps[:, None, None] * normal
        + along[None, :, None] * np.array([-normal[1], normal[0]])
    ).astype(np.float32)
    samples = cv2.remap(grey.astype(np.float32), spots[..., 0], spots[..., 1], cv2.INTER_LINEAR)
    profile = samples.mean(axis=1).astype(np.float64)
    count = max(len(profile) // 5, 2)
    dark, light = float(profile[:count].mean()), float(profile[-count:].mean())
    noise = float(np.std(profile[:count]) + np.std(profile[-count:])) / 2.0
    step = light - dark
    if step < max(8.0, 4.0 * noise):
        return None
    # Where the risen share crosses 16 and 84 % lies one standard deviation either side.
    share = np.maximum.accumulate(np.clip((profile - dark) / step, 0.0, 1.0))
    low, high = (float(steps[int(np.argmax(share >= level))]) for level in (0.159, 0.841))
    return max((high - low) / 2.0, 0.3)


def blur_remarks(
    titles: Mapping[str, str],
    points_px: Mapping[str, Point],
    blurs_px: Sequence[float | None],
    px_per_cm: float,
    qualities: Sequence[MarkQuality],
) -> tuple[Remark, ...]:
    """Remarks on marks whose edge is so blurred that it adds to their doubt.

    Parameters
    ----------
    titles : mapping of landmark name to words
    points_px : mapping of landmark name to Point
    blurs_px : sequence of float or None
        From `edge_blur`, in the order of `points_px`.
    px_per_cm : float
        At the dog.
    qualities : sequence of MarkQuality
        From `photocheck.photo.quality.quality_at`, in the same order.

    A remark is made where the blur alone doubts the mark by as much as it is doubted anyway,
    and the fine texture around it is blurred too: where there is only a shadow's soft edge,
    hair and grain stay sharp.
    """
    if not px_per_cm > 0:
        raise ValueError("px_per_cm must be above zero")
    bad = [
        (name, blur)
        for name, blur, quality in zip(points_px, blurs_px, qualities, strict=True)
        if blur is not None
        and 10.0 * EDGE_SHARE * blur / px_per_cm >= MARK_DOUBT_MM
        and quality.blur is not None
        and quality.blur > BLURRED
    ]
    if not bad:
        return ()
    worst = max(blur for _, blur in bad)
    doubt = 10.0 * EDGE_SHARE * worst / px_per_cm
    names = tuple(name for name, _ in bad)
    return (
        Remark(
            "blurred",
            tr(
                "The photo is blurred at the {names}: an edge there is smeared over "
                "{px_per_cm:.1f} cm, so that a mark may be {doubt:.1f} cm off.",
                names=listed([tr(titles[n]) for n in names]),
                px_per_cm=2.0 * worst / px_per_cm,
                doubt=doubt / 10.0,
            ),
            tr(
                "Hold the phone with both hands, tap the dog to focus, and take the "
                "photo in more light while the dog stands still."
            ),
            marks=names,
            doubt_mm=doubt,
            at_px=tuple(points_px[n] for n in names),
        ),
    )


def light_remarks(
    titles: Mapping[str, str],
    points_px: Mapping[str, Point],
    qualities: Sequence[MarkQuality],
    *,
    clipped: float = CLIPPED,
) -> tuple[Remark, ...]:
    """Remarks on marks in black shadow or burnt-out light.

    Parameters
    ----------
    titles, points_px
        As for `blur_remarks`.
    qualities : sequence of MarkQuality
        From `photocheck.photo.quality.quality_at`, in the order of `points_px`.
    clipped : float
        Share of a mark's window at black or white from which it is remarked on.
    """
    said = []
    cases = (
        (
            "dark",
            "too_dark",
            later(
                "The photo is black at the {where}: {share} % of the picture around it shows "
                "nothing."
            ),
            later(
                "Turn so that the light falls on the dog's side, or add light, and take the photo "
                "again."
            ),
        ),
        (
            "bright",
            "too_bright",
            later(
                "The photo is burnt out at the {where}: {share} % of the picture around it shows "
                "nothing."
            ),
            later(
                "Go into even shade, or tap the dog on the screen so that the phone sets its light "
                "by it, and take the photo again."
            ),
        ),
    )
    for name, figure, sentence, instruction in cases:
        bad = [
            (mark, getattr(quality, figure))
            for mark, quality in zip(points_px, qualities, strict=True)
            if getattr(quality, figure) > clipped
        ]
        if bad:
            marks = tuple(mark for mark, _ in bad)
            share = max(part for _, part in bad)
            where = listed([tr(titles[m]) for m in marks])
            said.append(
                Remark(
                    name,
                    tr(sentence, where=where, share=f"{100 * share:.0f}"),
                    tr(instruction),
                    marks=marks,
                    at_px=tuple(points_px[m] for m in marks),
                )
            )
    return tuple(said)


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
) -> tuple[Remark, ...]:
    """Everything to be said of one photo: sharpness, light, scale and what is cut off.

    The first marking stands for all: others lie within a few mm of it.  For the rest see
    `blur_remarks`, `light_remarks`, `scale_remarks` and `cut_remarks`.
    """
    points = dict(markings[0].marks)
    pixels = np.array(list(points.values()), float)
    qualities = quality_at(photo.rgb, pixels)
    said = blur_remarks(LANDMARK_TITLES, points, edge_blur(photo.rgb, pixels), px_per_cm, qualities)
    said += light_remarks(LANDMARK_TITLES, points, qualities)
    said += scale_remarks(
        px_per_cm=px_per_cm,
        reference_px=reference_px,
        distance_mm=distance_mm,
        offset_spread_mm=offset_spread_mm,
        yaw_deg=yaw_deg,
        corner_px=corner_px,
        measured_offset=measured_offset,
    )
    return said + cut_remarks(photo.size, points, LANDMARK_TITLES, touches=touches)
