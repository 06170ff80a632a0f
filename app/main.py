"""The page: choose an order, check it, read the answer.  Start: ``streamlit run app/main.py``."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import streamlit as st
from answer import as_text, show_report
from intake import SAMPLES, TakenIn, sample_files, sample_names, take_in
from strings import English as say

import photocheck
from photocheck.desk.picture import annotate
from photocheck.errors import PhotocheckError
from photocheck.report import Report
from photocheck.reportfile import report_text


@dataclass(frozen=True)
class Outcome:
    """What came of one press of the button, kept while the page is drawn anew."""

    asked: Any
    error: str = ""
    report: Report | None = None
    pictures: tuple[np.ndarray, ...] = ()
    unused: tuple[str, ...] = ()


def page() -> None:
    """The whole page."""
    st.set_page_config(page_title=say.title)
    st.title(say.title)
    st.write(say.intro)
    # Tabs and not a switch: what is uploaded in one must outlive a look at the other.
    sample_tab, own_tab = st.tabs([say.sample_tab, say.own_tab])
    with sample_tab:
        offer_samples()
    with own_tab:
        offer_upload()


def offer_samples() -> None:
    """Choose and check one of the invented cases."""
    names = sample_names()
    if not names:
        st.info(as_text(say.no_samples.format(folder=SAMPLES.name)))
        return
    st.caption(say.samples_invented)
    name = st.selectbox(say.sample, names, format_func=str.capitalize, key="sample")
    if st.button(say.check, key="check_sample", type="primary"):
        run("sample_outcome", name, lambda: take_in(*sample_files(name)))
    show("sample_outcome", name)


def offer_upload() -> None:
    """Upload and check a case file with its photos."""
    st.caption(say.own_kept)
    # Any kind of file may be chosen: what cannot be read is answered in photocheck's words.
    case_file = st.file_uploader(say.case_file, key="case_file")
    photos = st.file_uploader(say.photos, accept_multiple_files=True, key="photos")
    asked = tuple(f.file_id for f in (case_file, *photos) if f)
    if st.button(say.check, key="check_own", type="primary"):
        if case_file is None:
            st.info(say.case_file_first)
            return
        files = [(f.name, f.getvalue()) for f in (case_file, *photos)]
        run("own_outcome", asked, lambda: take_in(files[0], files[1:]))
    show("own_outcome", asked)


def run(slot: str, asked: Any, take: Callable[[], TakenIn]) -> None:
    """Check what `take` gives and keep the outcome, showing how far it has come."""
    with st.status(say.reading_files) as status:
        try:
            taken = take()
            total = len(taken.case.photos)
            report = photocheck.check(
                taken.case,
                photos=taken.photos,
                on_photo=lambda n: status.update(label=say.looked_at.format(number=n, total=total)),
            )
            status.update(label=say.drawing)
            pictures = tuple(
                annotate(taken.photos[photo.path].rgb, report, index)
                for index, photo in enumerate(report.photos)
            )
        except PhotocheckError as error:
            st.session_state[slot] = Outcome(asked, error=str(error))
            status.update(label=say.stopped, state="error")
        except Exception:
            # A fault of photocheck's own: the log gets the trace, the person a sentence.
            logging.getLogger(__name__).exception("the check failed")
            st.session_state[slot] = Outcome(asked, error=say.failed)
            status.update(label=say.stopped, state="error")
        else:
            st.session_state[slot] = Outcome(asked, "", report, pictures, taken.unused)
            status.update(label=say.done, state="complete")


def show(slot: str, asked: Any) -> None:
    """The outcome kept in `slot`, unless something else has been chosen since."""
    outcome = st.session_state.get(slot)
    if outcome is None or outcome.asked != asked:
        return
    if outcome.report is None:
        st.error(as_text(outcome.error))
        return
    if outcome.unused:
        st.info(as_text(say.unused.format(names=", ".join(outcome.unused))))
    show_report(outcome.report, outcome.pictures)
    st.download_button(
        say.download,
        report_text(outcome.report),
        file_name=say.download_name,
        mime="application/json",
        key=f"{slot}_download",
    )


if __name__ == "__main__":
    page()
