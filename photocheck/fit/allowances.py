"""What is added to a dog's lengths before cloth is cut, and when that may not be done.

The one place for these figures.  None of them is a shop's own ease: what the maker adds so
that the harness can be pulled on, moves and is sewn is part of the pattern.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import log, pi
from types import MappingProxyType
from typing import Final

from photocheck.body.heights import PUPPY_MONTHS
from photocheck.body.shape import COAT_PRESSED_SHARE, coat_pressed
from photocheck.case.model import DogFacts

CUT_SPANS: Final = ("half_neck", "front_length", "rear_length")
"""The spans that are free: the neck opening is twice the first, the full length the sum of
the other two."""


@dataclass(frozen=True)
class Figure:
    """A figure with its standard deviation and where it comes from."""

    value: float
    spread: float
    source: str


# --- the coat ----------------------------------------------------------------

COAT_UNDER_HARNESS: Final = Figure(
    0.10,
    0.10,
    "common practice, no source: a thick coat gets about a finger's width more around the neck; "
    "with a stand-off of 30 mm that is a tenth of it",
)
"""How much more of the coat's stand-off stays under a harness at rest than under the tape,
which is pulled snug on a narrow line.  `photocheck.body.shape` has what the tape presses."""

COAT_TURNS: Final[Mapping[str, float]] = MappingProxyType(
    {"half_neck": pi, "front_length": pi / 2, "rear_length": 0.5}
)
"""By how many radians a tape turns along each span.  A line that runs t farther out is longer
by t times its turn (Steiner's formula for parallel curves).  Half a closed ring turns by pi
exactly; front and rear are judgement."""

# --- weight ------------------------------------------------------------------

WEIGHT_EXPONENTS: Final[Mapping[str, Figure]] = MappingProxyType(
    {
        "half_neck": Figure(
            0.35,
            0.12,
            "between 1/3, where all lengths grow alike, and 1/2, where a trunk of fixed length "
            "only thickens (geometry); girth of cattle of mixed ages: 1/2.82, herds 1/2.72 to "
            "1/2.88 (University of Missouri, Growth and development with special reference to "
            "domestic animals XLI, abstract). No study of a dog's neck over a change of weight "
            "was found",
        ),
        "front_length": Figure(
            0.20, 0.12, "judgement: half of it runs around the chest, half along bones"
        ),
        "rear_length": Figure(
            0.15,
            0.12,
            "judgement: bones keep their length; what fat there is lies at belly and thigh more "
            "than at the chest (ultrasound of 28 dogs, PMC5073920, abstract)",
        ),
    }
)
"""Adult dogs: a length goes with weight to this power when the dog gains or loses fat."""

WEIGHT_REACHED: Final = 0.25
"""Standard deviation of the change that comes about, as a share of the one expected (judgement)."""

WEIGHT_CHANGE_MOST: Final = 0.20
"""A larger change is not reckoned with: the target weight of a large weight-loss study was 80 %
of the present one (Vendramini et al. 2022, PLoS ONE 17(1):e0261946, abstract); that the rule
holds no farther is judgement."""

# --- growth ------------------------------------------------------------------

GIANT_KG: Final = 40.0
GIANT_MONTHS: Final = 24
"""The growth charts of Salt et al. 2017 (PLoS ONE 12(9):e0182064, abstract) run from 12 weeks
to 2 years for adult weights up to 40 kg, and for heavier dogs there is none.  They are by
weight alone.  Nothing published was found on how a puppy's neck and trunk lengthen, and
proportions change on the way: girth over height is about 1.29 at 52 days and 1.18 in adults
(as the design's notes quote it), trunk girth grows slower than the cube root of weight in
Beagles (Helmsmüller et al. 2013, BMC Veterinary Research 9:203, abstract).  So growth
is never in what is cut; `photocheck.fit.growth` looks ahead to it on request, with a wide spread.
"""


def growing(dog: DogFacts) -> bool | None:
    """Whether the dog may still be growing; None when its age is not known.

    Below `heights.PUPPY_MONTHS`, or below `GIANT_MONTHS` when it is as heavy as `GIANT_KG`.
    """
    if dog.age_months is None:
        return None
    giant = dog.weight_kg is not None and dog.weight_kg >= GIANT_KG
    return dog.age_months < (GIANT_MONTHS if giant else PUPPY_MONTHS)


def coat_allowance(dog: DogFacts) -> tuple[dict[str, float], dict[str, float]]:
    """What a coat adds to each of `CUT_SPANS`, and its standard deviation, both mm.

    The doubt is one and the same for all spans: of how deep the coat is, and of how much of
    it stays under the harness.
    """
    pressed = coat_pressed(dog.coat, dog.coat_depth_mm)
    depth = pressed.mean_mm / COAT_PRESSED_SHARE
    depth_spread = pressed.spread_mm / COAT_PRESSED_SHARE
    stays = COAT_UNDER_HARNESS
    height = stays.value * depth
    spread = ((stays.spread * depth) ** 2 + (stays.value * depth_spread) ** 2) ** 0.5
    added = {span: COAT_TURNS[span] * height for span in CUT_SPANS}
    return added, {span: COAT_TURNS[span] * spread for span in CUT_SPANS}


def weight_allowance(
    now_kg: float, later_kg: float
) -> tuple[dict[str, float], dict[str, float], dict[str, float]]:
    """What a change of weight does to each of `CUT_SPANS`.

    Returns
    -------
    (dict, dict, dict)
        Shift of ln(length); its standard deviation from the exponent, independent between
        spans; its standard deviation from the weight itself, one and the same for all.
    """
    change = log(later_kg / now_kg)
    shifts = {span: WEIGHT_EXPONENTS[span].value * change for span in CUT_SPANS}
    own = {span: WEIGHT_EXPONENTS[span].spread * abs(change) for span in CUT_SPANS}
    return shifts, own, {span: WEIGHT_REACHED * shift for span, shift in shifts.items()}
