"""The list of orders: waiting ones first, the worst of them on top."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Final

import streamlit as st

from photocheck.orders.bounds import LONGEST_BY, LONGEST_FIELD
from photocheck.orders.listing import SORTS, STATE_TITLES
from photocheck.orders.model import Listed, OrderLine, Selection
from photocheck.server.demo_orders import bring_in_samples
from photocheck.speech import tr
from photocheck.words import VERDICT_TITLES, VERDICTS
from photocheck_app.desk import bulk, downloads, keys, links
from photocheck_app.desk.figures import chip, verdict_chip
from photocheck_app.desk.follow import follow_list
from photocheck_app.desk.moves import go, say_on_arrival, when
from photocheck_app.desk.shop_files import shop_ratios, shop_tolerances, tell_problems
from photocheck_app.doors.settings import desk_is_open
from photocheck_app.framework import Container
from photocheck_app.shared import as_text, language, store

ROWS: Final = 25
"""Orders shown at once."""

WIDTHS: Final = (2.6, 1, 1.7, 5, 1.3)


def show(who: str) -> None:
    """Counts, filters and the list."""
    seen = store().stamp()  # before the list: what comes between shows in the next look
    tell_problems()
    title, actions = st.columns([2, 3], vertical_alignment="center")
    heading = tr("Orders at the workshop")
    title.html(f"<h1>{escape(heading)}</h1>")
    of_state = store().listed(Selection(), most=0).of_state
    wanted = _wanted(of_state)
    page = st.session_state.get(_PAGE, 1)
    part = store().listed(wanted, first=(page - 1) * ROWS, most=ROWS)
    if part.found and not part.lines:  # fewer than when that page was shown
        st.session_state[_PAGE] = page = 1
        part = store().listed(wanted, most=ROWS)
    with actions, st.container(horizontal=True, horizontal_alignment="right"):
        bulk.offer(store().listed(_AGREEING).lines, who)
        links.invite(who)
        downloads.export(part.found, lambda: [line.key for line in store().listed(wanted).lines])
        _samples()
        keys.show(keys.OF_LIST)
    follow_list(seen)
    if not any(of_state.values()):
        st.info(
            tr(
                "No orders yet. They appear here as soon as an owner begins one; you can also "
                "bring in a table or case files, or the invented samples to try the desk with."
            )
        )
        return
    if not part.found:
        st.info(tr("No order fits. Choose “all” or use fewer words."))
        return
    _table(part)


_AGREEING: Final = Selection(state="waiting", verdict="agrees")

_PAGE: Final = "desk_page"
STATE: Final = "desk_state"
SORT: Final = "desk_sort"
"""Fields of the page, which other places set to lead here."""


def _wanted(number: Mapping[str, int]) -> Selection:
    """The filters and how the list is sorted."""

    def state_title(state: str) -> str:
        if not state:
            return tr("all ({number})", number=sum(number.values()))
        return tr("{state} ({number})", state=tr(STATE_TITLES[state]), number=number[state])

    left, *rest = st.columns([6.5, 1.1, 1.95, 1.45, 1.0], vertical_alignment="bottom")
    state = left.segmented_control(
        tr("State"),
        ["", *STATE_TITLES],
        format_func=state_title,
        default="",
        required=True,
        key=STATE,
        persist_state="session",
    )
    verdict = rest[0].selectbox(
        tr("Verdict"),
        ["", *VERDICTS],
        format_func=lambda v: tr(VERDICT_TITLES[v]) if v else tr("any"),
        key="desk_verdict",
        persist_state="session",
    )
    by = rest[1].selectbox(
        tr("Sorted by"),
        list(SORTS),
        format_func=lambda name: tr(SORTS[name]),
        key=SORT,
        persist_state="session",
    )
    text = rest[2].text_input(
        tr("Find"),
        placeholder=tr("name, number, e-mail, notes …"),
        max_chars=LONGEST_FIELD,
        key="desk_find",
        persist_state="session",
    )
    if desk_is_open():
        _name(rest[3])
    return Selection(state or "", verdict or "", text or "", by or "")


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


def _table(part: Listed) -> None:
    pages = -(-part.found // ROWS)
    if pages > 1:
        st.number_input(tr("Page, of {pages}", pages=pages), 1, pages, key=_PAGE, width=160)
    with st.container(key="desk_list"):
        heads = (tr("order"), tr("state"), tr("verdict"), tr("what the check says"), tr("sent"))
        for column, head in zip(st.columns(WIDTHS), heads, strict=True):
            column.html(f'<span class="quiet">{escape(head)}</span>')
        for line in store().retold(part.lines):
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
    if line.about:
        cells[0].html(f'<span class="quiet">{escape(line.about)}</span>')
    kind = "waiting" if line.state == "waiting" else "state"
    cells[1].html(chip(tr(STATE_TITLES[line.state]), kind))
    cells[2].html(verdict_chip(line.verdict) or "&nbsp;")
    cells[3].html(escape(line.headline) or "&nbsp;")
    cells[4].html(f'<span class="quiet">{escape(when(line.sent))}</span>')


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
