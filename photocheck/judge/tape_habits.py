"""How a shop's owners measure, learnt from tape against tape: no photo is needed.

Three things tell of it.  Takes of one reading differ by the repeat part alone; the neck ring is
twice the half neck, and the full length the front and the rear together, whatever the dog, so
that what is left of these two holds both parts of the tape's noise.  The repeat part's variance
differs between owners as a scaled inverse chi-square (`photocheck.judge.repeats`), so takes
follow an F distribution (Gelman et al., Bayesian Data Analysis, 3rd ed., 2.6 and 3.2); mean,
freedom and the led part are averaged over a grid of their posterior.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from photocheck.case.model import Reading
from photocheck.judge.held_out import Gain, folds_of, mean_gain, rounded
from photocheck.judge.repeats import SUMS, USUAL, TapeHabits, tape_noise
from photocheck.words import NECK_RING, READINGS

Array = NDArray[np.float64]

CLOSURES: Final = (NECK_RING, "full_length")
"""Readings that are sums of others and hold both parts of the tape's noise (`repeats.SUMS`)."""

SHOP_LOG_SPREAD: Final = {"repeat": 0.5, "led": 0.7, "freedom": 0.7}
"""Standard deviation of ln of each of `TapeHabits` between shops: the mean over a shop's owners of
the repeat part's variance, which nine of ten times is taken to lie between 6 and 14 mm squared; the
led part, of which less is known (judgement)."""
CLOSURE_SPREAD: Final = 0.02
"""Standard deviation of ln(whole / its parts) between shops: a shop's instructions may have the
whole led another way than its parts (judgement)."""
READ_TO: Final = 0.02
"""Mean square of the repeat part, over the shipped one, that no tape is read more exactly than:
1.3 mm of 9, for it is read to whole or half centimetres and remembered (judgement)."""

_REPEAT: Final = np.exp(np.linspace(np.log(0.12), np.log(4.0), 37))
_LED: Final = np.exp(np.linspace(np.log(0.12), np.log(4.0), 25))
_FREEDOM: Final = np.array([3.0, 4.0, 5.0, 7.0, 10.0, 15.0, 25.0, 50.0])


@dataclass(frozen=True)
class TapeSeen:
    """What one order says of the tape alone.

    Attributes
    ----------
    squares : float
        Sum of squares of takes about their means, in units of the shipped repeat part.
    repeats : int
        Differences between takes behind it.
    closures : tuple of float
        ln(whole / its parts) for each of `CLOSURES`; nan where not read.
    repeat, led : tuple of float
        Variance of each by the two parts of the tape's noise as shipped; 1 where not read.
    """

    squares: float = 0.0
    repeats: int = 0
    closures: tuple[float, ...] = (float("nan"),) * len(CLOSURES)
    repeat: tuple[float, ...] = (1.0,) * len(CLOSURES)
    led: tuple[float, ...] = (1.0,) * len(CLOSURES)

    @property
    def tells(self) -> bool:
        """Whether it says anything."""
        return self.repeats > 0 or not np.all(np.isnan(self.closures))


NO_TAPE: Final = TapeSeen()
"""An order that says nothing of the tape."""


def tape_seen(readings: Mapping[str, Reading], at_tags: Collection[str] = ()) -> TapeSeen:
    """What an order's readings say of the tape.

    Parameters
    ----------
    readings : mapping of reading name to Reading
    at_tags : collection of str
        Readings whose tape was held at tags: of them less is expected, so that hands are as exact
        as ever where such readings differ by as much less.

    >>> read = {n: Reading(mm, f"{mm:g} mm", "mm") for n, mm in (("half_neck", 200.0),
    ...         ("neck_ring", 412.0))}
    >>> round(tape_seen(read).closures[0], 3)
    0.03
    """
    noise = tape_noise(readings, at_tags=at_tags)
    usable = {name: reading.mm for name, reading in readings.items() if name not in noise.apart}
    squares = sum(value for name, value in noise.squares.items() if name in usable)
    closures, repeat, led = [], [], []
    for whole in CLOSURES:
        parts = dict(SUMS[whole])
        if not usable.keys() >= {whole, *parts}:
            closures.append(float("nan"))
            repeat.append(1.0)
            led.append(1.0)
            continue
        names = [name for name in READINGS if name == whole or name in parts]
        lengths = np.array([usable[name] for name in names])
        total = sum(times * usable[part] for part, times in parts.items())
        row = np.array(
            [1.0 if name == whole else -parts[name] * usable[name] / total for name in names]
        )
        now = noise.repeat_variance(names, lengths)
        by_led = noise.covariance(names, lengths) - np.diag(now)
        closures.append(float(np.log(usable[whole] / total)))
        repeat.append(float(row**2 @ now / noise.scale))
        led.append(float(row @ by_led @ row))
    return TapeSeen(float(squares), noise.repeats, tuple(closures), tuple(repeat), tuple(led))


