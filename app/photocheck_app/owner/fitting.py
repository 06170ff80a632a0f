"""How the harness fits, asked by the owner's link some weeks after it was accepted."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Final

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.fit.answer import MEASURE_TITLES
from photocheck.fit.cut_lengths import MEASURES
from photocheck.judge.wording import CAUTIONS
from photocheck.orders.bounds import LONGEST_REASON
from photocheck.orders.heard import (
    FELT,
    FELT_TITLES,
    RESULTS,
    accepted_check,
    asks_owner,
    heard_sentence,
    last_heard,
)
from photocheck.orders.model import Heard, Order, StoreError
from photocheck.speech import capital_first, later, tr
from photocheck_app.desk.session import begun, drop_unsent, field_key
from photocheck_app.outage import guarded
from photocheck_app.owner.way import Way
from photocheck_app.report_parts import listed
from photocheck_app.shared import as_text, owners_store

_ANSWERS: Final = {
    "fitted": later("It fits well"),
    "tight_or_loose": later("It is too tight or too loose"),
    "returned": later("I sent it back"),
}
_ASKED: Final = "photocheck fitting"
_OWNER: Final = "owner"


def show(way: Way) -> None:
    """The question while it is due, else a way to it; nothing before the order is accepted."""
    if not way.decisions:
        return
    order = owners_store().order(way.key)
    if accepted_check(order) is None:
        return
    known = last_heard(order)
    if asks_owner(order, datetime.now(UTC)) or st.session_state.get(_ASKED):
        with st.container(border=True, key="fitting"):
            _question(way, order)
        return
    if known is None:
        with st.expander(tr("Is the harness with you already? Tell us how it fits")):
            _question(way, order)
        return
    st.success(tr("You told us: {said}. Thank you.", said=as_text(heard_sentence(known))))
    if known.result != "fitted":
        listed(tr("Mind"), [tr(caution) for caution in CAUTIONS])
        st.write(tr("The workshop reads this and answers you."))
    with st.expander(tr("That has changed")):
        _question(way, order)


def _question(way: Way, order: Order) -> None:
    """One question, a button for each answer; where and in what words only if it does not fit."""
    asked = st.session_state.get(_ASKED, "")
    question = (
        tr("Where is it too tight or too loose?")
        if asked
        else tr("How does the harness fit your dog?")
    )
    st.subheader(question, anchor=False)
    if not asked:
        for result in RESULTS:
            st.button(
                tr(_ANSWERS[result]),
                key=f"fitting_{result}",
                type="primary" if result == "fitted" else "secondary",
                on_click=_answer,
                args=(way.key, order, result),
                width="stretch",
            )
    else:
        _where(way, order, asked)
    if problem := st.session_state.pop(f"{_ASKED} problem", ""):
        st.error(as_text(problem))


@guarded
def _answer(key: str, order: Order, result: str) -> None:
    """Keep at once that it fits; ask where, otherwise."""
    if result != "fitted":
        st.session_state[_ASKED] = result
        return
    _keep(key, order, result, {}, "")


def _where(way: Way, order: Order, result: str) -> None:
    choices = ("", *FELT)
    felt = {}
    for name in MEASURES:
        how = st.radio(
            capital_first(tr(MEASURE_TITLES[name])),
            choices,
            format_func=lambda one: tr(FELT_TITLES[one]),
            index=choices.index(begun(_OWNER, way.key, f"heard felt {name}", "")),
            horizontal=True,
            key=field_key(way.key, f"heard felt {name}"),
        )
        if how:
            felt[name] = how
    words = st.text_area(
        tr("In your own words (may stay empty)"),
        begun(_OWNER, way.key, "heard words", ""),
        key=field_key(way.key, "heard words"),
        max_chars=LONGEST_REASON,
    )
    # Not by a callback: what was typed last comes with the press, after its arguments were made.
    pressed = st.button(
        tr("Tell the workshop"), key="fitting_send", type="primary", width="stretch"
    )
    st.button(tr("Back"), key="fitting_back", on_click=_leave, args=(way.key,), width="stretch")
    if pressed:
        _keep(way.key, order, result, felt, words)
        st.rerun()


def _leave(key: str) -> None:
    st.session_state.pop(_ASKED, None)
    drop_unsent(_OWNER, key, "heard")


def _keep(key: str, order: Order, result: str, felt: dict[str, str], words: str) -> None:
    check = accepted_check(order)
    assert check is not None  # by `show`
    now = datetime.now(UTC)
    heard = Heard(now, now.date(), _OWNER, True, result, felt, {}, words.strip(), check.number)
    try:
        owners_store().hear(key, heard)
    except StoreError:
        raise
    except PhotocheckError as error:
        st.session_state[f"{_ASKED} problem"] = str(error)
        return
    _leave(key)
