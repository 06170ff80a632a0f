"""The answer on fit as plain text."""

from __future__ import annotations

from typing import Final

from photocheck.desk.fit.answer import MEASURE_TITLES, FitAnswer, off_sentence
from photocheck.desk.fit.match import SizeFit
from photocheck.desk.plain import table
from photocheck.judge.wording import chance_text
from photocheck.lengths import format_length
from photocheck.speech import tr

MOST_SIZES: Final = 5
"""Sizes listed; the machine answer holds all."""


def plain_fit(answer: FitAnswer) -> str:
    """For people: the headline, why, what to cut, the sizes, what to mind."""
    blocks = [answer.headline]
    if answer.reasons:
        blocks.append(_listed(answer.reasons))
    if answer.measures:
        blocks.append(_cut(answer))
    if answer.sizes:
        blocks.append(_sizes(answer))
    if answer.remarks:
        blocks.append(tr("Mind the cut") + "\n" + _listed(answer.remarks))
    blocks.append(tr("Mind") + "\n" + _listed(answer.cautions))
    return "\n\n".join(blocks)


def _cut(answer: FitAnswer) -> str:
    unit = answer.unit
    rows = [
        (
            tr("to cut"),
            tr("length"),
            tr("95 % interval"),
            tr("on the dog"),
            tr("for weight"),
            tr("for coat"),
        )
    ]
    rows += [
        (
            tr(MEASURE_TITLES[measure.name]),
            format_length(measure.mm, unit),
            tr(
                "{low} to {high}",
                low=format_length(measure.low_mm, unit),
                high=format_length(measure.high_mm, unit),
            ),
            format_length(measure.body_mm, unit),
            format_length(measure.weight_mm, unit),
            format_length(measure.coat_mm, unit),
        )
        for measure in answer.measures
    ]
    return table(rows)


def _sizes(answer: FitAnswer) -> str:
    rows = [(tr("size"), tr("chance"), tr("worst measure"))]
    rows += [
        (size.name, _chance(size), off_sentence(size, answer.unit))
        for size in answer.sizes[:MOST_SIZES]
    ]
    rest = len(answer.sizes) - MOST_SIZES
    more = tr("and {count} more", count=rest)
    return table(rows) + (f"\n{more}" if rest > 0 else "")


def _chance(size: SizeFit) -> str:
    if size.chance_now is None:
        return chance_text(size.chance)
    return tr(
        "{later}, today {now}", later=chance_text(size.chance), now=chance_text(size.chance_now)
    )


def _listed(items: tuple[str, ...]) -> str:
    return "\n".join(f"  - {item}" for item in items)
