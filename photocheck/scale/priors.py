"""What is believed before the photo is looked at: how such photos are taken.

One place for every prior of the scale stage.  Where no published figure is
known the entry says "judgement"; the benchmark shows what they lead to.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Reference
from photocheck.errors import CaseError
from photocheck.photo.camera import MAIN_CAMERA_35MM
from photocheck.scale.catalogue import DOG_TAGS
from photocheck.speech import tr
from photocheck.words import (
    FRONT_PLACE_TITLES,
    FRONT_PLACES,
    PLACE_TITLES,
    PLACES,
    PLACES_BEFORE,
)


@dataclass(frozen=True)
class Normal:
    """A normal prior: `mean` and standard deviation `spread`, in the unit of its use."""

    mean: float
    spread: float

    def at(self, score: NDArray[np.float64]) -> NDArray[np.float64]:
        """The value `score` standard deviations from the mean."""
        return self.mean + self.spread * score


# Owners are told to stand level with the dog's chest and square to it; some stay on their
# feet and look down, hardly anybody looks up (judgement).
YAW_RAD: Final = Normal(0.0, 0.16)
PITCH_RAD: Final = Normal(0.05, 0.14)

# The dog against the reference plane: told to stand parallel.  What is propped up leans
# more than what hangs on a wall (judgement).
DOG_YAW_RAD: Final = Normal(0.0, 0.085)
DOG_LEAN_PROPPED_RAD: Final = Normal(0.0, 0.06)
DOG_LEAN_HUNG_RAD: Final = Normal(0.0, 0.025)

# ln of the camera distance in mm; so wide that it only keeps the fit from running away.
LOG_DISTANCE: Final = Normal(7.9, 1.0)

# Main cameras of phones lie at 23 to 28 mm, their double zoom at 45 to 56 mm
# (common practice, no source); most photos of dogs are taken with the main camera.
FOCAL_35MM_UNKNOWN: Final = MAIN_CAMERA_35MM
LOG_FOCAL_UNKNOWN: Final = 0.14

# Radial distortion as the fraction by which the corner of the frame is displaced.
# Phones correct theirs; what is left is below about 1.5 % (judgement).
LENS_CORNER: Final = Normal(0.0, 0.010)
LENS_CORNER_CALIBRATED: Final = Normal(0.0, 0.001)

# A file whose focal length the picture contradicts (judgement: as wide as what phones' lenses
# and zooms span round their main camera, where nothing is told).
FOCAL_DOUBTED: Final = 0.25

# How far the principal point lies from the middle of the frame, of its longer side (judgement: the
# four coordinates in OpenSfM's camera_calibration.yaml, of a Hero 8 and a Skydio 2, lie 0.2 to
# 0.8 % off; a lens moved against shaking adds its own).
CENTRE_SHARE: Final = 0.01

# A picture that was cut: how much larger the whole frame was than the smallest that can hold it,
# as ln(ln(larger)).  Half of them by more than 1.5, one in forty by more than 3.6, one in forty
# by less than 1.13.
# The cut lies anywhere in the frame: standard deviation of what is spread evenly from -1 to 1
# (judgement).
LOG_LOG_GROWTH: Final = Normal(float(np.log(0.40)), 0.60)
CUT_SHIFT: Final = 0.58
# The same where the file tells the frame's size: mostly the picture was not made smaller after.
LOG_LOG_GROWTH_TOLD: Final = 0.25
# How exactly a preview of 160 px tells where the picture lies in the frame, of its longer side.
PREVIEW_SHARE: Final = 0.02

# How exactly the tip of a tag lies on the point that tape and photo share, mm (judgement: the tape
# is held at the tip, so that where an anatomist would put the point is no error between them).
TAG_TIP_MM: Final = 1.5
# The same where nobody said that the tape was held there: a point felt for twice (judgement: less
# than a mark by eye, as the tag at least was put on by feel).
TAG_FELT_MM: Final = 4.0
# The same as the first at either side of the neck, where the tip is to lie on the outline and is
# stuck on by feel, mm (judgement).
TAG_GRAZED_MM: Final = 3.0
# How far the square of a tag lies nearer or farther than its point: a card that leans, a flank that
# falls away, mm.  On ten phantom dogs 10.2 (standing 10.4, on the flank 8.8), on ten others 10.8;
# how owners turn their cards is judgement there.
TAG_DEPTH_MM: Final = 10.0

# How much of its side a tag's square may look off for not lying along the dog's side (judgement:
# turned by 18 degrees it looks a twentieth narrower).
TAG_TURNED: Final = 0.05

# Share of the variance of the offset that photos of one session have in common
# when the reference is said to have stood in the same place (judgement).
OFFSET_SHARED: Final = 0.5


@dataclass(frozen=True)
class Offset:
    """The reference in front of the dog's middle plane, towards the camera.

    ``half_widths * (half the trunk's width) + beyond_mm``, with a standard
    deviation of ``spread_mm``.
    """

    half_widths: float
    beyond_mm: float
    spread_mm: float
    lean: Normal = DOG_LEAN_PROPPED_RAD


# All judgement: what people mean when they pick these words (`words.PLACE_TITLES`).
PLACE_OFFSETS: Final = MappingProxyType(
    {
        "near_flank": Offset(1.0, 15.0, 20.0),
        "near_feet": Offset(1.0, 60.0, 40.0),
        "middle": Offset(0.0, 0.0, 22.0),
        "far_feet": Offset(-1.0, -80.0, 35.0),
        "wall_close": Offset(-1.0, -140.0, 68.0, DOG_LEAN_HUNG_RAD),
        "wall": Offset(0.0, -720.0, 280.0, DOG_LEAN_HUNG_RAD),
        "unknown": Offset(0.0, -120.0, 300.0),
    }
)
if tuple(PLACE_OFFSETS) != PLACES:
    raise AssertionError("every place of words.PLACES needs its offset, in the same order")


# Tags that stand up from the dog's middle line lie in its middle plane; paper bends (judgement).
TAG_OFFSET: Final = Offset(0.0, 0.0, 8.0)


@dataclass(frozen=True)
class FrontOffset(Offset):
    """The reference in front of the dog's breastbone in a photo from the front.

    ``beyond_mm`` less shares of how far the shoulder top and the chest's widest place lie behind
    the breastbone along the back, and of the body's length; ``half_widths`` is not used.
    """

    shoulders: float = 0.0
    chests: float = 0.0
    lengths: float = 0.0


# All judgement.  Front feet stand about below the shoulder top, and a sheet beside them a hand's
# breadth before or behind; something held beside the ribs is aimed at less surely.  What stands in
# front must be clear of the head's shadow and of the feet, a hand to a forearm before the chest;
# what stands or hangs behind is clear of the tail.  A reference that leans brings 2 cm more at the
# neck's height.
FRONT_PLACE_OFFSETS: Final = MappingProxyType(
    {
        "front_feet": FrontOffset(0.0, 20.0, 50.0, shoulders=1.0),
        "chest_side": FrontOffset(0.0, 0.0, 55.0, chests=1.0),
        "before_dog": FrontOffset(0.0, 220.0, 110.0),
        "behind_dog": FrontOffset(0.0, -300.0, 170.0, lengths=1.0),
        "unknown": FrontOffset(0.0, 0.0, 300.0),
    }
)
if tuple(FRONT_PLACE_OFFSETS) != FRONT_PLACES:
    raise AssertionError("every place of words.FRONT_PLACES needs its offset, in the same order")

# From the front those at the neck lie in the plane across its ring, halfway from the breastbone to
# the shoulder top; they are stuck on by feel (judgement).
TAG_FRONT_OFFSET: Final = FrontOffset(0.0, 0.0, 25.0, shoulders=0.5)

# A dog looks at the camera and stands askew all the same (judgement).
FRONT_YAW_RAD: Final = Normal(0.0, 0.15)
# The phone held from level, and marks at two heights (judgement).
FRONT_TILT_RAD: Final = Normal(0.0, 0.08)

# A distance somebody measured: 2.5 cm, or a twentieth of it (judgement).
MEASURED_OFFSET_MM: Final = 25.0
MEASURED_OFFSET_FRACTION: Final = 0.05


def offset_prior(reference: Reference, view: str = "") -> Offset:
    """Offset of a reference as its owner described it.

    A measured distance (`Reference.offset_mm`) beats the words.  In a photo from the front it
    is a `FrontOffset`; where the view is not told, the place tells it.

    >>> measured = offset_prior(Reference(kind="a4", place="wall", offset_mm=-600.0))
    >>> measured.beyond_mm, measured.spread_mm
    (-600.0, 30.0)

    Raises
    ------
    CaseError
        When the place is not one of the view's (`words.PLACES`, `words.FRONT_PLACES`), the
        spread is not positive, or a distance is behind the dog's middle and the place in front
        of it.
    """
    if reference.offset_spread_mm is not None and not reference.offset_spread_mm > 0:
        raise CaseError(
            tr(
                "the spread of the offset must be above zero, not {offset_spread_mm:g} mm",
                offset_spread_mm=reference.offset_spread_mm,
            ),
            where="reference",
            do=tr("give how far off the distance may be, for example 2 cm"),
        )
    if reference.kind == DOG_TAGS:
        return TAG_FRONT_OFFSET if view == "front" else TAG_OFFSET
    front = (view or ("side" if reference.place in PLACES else "front")) == "front"
    offsets: Mapping[str, Offset] = FRONT_PLACE_OFFSETS if front else PLACE_OFFSETS
    if reference.place not in offsets:
        raise CaseError(
            tr("the place {place!r} is not known", place=reference.place),
            where="reference",
            do=tr("Choose one of {names}", names=", ".join(offsets)),
        )
    place = offsets[reference.place]
    behind = reference.offset_mm is not None and reference.offset_mm < 0
    if behind and reference.place in PLACES_BEFORE:
        raise CaseError(
            tr(
                "a negative distance lies behind the dog's middle, and this place before it: "
                "{place}",
                place=tr((FRONT_PLACE_TITLES if front else PLACE_TITLES)[reference.place]),
            ),
            where="reference",
            do=tr("give the distance without its sign, or a place behind the dog"),
        )
    if reference.offset_mm is not None:
        spread = max(MEASURED_OFFSET_MM, MEASURED_OFFSET_FRACTION * abs(reference.offset_mm))
        spread = reference.offset_spread_mm or spread
        return (FrontOffset if front else Offset)(0.0, reference.offset_mm, spread, place.lean)
    if reference.offset_spread_mm is None:
        return place
    return replace(place, spread_mm=reference.offset_spread_mm)
