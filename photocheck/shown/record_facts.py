"""What a record says of a check, whether it is a page to look at or one to print."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from math import exp
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.lengths import format_length
from photocheck.fit.answer import MEASURE_TITLES, FitAnswer, off_sentence
from photocheck.judge.wording import chance_text, explanation_sentences
from photocheck.orders.harmless import one_line
from photocheck.orders.listing import STATE_TITLES
from photocheck.orders.model import Check, Decision, Order, OrderError
from photocheck.report.model import Report, SpanResult
from photocheck.shown.colours import SPAN_COLOURS
from photocheck.shown.cutting_list import COAT_TITLES
from photocheck.speech import capital_first, listed, tr
from photocheck.version import program
from photocheck.words import (
    BUILD_TITLES,
    FACT_TITLES,
    LANDMARK_TITLES,
    SPAN_TITLES,
    SPANS,
    TAGS,
    VERDICT_TITLES,
)

PICTURES: Final = 2
"""Photos shown; all are named with their checksum."""

SENTENCE: Final = 430
REASON: Final = 320
HEADLINE: Final = 170
NAME: Final = 40
TITLE: Final = 60
SOURCES: Final = 3
LINES: Final = 33
LINE: Final = 58
"""What one page of letter paper has room for: letters of one text, sources of doubt, lines of
text in both columns together (each photo's checksum takes one), letters in such a line."""

ELLIPSIS: Final = "…"


def made_by(check: Check) -> str:
    """Which photocheck checked, and which one writes the record where that is another."""
    then = one_line(check.program, NAME)
    if check.by_this_program:
        return then
    return tr("{then} (written by {now})", then=then, now=program())


def made_sentence(check: Check) -> str:
    """By which program and ratios it was checked, and when the record is written."""
    return tr(
        "photocheck {program}, shape ratios: {ratios}; record written {at}.",
        program=made_by(check),
        ratios=tr("as shipped")
        if check.ratios in ("", "shipped")
        else one_line(check.ratios, NAME),
        at=utc(datetime.now(UTC)),
    )


def latest_check(order: Order) -> Check:
    """What an order's record is of, its number counted among the order's own checks.

    Raises
    ------
    OrderError
        When the order was not checked yet.
    """
    if not order.checks:
        raise OrderError(
            tr("this order was not checked yet"), do=tr("Check it first; then it can be recorded")
        )
    return replace(order.checks[-1], number=len(order.checks))


def checked_pictures(
    report: Report, photo: Callable[[str], bytes | str]
) -> dict[str, NDArray[np.uint8]]:
    """The photos a record shows, each the very one that was checked.

    Parameters
    ----------
    report : Report
    photo : callable
        Gives a photo's bytes, or its path, by the name it has in the report.

    Raises
    ------
    OrderError
        When a photo's checksum is another than the report's.
    PhotoError
        When a photo cannot be read.
    """
    from photocheck.photo.load import load_photo

    pictures = {}
    for result in report.photos[:PICTURES]:
        loaded = load_photo(photo(result.path), name=result.path)
        if loaded.sha256 != result.sha256:
            raise OrderError(
                tr("this is not the photo that was checked: its SHA-256 is another"),
                where=result.path,
                do=tr("Check it again, or give the photo of that check"),
            )
        pictures[result.path] = loaded.rgb
    return pictures


def about(check: Check, order: str) -> list[tuple[str, str]]:
    """What the order is, term by term; what was not given is left out."""
    dog = check.report.case.dog
    age = "" if dog.age_months is None else tr("{months:g} months", months=dog.age_months)
    weight = "" if dog.weight_kg is None else tr("{kg:g} kg", kg=dog.weight_kg)
    unit = check.report.case.unit
    lengths = {title: getattr(dog, f"{name}_mm") for name, title in FACT_TITLES.items()}
    measured = [
        (tr(title), format_length(mm, unit)) for title, mm in lengths.items() if mm is not None
    ]
    told = [
        (tr("order number"), one_line(check.case.owner.number, NAME)),
        (tr("order"), one_line(order, NAME)),
        (tr("dog"), one_line(dog.name, NAME)),
        (tr("breed"), one_line(dog.breed, NAME)),
        (tr("age"), age),
        (tr("weight"), weight),
        *measured,
        (tr("coat"), tr(COAT_TITLES[dog.coat]) if dog.coat in COAT_TITLES else ""),
        (tr("build"), tr(BUILD_TITLES[dog.build]) if dog.build in BUILD_TITLES else ""),
        (tr("checked"), utc(check.at)),
        (tr("checked by"), tr("the owner") if check.by == "owner" else one_line(check.by, NAME)),
        (tr("marks"), _placed(check.report)),
        (tr("check number of the order"), str(check.number) if check.number else ""),
    ]
    return [(term, text) for term, text in told if text]


def _placed(report: Report) -> str:
    """Who placed the marks, where any was proposed: all others were placed by hand, or by tags."""
    markings = [one for photo in report.case.photos for one in photo.markings]
    proposed = [tr(LANDMARK_TITLES[name]) for one in markings for name in one.confirmed]
    by_hand = [
        tr(LANDMARK_TITLES[name])
        for one in markings
        for name in one.marks
        if one.by != TAGS and name not in one.confirmed
    ]
    if not proposed:
        return ""
    said = tr("proposed and confirmed: {titles}", titles=listed(tuple(dict.fromkeys(proposed))))
    if by_hand:
        rest = tr("by hand: {titles}", titles=listed(tuple(dict.fromkeys(by_hand))))
        said = f"{said}; {rest}"
    return said


def spans_table(report: Report) -> dict[str, Any]:
    """Caption, heads and rows of the lengths by tape and photo."""
    return {
        "caption": tr("Lengths"),
        "heads": [
            tr("length"),
            tr("tape"),
            tr("photo"),
            tr("95 % interval"),
            tr("tape is"),
            tr("verdict"),
        ],
        "rows": [_span(span, report.case.unit) for span in report.spans],
    }


def _span(span: SpanResult, unit: str) -> dict[str, Any]:
    off = ""
    if span.difference is not None:
        per_cent = 100.0 * (exp(span.difference) - 1.0)
        longer = tr("{percent:.1f} % longer", percent=abs(per_cent))
        off = longer if per_cent > 0 else tr("{percent:.1f} % shorter", percent=abs(per_cent))
    return {
        "title": tr(SPAN_TITLES[span.span]),
        "colour": "#{:02x}{:02x}{:02x}".format(*SPAN_COLOURS[span.span]),
        "doubted": span.verdict not in ("", "agrees"),
        "cells": [
            tr("not given") if span.reading_mm is None else format_length(span.reading_mm, unit),
            format_length(span.photo_mm, unit),
            tr(
                "{low} to {high}",
                low=format_length(span.low_mm, unit),
                high=format_length(span.high_mm, unit),
            ),
            off,
            tr(VERDICT_TITLES[span.verdict]) if span.verdict else "",
        ],
    }


def doubt_table(report: Report) -> dict[str, Any]:
    """Caption, heads and rows of the largest sources of doubt."""
    return {
        "caption": tr("Where the doubt comes from (share of the variance)"),
        "heads": [tr("source"), *(tr(SPAN_TITLES[span]) for span in SPANS)],
        "rows": [
            [one_line(source.title, TITLE), *(_share(source.shares.get(span)) for span in SPANS)]
            for source in report.budget[:SOURCES]
        ],
    }


def _share(share: float | None) -> str:
    return "" if share is None else tr("{percent} %", percent=f"{100.0 * share:.0f}")


def sections_of(report: Report, fit: FitAnswer | None) -> list[tuple[str, list[str]]]:
    """Everything else there is to say, title by title, the most important first."""
    photos = report.photos
    return [
        (tr("What to cut"), _cut(fit) if fit else []),
        (tr("Why"), [*explanation_sentences(report.explanations), *report.outliers]),
        (tr("Next step"), [report.next_step] if report.next_step else []),
        (tr("The readings among themselves"), list(report.redundancy)),
        (tr("How the dog stood"), [one.sentence for photo in photos for one in photo.stance]),
        (
            tr("How sure tape and photo are, in 95 of 100"),
            [one.sentence for one in report.certainty],
        ),
        (tr("About the photos"), [text for photo in photos for text in photo.remarks]),
    ]


def cut_off(text: str, longest: int) -> str:
    """On one line, and when too long ending at a word and with an ellipsis."""
    line = one_line(text, 10 * longest)
    if len(line) <= longest:
        return line
    return f"{line[:longest].rpartition(' ')[0] or line[:longest]} {ELLIPSIS}"


def decision_said(decision: Decision | None, *, longest: int = REASON) -> str:
    """Who decided what and when, and why."""
    if decision is None:
        return tr("Not decided yet.")
    said = tr(
        "{choice} by {by}, {at}.",
        choice=capital_first(tr(STATE_TITLES[decision.choice])),
        by=one_line(decision.by, NAME) or tr("nobody named"),
        at=utc(decision.at),
    )
    return f"{said} {cut_off(decision.reason, longest)}".strip()


def _cut(fit: FitAnswer) -> list[str]:
    lengths = [
        f"{tr(MEASURE_TITLES[one.name])} {format_length(one.mm, fit.unit)}" for one in fit.measures
    ]
    said = [fit.headline, *fit.reasons]
    if lengths:
        said.append(tr("On the coat: {lengths}.", lengths=listed(lengths)))
        said += fit.remarks
    if len(fit.sizes) > 1:
        second = fit.sizes[1]
        said.append(
            tr(
                "Next best: '{name}', {chance}; {worst}.",
                name=second.name,
                chance=chance_text(second.chance),
                worst=off_sentence(second, fit.unit),
            )
        )
    return said


def utc(moment: datetime) -> str:
    """To the minute; a moment without a time zone is taken for UTC."""
    aware = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    return f"{aware:%Y-%m-%d %H:%M} UTC"
