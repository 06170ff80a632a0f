"""A sample case, checked: what the answer looks like before one has taken any photo."""

from __future__ import annotations

import streamlit as st

import photocheck
from photocheck.case.samples import sample_case, sample_names, sample_story
from photocheck.errors import PhotocheckError
from photocheck.photo.load import load_photo
from photocheck.report.model import Report
from photocheck.speech import spoken, tr
from photocheck_app.doors.settings import by_invitation_only
from photocheck_app.owner.way import begin, leave
from photocheck_app.report_parts import (
    annotated,
    listed,
    show_headline,
    show_next_step,
    show_photo,
    show_readings,
    show_why,
)
from photocheck_app.shared import as_text

FIRST = "flint"
"""Shown unless another is chosen: one reading is wrong, and the check says which and why."""


def show() -> None:
    """Choose a sample, and its answer."""
    st.title(tr("A sample, checked"), anchor=False)
    st.write(
        tr("This dog, its owner and its order are invented; the photo is drawn by a computer.")
    )
    names = sample_names()
    if not names:
        st.info(tr("The samples are not here: their folder is missing or empty."))
        _ways_on()
        return
    try:
        stories = {name: f"{name.capitalize()}: {tr(sample_story(name))}" for name in names}
        name = st.selectbox(
            tr("Sample"),
            names,
            index=names.index(FIRST) if FIRST in names else 0,
            format_func=stories.__getitem__,
            key="sample",
        )
        # A phone's line has no room for all of it.
        st.caption(as_text(tr(sample_story(name))))
        with st.spinner(tr("Holding the tape against the photo")):
            report, pictures = _checked(name, spoken())
    except PhotocheckError as error:
        st.error(as_text(str(error)))
    else:
        show_headline(report)
        show_readings(report)
        for number, picture in enumerate(pictures):
            show_photo(report, number, picture)
        show_why(report)
        show_next_step(report)
        listed(tr("Mind"), report.cautions)
    _ways_on()


def _ways_on() -> None:
    with st.container(horizontal=True):
        st.button(tr("Back"), key="back", on_click=leave, width="stretch")
        if by_invitation_only():
            return
        st.button(
            tr("Begin with my dog"), key="begin", type="primary", on_click=begin, width="stretch"
        )


@st.cache_resource(show_spinner=False, max_entries=6)
def _checked(name: str, said_in: str) -> tuple[Report, list[bytes]]:
    case = sample_case(name)
    photos = {entry.path: load_photo(entry.path) for entry in case.photos}
    report = photocheck.check(case, photos=photos)
    pictures = [
        annotated(photos[entry.path].rgb, report, number)
        for number, entry in enumerate(case.photos)
    ]
    return report, pictures
