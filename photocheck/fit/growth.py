"""How a puppy's lengths will grow, as far as an expected adult weight and published growth tell.

Two steps, each with a wide spread.  Weight goes on from today's towards the adult one along a
Gompertz curve, w(t) = W exp(-exp(-(t - c) / b)), which fits puppies of many breeds (Helmink et al.
2000, J. Anim. Sci. 78:27, abstract; Hawthorne et al. 2004, J. Nutr. 134:2027S): with today's weight
w and the adult one W only the time constant b is needed, for ln(W / w) shrinks by exp(-days / b).
Each length then goes with weight to a power of its own.  No study followed a puppy's neck or the
harness's lines; the powers come from girths, heights and lengths of the trunk, and which of them a
line follows is judgement.  Nothing is cut by this: what is cut is for the dog of today.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import exp, log, sqrt
from types import MappingProxyType
from typing import Final

import numpy as np

from photocheck.case.lengths import POSSIBLE_KG, parse_weight
from photocheck.case.model import DogFacts
from photocheck.errors import CaseError
from photocheck.fit.allowances import CUT_SPANS, GIANT_KG, Figure
from photocheck.fit.cut_lengths import Lengths
from photocheck.numerics import IN_95
from photocheck.speech import later, tr

DAYS_A_MONTH: Final = 365.25 / 12.0

LEAST_MONTHS: Final = 84 / DAYS_A_MONTH
"""The growth charts of Salt et al. 2017 (PLoS ONE 12(9):e0182064, abstract) begin at 12 weeks."""

ADULT_FROM: Final = ("owner", "breeder", "vet", "breed")
"""Who expects the adult weight; the last is a breed's published range, which is named."""

ADULT_FROM_TITLES: Final = {
    "owner": later("the owner"),
    "breeder": later("the breeder"),
    "vet": later("a vet"),
    "breed": later("the breed's published range"),
}

ADULT_SPREAD: Final[Mapping[str, float]] = MappingProxyType(
    {"owner": 0.20, "breeder": 0.12, "vet": 0.12, "breed": 0.12}
)
"""Standard deviation of ln(adult weight) about what each expects (judgement).  For scale: means of
male and female dogs of one breed lie 4.7 kg apart at about 29 (Helmink et al. 2000, abstract), and
the six Beagles whose mature weight was reckoned as 17.5 kg had parents of 21 in the mean
(Helmsmüller et al. 2013, BMC Vet. Res. 9:203)."""

TIME_DAYS: Final = Figure(
    60.0,
    0.30,
    "Gompertz time constant b, days, spread of its logarithm: Beagles of 17 kg reach half of "
    "their weight at 14.8 weeks and 99 % at 41.9 (Hawthorne et al. 2004), which is 45 days; "
    "others 95 % at 38.6 and 98 % at 47.8, 69 days, and half at 7.1 and 95 % at 35.1, 75 days "
    "(all as quoted by Helmsmüller et al. 2013); Labradors and German shepherds last 4b + c of "
    "about 320 days, some 57 days with c near 90 (Helmink et al. 2000, abstract; that c is from "
    "memory)",
)

MIDDLE_DAYS: Final = 80.0
"""Age at the curve's inflection, days: 87 and 22 by the Beagles above, some 90 in the larger dogs
(from memory).  Used only to ask whether the expected weight suits the age at all."""

UNLIKE: Final = 1.0
"""How far ln of what is still to grow may lie off what the curve has at that age before a vet is
asked: by one time constant (judgement)."""

GROWTH_EXPONENTS: Final[Mapping[str, Figure]] = MappingProxyType(
    {
        "half_neck": Figure(
            0.32,
            0.06,
            "as a girth: trunk girth of six Beagles grew slower than the cube root of weight "
            "(Helmsmüller et al. 2013, abstract); Kangal puppies of 3.9 kg have a chest girth of "
            "35.4 cm at 52 days (Bulg. J. Agric. Sci. 18(6), 2012, abstract), adults about 86 cm "
            "at 48 kg (from memory): 0.35. That a neck follows the chest is judgement",
        ),
        "front_length": Figure(
            0.35, 0.06, "half around the chest, half along the trunk: between the two (judgement)"
        ),
        "rear_length": Figure(
            0.38,
            0.06,
            "as a length: withers height and length of the trunk of Beagles grew faster than the "
            "cube root (Helmsmüller et al. 2013, abstract); Kangals' height from 27.3 to about 73 "
            "cm and length from 27.8 to about 78 (the same, adults from memory): 0.39 and 0.41",
        ),
    }
)
"""A growing dog's lengths go with weight to this power.  Girth over height falls on the way, from
1.29 at 52 days to about 1.18, as the difference of the powers has it."""

NEARLY_GROWN: Final = 0.98
"""Of the adult weight: nothing is looked ahead beyond (judgement)."""

LOOK_DAYS: Final = (30, 61, 91, 122, 183, 274, 365)
"""Days from today that are looked at: monthly, then more seldom."""


@dataclass(frozen=True)
class AdultWeight:
    """What a puppy is expected to weigh when it is grown.

    Attributes
    ----------
    low_kg, high_kg : float
        The same for a single weight.
    told_by : str
        One of `ADULT_FROM`.
    named : str
        Where a breed's range is published; may be empty otherwise.
    """

    low_kg: float
    high_kg: float
    told_by: str
    named: str = ""

    @property
    def kg(self) -> float:
        """The middle, kg: the geometric mean."""
        return sqrt(self.low_kg * self.high_kg)

    @property
    def log_spread(self) -> float:
        """Standard deviation of ln(kg): a range is taken to hold 95 of 100, never to say more than
        `ADULT_SPREAD` has it."""
        return max(ADULT_SPREAD[self.told_by], log(self.high_kg / self.low_kg) / (2.0 * IN_95))


