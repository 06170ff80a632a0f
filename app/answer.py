"""A report as parts of the page."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import pandas as pd
import streamlit as st
from strings import English as say

from photocheck.desk.plain import BUDGET_LINES
from photocheck.judge.wording import explanation_sentences, one_more_photo_sentence
from photocheck.lengths import format_length
from photocheck.report import Report, SpanResult
from photocheck.words import SPAN_TITLES, SPANS, VERDICT_TITLES


def show_report(report: Report, pictures: Sequence[np.ndarray]) -> None:
    """The answer: the headline first, then the figures, then what to do."""
    st.caption(as_text(report.case.name))
    verdict_box = st.success if report.verdict == "agrees" else st.warning
    verdict_box(as_text(report.headline))
    show_readings(report)
    for photo, picture in zip(report.photos, pictures, strict=True):
        st.image(picture, caption=as_text(photo.path), width="stretch", output_format="JPEG")
        stance = [f"{finding.sentence} {finding.instruction}" for finding in photo.stance]
        listed("", [*photo.remarks, *stance])
    doubted = [span.sentence for span in report.spans if span.verdict not in ("", "agrees")]
    listed(say.why, (*doubted, *explanation_sentences(report.explanations), *report.outliers))
    steps = [report.next_step] if report.next_step else []
    if report.one_more_photo:
        steps.append(one_more_photo_sentence(report.one_more_photo))
    listed(say.next_step, steps)
    listed(say.among_themselves, report.redundancy)
    show_doubt(report)
    listed(say.mind, report.cautions)


def show_readings(report: Report) -> None:
    """One line a reading."""
    rows = [_reading(span, report.case.unit) for span in report.spans]
    titles = pd.Index([SPAN_TITLES[span.span] for span in report.spans], name=say.length)
    st.table(pd.DataFrame(rows, index=titles))


def _reading(span: SpanResult, unit: str) -> dict[str, str]:
    low, high = format_length(span.low_mm, unit), format_length(span.high_mm, unit)
    given = span.reading_mm is not None
    return {
        say.tape: format_length(span.reading_mm, unit) if given else say.not_given,
        say.photo: format_length(span.photo_mm, unit),
        say.interval: say.interval_of.format(low=low.removesuffix(f" {unit}"), high=high),
        say.verdict: VERDICT_TITLES.get(span.verdict, ""),
    }


def show_doubt(report: Report) -> None:
    """The largest sources of doubt; the downloaded report holds all."""
    largest = report.budget[:BUDGET_LINES]
    rows = [
        {SPAN_TITLES[span]: say.share.format(source.shares.get(span, 0.0)) for span in SPANS}
        for source in largest
    ]
    titles = pd.Index([source.title for source in largest], name=say.doubt_source)
    if rows:
        st.subheader(say.doubt)
        st.caption(say.doubt_help)
        st.table(pd.DataFrame(rows, index=titles))


def listed(title: str, items: Sequence[str]) -> None:
    """A titled list, or nothing when there is nothing to list."""
    if items and title:
        st.subheader(title)
    if items:
        st.markdown("\n".join(f"- {as_text(item)}" for item in items))


def as_text(text: str) -> str:
    """Markdown that shows the text as it is: names and file names are not ours to style."""
    return re.sub(r"([\\`*_\[\]<>$~:#|!])", r"\\\1", text)
