"""Widths measured between two boards: left out where photos or readings speak against them.

A width may be mistyped or taken elsewhere, as a reading may.  It must not accuse what is right:
against the photos alone it is given up where it is beyond belief, against the readings only
where those prove each other, two tapes against one pair of boards.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import DogFacts, Reading
from photocheck.judge import tolerances
from photocheck.judge.compare import Comparison
from photocheck.judge.joint import Joint
from photocheck.judge.outliers import outlying_told
from photocheck.judge.solve import Mode
from photocheck.numerics import derivative
from photocheck.speech import tr
from photocheck.words import FACT_PATHS, FACT_TITLES, NECK_RING

Array = NDArray[np.float64]

BOARDS: Final = {"neck_boards": "neck_width", "chest_boards": "chest_width"}
"""The source of doubt that each width is, and the fact it is about."""

FRONTS: Final = "fronts"
"""Stands for the photos from the front where a width stands for itself."""

WIDTH_LIMIT: Final = 3.5
"""Standard deviations from what the photos alone expect, as for a whole photo (judgement)."""


def told_widths(dog: DogFacts, *, fronts: bool = False) -> tuple[str, ...]:
    """The widths that are given, and `FRONTS` where there are photos from the front."""
    given = [fact for fact in BOARDS.values() if getattr(dog, f"{fact}_mm") is not None]
    return (*given, FRONTS) if fronts else tuple(given)


def without_width(dog: DogFacts, fact: str) -> DogFacts:
    """The dog as if the width had not been given; any other word leaves it as it is."""
    if fact == "neck_width":
        return replace(dog, neck_width_mm=None)
    return replace(dog, chest_width_mm=None) if fact == "chest_width" else dog


def unlikely_width(joint: Joint, mode: Mode) -> str:
    """The width that fits everything else worst, if it is beyond `WIDTH_LIMIT`; else nothing."""
    return BOARDS.get(outlying_told(joint, mode, BOARDS, WIDTH_LIMIT), "")


def log_widths(joint: Joint, theta: Array) -> Array:
    """ln(mm) of the widths of neck and chest where a tape would lie, (..., p) to (..., 2)."""
    trunk = joint.trunk(theta)
    return np.log(np.stack([trunk.neck_width, trunk.width], axis=-1))


def widths_of(joint: Joint, mode: Mode) -> dict[str, tuple[float, float]]:
    """For neck and chest ln(mm) and its standard deviation."""
    slopes = derivative(partial(log_widths, joint), mode.theta, joint.unknowns.steps)
    spread = np.sqrt(np.diag(slopes @ mode.covariance @ slopes.T))
    middle = log_widths(joint, mode.theta)
    return {fact: (float(middle[i]), float(spread[i])) for i, fact in enumerate(BOARDS.values())}


def fits_without(told: Joint, mode: Mode, other: Joint, other_mode: Mode) -> bool:
    """Whether widths seen in a photo from the front are such as the others let expect.

    Parameters
    ----------
    told, mode
        The model with the photo from the front.
    other, other_mode
        The same without it.
    """
    after, before = widths_of(told, mode), widths_of(other, other_mode)
    for fact, (middle, spread) in after.items():
        expected, prior = before[fact]
        # the photo's own word: by precisions, what it has added to what was known without it
        gain = 1.0 / spread**2 - 1.0 / prior**2
        if gain <= 1e-3 / prior**2:
            continue
        own = (middle / spread**2 - expected / prior**2) / gain
        if abs(own - expected) > WIDTH_LIMIT * np.hypot(prior, gain**-0.5):
            return False
    return True


def front_left_out(number: int) -> str:
    """That a photo from the front does not fit the others, and what to do."""
    return tr(
        "Photo {number}, from the front, shows widths that do not fit the photo from the side, and "
        "was left out; check which object gives the scale in it, where it stood, and its marks",
        number=number,
    )


def against_photos(fact: str) -> str:
    """That a width does not fit the photos, and what to do."""
    return tr(
        "The {width} does not fit the photo and was left out; measure it again, {path}",
        width=tr(FACT_TITLES[fact]),
        path=tr(FACT_PATHS[fact]),
    )


def against_readings(fact: str) -> str:
    """That a width does not fit readings that prove each other, and what to do."""
    if fact == FRONTS:
        return tr(
            "What the photo from the front shows does not fit the readings, which prove each "
            "other, and was left out; check which object gives the scale in it, where it stood, "
            "and its marks"
        )
    return tr(
        "The {width} does not fit the readings, which prove each other, and was left out; "
        "measure it again, {path}",
        width=tr(FACT_TITLES[fact]),
        path=tr(FACT_PATHS[fact]),
    )


def accuser(
    comparison: Comparison,
    widths: Sequence[str],
    judged_without: Callable[[str], Comparison],
) -> str:
    """The width without which no reading would be accused.

    Parameters
    ----------
    comparison : Comparison
        With all widths.
    widths : sequence of str
        Those given (`told_widths`).
    judged_without : callable
        The comparison as it would be without one of them.

    Returns
    -------
    str
        Empty where nothing is accused, or whatever is left out.
    """
    if not comparison.faults:
        return ""
    return next((fact for fact in widths if not judged_without(fact).faults), "")


def outvoted(comparison: Comparison, readings: Mapping[str, Reading]) -> bool:
    """Whether all that is accused proves each other, so that it outvotes a width.

    Where it does not, one tape against one pair of boards stays a matter of measuring again.
    """
    accused = {name for fault in comparison.faults for name in fault.readings}
    return accused <= proved(readings)


def measure_width_too(fact: str) -> str:
    """That a width may be what is wrong, where it alone speaks against a reading."""
    if fact == FRONTS:
        return tr(
            "Without the photo from the front nothing would stand out: check which object gives "
            "the scale in it, where it stood, and its marks as well"
        )
    return tr(
        "Without the {width} nothing would stand out: measure it again as well, {path}",
        width=tr(FACT_TITLES[fact]),
        path=tr(FACT_PATHS[fact]),
    )


def proved(readings: Mapping[str, Reading]) -> set[str]:
    """Readings that fit others which must be their double or their sum."""
    mm = {name: reading.mm for name, reading in readings.items()}
    found: set[str] = set()
    neck, length = {"half_neck", NECK_RING}, {"front_length", "rear_length", "full_length"}
    if neck <= mm.keys() and tolerances.fits((mm["half_neck"],) * 2, mm[NECK_RING]):
        found |= neck
    if length <= mm.keys() and tolerances.fits(
        (mm["front_length"], mm["rear_length"]), mm["full_length"]
    ):
        found |= length
    return found
