"""How the dog stands in one photo: that photo's marks and outline, by the camera estimated.

The estimate's camera turns pixels into the dog's middle plane; feet and the last rib lie
nearer to the camera by a known share of the trunk, which is taken out first.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.body.posed import FOOT_ASIDE, POSTURES
from photocheck.body.shape import MARK_SPREAD_MM
from photocheck.body.stance import (
    ACCUSED,
    BodyMarks,
    Stance,
    coat_stand_off,
    judge_stance,
)
from photocheck.body.standards import allowance
from photocheck.case.model import DogFacts, Marking, Point
from photocheck.words import ALL_LANDMARKS

if TYPE_CHECKING:
    from photocheck.body.silhouette import Silhouette

Array = NDArray[np.float64]
ToPixels = Callable[[float], Array]
"""For a plane that many mm nearer to the camera than the dog's middle plane: the homography
(3, 3) from body coordinates, mm, y down, to px."""

PHONE_TILT_DEG: Final = 3.0
"""How far phones are held from level, standard deviation (judgement)."""
PLUMB_DEG: Final = 2.5
"""How far something that hangs or stands leans sideways, standard deviation (judgement)."""
PLUMB_PLACES: Final = frozenset({"near_feet", "middle", "far_feet", "wall_close", "wall"})
"""Places where the reference hangs or stands by itself."""


@dataclass(frozen=True, eq=False)
class Standing:
    """The stance in one photo, with the outline it was read from (None without a picture)."""

    stance: Stance
    silhouette: Silhouette | None

    @property
    def touches(self) -> tuple[str, ...]:
        """Edges of the picture that the outline runs into; empty without an outline."""
        return self.silhouette.touches if self.silhouette else ()


def standing(
    markings: Sequence[Marking],
    to_pixels: ToPixels,
    *,
    half_flank_mm: float,
    roll_deg: float,
    place: str,
    dog: DogFacts,
    rgb: NDArray[np.uint8] | None = None,
    reference_px: Sequence[Point] = (),
    accused: float = ACCUSED,
) -> Standing:
    """Judge the stance in one photo.

    Parameters
    ----------
    markings : sequence of Marking
        Of this photo, not empty; several are averaged.
    to_pixels : callable
        See `ToPixels`.
    half_flank_mm : float
        Half the trunk's width at the last rib, mm.
    roll_deg : float
        The reference turned in its plane, clockwise as seen, degrees (`CameraView.roll_deg`).
    place : str
        Where the reference stood, one of `photocheck.words.PLACES`.
    dog : DogFacts
    rgb : (H, W, 3) uint8 or None
        The upright photo, to find the outline in.
    reference_px : sequence of Point
        The reference's outline, px.
    accused : float
        Share of square dogs that may be accused.
    """
    pixels = {
        name: _mean([m.marks[name] for m in markings if name in m.marks])
        for name in ALL_LANDMARKS
        if any(name in m.marks for m in markings)
    }
    outline = None
    if rgb is not None:  # most dogs stand square by their marks, and no outline is looked for
        from photocheck.body.silhouette import find_silhouette

        outline = find_silhouette(rgb, pixels, reference_px=reference_px)
    points = body_points(pixels, to_pixels, half_flank_mm)
    up, tilt = upright(roll_deg, place)
    coat, coat_spread = coat_stand_off(dog.coat, dog.coat_depth_mm)
    middle = to_pixels(0.0)
    topline: tuple[Point, ...] = ()
    if outline is not None and outline.topline:
        topline = _through(_inverse(middle), outline.topline)
    spreads = np.array([m.spread_mm or MARK_SPREAD_MM for m in markings])
    spread = float(np.sqrt(np.sum(spreads**2)) / len(spreads))
    if len({frozenset(m.marks) for m in markings}) > 1:  # tags replace some marks: one of each
        spread = float(spreads.max())
    body = BodyMarks(
        points=points,
        up=up,
        mark_spread_mm=spread,
        tilt_deg=tilt,
        coat_mm=coat,
        coat_spread_mm=coat_spread,
        topline=topline,
        allow=allowance(dog.breed),
    )

    def to_px(at: Point) -> Point:
        return _through(middle, [at])[0]

    return Standing(judge_stance(body, accused=accused, to_px=to_px), outline)


def body_points(
    pixels: Mapping[str, Point], to_pixels: ToPixels, half_flank_mm: float
) -> dict[str, Point]:
    """Marks in body coordinates, mm, each by the plane its landmark lies in."""
    trunk = _through(_inverse(to_pixels(0.0)), [pixels["breastbone"], pixels["tail_base"]])
    # The trunk from breastbone to tail base is about as long as the dog is high.
    aside = FOOT_ASIDE * float(np.hypot(trunk[0][0] - trunk[1][0], trunk[0][1] - trunk[1][1]))
    lifts = {"last_rib": half_flank_mm, "front_foot": aside, "rear_foot": aside}
    planes = {lift: _inverse(to_pixels(lift)) for lift in {0.0, *lifts.values()}}
    return {name: _through(planes[lifts.get(name, 0.0)], [xy])[0] for name, xy in pixels.items()}


def flat_marks(pixels: Mapping[str, Point], to_pixels: ToPixels) -> dict[str, Point]:
    """Marks as if all lay in the dog's middle plane, mm in body coordinates."""
    inverse = _inverse(to_pixels(0.0))
    return dict(zip(pixels, _through(inverse, list(pixels.values())), strict=True))


