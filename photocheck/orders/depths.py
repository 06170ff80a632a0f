"""How carefully an owner measures, and how small an error is then seen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from types import MappingProxyType
from typing import Final

from photocheck.case.lengths import MM_PER
from photocheck.orders.screens import CAREFUL, QUICK
from photocheck.speech import later, tr
from photocheck.words import SPANS


@dataclass(frozen=True)
class Carefulness:
    """One of the ways to choose from.

    Attributes
    ----------
    title : str
        In a word.
    asks : str
        What one has to do.
    gives : str
        What one may hope for.
    caught : mapping of span to float
        The smallest error of a reading that is seen in 95 of 100 orders, over the reading's
        length; the median over simulated dogs.
    """

    title: str
    asks: str
    gives: str
    caught: Mapping[str, float]

    def promise(self) -> str:
        """What one may count on, with sizes, in the language spoken now.

        >>> DEPTHS["quick"].promise()
        'On a dog of 25 kg it sees nearly every error of 16 cm (6½ in) or more in the half neck, \
and of 9 cm (3½ in) or more along the body.'
        """
        along = max(self._mm(span) for span in SPANS if span != "half_neck")
        return tr(
            "On a dog of {weight} kg it sees nearly every error of {neck} or more in the half "
            "neck, and of {along} or more along the body.",
            weight=MIDDLING_KG,
            neck=_told(self._mm("half_neck")),
            along=_told(along),
        )

    def _mm(self, span: str) -> float:
        return self.caught[span] * MIDDLING_MM[span]


def _told(mm: float) -> str:
    """In whole centimetres and half inches, never less than it is: it is promised."""
    whole, half = divmod(ceil(Fraction(mm) / MM_PER["in"] * 2), 2)
    return tr("{cm} cm ({inches} in)", cm=ceil(mm / 10), inches=f"{whole}{'½' * half}")


def _caught(*per_cent: int) -> Mapping[str, float]:
    shares = (one / 100 for one in per_cent)
    return MappingProxyType(dict(zip(SPANS, shares, strict=True)))


# The shares are two rows of "What each way of measuring buys" in photocheck/benchmark/FIGURES.md:
# "One photo, each reading once", and "Each reading twice, the ring, a photo from the front", in
# which girth and weight are told too.
DEPTHS: Final[Mapping[str, Carefulness]] = MappingProxyType(
    {
        QUICK: Carefulness(
            later("Quick"),
            later("Every reading once, one photo from the side."),
            later(
                "Finds slips such as swapped digits or a wrong unit. It cannot promise that all "
                "is right."
            ),
            _caught(44, 20, 29, 12),
        ),
        CAREFUL: Carefulness(
            later("Careful"),
            later(
                "Every reading twice and the neck ring, girth and weight, a second photo from the "
                "front."
            ),
            later("Finds smaller errors too, and can say that all agree."),
            _caught(12, 15, 22, 9),
        ),
    }
)
"""By the name that an address carries, from the least work to the most."""

MIDDLING_KG: Final = 25
MIDDLING_MM: Final[Mapping[str, float]] = MappingProxyType(
    dict(zip(SPANS, (360.0, 410.0, 265.0, 675.0), strict=True))
)
"""Readings of a dog of middling size and its weight, kg: rounded from the samples Sorrel and Heron
(sample_images_demo), which are 26 and 24 kg."""
