"""Links with which owners come to their own order: made, listed, taken back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from html import escape

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.bounds import LONGEST_FIELD
from photocheck.orders.filling import new_draft
from photocheck.orders.model import Order
from photocheck.orders.store.kept_passes import Pass
from photocheck.server.access.addresses import address_of_link
from photocheck.server.access.passes import LINK_DAYS, begin_with_link, end_link, link_for, links_of
from photocheck.speech import LANGUAGES, tr
from photocheck.words import UNITS
from photocheck_app.desk.moves import when
from photocheck_app.shared import as_text, language, store

DAYS = (7, 30, LINK_DAYS, 180)
"""How long a link may last, to choose from."""


def invite(who: str) -> None:
    """Begin an order for somebody, with the link to send to them."""
    with st.popover(tr("Invite an owner"), key="desk_invite", icon=":material/link:"):
        st.markdown(
            tr("Begins an order and gives a link to it. Whoever has the link sees that order only.")
        )
        name = st.text_input(
            tr("Name of the order"),
            placeholder=tr("the dog's or the owner's, say"),
            max_chars=LONGEST_FIELD,
            key="invite_name",
        )
        left, right = st.columns(2)
        spoken = left.segmented_control(
            tr("Language"),
            list(LANGUAGES),
            format_func=LANGUAGES.__getitem__,
            default=language(),
            required=True,
            key="invite_language",
        )
        unit = right.segmented_control(
            tr("Tape in"), UNITS, default="cm", required=True, key="invite_unit"
        )
        if st.button(tr("Begin and make the link"), type="primary", key="invite_now"):
            try:
                key, link = begin_with_link(store(), by=who, language=spoken or "en")
                draft = new_draft(unit or "cm").but("name", name.strip())
                store().save_draft(key, draft)
            except PhotocheckError as error:
                st.error(as_text(str(error)))
                return
            st.session_state["invited"] = link
        _show(st.session_state.get("invited", ""))


def of_order(order: Order, who: str) -> None:
    """The links of one order."""
    try:
        links = links_of(store(), order.key)
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    now = datetime.now(UTC)
    valid = [one for one in links if one.open_at(now)]
    title = tr("Links for the owner ({number})", number=len(valid))
    with st.expander(title, icon=":material/link:", key=f"links {order.key}"):
        _list(order, valid)
        days = st.segmented_control(
            tr("Lasts, in days"),
            DAYS,
            default=LINK_DAYS,
            required=True,
            key=f"days {order.key}",
        )
        made = f"link {order.key}"
        if st.button(tr("Make a link"), key="make_link"):
            link = link_for(store(), order.key, by=who, days=days or LINK_DAYS)
            st.session_state[made] = link
            st.rerun()
        _show(st.session_state.get(made, ""))


def _list(order: Order, valid: Sequence[Pass]) -> None:
    if not valid:
        st.caption(tr("No link opens this order now."))
    for one in valid:
        with st.container(horizontal=True, vertical_alignment="center"):
            said = tr(
                "by {name}, {made}, until {until}",
                name=one.by,
                made=when(one.at),
                until=when(one.expires),
            )
            st.html(f'<span class="quiet">{escape(said)}</span>', width="stretch")
            if st.button(tr("Take back"), key=f"end {one.sha256}", type="tertiary"):
                end_link(store(), order.key, one.sha256)
                st.session_state.pop(f"link {order.key}", None)
                st.rerun()


def _show(link: str) -> None:
    if not link:
        return
    st.caption(tr("Send this to the owner. It is shown only now; make another if it gets lost."))
    st.code(address_of_link(st.context.url or "", link), language=None, wrap_lines=True)
