"""What readings taken more than once tell of the tape itself, without any photo.

The tape's noise has two parts.  What differs when the same hands lay it again averages over
the takes; where these hands lead it does not, and only another person's takes tell of it.
How well this order's tape repeats is learnt from its own takes: the variance's prior is a scaled
inverse chi-square, so that takes differ as Student's t until much is known (Gelman et al.,
Bayesian Data Analysis, 3rd ed., 2.6 and 3.2).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Reading, Take
from photocheck.case.takes import MOST_TAKES, OWNER
from photocheck.judge.tolerances import (
    AT_TAGS_SHARE,
    LED_TOGETHER,
    REPEAT_FREEDOM,
    TAKES_DIFFER,
    TAPE_REPEAT_SHARE,
    tape_log_spread,
)
from photocheck.special import f_above, normal_quantile
from photocheck.words import NECK_RING

Array = NDArray[np.float64]

MIDDLE: Final = (1.0, 0.5, 0.449, 0.298, 0.287, 0.215, 0.210, 0.168, 0.166)
"""Variance of the middle of 1, 2, ... normal values over that of one; of an even number it is
the mean of the two (from memory; a test draws them)."""

LED_ALIKE: Final = (
    ("half_neck", NECK_RING),
    ("front_length", "full_length"),
    ("rear_length", "full_length"),
)
"""Pairs of readings whose tape follows the same line."""

SUMS: Final[Mapping[str, tuple[tuple[str, float], ...]]] = {
    "half_neck": ((NECK_RING, 0.5),),
    NECK_RING: (("half_neck", 2.0),),
    "front_length": (("full_length", 1.0), ("rear_length", -1.0)),
    "rear_length": (("full_length", 1.0), ("front_length", -1.0)),
    "full_length": (("front_length", 1.0), ("rear_length", 1.0)),
}
"""Each reading as a sum of others: how often each of them counts."""


@dataclass(frozen=True)
class TapeHabits:
    """How a shop's owners measure, whoever they are: what is believed before an order's own takes.

    Attributes
    ----------
    repeat : float
        Variance of the repeat part over the shipped one, mean over owners.
    freedom : float
        Degrees of freedom of its scaled inverse chi-square between owners; above 2.
    led : float
        Variance of where the tape is led over the shipped one.
    """

    repeat: float = 1.0
    freedom: float = REPEAT_FREEDOM
    led: float = 1.0


USUAL: Final = TapeHabits()
"""Those of a shop that has learnt nothing of its owners' tapes."""


