"""How exact a tape is, and what the verdict promises.  The one place for these figures."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.errors import CaseError
from photocheck.speech import tr
from photocheck.words import NECK_RING, READINGS

FALSE_ALARMS: Final = 0.02
"""Share of good orders that may be flagged, unless the caller says otherwise."""

POWER: Final = 0.95
"""An error as large as tolerated is seen in so many of 100 orders, else they do not "agree".

Seen is what puts a reading in doubt or keeps it from agreeing.  Of the 5 left, an error of one
reading needs half (`photocheck.judge.compare`): the other half is for dogs whose shape the spreads
do not cover."""

# Intra-observer spread of a tape on dogs' limbs is about 1 cm (Bascunan et al. 2016,
# Veterinary Evidence); extrapolated here to neck and trunk, for which no figure was
# found.  Never below 2 % of the reading, and for small dogs not above 4 % (judgement).
TAPE_SPREAD_MM: Final = 10.0
TAPE_SPREAD_LEAST: Final = 0.02
TAPE_SPREAD_MOST: Final = 0.04

TAPE_REPEAT_SHARE: Final = 0.8
"""Of the variance of one take: what differs when the same hands lay the tape again, so 9 mm of
the 10.  The other 4 to 5 mm are where these hands lead it, which they do again.

Judgement between figures that were found.  On dogs' thighs one observer's takes differ by 0.9
to 1.1 cm, which is what the whole was taken from, those of several observers by 2.3 to 4.8
(Bascunan et al. 2016, Veterinary Evidence, abstract); on dogs' limbs 3.6 times as much between
observers as within (Baker et al. 2010, Veterinary and Comparative Orthopaedics and Traumatology
23, 406, abstract); the mean of three is no more reliable than the first (Veterinary Surgery
2013, doi 10.1111/j.1532-950X.2013.01102.x, abstract).  A limb is a cone without marks, whose
girth follows the level chosen; a harness's line lies between points that are felt, so hands
are taken to part less there.
"""

LED_TOGETHER: Final = 0.3
"""Correlation of where the tape is led between readings along the same line: half neck and ring,
the full length and each of its parts (judgement: a part of it; so little that hands which lead
each tape anew are flagged in 3 % at most where 2 are stated, which a test holds)."""

AT_TAGS_SHARE: Final = 0.5
"""Of the variance of one take, both parts of it alike: what is left where the tape was held at the
tips of tags that the photo shows, 7 mm of 10.

Chosen, no source: nobody was found to have measured it.  What tags take away is that the two ends
are felt for again and again; to 5 mm each, as a point on a dog is marked, they are 7 mm together
and half of the variance.  How taut the tape lies, its way between the ends and reading it are left.
"""

REPEAT_FREEDOM: Final = 5.0
"""Degrees of freedom behind the repeat part before any take is repeated: an order's own repeats
then count against three differences, and nine of ten tapes are taken to repeat to 4.7 to
14.5 mm (judgement; the variance's prior is a scaled inverse chi-square whose mean is the
part of one take, Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.6)."""

TAKES_DIFFER: Final = 0.01
"""Two takes whose difference is rarer than this among good ones ask for a third."""

TAKES_ALARMS: Final = 0.1
"""Share of the false alarms that is left to takes of one reading that differ: little, for a slip
in one take is far off, and less than that only widens the doubt and asks for a third (judgement).
"""


def tape_log_spread(length_mm: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Standard deviation of ln(reading) of a tape reading of that length, mm.

    >>> tape_log_spread(np.array([200.0, 400.0, 800.0])).tolist()
    [0.04, 0.025, 0.02]
    """
    relative = TAPE_SPREAD_MM / np.asarray(length_mm, float)
    return np.clip(relative, TAPE_SPREAD_LEAST, TAPE_SPREAD_MOST)


