"""How a dog that stands square is built: proportions with their spread, and where they come from.

Published breed standards describe ideals and surveys a few breeds; the spreads are
therefore wider than either, so that a good dog is not accused of its build.  Short-legged
and sighthound breeds lie outside and have their own allowances.  Everything is a fraction
of the height at the withers, without coat, x from the breastbone to the tail, y up from
the ground.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True)
class Proportion:
    """A normal population: mean and standard deviation, over the height at the withers."""

    mean: float
    spread: float
    source: str


PROPORTIONS: Final[Mapping[str, Proportion]] = MappingProxyType(
    {
        # Breastbone to point of buttock.
        "length": Proportion(
            1.08,
            0.050,
            "FCI 143: over the height by at most 5 % (males) or 10 % (bitches); a published "
            "Cane Corso standard: by 10 to 12 %; FCI 147: at most 15 %; FCI 166: 10 to 17 %; "
            "measured, 221 Macedonian shepherd dogs: by 10.75 % and 12.54 %",
        ),
        # How far the point of the buttock lies behind the tail base.
        "buttock_behind_tail": Proportion(
            0.07,
            0.030,
            "worked out from a published Cane Corso standard: croup 32 % of the height, at 28 to "
            "30 degrees to the buttock and 15 to 16 degrees to the tail's insertion; spread "
            "judgement",
        ),
        # Withers down to the chest's bottom line.
        "chest_depth": Proportion(
            0.485,
            0.028,
            "FCI 166: 45 to 48 %; FCI 143, Borzoi, Cane Corso standards: about half; measured, "
            "50 Kangal dogs (Cilek and Kavak 2012): 37.6 of 75.9 cm",
        ),
        "breastbone_height": Proportion(
            0.67,
            0.045,
            "a Cane Corso standard: the breastbone level with the points of the shoulders; thirty "
            "bodies (`photocheck/benchmark/bodies.json`): 0.67 of the shoulder top's height, 0.05",
        ),
        "breastbone_to_withers": Proportion(
            0.26,
            0.040,
            "judgement: a shoulder blade of three tenths of the height (from memory, Italian "
            "standards) laid back 45 to 55 degrees, the breastbone a little ahead of it",
        ),
        "rump_height": Proportion(
            0.99,
            0.025,
            "measured, withers and rump: Kangal dogs 76.8 and 76.1 cm (Yilmaz and Ertugrul), 75.9 "
            "and 75.9 cm (Cilek and Kavak 2012), 69.1 and 71.0 cm (Ozbeyaz 1994); standards: "
            "equal (Borzoi), slightly falling (FCI 143)",
        ),
        # From the top of the rump down to the tail base.
        "tail_drop": Proportion(
            0.080,
            0.030,
            "worked out from a Cane Corso standard: hip to the tail's insertion 15 to 16 degrees, "
            "over about 27 % of the height; mean and spread for croups of 10 to 30 degrees",
        ),
        # Ahead of the vertical below the withers.
        "front_foot_ahead": Proportion(
            0.02,
            0.040,
            "standards: the foreleg upright, the elbow below the hind angle of the shoulder "
            "blade; spread of a dog left to stand by itself: judgement",
        ),
        # Behind the vertical below the point of the buttock.
        "rear_foot_behind": Proportion(
            0.02,
            0.075,
            "common practice, no source: the hock upright, the toes below the point of the "
            "buttock, in a show stack up to a sixth of the height behind it; spread of a dog left "
            "to stand by itself: judgement",
        ),
        "back_top_behind": Proportion(0.07, 0.040, "where the mark is asked for; judgement"),
        "back_top_below": Proportion(0.015, 0.015, "standards: the back level; judgement"),
        "chest_bottom_behind": Proportion(0.10, 0.040, "where the mark is asked for; judgement"),
        "last_rib_along": Proportion(0.57, 0.050, "judgement: where the harness side rests"),
        "last_rib_height": Proportion(0.70, 0.045, "judgement: where the harness side rests"),
        # The back's outline halfway between withers and tail base, above their straight line.
        "topline_rise": Proportion(
            0.035,
            0.018,
            "standards: the back level and straight, the loin slightly convex; over the line "
            "that falls to the tail base half of the tail's drop remains",
        ),
        # The highest point of the head or neck above the withers.
        "head_above": Proportion(0.25, 0.12, "judgement: an attentive dog, head up"),
        # How far both feet sink out of sight; only the amount counts.
        "feet_hidden": Proportion(0.0, 0.005, "judgement: a short carpet, 0 to 1 cm"),
        "front_foot_level": Proportion(0.0, 0.008, "judgement: ground not quite even"),
        "rear_foot_level": Proportion(0.0, 0.008, "judgement: ground not quite even"),
    }
)

SHORT_LEGGED: Final = ("dachshund", "teckel", "dackel", "basset", "corgi", "dandie", "skye")
"""Words in the name of a breed whose standard asks for short legs."""

ARCHED: Final = ("greyhound", "whippet", "borzoi", "deerhound", "bedlington", "galgo", "levriero")
"""Words in the name of a breed whose standard asks for an arched loin."""


@dataclass(frozen=True)
class Allowance:
    """What a breed's standard allows beyond `PROPORTIONS`.

    ``short_legs`` lets the legs be of any length, so that a crouch cannot be told from the
    build; ``arched_back`` the same for an arch.
    """

    short_legs: bool = False
    arched_back: bool = False


def allowance(breed: str) -> Allowance:
    """The allowance for a breed by words in its name; none for an unknown one."""
    name = breed.casefold()
    return Allowance(
        any(word in name for word in SHORT_LEGGED), any(word in name for word in ARCHED)
    )
