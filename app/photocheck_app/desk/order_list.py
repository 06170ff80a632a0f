"""The list of orders: waiting ones first, the worst of them on top."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Final

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.bounds import LONGEST_BY, LONGEST_FIELD
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.listing import STATE_TITLES, chosen, counts
from photocheck.orders.model import OrderLine
from photocheck.server.demo_orders import bring_in_samples
from photocheck.speech import tr
from photocheck.words import VERDICT_TITLES, VERDICTS
from photocheck_app.desk import bulk, downloads, keys, links
from photocheck_app.desk.figures import chip, verdict_chip
from photocheck_app.desk.follow import follow_list
from photocheck_app.desk.moves import check_anew, go, say_on_arrival, when
from photocheck_app.desk.shop_files import (
    checked_by_shop,
    shop_ratios,
    shop_tolerances,
    tell_problems,
)
from photocheck_app.doors.settings import desk_is_open
from photocheck_app.framework import Container
from photocheck_app.held_uploads import content_of, let_go
from photocheck_app.shared import as_text, language, limits, store

ROWS: Final = 25
"""Orders shown at once."""

WIDTHS: Final = (2.6, 1, 1.7, 5, 1.3)


def show(who: str) -> None:
    """Counts, filters and the list."""
    seen = store().stamp()  # before the list: what comes between shows in the next look
    lines = store().lines()
    tell_problems()
    title, actions = st.columns([2, 3], vertical_alignment="center")
    heading = tr("Orders at the workshop")
    title.html(f"<h1>{escape(heading)}</h1>")
    found = _filters(lines)
    with actions, st.container(horizontal=True, horizontal_alignment="right"):
        bulk.offer(lines, who)
        links.invite(who)
        downloads.export(found)
        _upload(who)
        _samples()
        keys.show(keys.OF_LIST)
    follow_list(seen)
    if not lines:
        st.info(
            tr(
                "No orders yet. They appear here as soon as an owner begins one; you can also "
                "bring in case files, or the invented samples to try the desk with."
            )
        )
        return
    if not found:
        st.info(tr("No order fits. Choose “all” or use fewer words."))
        return
    _table(found)


def _filters(lines: Sequence[OrderLine]) -> list[OrderLine]:
    number = counts(lines)

    def state_title(state: str) -> str:
        if not state:
            return tr("all ({number})", number=len(lines))
        return tr("{state} ({number})", state=tr(STATE_TITLES[state]), number=number[state])

    left, middle, right, far = st.columns([5.2, 1.8, 2, 1.3], vertical_alignment="bottom")
    state = left.segmented_control(
        tr("State"),
        ["", *STATE_TITLES],
        format_func=state_title,
        default="",
        required=True,
        key="desk_state",
        persist_state="session",
    )
    verdict = middle.selectbox(
        tr("Verdict"),
        ["", *VERDICTS],
        format_func=lambda v: tr(VERDICT_TITLES[v]) if v else tr("any"),
        key="desk_verdict",
        persist_state="session",
    )
    text = right.text_input(
        tr("Find"),
        placeholder=tr("name or words of the verdict"),
        max_chars=LONGEST_FIELD,
        key="desk_find",
        persist_state="session",
    )
    if desk_is_open():
        _name(far)
    return chosen(lines, state=state or "", verdict=verdict or "", text=text or "")


def _name(place: Container) -> None:
    """Ask who is at the desk; kept in the address, so that a reload does not lose it."""
    if "desk_name" not in st.session_state:
        st.session_state["desk_name"] = st.query_params.get("by", "")

    def keep() -> None:
        if name := st.session_state["desk_name"].strip():
            st.query_params["by"] = name
        else:
            st.query_params.pop("by", None)

    place.text_input(
        tr("Your name"),
        placeholder=tr("for the history"),
        max_chars=LONGEST_BY,
        key="desk_name",
        on_change=keep,
    )


def _table(found: Sequence[OrderLine]) -> None:
    pages = [found[k : k + ROWS] for k in range(0, len(found), ROWS)]
    number = 1
    if len(pages) > 1:
        number = st.number_input(
            tr("Page, of {pages}", pages=len(pages)), 1, len(pages), key="desk_page", width=160
        )
    with st.container(key="desk_list"):
        heads = (tr("order"), tr("state"), tr("verdict"), tr("what the check says"), tr("sent"))
        for column, head in zip(st.columns(WIDTHS), heads, strict=True):
            column.html(f'<span class="quiet">{escape(head)}</span>')
        for line in pages[number - 1]:
            _row(line)


def _row(line: OrderLine) -> None:
    cells = st.columns(WIDTHS, vertical_alignment="center")
    cells[0].button(
        as_text(line.name) or tr("order without a name"),
        key=f"desk_open_{line.key}",
        type="tertiary",
        on_click=go,
        kwargs={"case": line.key},
    )
    kind = "waiting" if line.state == "waiting" else "state"
    cells[1].html(chip(tr(STATE_TITLES[line.state]), kind))
    cells[2].html(verdict_chip(line.verdict) or "&nbsp;")
    cells[3].html(escape(line.headline) or "&nbsp;")
    cells[4].html(f'<span class="quiet">{escape(when(line.sent))}</span>')


def _upload(who: str) -> None:
    with st.popover(tr("Bring in a case file"), key="desk_upload"):
        # Any kind of file may be chosen: what cannot be read is answered in photocheck's words.
        case_file = st.file_uploader(tr("Case file (JSON)"), key="desk_case_file")
        photos = st.file_uploader(
            tr("The photos it names"), accept_multiple_files=True, key="desk_photos"
        )
        if not st.button(tr("Bring in and check"), type="primary", key="desk_bring_in"):
            return
        if case_file is None:
            st.info(tr("Add the case file and its photos first."))
            return
        try:
            brought = bring_in(
                store(),
                (case_file.name, content_of(case_file)),
                [(photo.name, content_of(photo)) for photo in photos],
                language=language(),
                limits=limits(),
            )
        except PhotocheckError as error:
            st.error(as_text(str(error)))
            return
        let_go((case_file, *photos))
    if not check_anew(lambda: checked_by_shop(brought.key, who)):
        # The order is there all the same, and can be put right.
        st.button(tr("Open the order"), on_click=go, kwargs={"case": brought.key}, key="to_new")
        return
    if brought.unused:
        names = ", ".join(brought.unused)
        say_on_arrival(tr("Not named in the case file, so not used: {names}.", names=names))
    go(case=brought.key)
    st.rerun()


def _samples() -> None:
    label = tr("Bring in the samples")
    tip = tr("Invented dogs and orders, drawn by a computer, to try the desk with.")
    if not st.button(label, key="desk_samples", help=tip):
        return
    ratios, tolerated = shop_ratios(), shop_tolerances()
    bar = st.progress(0.0, tr("Bringing in the invented samples …"))

    def on_sample(done: int, of: int) -> None:
        bar.progress(done / of)

    came = bring_in_samples(
        store(), language=language(), ratios=ratios, tolerated=tolerated, on_sample=on_sample
    )
    bar.empty()
    said = tr("{number} invented samples came in.", number=came)
    say_on_arrival(said if came else tr("The samples were all here already."))
    st.rerun()
