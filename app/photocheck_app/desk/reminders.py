"""Questions to owners that are open for days, each with a reminder to be sent."""

from __future__ import annotations

from html import escape

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.bounds import LONGEST_MESSAGE
from photocheck.orders.deciding import decide_on
from photocheck.orders.unanswered import (
    ASKED,
    PATIENCE_DAYS,
    Question,
    draft_reminder,
    unanswered,
)
from photocheck.speech import tr, tr_n
from photocheck_app.desk import mail
from photocheck_app.desk.moves import go, say_on_arrival, when
from photocheck_app.desk.session import begun, drop_unsent, field_key
from photocheck_app.desk.shop_files import shop_templates
from photocheck_app.shared import as_text, store

MOST = 50
"""Questions shown at once, the oldest (judgement)."""


def show(who: str) -> None:
    """The list."""
    st.html(f"<h1>{escape(tr('Unanswered questions'))}</h1>")
    days = st.number_input(
        tr("Open for at least so many days"),
        0,
        365,
        PATIENCE_DAYS,
        key="desk_patience",
        width=240,
        persist_state="session",
    )
    found = unanswered(store(), patience_days=int(days))
    if not found:
        st.info(tr("No owner has left a question open for so long."))
        return
    st.caption(tr_n("{count} question is open.", "{count} questions are open.", len(found)))
    for question in found[:MOST]:
        _one(question, who)


def _one(question: Question, who: str) -> None:
    order = question.order
    name = order.name or tr("order without a name")
    with st.container(border=True):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.button(
                as_text(name),
                key=f"desk_open_{order.key}",
                type="tertiary",
                on_click=go,
                kwargs={"case": order.key},
            )
            asked = tr_n(
                "asked {count} time, last {when}, {days} days ago, by {name}",
                "asked {count} times, last {when}, {days} days ago, by {name}",
                question.times,
                when=when(question.asked.at),
                days=question.days,
                name=question.asked.by,
            )
            reach = order.draft.owner.reach
            said = " · ".join(part for part in (asked, order.draft.owner.name, reach) if part)
            st.html(f'<span class="quiet">{escape(said)}</span>')
        with st.expander(tr("Reminder")):
            _reminder(question, who)


def _reminder(question: Question, who: str) -> None:
    order = question.order
    field = f"reminder {len(order.decisions)}"
    try:
        drafted = draft_reminder(question, shop_templates())
    except PhotocheckError as error:
        st.warning(as_text(str(error)))
        drafted = ""
    key = field_key(order.key, field)
    begin = begun(who, order.key, field, drafted)
    message = st.text_area(
        tr("Message to the owner"), begin, key=key, height=220, max_chars=LONGEST_MESSAGE
    )
    with st.container(horizontal=True):
        with st.popover(tr("Copy"), icon=":material/content_copy:"):
            st.code(st.session_state.get(key, begin), language=None, wrap_lines=True)
        sent = st.button(tr("Record: reminded"), key=f"reminded {order.key}", type="primary")
    mail.show(order, message, where=order.key)
    st.caption(tr("Nothing is sent from here: send it as you write to owners, then record it."))
    if not sent:
        return
    try:
        decide_on(store(), order, ASKED, by=who, reason=tr("reminded"), message=message)
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    drop_unsent(who, order.key, "reminder")
    say_on_arrival(tr("Recorded: {name} was reminded.", name=order.name or order.draft.dog.name))
    st.rerun()
