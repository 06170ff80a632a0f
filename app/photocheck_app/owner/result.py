"""The result: what it says, what to do next, and the way to the workshop."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from functools import partial
from typing import Final

import streamlit as st

from photocheck.case.lengths import as_said
from photocheck.errors import CaseError, PhotocheckError
from photocheck.judge.marks_told import MARKS_TOLD
from photocheck.orders.coming_back import SENT
from photocheck.orders.filling import Blank
from photocheck.orders.gaps import Gap, gaps
from photocheck.orders.model import StoreError
from photocheck.orders.screens import (
    FRONT,
    MARKS,
    PHOTO,
    QUICK,
    RESULT,
    again,
    depth_of,
    screen_of,
)
from photocheck.report.file import report_text
from photocheck.report.model import Offer, Report
from photocheck.server import bench
from photocheck.server.run import check_order
from photocheck.speech import later, speaking, spoken, tr
from photocheck.uploads import BusyError
from photocheck.words import READING_TITLES
from photocheck_app.desk.shop_files import shop_ratios, shop_tolerances
from photocheck_app.doors.rate_limits import COUNTS, here
from photocheck_app.outage import guarded
from photocheck_app.owner import unsent
from photocheck_app.owner.again import want_more
from photocheck_app.owner.link import show_link
from photocheck_app.owner.way import (
    AGAIN,
    DOG,
    SEND,
    Way,
    go,
    go_deeper,
    put,
    show_ways_on,
    title_of,
    typed,
)
from photocheck_app.report_parts import (
    listed,
    show_doubt,
    show_figures,
    show_headline,
    show_next_step,
    show_photo,
    show_readings,
    show_why,
)
from photocheck_app.shared import as_text, owners_store, say_busy

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

PAGE_OF: Final = {
    **dict.fromkeys(("photo", "offset", "size", "focal", "framing", "corners", "square"), PHOTO),
    **dict.fromkeys(("marks", "chest", "front"), MARKS),
    **dict.fromkeys(("girth", "weight", "height", "chest_width", "coat"), DOG),
    "neck_width": FRONT,
}
"""Where each step that is no reading is taken."""

OFFERED: Final = 3
"""Of what may still be done, so much is shown: what brings most."""


def show(way: Way, page: str) -> None:
    """What is missing, or what came out: one sentence, one thing to do, one button to it."""
    missing = gaps(way.draft)
    if missing:
        _show_gaps(missing)
        show_ways_on(way, page, onward=False)
        return
    report = _report(way)
    if report is None:
        show_ways_on(way, page, onward=False)
        return
    show_headline(report)
    order = owners_store().order(way.key) if way.checks else None
    # The workshop has it as it stands, and asks nothing.
    sent = bool(order and order.state != "asked_again" and order.checks[-1].case == way.draft)
    if sent:
        unsent.over(way.key)
    else:
        st.write(tr(NEXT[report.verdict]))
        _put_right(way, report)
    if not sent:
        _send(report)
    elif order and order.state == "waiting":
        st.success(
            tr(SENT),
            icon=":material/mark_email_read:",
        )
        if report.verdict not in ("agrees", "could_hide"):
            st.write(tr("You need not wait for it: put it right now, and send it anew."))
            _put_right(way, report)
    pictures = st.container()
    if not sent:
        _offer(way, report)
    with st.expander(tr("The numbers one by one"), icon=":material/straighten:"):
        show_readings(report)
        listed(tr("Mind"), report.cautions)
    with st.expander(tr("For the maker"), icon=":material/handyman:"):
        show_why(report)
        show_next_step(report)
        show_figures(report)
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
    show_ways_on(way, page, onward=False)
    # Last, for drawing takes as long as checking: the answer is on the page by now.
    with pictures:
        for number, picture in enumerate(_pictures(way, report)):
            show_photo(report, number, picture)
            st.download_button(
                tr("Save this as a card"),
                partial(_card, way, report, number, spoken()),
                f"photocheck-{number + 1}.jpg",
                "image/jpeg",
                key=f"picture_{number}",
                icon=":material/share:",
                on_click="ignore",
                width="stretch",
            )


def _card(way: Way, report: Report, number: int, language: str) -> bytes:
    """The picture with its verdict and lengths, made when somebody wants it."""
    with speaking(language):
        told = (way.draft.owner.number, datetime.now(UTC).date().isoformat())
        return bench.picture(owners_store(), way.key, _asked(way), report, number, told=told)


def _asked(way: Way) -> tuple[str, str]:
    """What tells a drawn report of this order from another: the draft, and the language."""
    return json.dumps(way.draft.to_dict(), sort_keys=True), spoken()


def _put_right(way: Way, report: Report) -> None:
    """The one thing to do about what stands out, by one press."""
    if report.verdict in ("retake", "cannot_tell"):
        marks_first = any(one.name in MARKS_TOLD for one in report.explanations)
        there, other = (MARKS, PHOTO) if marks_first else (PHOTO, MARKS)
        _lead(there, first=True)
        _lead(other)
        return
    if report.verdict != "measure_again":
        return
    doubted = [span.span for span in report.spans if span.verdict == "measure_again"]
    doubted = doubted or list(way.draft.readings)
    if meant := _meant(report, doubted):
        reading, value = meant
        st.button(
            tr("I noted {value}, and typed it wrongly", value=as_said(value)),
            key=f"meant_{reading}",
            on_click=_mean,
            args=(way, reading, value),
            width="stretch",
        )
    for number, name in enumerate(doubted[:2]):
        title = tr(READING_TITLES[name])
        st.button(
            tr("Measure the {title} again", title=title),
            key=f"to_{name}",
            type="secondary" if number else "primary",
            on_click=go,
            args=(name,),
            width="stretch",
        )


def _lead(page: str, *, first: bool = False) -> None:
    said = {
        PHOTO: tr("Add another photo"),
        MARKS: tr("Look at the marks again"),
    }[page]
    st.button(
        said,
        key=f"to_{page}",
        type="primary" if first else "secondary",
        on_click=go,
        args=(page,),
        width="stretch",
    )


def _meant(report: Report, doubted: Sequence[str]) -> tuple[str, str] | None:
    """A reading in doubt that was taken once, with the likeliest value that it may have had."""
    candidates = report.explanations[0].candidates if report.explanations else ()
    for name, value, _ in candidates:
        if name in doubted and len(report.case.readings[name].takes) == 1:
            return name, value
    return None


@guarded
def _mean(way: Way, reading: str, value: str) -> None:
    put(way.key, Blank("readings", reading), value)


def _offer(way: Way, report: Report) -> None:
    """What would make it surer, with what it would buy; each leads to its place."""
    shown: dict[str, Offer] = {}
    for offer in report.offers:
        shown.setdefault(_page_of(offer), offer)
    if not shown or report.verdict == "agrees":
        return
    st.subheader(tr("What would make it surer"), anchor=False)
    for page, offer in list(shown.items())[:OFFERED]:
        with st.container(border=True):
            st.markdown(f"**{as_text(offer.sentence)}**  \n{as_text(offer.brings)}")
            measured = offer.each or ((offer.measured,) if offer.step == "once_more" else ())
            st.button(
                title_of(page), key=f"offer_{page}", on_click=_go_on, args=(way, page, measured)
            )
    if depth_of(way.draft) == QUICK:
        st.button(
            tr("Do all of it the careful way"),
            key="deeper",
            on_click=go_deeper,
            args=(way.key,),
            width="stretch",
        )


def _go_on(way: Way, page: str, measured: Sequence[str]) -> None:
    """To where an offer is taken up, with an empty field for each reading it asks for."""
    want_more(way, measured)
    go(page)


def _page_of(offer: Offer) -> str:
    if offer.each:
        return AGAIN
    if offer.step == "once_more":
        return again(offer.measured)
    return offer.measured or PAGE_OF[offer.step]


def _show_gaps(missing: tuple[Gap, ...]) -> None:
    st.info(tr("A few things are still missing:"))
    for step in dict.fromkeys(gap.step for gap in missing):
        with st.container(border=True):
            here_missing = [gap for gap in missing if gap.step == step]
            listed("", [gap.sentence for gap in here_missing])
            page = screen_of(here_missing[0])
            st.button(
                tr("Go to: {step}", step=title_of(page)),
                key=f"gap_{step}",
                on_click=go,
                args=(page,),
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
            tr("Go to: {step}", step=title_of(step)), key=f"gap_{step}", on_click=go, args=(step,)
        )


def _pictures(way: Way, report: Report) -> list[bytes]:
    def draw() -> list[bytes]:
        return [
            bench.picture(owners_store(), way.key, asked, report, number, bare=True)
            for number in range(len(report.photos))
        ]

    asked = _asked(way)
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


def _send(report: Report) -> None:
    good = report.verdict in ("agrees", "could_hide")
    st.button(
        tr("Send to the workshop") if good else tr("Send it to the workshop all the same"),
        key="to_send",
        type="primary" if good else "secondary",
        on_click=go,
        args=(SEND,),
        width="stretch",
    )


def show_send(way: Way, page: str) -> None:
    """Who orders, and the sending itself."""
    report = None if gaps(way.draft) else _report(way)
    if report is None:
        go(RESULT)
        st.rerun()
        return
    st.write(tr("So that the workshop knows whose order it is. All of it may be left out."))
    typed(way, Blank("owner", "name"), tr("Your name"))
    typed(way, Blank("owner", "reach"), tr("How to reach you: telephone or e-mail"))
    typed(way, Blank("dog", "name"), tr("Dog's name"))
    typed(way, Blank("owner", "number"), tr("Order number, if you have one"))
    pressed = st.button(tr("Send"), key="send", type="primary", width="stretch")
    show_link(way)
    show_ways_on(way, page, onward=False)
    if pressed:
        owners_store().record_check(way.key, way.draft, report, by="owner", ratios=shop_ratios())
        go(RESULT)
        st.rerun()
