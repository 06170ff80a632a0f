"""What became of a delivered harness, as staff enter it on the order's page."""

from __future__ import annotations

from datetime import UTC, datetime
from html import escape
from typing import Final

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.fit.answer import MEASURE_TITLES
from photocheck.fit.cut_lengths import MEASURES
from photocheck.orders.bounds import LONGEST_FIELD, LONGEST_REASON
from photocheck.orders.heard import (
    FELT,
    FELT_TITLES,
    MEASURED_FOR,
    RESULT_TITLES,
    RESULTS,
    accepted_check,
    heard_sentence,
    last_heard,
    measured_again,
)
from photocheck.orders.model import Heard, Order
from photocheck.speech import capital_first, tr
from photocheck.words import READING_TITLES
from photocheck_app.desk.moves import say_on_arrival
from photocheck_app.desk.session import begun, drop_unsent, field_key
from photocheck_app.shared import as_text, store

_SAYS: Final = ("owner", "staff")


def show(order: Order, who: str) -> None:
    """The last word on the harness, and a form for the next; nothing where none was cut."""
    if accepted_check(order) is None:
        return
    known = last_heard(order)
    title = tr("The harness")
    if known is None:
        said = tr("Nothing was heard of it yet.")
    else:
        said = f"{known.day.isoformat()}: {heard_sentence(known)}"
    st.html(f"<h2>{escape(title)}</h2>{escape(said)}")
    with st.expander(tr("How does it fit?") if known is None else tr("Something else was heard")):
        _form(order, who)


def _form(order: Order, who: str) -> None:
    # What was entered is a new question's ground: the fields begin anew after it.
    stand = f"heard {len(order.heard)}"

    def field(name: str) -> str:
        return field_key(order.key, f"{stand} {name}")

    chosen = begun(who, order.key, f"{stand} result", None)
    result = st.radio(
        tr("How does it fit?"),
        RESULTS,
        format_func=lambda one: tr(RESULT_TITLES[one]),
        index=None if chosen is None else RESULTS.index(chosen),
        key=field("result"),
        label_visibility="collapsed",
    )
    if result is None:
        return
    felt: dict[str, str] = {}
    typed: dict[str, str] = {}
    if result != "fitted":
        felt, typed = _where(order, who, stand)
    titles = {"owner": tr("The owner"), "staff": tr("The workshop")}
    says = st.segmented_control(
        tr("Who says so"),
        _SAYS,
        format_func=titles.__getitem__,
        default=begun(who, order.key, f"{stand} says", _SAYS[0]),
        required=True,
        key=field("says"),
    )
    today = datetime.now(UTC).date()
    day = st.date_input(
        tr("Since when"),
        begun(who, order.key, f"{stand} day", today),
        format="YYYY-MM-DD",
        key=field("day"),
    )
    words = st.text_area(
        tr("In their own words (may stay empty)"),
        begun(who, order.key, f"{stand} words", ""),
        height=68,
        key=field("words"),
        max_chars=LONGEST_REASON,
    )
    if not st.button(tr("Enter it"), type="primary", key="hear", width="stretch"):
        return
    check = accepted_check(order)
    assert check is not None  # by `show`
    try:
        measured = measured_again(typed, check.report.case.unit)
        heard = Heard(
            at=datetime.now(UTC),
            day=day if day is not None else today,
            by=who,
            from_owner=says == "owner",
            result=result,
            felt=felt,
            measured=measured,
            words=words.strip(),
            check=check.number,
        )
        store().hear(order.key, heard)
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    drop_unsent(who, order.key, "heard")
    say_on_arrival(tr("Entered: {said}.", said=heard_sentence(heard)))
    st.rerun()


def _where(order: Order, who: str, stand: str) -> tuple[dict[str, str], dict[str, str]]:
    """Which measure was tight or loose, and the readings taken anew, as typed."""
    felt: dict[str, str] = {}
    typed: dict[str, str] = {}
    choices = ("", *FELT)
    for name in MEASURES:
        title = capital_first(tr(MEASURE_TITLES[name]))
        how = st.radio(
            title,
            choices,
            format_func=lambda one: tr(FELT_TITLES[one]),
            index=choices.index(begun(who, order.key, f"{stand} felt {name}", "")),
            horizontal=True,
            key=field_key(order.key, f"{stand} felt {name}"),
        )
        if not how:
            continue
        felt[name] = how
        reading = MEASURED_FOR[name]
        typed[reading] = st.text_input(
            tr("{reading}, measured again", reading=capital_first(tr(READING_TITLES[reading]))),
            begun(who, order.key, f"{stand} again {reading}", ""),
            key=field_key(order.key, f"{stand} again {reading}"),
            placeholder=tr("may stay empty"),
            help=tr("Without it nothing can be learnt from this."),
            max_chars=LONGEST_FIELD,
        )
    return felt, typed
