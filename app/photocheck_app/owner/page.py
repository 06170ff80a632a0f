"""The owner's page: the welcome, a sample, or one step of an order."""

from __future__ import annotations

from typing import Final

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.model import OrderError, StoreError
from photocheck.orders.store.privacy import Retention
from photocheck.server import bench
from photocheck.server.access.addresses import LINK, address_of_link
from photocheck.speech import tr
from photocheck_app.doors.rate_limits import COUNTS, here
from photocheck_app.doors.settings import by_invitation_only
from photocheck_app.owner import again, dog, marks, photos, readings, result, sample, welcome
from photocheck_app.owner.way import AGAIN, TITLES, Way, begin, current_step, leave, show_progress
from photocheck_app.shared import as_text, begin_at_top, owners_store

KEPT: Final = Retention()

_SHOW = {
    "readings": readings.show,
    AGAIN: again.show,
    "dog": dog.show,
    "photo": photos.show,
    "marks": marks.show,
    "result": result.show,
}


def page() -> None:
    """The whole way."""
    key = _order_key()
    if current_step() == "sample":
        at = "sample"
        sample.show()
    elif not key:
        at = "welcome"
        welcome.show()
    else:
        at = _order(key)
    begin_at_top(at)


def _order_key() -> str:
    """The link in the address, or the one this visitor was at before looking elsewhere."""
    key = st.query_params.get(LINK, "")
    if key:
        st.session_state["order"] = key
        return key
    remembered = str(st.session_state.get("order", ""))
    if remembered and "step" not in st.query_params:
        st.query_params.update({LINK: remembered, "step": "readings"})
        return remembered
    return ""


def _order(key: str) -> str:
    try:
        way = _found(key)
    except OrderError as error:
        st.error(as_text(str(error)))
        if not by_invitation_only():
            st.button(tr("Begin anew"), type="primary", on_click=begin)
        st.button(tr("To the first page"), on_click=leave)
        return "lost"
    except StoreError:
        raise
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return "lost"
    step = current_step()
    _said_by_workshop(way)
    show_progress(way, step)
    st.header(tr(_HEADINGS[step]), anchor=False)
    _SHOW[step](way)
    _come_back(way)
    return step


def _found(link: str) -> Way:
    """The order of a link, without its history.

    Raises
    ------
    OrderError
        When it leads to none, or no longer.
    TooOftenError
        When links that lead nowhere were tried here too often.
    """
    unknown = "unknown links from address"
    COUNTS.refuse_beyond(unknown, here())
    try:
        return Way(link, owners_store().draft(link), *owners_store().latest(link))
    except OrderError:
        COUNTS.count(unknown, here())
        raise


def _said_by_workshop(way: Way) -> None:
    """The latest word of the workshop, on every step until the order is sent again."""
    if not way.decisions:
        return
    order = owners_store().order(way.key)
    if order.state not in ("accepted", "asked_again", "refused"):
        return
    message = order.decisions[-1].message
    said = {
        "accepted": tr("The workshop has accepted your order."),
        "asked_again": tr("The workshop asks you to look at your order again."),
        "refused": tr("The workshop cannot make this order."),
    }[order.state]
    box = st.success if order.state == "accepted" else st.warning
    box("\n\n".join(part for part in (said, as_text(message)) if part))


def _come_back(way: Way) -> None:
    with st.expander(tr("Come back later, or delete everything")):
        st.write(
            tr(
                "All you type is kept. To come back, or to go on at another device, keep this "
                "link. Whoever has it can see and change your order."
            )
        )
        st.code(address_of_link(st.context.url or "", way.key), language=None)
        st.caption(
            tr(
                "An order that was never sent is deleted by itself after {drafts:g} days, or when "
                "its link has run out, one that the workshop has decided on after {decided:g} "
                "days, unless the workshop keeps them longer.",
                drafts=KEPT.drafts_days,
                decided=KEPT.decided_days,
            )
        )
        sure = st.checkbox(tr("Delete my order and its photos for good"), key="sure")
        if st.button(tr("Delete"), disabled=not sure, key="delete"):
            bench.forget(owners_store(), way.key)
            leave()
            st.rerun()


_HEADINGS = {
    "readings": readings.HEADING,
    AGAIN: again.HEADING,
    "dog": dog.HEADING,
    "photo": photos.HEADING,
    "marks": marks.HEADING,
    "result": result.HEADING,
}
if not set(_SHOW) == set(_HEADINGS) == set(TITLES):
    raise AssertionError("every step needs its page and its heading")
