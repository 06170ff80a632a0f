"""One order on one page: a self-contained HTML file to keep, to send or to print.

Nothing in it is loaded from anywhere, and the page forbids it; all that people typed is
escaped.  Long texts are shortened so that it stays one page of A4 or letter paper; the
export has them whole.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from importlib.resources import files
from math import ceil, exp
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
from photocheck.shown.colours import BANNER_COLOURS, SPAN_COLOURS
from photocheck.shown.picture import annotate
from photocheck.speech import capital_first, later, listed, spoken, tr
from photocheck.version import program
from photocheck.words import BUILD_TITLES, FACT_TITLES, SPAN_TITLES, SPANS, VERDICT_TITLES

PICTURE_WIDTH: Final = 1100
"""Widest picture, px: 110 mm of paper at 250 dots an inch."""
QUALITY: Final = 82
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

_COATS: Final = {"short": later("short"), "medium": later("medium"), "long": later("long")}


def order_record(
    order: Order, photo: Callable[[str], bytes], *, fit: FitAnswer | None = None
) -> str:
    """The record of an order's latest check and of the decision on it.

    Parameters
    ----------
    order : Order
    photo : callable
        Gives a photo's bytes by the name it has in the order.
    fit : FitAnswer, optional

    Raises
    ------
    OrderError
        When the order was not checked yet, or a photo is not the one that was checked.
    PhotoError
        When a photo cannot be read.
    """
    if not order.checks:
        raise OrderError(
            tr("this order was not checked yet"), do=tr("Check it first; then it can be recorded")
        )
    check = order.checks[-1]
    return record_html(
        check,
        checked_pictures(check.report, photo),
        order=order.key,
        decision=order.decision,
        fit=fit,
    )


def _made_by(check: Check) -> str:
    """Which photocheck checked, and which one writes the record where that is another."""
    then = one_line(check.program, NAME)
    if check.by_this_program:
        return then
    return tr("{then} (written by {now})", then=then, now=program())


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


def record_html(
    check: Check,
    pictures: Mapping[str, NDArray[np.uint8]],
    *,
    order: str = "",
    decision: Decision | None = None,
    fit: FitAnswer | None = None,
) -> str:
    """One page for one check, said in the language spoken now.

    Parameters
    ----------
    check : Check
    pictures : mapping of photo path to (H, W, 3) uint8
        The upright photos; those that are missing are only named.
    order : str
        The order's key.
    decision : Decision, optional
    fit : FitAnswer, optional

    Returns
    -------
    str
        A whole HTML document.
    """
    from jinja2 import Environment, StrictUndefined

    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    source = files("photocheck.shown").joinpath("record.html").read_text(encoding="utf-8")
    report = check.report
    name = one_line(report.case.name or report.case.dog.name, NAME)
    # Which program wrote the record, where that is another, takes a line of the foot.
    lines = LINES - len(report.photos) - (0 if check.by_this_program else 1)
    sections, whole = _room_for(_sections(report, fit), lines)
    made = tr(
        "photocheck {program}, shape ratios: {ratios}; record written {at}.",
        program=_made_by(check),
        ratios=tr("as shipped")
        if check.ratios in ("", "shipped")
        else one_line(check.ratios, NAME),
        at=_utc(datetime.now(UTC)),
    )
    if not whole:
        made += " " + tr("Shortened to one page; the export has everything.")
    return environment.from_string(source).render(
        language=spoken(),
        title=name or tr("Order without a name"),
        record_of=tr("Record of one check"),
        headline=_cut_off(report.headline, HEADLINE),
        ground="#{:02x}{:02x}{:02x}".format(*BANNER_COLOURS[report.verdict]),
        pictures=_pictures(report, pictures),
        about=_about(check, order),
        spans=_spans(report),
        tables=[_doubt(report)] if report.budget else [],
        sections=sections,
        decision={"title": tr("Decision"), "said": _decision(decision)},
        cautions=[_cut_off(" ".join(report.cautions), 2 * REASON)] if report.cautions else [],
        photos_title=tr("Photos, each with its SHA-256 checksum:"),
        photos=[
            {"title": one_line(photo.path, NAME), "sha256": one_line(photo.sha256, 64)}
            for photo in report.photos
        ],
        made=made,
    )


def _pictures(report: Report, pictures: Mapping[str, NDArray[np.uint8]]) -> list[dict[str, str]]:
    made = []
    for index, entry in enumerate(report.case.photos[:PICTURES]):
        if entry.path not in pictures:
            continue
        rgb = annotate(pictures[entry.path], report, index, bare=True)
        alt = (
            tr("The photo from the front with its marks and widths.")
            if entry.view == "front"
            else tr("The side photo with its marks and the lengths drawn between them.")
        )
        made.append({"source": _data_uri(rgb), "alt": alt})
    return made


def _data_uri(rgb: NDArray[np.uint8]) -> str:
    from PIL import Image

    picture = Image.fromarray(rgb)
    picture.thumbnail((PICTURE_WIDTH, 4 * PICTURE_WIDTH), Image.Resampling.LANCZOS)
    file = io.BytesIO()
    picture.save(file, "JPEG", quality=QUALITY, optimize=True)
    return f"data:image/jpeg;base64,{base64.b64encode(file.getvalue()).decode('ascii')}"


def _about(check: Check, order: str) -> list[tuple[str, str]]:
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
        (tr("order"), one_line(order, NAME)),
        (tr("dog"), one_line(dog.name, NAME)),
        (tr("breed"), one_line(dog.breed, NAME)),
        (tr("age"), age),
        (tr("weight"), weight),
        *measured,
        (tr("coat"), tr(_COATS[dog.coat]) if dog.coat in _COATS else ""),
        (tr("build"), tr(BUILD_TITLES[dog.build]) if dog.build in BUILD_TITLES else ""),
        (tr("checked"), _utc(check.at)),
        (tr("checked by"), tr("the owner") if check.by == "owner" else one_line(check.by, NAME)),
        (tr("check number"), str(check.number) if check.number else ""),
    ]
    return [(term, text) for term, text in told if text]


def _spans(report: Report) -> dict[str, Any]:
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


def _doubt(report: Report) -> dict[str, Any]:
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


def _sections(report: Report, fit: FitAnswer | None) -> list[tuple[str, list[str]]]:
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


def _room_for(
    sections: list[tuple[str, list[str]]], left: int
) -> tuple[list[dict[str, Any]], bool]:
    """As much of the sections as so many lines hold, and whether that is all."""
    whole = True
    shown: list[dict[str, Any]] = []
    for title, texts in sections:
        items: list[str] = []
        left -= 2  # the title and the gap before it
        for text in dict.fromkeys(texts):
            said = _cut_off(text, SENTENCE)
            lines = ceil(len(said) / LINE)
            if lines > left:
                whole = False
                continue
            whole = whole and not said.endswith(ELLIPSIS)
            left -= lines
            items.append(said)
        if items:
            shown.append({"title": title, "items": items})
        else:
            left += 2
    return shown, whole


def _cut_off(text: str, longest: int) -> str:
    """On one line, and when too long ending at a word and with an ellipsis."""
    line = one_line(text, 10 * longest)
    if len(line) <= longest:
        return line
    return f"{line[:longest].rpartition(' ')[0] or line[:longest]} {ELLIPSIS}"


def _decision(decision: Decision | None) -> str:
    if decision is None:
        return tr("Not decided yet.")
    said = tr(
        "{choice} by {by}, {at}.",
        choice=capital_first(tr(STATE_TITLES[decision.choice])),
        by=one_line(decision.by, NAME) or tr("nobody named"),
        at=_utc(decision.at),
    )
    return f"{said} {_cut_off(decision.reason, REASON)}".strip()


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


def _utc(moment: datetime) -> str:
    """To the minute; a moment without a time zone is taken for UTC."""
    aware = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    return f"{aware:%Y-%m-%d %H:%M} UTC"