def upright(roll_deg: float, place: str) -> tuple[Point, float]:
    """Upright direction in body coordinates, y down, and its standard deviation, degrees.

    Two witnesses, weighed by their variances: the phone, held about level, and a
    reference that hangs or stands about plumb.
    """
    if place not in PLUMB_PLACES or abs(roll_deg) > 4.0 * (PHONE_TILT_DEG + PLUMB_DEG):
        return (0.0, -1.0), PHONE_TILT_DEG
    phone, plumb = PHONE_TILT_DEG**-2, PLUMB_DEG**-2
    angle = np.radians(roll_deg * plumb / (phone + plumb))
    return (float(np.sin(angle)), float(-np.cos(angle))), float((phone + plumb) ** -0.5)


def _inverse(homography: Array) -> Array:
    return np.asarray(np.linalg.inv(homography), dtype=np.float64)


def _mean(points: Sequence[Point]) -> Point:
    x, y = np.mean(points, axis=0)
    return float(x), float(y)


def _through(homography: Array, points: Sequence[Point]) -> tuple[Point, ...]:
    flat = np.column_stack([np.asarray(points, float), np.ones(len(points))]) @ homography.T
    return tuple((float(x / w), float(y / w)) for x, y, w in flat)


EXPLAINED: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "dog_crouching": ("crouching", "rear_lowered"),
        "dog_stretched": ("stretched",),
        "dog_arched": ("arched",),
    }
)
"""Which explanation of a disagreement each posture speaks for."""


def stance_evidence(stances: Sequence[Stance]) -> dict[str, float]:
    """ln of the Bayes factors that marks and outline give the explanations by stance.

    All marks together may fit a posture better while each figure that shows it is one that
    square dogs have: that speaks for nothing.
    Averaged over the photos, for the spans are averaged over them too.
    """
    evidence = {}
    for name, postures in EXPLAINED.items():
        factors = [
            max(_factor(stance, posture) for posture in postures if posture in stance.log_odds)
            for stance in stances
            if any(posture in stance.log_odds for posture in postures)
        ]
        if factors:
            evidence[name] = float(np.mean(factors))
    return evidence


def _factor(stance: Stance, posture: str) -> float:
    """ln of a posture's Bayes factor; none for it where no figure of its own is abnormal."""
    factor = stance.log_odds[posture] - float(np.log(POSTURES[posture].odds))
    return factor if posture in stance.shown else min(factor, 0.0)