def learnt_habits(seen: Sequence[TapeSeen]) -> TapeHabits:
    """Posterior means over the shop's orders; none leave `USUAL` as it is, nearly.

    Parameters
    ----------
    seen : sequence of TapeSeen
    """
    if not seen:
        return USUAL
    orders = _Orders.of(seen)
    repeat, freedom, led = np.meshgrid(_REPEAT, _FREEDOM, _LED, indexing="ij")
    logs = _prior(repeat, freedom, led)
    density = orders.log_density(
        repeat[..., None], freedom[..., None], led[..., None], orders.bias()
    )
    logs = logs + np.sum(density, axis=-1)
    weight = np.exp(logs - logs.max())
    weight /= weight.sum()
    return TapeHabits(
        float(np.sum(weight * repeat)),
        float(1.0 / np.sum(weight / freedom)),
        float(np.sum(weight * led)),
    )


def held_out_tape(seen: Sequence[TapeSeen]) -> Gain:
    """Predict each order's tape by habits learnt without it, in up to `MOST_FOLDS` folds."""
    fold = folds_of(len(seen))
    gain = np.zeros(len(seen))
    for number in np.unique(fold):
        inside = [one for one, at in zip(seen, fold, strict=True) if at != number]
        outside = [one for one, at in zip(seen, fold, strict=True) if at == number]
        left, bias = _Orders.of(outside), _Orders.of(inside).bias()
        gain[fold == number] = left.by(learnt_habits(inside), bias) - left.by(USUAL, bias)
    middle, error = mean_gain(gain)
    return Gain(len(seen), int(fold.max()) + 1, rounded(middle), rounded(error), middle > error)


@dataclass(frozen=True, eq=False)
class _Orders:
    """`TapeSeen` side by side: (n,) each, (n, closures) the last four."""

    squares: Array
    repeats: Array
    closures: Array
    there: NDArray[np.bool_]
    repeat: Array
    led: Array

    @classmethod
    def of(cls, seen: Sequence[TapeSeen]) -> _Orders:
        closures = np.array([one.closures for one in seen]).reshape(len(seen), len(CLOSURES))
        there = ~np.isnan(closures)
        repeats = np.array([one.repeats for one in seen], float)
        return cls(
            np.maximum([one.squares for one in seen], READ_TO * repeats),
            repeats,
            np.where(there, closures, 0.0),
            there,
            np.array([one.repeat for one in seen]).reshape(closures.shape),
            np.array([one.led for one in seen]).reshape(closures.shape),
        )

    def bias(self) -> Array:
        """How the shop's wholes differ from their parts, (closures,), shrunk towards 0."""
        weight = self.there / (self.repeat + self.led)
        total = np.sum(weight * self.closures, axis=0)
        return np.asarray(total / (weight.sum(axis=0) + CLOSURE_SPREAD**-2))

    def by(self, habits: TapeHabits, bias: Array) -> Array:
        """ln of the density of each order under given habits, (n,)."""
        repeat, freedom, led = (np.array([v]) for v in (habits.repeat, habits.freedom, habits.led))
        return self.log_density(repeat, freedom, led, bias)

    def log_density(self, repeat: Array, freedom: Array, led: Array, bias: Array) -> Array:
        """ln of the density of each order, (..., n), for habits (..., 1)."""
        f, v = self.repeats, freedom
        typical = repeat * (v - 2.0) / v
        ratio = self.squares / np.maximum(f, 1.0) / typical
        logs = (
            0.5 * f * np.log(np.where(f > 0.0, f, 1.0) / v)
            + (0.5 * f - 1.0) * np.log(np.where(f > 0.0, ratio, 1.0))
            - 0.5 * (f + v) * np.log1p(f * ratio / v)
            - (gammaln(0.5 * np.maximum(f, 1.0)) + gammaln(0.5 * v))
            + gammaln(0.5 * (np.maximum(f, 1.0) + v))
            - np.log(typical)
        )
        found = np.where(f > 0.0, logs, 0.0)
        own = ((v - 2.0) * repeat + self.squares * (f > 0.0)) / (v - 2.0 + f)
        for k in range(len(CLOSURES)):
            variance = own * self.repeat[:, k] + led * self.led[:, k]
            miss = (self.closures[:, k] - bias[k]) ** 2
            normal = -0.5 * (miss / variance + np.log(variance))
            found = found + np.where(self.there[:, k], normal, 0.0)
        return np.asarray(found)


def _prior(repeat: Array, freedom: Array, led: Array) -> Array:
    usual = (USUAL.repeat, USUAL.freedom, USUAL.led)
    spreads = (SHOP_LOG_SPREAD[name] for name in ("repeat", "freedom", "led"))
    return np.asarray(
        sum(
            -0.5 * (np.log(value / middle) / spread) ** 2
            for value, middle, spread in zip((repeat, freedom, led), usual, spreads, strict=True)
        )
    )
