"""The answer on fit as plain text."""

from __future__ import annotations

from typing import Final

from photocheck.case.lengths import format_length
from photocheck.fit.answer import MEASURE_TITLES, FitAnswer, off_sentence
from photocheck.fit.match import SizeFit
from photocheck.judge.wording import chance_text
from photocheck.shown.plain import table
from photocheck.speech import tr

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