@dataclass(frozen=True)
class TapeNoise:
    """The tape's noise in one order, by its two parts.

    Attributes
    ----------
    habits : TapeHabits
        What was believed before the order's own takes.
    takes : mapping of reading to int
        How many takes its value rests on; those not named here count once.
    led : mapping of reading to float
        What its takes' hands leave of the variance of where the tape is led; 1 for one person.
    scale : float
        Variance of the repeat part over the shipped one.
    repeats : int
        Differences between takes that `scale` was learnt from.
    apart : mapping of reading to float
        Readings whose takes differ beyond the tape's noise, none outvoted: the variance of
        their middle by their own difference, of ln(mm).
    aside : mapping of reading to tuple of int
        Takes outvoted by the others, from 0.
    scores : mapping of reading to float
        How rare the difference between its takes is among good ones, as the normal score of
        the same two-sided chance; of those taken more than once.
    squares : mapping of reading to float
        Of those, the sum of squares of its takes about their mean, in units of the repeat part
        before anything was repeated.
    at_tags : frozenset of reading
        Those whose tape was held at tags that the photo shows: `tolerances.AT_TAGS_SHARE` of all
        of the tape's variance is left.
    """

    habits: TapeHabits = USUAL
    takes: Mapping[str, int] = field(default_factory=dict)
    led: Mapping[str, float] = field(default_factory=dict)
    scale: float = 1.0
    repeats: int = 0
    apart: Mapping[str, float] = field(default_factory=dict)
    aside: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    scores: Mapping[str, float] = field(default_factory=dict)
    squares: Mapping[str, float] = field(default_factory=dict)
    at_tags: frozenset[str] = frozenset()

    @property
    def freedom(self) -> float:
        """Degrees of freedom behind `scale`."""
        return self.habits.freedom + self.repeats

    def repeat_variance(self, names: Sequence[str], lengths: Array) -> Array:
        """Variance of ln(reading) that more takes would lower, (n,).

        Parameters
        ----------
        names : n readings
        lengths : (n,)
            What should have been read, mm.
        """
        return self._repeat_shares(names, lengths) * tape_log_spread(lengths) ** 2

    def variance(self, names: Sequence[str], lengths: Array) -> Array:
        """Variance of ln(reading) by the tape, both parts together, (n,)."""
        hands = np.array([self.led.get(name, 1.0) for name in names])
        led = (1.0 - TAPE_REPEAT_SHARE) * self.habits.led * hands * self._left(names)
        return (led + self._repeat_shares(names, lengths)) * tape_log_spread(lengths) ** 2

    def _repeat_shares(self, names: Sequence[str], lengths: Array) -> Array:
        """The repeat part of each reading's value over the variance of one take, (n,)."""
        counts = [MIDDLE[min(self.takes.get(name, 1), MOST_TAKES) - 1] for name in names]
        apart = np.array([self.apart.get(name, 0.0) for name in names])
        usual = TAPE_REPEAT_SHARE * self.scale * np.array(counts) * self._left(names)
        return np.maximum(usual, apart / tape_log_spread(lengths) ** 2)

    def _left(self, names: Sequence[str]) -> Array:
        """Of the variance of a tape that was not held at tags, (n,)."""
        return np.array([left_at_tags(name in self.at_tags) for name in names])

    def unit(self, name: str, takes: Sequence[Take]) -> float:
        """`repeat_unit` of takes of a reading."""
        return repeat_unit(takes, at_tags=name in self.at_tags)

    def covariance(self, names: Sequence[str], lengths: Array) -> Array:
        """Of ln(reading) by the tape, (n, n): `variance`, and what was led alike.

        Hands that lead the half neck's tape high lead the ring high too, and the full length
        follows the line of its parts.
        """
        found = np.diag(self.variance(names, lengths))
        led = np.sqrt(np.diag(found) - self.repeat_variance(names, lengths))
        for one, other in LED_ALIKE:
            if one in names and other in names:
                i, j = names.index(one), names.index(other)
                found[i, j] = found[j, i] = LED_TOGETHER * led[i] * led[j]
        return found

    def once_more(self, name: str) -> TapeNoise:
        """The same with one more take of a reading, by the same hands."""
        return replace(self, takes={**self.takes, name: self.takes.get(name, 1) + 1})

    def in_line(self) -> TapeNoise:
        """The same as if takes that differ too much had differed as good ones do."""
        return replace(self, apart={})


ONCE: Final = TapeNoise()
"""Of readings taken once each."""


def tape_noise(
    readings: Mapping[str, Reading],
    habits: TapeHabits = USUAL,
    at_tags: Collection[str] = (),
) -> TapeNoise:
    """The tape's noise as an order's own takes tell it.

    Parameters
    ----------
    readings : mapping of reading name to Reading
    habits : TapeHabits
        Of the shop's owners.
    at_tags : collection of str
        Readings whose tape was held at tags that the photo shows, as
        `photocheck.judge.shared_points` has them.

    >>> twice = Reading.of([Take(300.0, "30", "cm"), Take(304.0, "30.4", "cm")])
    >>> noise = tape_noise({"half_neck": twice})
    >>> noise.repeats, round(noise.scale, 2)
    (1, 0.77)
    """
    again = {name: one.takes for name, one in readings.items() if len(one.takes) > 1}
    shared = frozenset(at_tags)
    if not again:
        return TapeNoise(habits, scale=habits.repeat, at_tags=shared)
    aside = {name: _outvoted(takes) for name, takes in again.items()}
    left = {
        name: [take for i, take in enumerate(takes) if i not in aside[name]]
        for name, takes in again.items()
    }
    squares = {name: squares_of(takes, at_tags=name in shared) for name, takes in left.items()}
    freedom = {name: len(takes) - 1 for name, takes in left.items()}
    chance = {
        name: _chance(
            squares[name],
            freedom[name],
            [squares[n] for n in again if n != name],
            sum(freedom[n] for n in again if n != name),
            habits,
        )
        for name in again
    }
    odd = {name for name in again if chance[name] < TAKES_DIFFER}
    even = [name for name in again if name not in odd]
    repeats = sum(freedom[name] for name in even)
    apart = {}
    for name in odd:
        logs = np.log([take.mm for take in left[name]])
        apart[name] = float(np.var(logs, ddof=1) / len(logs))
    return TapeNoise(
        habits,
        # the middle of three of which one is far off scatters as one take does
        takes={name: max(1, len(left[name]) - len(aside[name])) for name in again},
        led={name: _led(takes) for name, takes in left.items()},
        scale=_scale([squares[name] for name in even], repeats, habits),
        repeats=repeats,
        apart=apart,
        aside={name: those for name, those in aside.items() if those},
        scores={name: float(-normal_quantile(max(c, 1e-300) / 2.0)) for name, c in chance.items()},
        squares=squares,
        at_tags=shared,
    )


