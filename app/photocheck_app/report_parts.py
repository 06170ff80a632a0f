"""A report as parts of the page; the desk uses the same parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, Literal

import numpy as np
import pandas as pd
import streamlit as st

from photocheck.case.lengths import format_length
from photocheck.judge.wording import (
    doubted_sentences,
    explanation_sentences,
    one_more_photo_sentence,
)
from photocheck.report.model import Report, SpanResult
from photocheck.shown.display import display_copies
from photocheck.shown.picture import annotate
from photocheck.shown.plain import BUDGET_LINES
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


def show_headline(report: Report) -> None:
    """The verdict as one sentence, and how large an error would have been seen."""
    boxes = {"agrees": st.success, "could_hide": st.info}
    box = boxes.get(report.verdict, st.warning)
    box(f"## {as_text(report.headline)}", icon=BADGES[report.verdict][1])
    if report.promise:
        st.write(as_text(report.promise))


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
    low, high = format_length(span.low_mm, unit), format_length(span.high_mm, unit)
    read_mm = span.reading_mm
    tape = tr("not given") if read_mm is None else format_length(read_mm, unit)
    st.markdown(
        tr("Tape: **{tape}**", tape=tape)
        + "  \n"
        + tr(
            "Photo: {photo}, between {low} and {high}",
            photo=format_length(span.photo_mm, unit),
            low=low.removesuffix(f" {unit}"),
            high=high,
        )
    )


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
    stance = [f"{finding.sentence} {finding.instruction}" for finding in photo.stance]
    listed("", [*photo.remarks, *stance])


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
