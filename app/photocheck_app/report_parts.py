"""A report as parts of the page; the desk uses the same parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, Literal

import numpy as np
import pandas as pd
import streamlit as st

from photocheck.case.lengths import format_length
from photocheck.judge.wording import (
    STANCE_REASONS,
    doubted_sentences,
    explanation_sentences,
    one_more_photo_sentence,
)
from photocheck.report.model import Report, SpanResult
from photocheck.shown.display import display_copies
from photocheck.shown.picture import annotate
from photocheck.shown.plain import BUDGET_LINES, seen_from
from photocheck.speech import capital_first, tr
from photocheck.words import SPAN_TITLES, SPANS, VERDICT_TITLES
from photocheck_app.shared import as_text, picture

BADGES: Final[Mapping[str, tuple[Literal["green", "violet", "red", "orange", "blue"], str]]] = {
    "agrees": ("green", ":material/check:"),
    "could_hide": ("violet", ":material/visibility:"),
    "measure_again": ("red", ":material/straighten:"),
    "retake": ("orange", ":material/photo_camera:"),
    "cannot_tell": ("blue", ":material/question_mark:"),
}
"""Colour and sign of each verdict; its words stand beside them."""

_NO_BREAK: Final = "\u00a0"


def show_headline(report: Report) -> None:
    """The verdict as one sentence, and how large an error would have been seen."""
    boxes = {"agrees": st.success, "could_hide": st.info}
    box = boxes.get(report.verdict, st.warning)
    box(f"## {as_text(report.headline)}", icon=BADGES[report.verdict][1])
    if said := seen_from(report):
        st.write(as_text(said))


def show_readings(report: Report) -> None:
    """One card a reading: what the tape says, what the photo shows."""
    for one, other in ((0, 1), (2, 3)):
        for column, number in zip(st.columns(2), (one, other), strict=True):
            with column, st.container(border=True):
                _reading(report.spans[number], report.case.unit)


def _reading(span: SpanResult, unit: str) -> None:
    title = capital_first(tr(SPAN_TITLES[span.span]))
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown(f"**{title}**", width="content")
        if span.verdict:
            colour, icon = BADGES[span.verdict]
            st.badge(tr(VERDICT_TITLES[span.verdict]), color=colour, icon=icon)
    low, high = _whole(span.low_mm, unit), _whole(span.high_mm, unit)
    read_mm = span.reading_mm
    tape = tr("not given") if read_mm is None else _whole(read_mm, unit)
    st.markdown(
        tr("Tape: **{tape}**", tape=tape)
        + "  \n"
        + tr(
            "Photo: {photo}, between {low} and {high}",
            photo=_whole(span.photo_mm, unit),
            low=low.rpartition(_NO_BREAK)[0],
            high=high,
        )
    )


def _whole(mm: float, unit: str) -> str:
    """A length that no line's end parts: "17 7/8 in" read in two lines is another."""
    return format_length(mm, unit).replace(" ", _NO_BREAK)


def show_why(report: Report) -> None:
    """What is doubted, and the reasons that would explain it, likeliest first."""
    listed(
        tr("Why"),
        (
            *doubted_sentences(report),
            *explanation_sentences(report.explanations),
            *report.outliers,
        ),
    )


def annotated(photo_rgb: np.ndarray, report: Report, number: int, *, bare: bool = False) -> bytes:
    """The photo with what was marked and measured drawn on it, as JPEG.

    ``bare`` leaves out the verdict above and the lengths below it.
    """
    return display_copies(annotate(photo_rgb, report, number, bare=bare))[-1].jpeg


def show_photo(report: Report, number: int, jpeg: bytes) -> None:
    """One photo with what was seen in it, and what may be better about it."""
    photo = report.photos[number]
    said = tr("Photo {number} with your marks and what was measured.", number=number + 1)
    st.html(picture(jpeg, said))
    st.caption(said)
    # What it rests on are figures, and for the maker.
    stance = [
        f"{capital_first(tr(STANCE_REASONS[finding.name]))}: {finding.instruction}"
        for finding in photo.stance
    ]
    listed("", [*photo.remarks, *stance])


def show_figures(report: Report) -> None:
    """What the words above rest on, for the maker."""
    stance = (finding.sentence for photo in report.photos for finding in photo.stance)
    listed("", [*filter(None, (report.promise,)), *stance])


def show_next_step(report: Report) -> None:
    """The one thing that would help most."""
    steps = [report.next_step] if report.next_step else []
    if report.one_more_photo:
        steps.append(one_more_photo_sentence(report.one_more_photo))
    listed(tr("What would help most"), steps)


def show_doubt(report: Report) -> None:
    """The largest sources of doubt; the downloaded report holds all."""
    rows = [
        {tr(SPAN_TITLES[span]): f"{source.shares.get(span, 0.0):.0%}" for span in SPANS}
        for source in report.budget[:BUDGET_LINES]
    ]
    titles = [source.title for source in report.budget[:BUDGET_LINES]]
    if rows:
        title = tr("Where the doubt comes from")
        st.markdown(f"**{title}**")
        st.caption(tr("How much each source brings to the doubt (variance) of each length."))
        st.table(pd.DataFrame(rows, index=pd.Index(titles, name=tr("source"))))


def listed(title: str, items: Sequence[str]) -> None:
    """A titled list, or nothing when there is nothing to list."""
    if items and title:
        st.subheader(title, anchor=False)
    if items:
        st.markdown("\n".join(f"- {as_text(item)}" for item in items))
