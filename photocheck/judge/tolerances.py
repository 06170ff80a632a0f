"""How exact a tape is, and what the verdict promises.  The one place for these figures."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

FALSE_ALARMS: Final = 0.02
"""Share of good orders that may be flagged, unless the caller says otherwise."""

MUST_CATCH: Final = 0.35
"""A reading this far off must be caught in `POWER` of cases, else "cannot tell".

A harness off by less can still be eased or taken in; judgement.
"""

COMMON_MUST_CATCH: Final = 0.25
"""An error common to all readings (a wrong unit, another reference than named, a place not said)
must be caught from this size in `POWER` of cases, else "cannot tell".

Stricter than `MUST_CATCH`: it spoils the whole harness, and no ring and no sum shows it
(judgement).
"""

POWER: Final = 0.95

# Intra-observer spread of a tape on dogs' limbs is about 1 cm (Bascunan et al. 2016,
# Veterinary Evidence); extrapolated here to neck and trunk, for which no figure was
# found.  Never below 2 % of the reading, and for small dogs not above 4 % (judgement).
TAPE_SPREAD_MM: Final = 10.0
TAPE_SPREAD_LEAST: Final = 0.02
TAPE_SPREAD_MOST: Final = 0.04

TAPE_REPEAT_SHARE: Final = 0.64
"""Of the variance of one take: what differs when the same hands lay the tape again, so 8 mm of
the 10.  The other 6 mm are where these hands lead it, which they do again.

Judgement between figures that were found.  On dogs' thighs one observer's takes differ by 0.9
to 1.1 cm, which is what the whole was taken from, those of several observers by 2.3 to 4.8
(Bascunan et al. 2016, Veterinary Evidence, abstract); on dogs' limbs 3.6 times as much between
observers as within (Baker et al. 2010, Veterinary and Comparative Orthopaedics and Traumatology
23, 406, abstract); the mean of three is no more reliable than the first (Veterinary Surgery
2013, doi 10.1111/j.1532-950X.2013.01102.x, abstract).  A limb is a cone without marks, whose
girth follows the level chosen; a harness's line lies between points that are felt, so hands
are taken to part less there.
"""

REPEAT_FREEDOM: Final = 5.0
"""Degrees of freedom behind the repeat part before any take is repeated: an order's own repeats
then count against three differences, and nine of ten tapes are taken to repeat to 4.2 to
12.9 mm (judgement; the variance's prior is a scaled inverse chi-square whose mean is the
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
