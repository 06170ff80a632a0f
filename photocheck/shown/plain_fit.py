"""The answer on fit as plain text."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

from photocheck.case.lengths import format_length
from photocheck.fit.answer import MEASURE_TITLES, FitAnswer, off_sentence
from photocheck.fit.cut_lengths import MEASURES
from photocheck.fit.match import SizeFit
from photocheck.judge.wording import chance_text
from photocheck.shown.plain import table
from photocheck.speech import number, tr

MOST_SIZES: Final = 5
"""Sizes listed; the machine answer holds all."""


def plain_fit(answer: FitAnswer) -> str:
    """For people: the headline, why, what to cut, the sizes, what to mind."""
    blocks = [answer.headline]
    if answer.reasons:
        blocks.append(_listed(answer.reasons))
    if answer.measures:
        blocks.append(table(cut_rows(answer)))
    if answer.sizes:
        more = more_sizes(answer)
        blocks.append(table(size_rows(answer)) + (f"\n{more}" if more else ""))
    if answer.growth:
        blocks.append(tr("Looked ahead") + "\n" + table(growth_rows(answer)))
    if answer.remarks:
        blocks.append(tr("Mind the cut") + "\n" + _listed(answer.remarks))
    blocks.append(tr("Mind") + "\n" + _listed(answer.cautions))
    return "\n\n".join(blocks)


def cut_rows(answer: FitAnswer) -> list[tuple[str, ...]]:
    """The lengths to cut as rows of a table, its heads first; weight only where it changes."""
    unit = answer.unit
    changes = any(measure.weight_mm for measure in answer.measures)
    return [
        (
            tr("to cut"),
            tr("length"),
            tr("95 % interval"),
            tr("on the dog"),
            *((tr("for weight"),) if changes else ()),
            tr("for coat"),
        ),
        *(
            (
                tr(MEASURE_TITLES[measure.name]),
                format_length(measure.mm, unit),
                tr(
                    "{low} to {high}",
                    low=format_length(measure.low_mm, unit),
                    high=format_length(measure.high_mm, unit),
                ),
                format_length(measure.body_mm, unit),
                *((format_length(measure.weight_mm, unit),) if changes else ()),
                format_length(measure.coat_mm, unit),
            )
            for measure in answer.measures
        ),
    ]


def size_rows(answer: FitAnswer, most: int = MOST_SIZES) -> list[tuple[str, ...]]:
    """The likeliest sizes as rows of a table, its heads first."""
    return [
        (tr("size"), tr("chance"), tr("worst measure")),
        *(
            (size.name, _chance(size), off_sentence(size, answer.unit))
            for size in answer.sizes[:most]
        ),
    ]


def growth_rows(answer: FitAnswer, measured: date | None = None) -> list[tuple[str, ...]]:
    """A growing dog date by date as rows of a table, its heads first.

    Parameters
    ----------
    answer : FitAnswer
    measured : date, optional
        The day the dog was measured; without it, days from then are told.
    """
    unit = answer.unit
    heads = (tr("when"), tr("weight"), *(tr(MEASURE_TITLES[name]) for name in MEASURES))
    shelf = bool(answer.sizes)
    rows: list[tuple[str, ...]] = [(*heads, tr("likeliest size")) if shelf else heads]
    for step in answer.growth:
        lengths = (
            tr(
                "{low} to {high}",
                low=format_length(measure.low_mm, unit),
                high=format_length(measure.high_mm, unit),
            )
            for measure in step.measures
        )
        when = tr("in {days} days", days=step.days)
        if measured is not None:
            when = (measured + timedelta(days=step.days)).isoformat()
        kg = tr(
            "{low} to {high} kg",
            low=number(f"{step.weight_low_kg:.3g}"),
            high=number(f"{step.weight_high_kg:.3g}"),
        )
        best = [f"{step.sizes[0].name}, {chance_text(step.sizes[0].chance)}"] if shelf else []
        rows.append((when, kg, *lengths, *best))
    return rows


def more_sizes(answer: FitAnswer, most: int = MOST_SIZES) -> str:
    """How many sizes `size_rows` leaves out; empty when it has all."""
    rest = len(answer.sizes) - most
    return tr("and {count} more", count=rest) if rest > 0 else ""


def _chance(size: SizeFit) -> str:
    if size.chance_now is None:
        return chance_text(size.chance)
    return tr(
        "{later}, today {now}", later=chance_text(size.chance), now=chance_text(size.chance_now)
    )


def _listed(items: tuple[str, ...]) -> str:
    return "\n".join(f"  - {item}" for item in items)
