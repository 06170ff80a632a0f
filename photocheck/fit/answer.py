"""What to cut for an order, or which size of the shelf fits; or what must be done first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from photocheck.case.lengths import POSSIBLE_KG, format_length
from photocheck.errors import CaseError
from photocheck.fit.allowances import WEIGHT_CHANGE_MOST, growing
from photocheck.fit.cut_lengths import (
    NECK_OPENING,
    Measure,
    measured,
    measures_of,
    with_coat,
    with_weight,
)
from photocheck.fit.growth import AdultWeight, growth_unknown
from photocheck.fit.looking_ahead import GrowthStep, growth_remarks, looked_ahead
from photocheck.fit.match import LEAST_CHANCE, SizeFit, match
from photocheck.fit.shelf import Size
from photocheck.judge.wording import CAUTIONS, PUPPY_CAUTION, chance_text
from photocheck.report.model import Report
from photocheck.speech import later, listed, number, tr
from photocheck.words import NECK_RING, READING_TITLES, SPAN_TITLES

GROWTH: Final = ("as_is", "for_growth")
"""How a puppy is to be fitted."""

GROWTH_TITLES: Final = {
    "as_is": later("fit as it is today"),
    "for_growth": later("for growth: look ahead"),
}

OUTCOMES: Final = ("size", "to_measure", "measure_first", "not_foreseen")
"""A size fits; cut to measure; the readings must be right first; growth or a change of weight
that nothing published foresees."""

MEASURE_TITLES: Final = {**SPAN_TITLES, NECK_OPENING: later("neck opening")}

HARNESS_HAS_NO_ADJUSTERS: Final = later(
    "A harness without adjusters fits one weight only: try it on again whenever the weight "
    "has changed."
)


@dataclass(frozen=True)
class Wish:
    """What the harness is to fit besides the dog of today.

    Attributes
    ----------
    weight_later_kg : float or None
        The weight expected later, kg; None when it shall stay.
    growth : str
        One of `GROWTH`.
    adult : AdultWeight or None
        What a growing dog is expected to weigh when it is grown.
    """

    weight_later_kg: float | None = None
    growth: str = "as_is"
    adult: AdultWeight | None = None


@dataclass(frozen=True)
class FitAnswer:
    """The whole answer.

    Attributes
    ----------
    outcome : str
        One of `OUTCOMES`.
    headline : str
    reasons : tuple of str
        Why nothing may be cut yet; empty otherwise.
    measures : tuple of Measure
        Empty while nothing may be cut.
    sizes : tuple of SizeFit
        All sizes of the shelf, the likeliest first: the one recommended, then its runner-up.
    remarks, cautions : tuple of str
    unit : str
        The owner's.
    growth : tuple of GrowthStep
        A growing dog looked ahead to, the nearest first; empty unless that was wished for.
    """

    outcome: str
    headline: str
    reasons: tuple[str, ...]
    measures: tuple[Measure, ...]
    sizes: tuple[SizeFit, ...]
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]
    unit: str
    growth: tuple[GrowthStep, ...] = ()


def fit(report: Report, sizes: Sequence[Size] = (), wish: Wish | None = None) -> FitAnswer:
    """Settle what is cut.

    Parameters
    ----------
    report : Report
        The check of the order; nothing is given out unless it agrees.
    sizes : sequence of Size
        The shop's shelf; empty to cut to measure.
    wish : Wish, optional

    Raises
    ------
    CaseError
        When the wish cannot be meant.
    """
    wish = wish or Wish()
    _check_wish(wish)
    cautions = [*CAUTIONS]
    young = growing(report.case.dog)
    if young:
        cautions.append(PUPPY_CAUTION)
    said_cautions = tuple(tr(caution) for caution in cautions)
    unit = report.case.unit
    if first := _measure_first(report):
        head = tr("Measure again first: no size and no cut can be given yet.")
        return FitAnswer("measure_first", head, first, (), (), (), said_cautions, unit)
    if unknown := _not_foreseen(report, wish, young):
        head = tr("This cannot be foreseen: fit the dog as it is, or ask a vet first.")
        return FitAnswer("not_foreseen", head, unknown, (), (), (), said_cautions, unit)
    dog = report.case.dog
    body = measured(report)
    then = body
    if wish.weight_later_kg is not None and dog.weight_kg is not None:
        then = with_weight(body, dog.weight_kg, wish.weight_later_kg)
    cut = with_coat(then, dog)
    ranked = match(cut, sizes, now=None if then is body else with_coat(body, dog))
    fits = bool(ranked) and ranked[0].chance >= LEAST_CHANCE
    steps: tuple[GrowthStep, ...] = ()
    remarks = _remarks(report, young, wish.weight_later_kg)
    if young and wish.growth == "for_growth":
        assert wish.adult is not None  # by `_not_foreseen`
        steps = looked_ahead(body, dog, wish.adult, sizes)
        remarks = (*remarks, *growth_remarks(dog, wish.adult, ranked if fits else (), steps))
    return FitAnswer(
        "size" if fits else "to_measure",
        _headline(ranked, fits),
        (),
        measures_of(body, then, cut),
        ranked,
        remarks,
        said_cautions,
        unit,
        steps,
    )


def off_sentence(size: SizeFit, unit: str) -> str:
    """The worst measure of a size and how it lies in its limits."""
    worst = next(span for span in size.spans if span.measure == size.worst)
    filled = {
        "measure": tr(MEASURE_TITLES[worst.measure]),
        "length": format_length(worst.mm, unit),
        "low": format_length(worst.from_mm, unit),
        "high": format_length(worst.to_mm, unit),
        "off": format_length(abs(worst.off_mm), unit),
    }
    if worst.off_mm < 0:
        return tr("{measure}: {length}, {off} below the {low} to {high} it fits", **filled)
    if worst.off_mm > 0:
        return tr("{measure}: {length}, {off} above the {low} to {high} it fits", **filled)
    return tr("{measure}: {length}, within the {low} to {high} it fits", **filled)


def _check_wish(wish: Wish) -> None:
    if wish.growth not in GROWTH:
        raise CaseError(
            tr("the growth '{growth}' is not known", growth=wish.growth[:40]),
            do=tr("Use one of {options}", options=", ".join(GROWTH)),
        )
    low, high = POSSIBLE_KG
    if wish.weight_later_kg is not None and not low <= wish.weight_later_kg <= high:
        raise CaseError(
            tr("the weight expected later is no dog's"), do=tr("Check the number and its unit")
        )


def _measure_first(report: Report) -> tuple[str, ...]:
    """Why the readings do not carry a cut yet."""
    said = []
    given = report.case.readings
    if report.verdict != "agrees":
        said.append(tr("The check does not confirm the readings: {why}", why=report.headline))
    if not {"half_neck", NECK_RING} & set(given):
        said.append(
            tr(
                "Only the photo tells of the neck: measure the {reading}.",
                reading=_title("half_neck"),
            )
        )
    parts = ("front_length", "rear_length", "full_length")
    missing = [name for name in parts if name not in given]
    if len(missing) > 1:
        said.append(
            tr(
                "Only the photo tells of the trunk: measure the {readings}.",
                readings=listed([_title(name) for name in missing]),
            )
        )
    return tuple(said)


def _not_foreseen(report: Report, wish: Wish, young: bool | None) -> tuple[str, ...]:
    """What was wished for and no source foresees."""
    dog, later_kg = report.case.dog, wish.weight_later_kg
    said: list[str] = []
    if wish.growth == "for_growth" and young is not False:
        said += growth_unknown(dog, wish.adult)
    if later_kg is None:
        return tuple(said)
    if young:
        said.append(
            tr("A puppy's weight changes by growth, which does not stretch all lengths alike.")
        )
    elif dog.weight_kg is None:
        said.append(tr("Say the dog's weight today: only the later one is known."))
    elif abs(later_kg / dog.weight_kg - 1.0) > WEIGHT_CHANGE_MOST + 1e-9:
        said.append(
            tr(
                "A change of weight of more than {most} % is not reckoned with: measure again when "
                "the dog has come nearer to it. How fast is a question for a vet.",
                most=f"{100 * WEIGHT_CHANGE_MOST:.0f}",
            )
        )
    return tuple(said)


def _headline(ranked: tuple[SizeFit, ...], fits: bool) -> str:
    if fits:
        return tr(
            "The size '{name}' fits, with a chance of {chance}.",
            name=ranked[0].name,
            chance=chance_text(ranked[0].chance),
        )
    if ranked:
        return tr(
            "Make to measure: no size of the shelf fits well enough; the nearest, '{name}', fits "
            "with a chance of {chance}.",
            name=ranked[0].name,
            chance=chance_text(ranked[0].chance),
        )
    return tr("Make to measure.")


def _remarks(report: Report, young: bool | None, later_kg: float | None) -> tuple[str, ...]:
    said = [tr("The pattern's own ease is not in these lengths.")]
    now_kg = report.case.dog.weight_kg
    if later_kg is not None and now_kg is not None:
        said.append(
            tr(
                "Reckoned for a weight of {later} kg; today it is {now} kg.",
                later=number(f"{later_kg:.3g}"),
                now=number(f"{now_kg:.3g}"),
            )
        )
        said.append(tr(HARNESS_HAS_NO_ADJUSTERS))
    if report.case.dog.coat == "unknown" and report.case.dog.coat_depth_mm is None:
        said.append(tr("The coat was not given; next to nothing is added for it."))
    if young:
        said.append(tr("The dog still grows: this fits it as it is today. Measure it again soon."))
    elif young is None:
        said.append(tr("The dog's age was not given; if it still grows, this fits only for now."))
    return tuple(said)


def _title(name: str) -> str:
    return tr(READING_TITLES[name])
