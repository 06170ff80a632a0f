"""The result: what it says, what to do next, and the way to the workshop."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Final, Literal

import streamlit as st

from photocheck.errors import CaseError, PhotocheckError
from photocheck.orders.gaps import Gap, gaps
from photocheck.orders.model import StoreError
from photocheck.report.file import report_text
from photocheck.report.model import Report
from photocheck.server import bench
from photocheck.server.run import check_order
from photocheck.speech import later, spoken, tr
from photocheck.uploads import BusyError
from photocheck_app.desk.shop_files import shop_ratios, shop_tolerances
from photocheck_app.doors.rate_limits import COUNTS, here
from photocheck_app.owner.way import AGAIN, TITLES, Way, go, show_ways_on
from photocheck_app.report_parts import (
    listed,
    show_doubt,
    show_headline,
    show_next_step,
    show_photo,
    show_readings,
    show_why,
)
from photocheck_app.shared import as_text, owners_store, say_busy

HEADING: Final = later("The result")

NEXT: Final = {
    "agrees": later("Nothing speaks against cutting by these numbers. Send them to the workshop."),
    "could_hide": later(
        "You can send them as they are. What is named below would make it surer, and often spares "
        "a question."
    ),
    "measure_again": later(
        "Take the tape once more, for what is named above, and type the new number. The rest stays."
    ),
    "retake": later("Your numbers may be right: this photo cannot show it. Take another one."),
    "cannot_tell": later(
        "The photo is too uncertain to vouch for these numbers. One more photo, or one change "
        "named below, will help."
    ),
}
"""What to do after each verdict."""

WAYS_BACK: Final = {
    "agrees": (),
    "could_hide": (
        (AGAIN, later("Read once more")),
        ("readings", later("Add to the readings")),
        ("photo", later("Add another photo")),
    ),
    "measure_again": (
        ("readings", later("Correct the readings")),
        (AGAIN, later("Read once more")),
    ),
    "retake": (("photo", later("Add another photo")),),
    "cannot_tell": (
        ("photo", later("Add another photo")),
        ("marks", later("Look at the marks again")),
    ),
}
"""Where each verdict leads back to, by one press."""


def show(way: Way) -> None:
    """What is missing, or what came out."""
    missing = gaps(way.draft)
    if missing:
        _show_gaps(missing)
        return
    report = _report(way)
    if report is None:
        return
    show_headline(report)
    st.write(tr(NEXT[report.verdict]))
    for number, (step, said) in enumerate(WAYS_BACK[report.verdict]):
        st.button(
            tr(said),
            key=f"to_{step}",
            type="secondary" if number else "primary",
            on_click=go,
            args=(step,),
            width="stretch",
        )
    _send(way, report)
    st.subheader(tr("Tape and photo"), anchor=False)
    show_readings(report)
    pictures = st.container()
    show_why(report)
    show_next_step(report)
    listed(tr("Mind"), report.cautions)
    with st.expander(tr("For those who want to know more")):
        listed("", report.redundancy)
        listed(
            tr("How sure tape and photo are, in 95 of 100"),
            [one.sentence for one in report.certainty],
        )
        show_doubt(report)
        st.download_button(
            tr("Download the report (JSON)"),
            report_text(report),
            "photocheck-report.json",
            "application/json",
            on_click="ignore",
        )
    show_ways_on("result")
    # Last, for drawing takes as long as checking: the answer is on the page by now.
    with pictures:
        for number, picture in enumerate(_pictures(way, report)):
            show_photo(report, number, picture)


def _show_gaps(missing: tuple[Gap, ...]) -> None:
    st.info(tr("A few things are still missing:"))
    for step in dict.fromkeys(gap.step for gap in missing):
        with st.container(border=True):
            listed("", [gap.sentence for gap in missing if gap.step == step])
            st.button(
                tr("Go to: {step}", step=tr(TITLES[step])),
                key=f"gap_{step}",
                on_click=go,
                args=(step,),
            )


def _once(way: Way, what: str, make: Callable[[], object]) -> object:
    """Made once for this draft and language; one of each is kept a visitor."""
    asked = (way.key, way.draft, spoken())
    known = st.session_state.get(what)
    if known is None or known[0] != asked:
        known = st.session_state[what] = (asked, make())
    return known[1]


def _report(way: Way) -> Report | None:
    def check() -> Report:
        COUNTS.count("checks from address", here())
        COUNTS.count("checks of link", way.key)
        ratios, tolerated = shop_ratios(), shop_tolerances()
        with bench.at_work():
            return check_order(
                owners_store(),
                way.key,
                draft=way.draft,
                ratios=ratios,
                memory=bench.PHOTOS,
                tolerated=tolerated,
            )

    try:
        with st.spinner(tr("Holding the tape against the photo")):
            found = _once(way, "result", check)
    except BusyError as error:
        say_busy(error)
        return None
    except StoreError:
        raise
    except CaseError as error:
        _not_checked(error, ("readings", "marks"))
        return None
    except PhotocheckError as error:
        _not_checked(error, ("photo", "marks"))
        return None
    assert isinstance(found, Report)
    return found


def _not_checked(error: PhotocheckError, steps: tuple[str, ...]) -> None:
    st.error(as_text(str(error)))
    st.write(tr("Nothing is lost. Put this right, then look at the result again."))
    for step in steps:
        st.button(
            tr("Go to: {step}", step=tr(TITLES[step])), key=f"gap_{step}", on_click=go, args=(step,)
        )


def _pictures(way: Way, report: Report) -> list[bytes]:
    def draw() -> list[bytes]:
        return [
            bench.picture(owners_store(), way.key, (asked, spoken()), report, number)
            for number in range(len(report.photos))
        ]

    asked = json.dumps(way.draft.to_dict(), sort_keys=True)
    try:
        with st.spinner(tr("Drawing on the photo")):
            found = _once(way, "result pictures", draw)
    except StoreError:
        raise
    except PhotocheckError as error:
        # The answer stands without them.
        st.error(as_text(str(error)))
        return []
    assert isinstance(found, list)
    return found


def _send(way: Way, report: Report) -> None:
    checks = owners_store().order(way.key).checks if way.checks else ()
    if checks and checks[-1].case == way.draft:
        st.success(
            tr("Sent to the workshop. Its answer will be shown here, under this page's link."),
            icon=":material/mark_email_read:",
        )
        return
    good = report.verdict in ("agrees", "could_hide")
    kind: Literal["primary", "secondary"] = "primary" if report.verdict == "agrees" else "secondary"
    said = tr("Send to the workshop") if good else tr("Send it to the workshop all the same")
    if st.button(said, key="send", type=kind, width="stretch"):
        owners_store().record_check(way.key, way.draft, report, by="owner", ratios=shop_ratios())
        st.rerun()