def in_agreement(
    readings: Mapping[str, Reading],
    habits: TapeHabits = USUAL,
    at_tags: Collection[str] = (),
) -> dict[str, Reading]:
    """The readings whose takes are one length; the mean of those that differ is none."""
    apart = tape_noise(readings, habits, at_tags).apart
    return {name: reading for name, reading in readings.items() if name not in apart}


def needs_third(takes: Sequence[Take]) -> bool:
    """Whether a reading is to be taken once more: its takes differ beyond the tape's noise.

    So do two that differ more than 99 of 100 good pairs, and more of which no majority
    agrees.  No photo is needed, and no other reading; a tape held at tags is not asked more of.

    Parameters
    ----------
    takes : sequence of Take
        Of one reading.

    >>> [needs_third([Take(410.0, "41", "cm"), Take(mm, "", "cm")]) for mm in (425.0, 140.0)]
    [False, True]
    >>> needs_third([Take(mm, "", "cm") for mm in (410.0, 140.0, 415.0)])
    False
    """
    if len(takes) < 2 or len(takes) >= MOST_TAKES:
        return False
    if len(takes) == 2:
        return _differ(takes[0].mm, takes[1].mm)
    return bool(not _outvoted(takes) and _far(takes))


def squares_of(takes: Sequence[Take], *, at_tags: bool = False) -> float:
    """Sum of squares of takes about their mean, in units of the repeat part."""
    logs = np.log([take.mm for take in takes])
    return float(np.sum((logs - logs.mean()) ** 2) / repeat_unit(takes, at_tags=at_tags))


def repeat_unit(takes: Sequence[Take], *, at_tags: bool = False) -> float:
    """Variance of the repeat part of ln(take) before anything was repeated."""
    length = float(np.exp(np.mean(np.log([take.mm for take in takes]))))
    return TAPE_REPEAT_SHARE * left_at_tags(at_tags) * float(tape_log_spread(length)) ** 2


def left_at_tags(at_tags: bool) -> float:
    """What of the tape's variance is left where it was held at tags; all of it elsewhere."""
    return AT_TAGS_SHARE if at_tags else 1.0


def _outvoted(takes: Sequence[Take]) -> tuple[int, ...]:
    """Takes too far from the one in the middle, where most of three or more are not."""
    far = _far(takes) if len(takes) > 2 else ()
    return far if 2 * len(far) < len(takes) else ()


def _far(takes: Sequence[Take]) -> tuple[int, ...]:
    middle = Reading.of(takes).mm
    return tuple(i for i, take in enumerate(takes) if _differ(take.mm, middle))


def _differ(one_mm: float, other_mm: float) -> bool:
    pair = [Take(one_mm, "", "cm"), Take(other_mm, "", "cm")]
    return _chance(squares_of(pair), 1, (), 0) < TAKES_DIFFER


def _scale(squares: Iterable[float], freedom: int, habits: TapeHabits) -> float:
    """Mean of the variance's scale given so many differences; the habits' for none."""
    before = habits.freedom - 2.0
    return (before * habits.repeat + sum(squares)) / (before + freedom)


def _chance(
    squares: float,
    freedom: int,
    others: Iterable[float],
    others_freedom: int,
    habits: TapeHabits = USUAL,
) -> float:
    """How often good takes differ so much, by the prior and the order's other readings."""
    known = habits.freedom + others_freedom
    typical = ((habits.freedom - 2.0) * habits.repeat + sum(others)) / known
    return float(f_above(freedom, known, squares / freedom / typical))


def _led(takes: Sequence[Take]) -> float:
    hands = Counter(take.by or OWNER for take in takes)
    return sum((count / len(takes)) ** 2 for count in hands.values())