def fits(parts: tuple[float, float], whole: float) -> bool:
    """Whether the tape's own spread explains that two readings do not sum to a third (99 %).

    Parameters
    ----------
    parts : (float, float), mm
        The same reading twice for one that is doubled.
    whole : float, mm

    >>> fits((420.0, 330.0), 752.0), fits((420.0, 330.0), 820.0)
    (True, False)
    """
    spreads = [float(tape_log_spread(mm)) * mm for mm in (*parts, whole)]
    if parts[0] == parts[1]:  # one reading doubled: its error counts twice
        spreads = [2.0 * spreads[0], spreads[2]]
    return bool(abs(sum(parts) - whole) <= 2.576 * np.hypot.reduce(spreads))


STANCE_ODDS: Final = 10.0
"""Odds against standing square from which readings that agree are not taken as confirmed: the
photo is to be taken again (judgement)."""


COMMON: Final = "common"
"""The tolerance of an error common to all readings, beside those of `words.READINGS`."""

LEAST_TOLERANCE, MOST_TOLERANCE = 0.01, 0.5
"""Between these a shop may set a tolerance.  Where an error as large as the second could hide, the
photo tells nothing: half a measure is no size any more (judgement)."""

SHIPPED: Final[Mapping[str, float]] = MappingProxyType(
    {
        "half_neck": 0.12,
        "front_length": 0.16,
        "rear_length": 0.22,
        "full_length": 0.10,
        NECK_RING: 0.12,
        COMMON: 0.20,
    }
)
"""How far off a reading may be and still pass, relative; about what the most careful way can
promise, the neck being the critical one (judgement).  An error common to all spoils the whole
harness; seen from 20 % in 95 of 100, one of 25 % is seen in 99.5."""


@dataclass(frozen=True)
class Tolerances:
    """What the shop lets pass: the promise that "agrees" makes.

    Attributes
    ----------
    told : mapping of reading name or `COMMON` to float
        Relative errors, fractions, where the shop has its own; `SHIPPED` for the others.
    """

    told: Mapping[str, float] = field(default_factory=dict)

    def of(self, name: str) -> float:
        """Of a reading or of `COMMON`, a fraction."""
        return self.told.get(name, SHIPPED[name])

    def all(self) -> dict[str, float]:
        """Every one of them, by name."""
        return {name: self.of(name) for name in SHIPPED}


AS_SHIPPED: Final = Tolerances()

_ONE_TOLERANCE: Final = re.compile(r"\s*([a-z_ -]+?)\s*[=:]\s*([0-9]+(?:[.,][0-9]+)?)\s*%?\s*")


def read_tolerances(text: str, *, where: str = "tolerances") -> Tolerances:
    """A shop's tolerances as typed, in per cent; those not named stay as shipped.

    Raises
    ------
    CaseError
        When a name or a number cannot be used.

    >>> read_tolerances("half neck = 8 %; front_length=12,5; common=10").told
    {'half_neck': 0.08, 'front_length': 0.125, 'common': 0.1}
    """
    told: dict[str, float] = {}
    for part in filter(str.strip, re.split(r";|,\s+|,(?=[a-z])", text)):
        found = _ONE_TOLERANCE.fullmatch(part.casefold())
        name = re.sub("[ -]+", "_", found[1].strip()) if found else ""
        if found is None or name not in SHIPPED:
            raise CaseError(
                tr("'{given}' is no tolerance", given=part.strip()[:40]),
                where=where,
                do=tr(
                    'Write "half_neck=10; common=15" for example, in per cent; the names are '
                    "{names}",
                    names=", ".join((*READINGS, COMMON)),
                ),
            )
        share = float(found[2].replace(",", ".")) / 100.0
        if not LEAST_TOLERANCE <= share <= MOST_TOLERANCE:
            raise CaseError(
                tr(
                    "a tolerance of {given} % for {name} cannot be meant", given=found[2], name=name
                ),
                where=where,
                do=tr(
                    "Give {least:g} to {most:g} %",
                    least=100 * LEAST_TOLERANCE,
                    most=100 * MOST_TOLERANCE,
                ),
            )
        told[name] = share
    return Tolerances(told)
