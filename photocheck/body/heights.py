"""What a height at the shoulder says of a dog's size, measured by the owner or published."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot, log, sqrt
from types import MappingProxyType
from typing import Final

from photocheck.body import shape
from photocheck.body.standards import allowance
from photocheck.case.model import DogFacts

BREED_HEIGHTS_CM: Final[Mapping[str, tuple[float, float, str]]] = MappingProxyType(
    {
        "airedale": (56.0, 61.0, "FCI 7"),
        "akita": (58.0, 70.0, "FCI 255"),
        "australian shepherd": (46.0, 58.0, "FCI 342"),
        "bernese": (58.0, 70.0, "FCI 45"),
        "border collie": (47.0, 54.0, "FCI 297"),
        "boxer": (53.0, 63.0, "FCI 144"),
        "cane corso": (58.0, 70.0, "FCI 343"),
        "dalmatian": (54.0, 62.0, "FCI 153"),
        "german shepherd": (55.0, 65.0, "FCI 166"),
        "golden retriever": (51.0, 61.0, "FCI 111"),
        "great dane": (72.0, 90.0, "FCI 235"),
        "irish setter": (55.0, 67.0, "FCI 120"),
        "jack russell": (25.0, 30.0, "FCI 345"),
        "labrador": (54.0, 57.0, "FCI 122"),
        "leonberger": (65.0, 80.0, "FCI 145"),
        "malamute": (58.0, 63.5, "FCI 243"),
        "newfoundland": (66.0, 71.0, "FCI 50"),
        "ridgeback": (61.0, 69.0, "FCI 146"),
        "rottweiler": (56.0, 68.0, "FCI 147"),
        "samoyed": (50.0, 60.0, "FCI 212"),
        "shiba": (36.5, 41.0, "FCI 257"),
        "siberian husky": (50.5, 60.0, "FCI 270"),
        "vizsla": (54.0, 64.0, "FCI 57"),
        "weimaraner": (57.0, 70.0, "FCI 99"),
        "whippet": (44.0, 51.0, "FCI 162"),
    }
)
"""Height at the withers by the breed's published standard, smallest bitch to largest male, cm, by
words in the breed's name: the standards' figures from memory."""

OFF_STANDARD: Final = 0.06
"""How far dogs of a breed are off its standard, standard deviation of ln (judgement: pets are not
picked by their height)."""
MIXED: Final = ("mix", "cross", "misch", "doodle", "kreuz")
"""Words in the name of a breed that is not one."""
PUPPY_MONTHS: Final = 18
"""Below this age a dog may still be growing (common practice, no source): no published height is
taken, and growth is a question for a vet."""


@dataclass(frozen=True)
class HeightTold:
    """A height at the shoulder as evidence on the dog's size.

    Attributes
    ----------
    source : str
        "height" where the owner measured it, "breed" where it is the breed's.
    mm : float
    log_spread : float
        Standard deviation of ln(mm / (median ratio x breastbone - tail base)).
    """

    source: str
    mm: float
    log_spread: float


def heights_told(dog: DogFacts) -> tuple[HeightTold, ...]:
    """Heights that tell of a dog's size: the measured one, else the breed's.

    None of a breed whose standard asks for short legs: length and height have no usual ratio.

    >>> [(one.source, one.mm) for one in heights_told(DogFacts(height_mm=560.0))]
    [('height', 560.0)]
    >>> [(one.source, round(one.mm)) for one in heights_told(DogFacts(breed="Labrador"))]
    [('breed', 555)]
    >>> heights_told(DogFacts(breed="Labrador mix"))
    ()
    """
    if allowance(dog.breed).short_legs:
        return ()
    build = shape.HEIGHT_OVER_F.log_spread
    if dog.height_mm is not None:
        spread = hypot(build, shape.HEIGHT_READING)
        return (HeightTold("height", dog.height_mm, spread),)
    name = dog.breed.casefold()
    young = dog.age_months is not None and dog.age_months < PUPPY_MONTHS
    if young or any(word in name for word in MIXED):
        return ()
    for word, (low, high, _) in BREED_HEIGHTS_CM.items():
        if word in name:
            # the range as four standard deviations, for it holds bitches and males
            spread = sqrt(build**2 + OFF_STANDARD**2 + (log(high / low) / 4.0) ** 2)
            return (HeightTold("breed", 10.0 * sqrt(low * high), spread),)
    return ()
