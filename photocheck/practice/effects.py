"""What misplaced marks do to the lengths: the estimate with one set of marks and another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import DogFacts, Marking, Point
from photocheck.judge.estimate import estimate
from photocheck.judge.tolerances import tape_log_spread
from photocheck.numerics import IN_95
from photocheck.scale.pose import View
from photocheck.words import LANDMARKS, SPANS

Array = NDArray[np.float64]

WEIGHTS: Final = ("slight", "felt", "misleading")
"""How much a change of a length matters, mildest first: within what a tape itself is unsure
of; more than that; beyond the estimate's own 95 % interval, so that a good tape reading
would look wrong."""


@dataclass(frozen=True)
class SpanEffect:
    """What other marks do to one length.

    Attributes
    ----------
    span : str
    right_mm : float
        As the photo shows it with the right marks, mm.
    placed_mm : float
        With the marks as placed, mm.
    weight : str
        One of `WEIGHTS`.
    """

    span: str
    right_mm: float
    placed_mm: float
    weight: str

    @property
    def change_mm(self) -> float:
        """Positive when the marks make the length longer, mm."""
        return self.placed_mm - self.right_mm

    @property
    def change(self) -> float:
        """The same as a fraction of the right length."""
        return self.placed_mm / self.right_mm - 1.0


@dataclass(frozen=True)
class Effects:
    """What a set of marks does to the lengths.

    Attributes
    ----------
    alone : mapping of landmark name to tuple of SpanEffect
        That mark as placed, the three others right; spans in the order of `words.SPANS`.
    together : tuple of SpanEffect
        All marks as placed.
    """

    alone: Mapping[str, tuple[SpanEffect, ...]]
    together: tuple[SpanEffect, ...]

    def weight_of(self, landmark: str) -> str:
        """The gravest weight among the lengths that this mark alone changes."""
        return gravest(self.alone[landmark])

    @property
    def weight(self) -> str:
        """The gravest weight of all marks together."""
        return gravest(self.together)


def gravest(effects: tuple[SpanEffect, ...]) -> str:
    """The gravest weight among some lengths."""
    return max((effect.weight for effect in effects), key=WEIGHTS.index)


def weigh(change: float, length_mm: float, log_spread: float) -> str:
    """How much a change of a length matters.

    Parameters
    ----------
    change : float
        ln(length with the marks as placed / with the right marks).
    length_mm : float
    log_spread : float
        The estimate's own standard deviation of ln(length).
    """
    if abs(change) <= float(tape_log_spread(length_mm)):
        return "slight"
    return "felt" if abs(change) <= IN_95 * log_spread else "misleading"


def effects(
    view: View,
    dog: DogFacts,
    right: Mapping[str, Point],
    placed: Mapping[str, Point],
    *,
    alone: bool = True,
) -> Effects:
    """Compare what the photo says with the right marks and with those placed.

    Parameters
    ----------
    view : View
    dog : DogFacts
    right, placed : mapping of landmark name to Point
        All four landmarks, px.
    alone : bool
        Whether to work out what each mark does by itself.

    Raises
    ------
    KeyError
        When a landmark is missing.
    """

    known: dict[tuple[Point, ...], tuple[Array, Array]] = {}

    def logs(marks: Mapping[str, Point]) -> tuple[Array, Array]:
        these = tuple(marks[name] for name in LANDMARKS)
        if these not in known:  # where one mark is off, alone and together are one question
            fused = estimate([view], [[Marking(dict(zip(LANDMARKS, these, strict=True)))]], dog)
            known[these] = fused.log_spans, np.sqrt(np.diag(fused.covariance))
        return known[these]

    base, spread = logs(right)

    def against(marks: Mapping[str, Point]) -> tuple[SpanEffect, ...]:
        moved, _ = logs(marks)
        return tuple(
            SpanEffect(
                span,
                float(np.exp(base[i])),
                float(np.exp(moved[i])),
                weigh(float(moved[i] - base[i]), float(np.exp(base[i])), float(spread[i])),
            )
            for i, span in enumerate(SPANS)
        )

    return Effects(
        alone={name: against({**right, name: placed[name]}) for name in LANDMARKS if alone},
        together=against(placed),
    )
