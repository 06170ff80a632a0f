"""Deciding on an order, with a reason and a message to the owner."""

from __future__ import annotations

from functools import partial
from html import escape

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.bounds import LONGEST_MESSAGE, LONGEST_REASON
from photocheck.orders.deciding import CHOICE_TITLES, decide_on, reason_needed, take_back
from photocheck.orders.listing import STATE_TITLES, WAITING, following
from photocheck.orders.messages.drafting import draft_message
from photocheck.orders.model import CHOICES, SETTLED, Check, Order
from photocheck.speech import LANGUAGES, tr
from photocheck.words import by_whom
from photocheck_app.desk import mail, what_to_cut
from photocheck_app.desk.moves import FollowUp, go, say_on_arrival
from photocheck_app.desk.session import (
    begun,
    drop_unsent,
    field_key,
    keep_unsent,
    unsent,
    unsent_words,
)
from photocheck_app.desk.shop_files import shop_templates
from photocheck_app.shared import as_text, store


def show(order: Order, who: str) -> None:
    """The next step, and the decision with its reason and message."""
    report = order.checks[-1].told
    if report.next_step and order.state not in SETTLED:
        title = escape(tr("Next step"))
        st.html(f"<h2>{title}</h2>{escape(report.next_step.rstrip('.'))}.")
    if order.state in CHOICES:
        said = tr("Decided: {choice}.", choice=tr(STATE_TITLES[order.state]))
        with st.expander(tr("{said} Decide anew", said=said)):
            _form(order, who)
        with st.expander(tr("Take the decision back")):
            _taking_back(order, who)
    else:
        _form(order, who)
    _earlier(order, who)


def _earlier(order: Order, who: str) -> None:
    """What was written before others checked or decided: to be copied, not to be lost."""
    words = [
        text
        for name, text in unsent_words(who, order.key, "decision ").items()
        if not name.startswith(f"{_stand(order)} ") and _own_words(order, who, name, text)
    ]
    if words:
        with st.expander(tr("What you had written before the order changed")):
            for text in words:
                st.code(text, language=None, wrap_lines=True)


def _own_words(order: Order, who: str, name: str, text: str) -> bool:
    """Whether a field's text was written by somebody and not drafted."""
    _, number, _, kind, *about = name.split(" ")
    if kind != "message":
        return kind == "reason" and bool(text.strip())
    checks = [check for check in order.checks if str(check.number) == number]
    try:
        drafts = [_drafted(order, check, who, *about) for check in checks]
    except PhotocheckError:
        drafts = []  # the template is broken, which is told where it is used
    return text not in ("", *drafts)


def _stand(order: Order) -> str:
    return f"decision {order.checks[-1].number} {len(order.decisions)}"


def _drafted(order: Order, check: Check, who: str, choice: str) -> str:
    return draft_message(
        check.report,
        choice,
        language=order.language,
        templates=shop_templates(),
        answer=what_to_cut.answer_of(order, check, who) if choice == "accepted" else None,
    )


def _form(order: Order, who: str) -> None:
    # A new check is a new question: nothing written for the last one is carried over.
    stand = _stand(order)
    chosen = begun(who, order.key, f"{stand} choice", None)
    choice = st.radio(
        tr("Decision"),
        CHOICES,
        format_func=lambda c: tr(CHOICE_TITLES[c]),
        index=None if chosen is None else CHOICES.index(chosen),
        horizontal=True,
        key=field_key(order.key, f"{stand} choice"),
    )
    if choice is None:
        return
    needed = reason_needed(choice, order.checks[-1].report.verdict)
    reason = st.text_area(
        tr("Reason (needed)") if needed else tr("Reason (may stay empty)"),
        begun(who, order.key, f"{stand} reason", ""),
        key=field_key(order.key, f"{stand} reason"),
        height=68,
        help=needed or None,
        placeholder=tr("for the history; the owner does not see it"),
        max_chars=LONGEST_REASON,
    )
    message = _message(order, who, choice, stand)
    label = tr("Record: {choice}", choice=tr(STATE_TITLES[choice]))
    if not st.button(label, type="primary", key="decide", width="stretch"):
        st.caption(tr("Goes into the history as {name}.", name=as_text(by_whom(who))))
        return
    try:
        if choice == "accepted":
            what_to_cut.note_wish(order, who)
        decide_on(store(), order, choice, by=who, reason=reason, message=message)
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    drop_unsent(who, order.key, "decision", "drafted")
    _go_on(order, choice, who)
    st.rerun()


def _go_on(order: Order, choice: str, who: str) -> None:
    """To the next order that waits, with a way back and a way to take the decision back."""
    name = order.name or tr("order without a name")
    said = tr(
        "Recorded for {name}: {choice}. The message is in the history.",
        name=name,
        choice=tr(STATE_TITLES[choice]),
    )
    after = following(store().listed(WAITING).lines, order.key)
    if not after:
        said = f"{said} {tr('No other order waits.')}"
    say_on_arrival(
        said,
        FollowUp("undo", tr("Take it back"), partial(_take_back_now, order.key, who)),
        FollowUp("back_to", tr("Show {name}", name=as_text(name)), partial(go, case=order.key)),
    )
    go(case=after)


def _take_back_now(key: str, who: str) -> None:
    """The decision that was just recorded; nobody has to say why."""
    try:
        take_back(store(), store().order(key), by=who, reason=tr("taken back at once"))
    except PhotocheckError as error:
        say_on_arrival(str(error))
        return
    go(case=key)


def _taking_back(order: Order, who: str) -> None:
    """Take back what was decided, with a reason."""
    name = f"{_stand(order)} why back"
    reason = st.text_area(
        tr("Why it does not hold (needed)"),
        begun(who, order.key, name, ""),
        key=field_key(order.key, name),
        height=68,
        placeholder=tr("for the history; the owner does not see it"),
        max_chars=LONGEST_REASON,
    )
    st.caption(
        tr("The order waits again. What the owner was told is told already: write to them too.")
    )
    if not st.button(tr("Take the decision back"), key="take_back", width="stretch"):
        return
    try:
        take_back(store(), order, by=who, reason=reason)
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    drop_unsent(who, order.key, "decision")
    say_on_arrival(tr("Taken back; the order waits again."))
    st.rerun()


def _message(order: Order, who: str, choice: str, stand: str) -> str:
    """The message as it stands: drafted, until somebody changes it."""
    name = f"{stand} message {choice}"
    written = unsent(who, order.key, name)
    before = unsent(who, order.key, f"drafted {name}", "")
    if written is None or written == before:
        try:
            draft = _drafted(order, order.checks[-1], who, choice)
        except PhotocheckError as error:
            st.warning(as_text(str(error)))
            draft = ""
        if draft != written:
            # What is to be cut changed since, by another weight to come for example.
            drop_unsent(who, order.key, name)
            keep_unsent(who, order.key, name, draft)
            keep_unsent(who, order.key, f"drafted {name}", draft)
    begin = begun(who, order.key, name, "")
    key = field_key(order.key, name)
    with st.container(horizontal=True, vertical_alignment="bottom"):
        spoken = tr(LANGUAGES.get(order.language, order.language))
        st.markdown(tr("Message to the owner ({language})", language=spoken), width="stretch")
        with st.popover(tr("Copy"), icon=":material/content_copy:"):
            st.code(st.session_state.get(key, begin), language=None, wrap_lines=True)
    message: str = st.text_area(
        tr("Message to the owner"),
        begin,
        key=key,
        height=190,
        label_visibility="collapsed",
        max_chars=LONGEST_MESSAGE,
    )
    mail.show(order, message)
    return message
