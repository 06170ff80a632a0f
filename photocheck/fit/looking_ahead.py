"""A growing dog looked ahead to, date by date, with the sizes that would fit then."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from photocheck.case.model import DogFacts
from photocheck.fit.cut_lengths import Lengths, Measure, measures_of, with_coat
from photocheck.fit.growth import (
    ADULT_FROM_TITLES,
    AdultWeight,
    grown,
    looks_ahead,
    suits_age,
    weight_in,
)
from photocheck.fit.match import LEAST_CHANCE, SizeFit, match
from photocheck.fit.shelf import Size
from photocheck.judge.wording import chance_text
from photocheck.numerics import IN_95
from photocheck.speech import number, tr


@dataclass(frozen=True)
class GrowthStep:
    """A growing dog some time from now.

    Attributes
    ----------
    days : int
        From the day it was measured.
    weight_kg, weight_low_kg, weight_high_kg : float
        What it will weigh, and the 95 % interval.
    measures : tuple of Measure
        As they would be cut then; what growth adds stands in `Measure.weight_mm`.
    sizes : tuple of SizeFit
        The shelf then, the likeliest first.
    """

    days: int
    weight_kg: float
    weight_low_kg: float
    weight_high_kg: float
    measures: tuple[Measure, ...]
    sizes: tuple[SizeFit, ...]


def looked_ahead(
    body: Lengths, dog: DogFacts, adult: AdultWeight, sizes: Sequence[Size]
) -> tuple[GrowthStep, ...]:
    """The dog after each of `growth.looks_ahead`, where `growth.growth_unknown` has no doubt."""
    assert dog.weight_kg is not None  # by `growth_unknown`
    found = []
    for days in looks_ahead(dog.weight_kg, adult):
        then = grown(body, days, dog.weight_kg, adult)
        cut = with_coat(then, dog)
        log_kg, spread = weight_in(days, dog.weight_kg, adult)
        middle, low, high = np.exp([log_kg, log_kg - IN_95 * spread, log_kg + IN_95 * spread])
        found.append(
            GrowthStep(
                days,
                float(middle),
                float(low),
                float(high),
                measures_of(body, then, cut),
                match(cut, sizes),
            )
        )
    return tuple(found)


def growth_remarks(
    dog: DogFacts,
    adult: AdultWeight,
    ranked: Sequence[SizeFit],
    steps: Sequence[GrowthStep],
) -> tuple[str, ...]:
    """Whose word the growth rests on, when today's size is outgrown, and what may not be done."""
    told = tr(ADULT_FROM_TITLES[adult.told_by])
    if adult.named:
        told = f"{told} ({adult.named})"
    weight = number(f"{adult.low_kg:.3g}")
    if adult.high_kg > adult.low_kg:
        weight = tr("{low} to {high}", low=weight, high=number(f"{adult.high_kg:.3g}"))
    said = [
        tr(
            "Growth is reckoned to {weight} kg, as {told} expects. How lengths follow weight is "
            "judgement: no study measured a puppy's neck or these lines.",
            weight=weight,
            told=told,
        )
    ]
    for step in steps:
        name = ranked[0].name if ranked else ""
        chance = next((size.chance for size in step.sizes if size.name == name), 1.0)
        if chance < LEAST_CHANCE:
            said.append(
                tr(
                    "In {days} days the size '{name}' will fit with a chance of {chance} only.",
                    days=step.days,
                    name=name,
                    chance=chance_text(chance),
                )
            )
            break
    said.append(
        tr(
            "What is cut is for the dog of today: a harness cut for later is loose now, and a "
            "dog can slip out of it. Measure again before each new harness."
        )
    )
    if not suits_age(dog, adult):
        said.append(
            tr(
                "At this age dogs of that adult weight usually weigh something else: do not rely "
                "on this, and ask a vet, who can place it on a growth chart."
            )
        )
    return tuple(said)
