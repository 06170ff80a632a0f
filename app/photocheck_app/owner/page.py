"""The owner's page: the welcome, a sample, or one screen of an order."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders import screens
from photocheck.orders.coming_back import DECIDED
from photocheck.orders.depths import DEPTHS
from photocheck.orders.model import OrderError, StoreError
from photocheck.server.access.addresses import BEGIN, LINK
from photocheck.speech import capital_first, tr
from photocheck_app.doors.rate_limits import COUNTS, UNKNOWN_LINKS, here
from photocheck_app.doors.settings import by_invitation_only
from photocheck_app.owner import (
    again,
    dog,
    fitting,
    marks,
    one_reading,
    photos,
    readings,
    result,
    sample,
    unsent,
    welcome,
)
from photocheck_app.owner.answered import show_answers
from photocheck_app.owner.menu import show_whereabouts
from photocheck_app.owner.way import (
    AGAIN,
    DOG,
    PAGES,
    READINGS_PAGE,
    SEND,
    Way,
    begin,
    current_step,
    go,
    leave,
    title_of,
)
from photocheck_app.shared import as_text, begin_at_top, owners_store, show_shop

_SHOW: Final[Mapping[str, Callable[[Way, str], None]]] = {
    **dict.fromkeys((*screens.ASKED, *map(screens.again, screens.ASKED)), one_reading.show),
    screens.PHOTO: photos.show,
    screens.FRONT: photos.show,
    screens.MARKS: marks.show,
    screens.RESULT: result.show,
    READINGS_PAGE: readings.show,
    AGAIN: again.show,
    DOG: dog.show,
    SEND: result.show_send,
}


def page() -> None:
    """The whole way."""
    key = _order_key()
    step = current_step()
    if step == "sample":
        at = "sample"
        sample.show()
    elif not key:
        at = "welcome"
        show_shop()
        welcome.show()
        unsent.tell_gone()
    else:
        at = _order(key, step)
    begin_at_top(at)


def _order_key() -> str:
    """The link in the address, or the one this visitor was at before looking elsewhere."""
    key = st.query_params.get(LINK, "")
    if key:
        st.session_state["order"] = key
        return key
    remembered = str(st.session_state.get("order", ""))
    if remembered and "step" not in st.query_params:
        st.query_params.from_dict({LINK: remembered})
        return remembered
    asked = st.query_params.get(BEGIN, "")
    if asked in DEPTHS:
        # Of the first page, which is there before the app is.
        begin(asked)
        return st.query_params.get(LINK, "")
    return ""


def _order(key: str, step: str) -> str:
    try:
        way = _found(key)
    except OrderError as error:
        st.error(as_text(capital_first(str(error))))
        if not by_invitation_only():
            st.button(tr("Begin anew"), type="primary", on_click=begin)
        st.button(tr("To the first page"), on_click=leave)
        unsent.over(key)
        return "lost"
    except StoreError:
        raise
    except PhotocheckError as error:
        st.error(as_text(capital_first(str(error))))
        return "lost"
    # Where a link without a page leads stays the same while one types there.
    at = screens.RESULT if way.checks else screens.stands_at(way.draft)
    step = step or st.session_state.setdefault(f"photocheck {key} led to", at)
    show_whereabouts(way, step)
    if step in (screens.RESULT, SEND):
        show_shop()
    if step == screens.RESULT:
        fitting.show(way)
    _said_by_workshop(way, step)
    st.header(_heading(step), anchor=False)
    _SHOW[step](way, step)
    if way.checks:
        show_answers(way)
    return step


def _heading(step: str) -> str:
    return tr(_HEADINGS[step]) if step in _HEADINGS else title_of(step)


def _found(link: str) -> Way:
    """The order of a link, without its history.

    Raises
    ------
    OrderError
        When it leads to none, or no longer.
    TooOftenError
        When links that lead nowhere were tried here too often.
    """
    COUNTS.refuse_beyond(UNKNOWN_LINKS, here())
    try:
        return Way(link, owners_store().draft(link), *owners_store().latest(link))
    except OrderError:
        COUNTS.count(UNKNOWN_LINKS, here())
        raise


def _said_by_workshop(way: Way, step: str) -> None:
    """The latest word of the workshop: whole on the result, one line everywhere else."""
    if not way.decisions:
        return
    order = owners_store().order(way.key)
    if order.decision is None:
        return
    message = order.decision.message
    said = tr(DECIDED[order.state])
    box = st.success if order.state == "accepted" else st.warning
    if step == screens.RESULT:
        box("\n\n".join(part for part in (said, as_text(message)) if part))
    elif order.state == "asked_again":
        st.caption(f":material/mail: {said}")
        st.button(tr("Read what it asks"), key="to_question", on_click=go, args=(screens.RESULT,))


_HEADINGS: Final = {
    screens.PHOTO: photos.HEADING,
    screens.FRONT: photos.HEADING_FRONT,
    screens.MARKS: marks.HEADING,
    READINGS_PAGE: readings.HEADING,
    AGAIN: again.HEADING,
    DOG: dog.HEADING,
}
if set(_SHOW) != set(PAGES):
    raise AssertionError("every page of an order needs its function")