def adult_weight(text: str, told_by: str, named: str = "", *, field: str) -> AdultWeight:
    """An adult weight as typed: one, or a range such as "22-28 kg".

    Raises
    ------
    CaseError
        When it cannot be read, or a breed's range has no name.

    >>> adult_weight("22 - 28 kg", "breed", "FCI standard 166", field="adult weight").high_kg
    28.0
    """
    if told_by not in ADULT_FROM:
        raise CaseError(
            tr("who expects the adult weight is not known"),
            where=field,
            do=tr("Use one of {options}", options=", ".join(ADULT_FROM)),
        )
    if told_by == "breed" and not named.strip():
        raise CaseError(
            tr("the breed's range is not named"),
            where=field,
            do=tr("Say where it is published, such as the breed's standard"),
        )
    parts = [part.strip() for part in re.split(r"\s*[-\u2013]\s*|\s+(?:to|bis)\s+", text.strip())]
    unit = re.search(r"[^\W\d_]+\s*$", parts[-1])
    if len(parts) == 2 and unit and not re.search(r"[^\W\d_]", parts[0]):
        parts[0] = f"{parts[0]} {unit[0]}"
    weights = [parse_weight(part, field=field) for part in parts]
    if len(weights) > 2 or weights != sorted(weights):
        raise CaseError(
            tr("this is neither a weight nor a range of weights"),
            where=field,
            do=tr("Write 25 kg, or 22-28 kg with the smaller one first"),
        )
    return AdultWeight(weights[0], weights[-1], told_by, named.strip())


def growth_unknown(dog: DogFacts, adult: AdultWeight | None) -> tuple[str, ...]:
    """Why a growing dog's lengths cannot be looked ahead to; empty where they can."""
    vet = tr("A vet can place the dog on a growth chart and say when it will be grown.")
    if adult is None:
        return (
            tr(
                "Say what the dog is expected to weigh when it is grown, and who expects it: "
                "without that nothing can be said of its growth."
            ),
            vet,
        )
    low, high = POSSIBLE_KG
    if not low <= adult.low_kg <= adult.high_kg <= high:
        raise CaseError(
            tr("the adult weight expected is no dog's"), do=tr("Check the number and its unit")
        )
    if dog.age_months is None:
        return (tr("Say the dog's age: whether it still grows is not known."),)
    if dog.weight_kg is None:
        return (tr("Say the dog's weight today: growth is reckoned from it."),)
    if dog.age_months < LEAST_MONTHS:
        return (
            tr("Published growth charts begin at 12 weeks; before that nothing is foreseen."),
            vet,
        )
    if adult.kg > GIANT_KG:
        return (
            tr(
                "For dogs of more than {kg:.0f} kg no growth chart is published: their growth "
                "cannot be foreseen.",
                kg=GIANT_KG,
            ),
            vet,
        )
    if dog.weight_kg >= NEARLY_GROWN * adult.kg:
        return (
            tr(
                "The dog weighs as much already as it is expected to when it is grown: what it "
                "will grow cannot be told by weight."
            ),
            vet,
        )
    return ()


def suits_age(dog: DogFacts, adult: AdultWeight) -> bool:
    """Whether today's weight is one that dogs of that adult weight have at about this age."""
    assert dog.weight_kg is not None  # by `growth_unknown`
    assert dog.age_months is not None
    usual = -(dog.age_months * DAYS_A_MONTH - MIDDLE_DAYS) / TIME_DAYS.value
    return abs(log(log(adult.kg / dog.weight_kg)) - usual) <= UNLIKE


def weight_in(days: float, now_kg: float, adult: AdultWeight) -> tuple[float, float]:
    """ln(kg) of a growing dog after so many days, and its standard deviation.

    The doubt is that of the adult weight and of the time constant, to first order
    (JCGM 100:2008, 5.1).

    >>> grown = AdultWeight(25.0, 25.0, "vet")
    >>> round(exp(weight_in(0.0, 12.0, grown)[0]), 1), round(exp(weight_in(3000.0, 12.0, grown)[0]))
    (12.0, 25)
    """
    left = log(adult.kg / now_kg)
    stays = exp(-days / TIME_DAYS.value)
    by_adult = (1.0 - stays) * adult.log_spread
    by_time = left * stays * days / TIME_DAYS.value * TIME_DAYS.spread
    return log(now_kg) + left * (1.0 - stays), sqrt(by_adult**2 + by_time**2)


def grown(lengths: Lengths, days: float, now_kg: float, adult: AdultWeight) -> Lengths:
    """The lengths of a growing dog after so many days."""
    log_kg, spread = weight_in(days, now_kg, adult)
    gained = log_kg - log(now_kg)
    powers = np.array([GROWTH_EXPONENTS[span].value for span in CUT_SPANS])
    own = np.array([GROWTH_EXPONENTS[span].spread for span in CUT_SPANS]) * abs(gained)
    shared = powers * spread
    doubt = np.diag(own**2) + np.outer(shared, shared)
    return Lengths(lengths.logs + powers * gained, lengths.covariance + doubt)


def looks_ahead(now_kg: float, adult: AdultWeight) -> tuple[int, ...]:
    """The days of `LOOK_DAYS` up to the first at which the dog is nearly grown."""
    found: list[int] = []
    for days in LOOK_DAYS:
        found.append(days)
        if exp(weight_in(days, now_kg, adult)[0]) >= NEARLY_GROWN * adult.kg:
            break
    return tuple(found)
