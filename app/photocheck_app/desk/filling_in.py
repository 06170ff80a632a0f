"""What staff correct and fill in on an order's page: marks, readings, dog, owner, photos."""

from __future__ import annotations

from html import escape
from typing import Final

import streamlit as st

from photocheck.orders.bounds import LONGEST_FIELD, LONGEST_TOLD
from photocheck.orders.completing import (
    filled_in,
    is_being_told,
    unchecked_changes,
    working_copy,
)
from photocheck.orders.corrections import with_readings
from photocheck.orders.draft import Draft, reading_text
from photocheck.orders.filling import Blank, owners_hand, typed_at
from photocheck.orders.model import Order
from photocheck.report.model import Explanation
from photocheck.speech import later, tr
from photocheck.words import BUILDS, COATS, FACT_TITLES, READING_TITLES, READINGS, UNITS
from photocheck_app.desk import photo_changes
from photocheck_app.desk.keeping import keep_and_check
from photocheck_app.desk.moves import go
from photocheck_app.desk.session import begun, drop_unsent, field_key, keep_unsent

CORRECT: Final = "desk_correct"
"""Key of the popover with the readings."""

PICTURES: Final = "desk_pictures"
"""Key of the popover with the photos."""

TEXTS: Final = {
    Blank("dog", "name"): later("Dog's name"),
    Blank("dog", "breed"): later("Breed or mix"),
    Blank("dog", "weight"): later("Weight"),
    Blank("dog", "age_months"): later("Age in months"),
    **{Blank("dog", fact): title for fact, title in FACT_TITLES.items()},
    Blank("dog", "coat_depth"): later("Depth of the coat"),
    Blank("owner", "name"): later("Who orders"),
    Blank("owner", "reach"): later("How to reach them"),
    Blank("owner", "email"): later("E-mail"),
    Blank("owner", "telephone"): later("Telephone"),
    Blank("owner", "number"): later("Order number"),
}
"""What is typed, with titles."""

NOTES: Final = Blank("owner", "notes")
"""Of several lines."""

WORDS: Final = {Blank("dog", "coat"): later("Coat"), Blank("dog", "build"): later("Build")}
"""What is chosen from a few words."""

_LENGTHS: Final = (*FACT_TITLES, "coat_depth")


def show(order: Order, who: str) -> None:
    """Everything that may be corrected or filled in, each behind its button."""
    case = working_copy(order)
    if waits := unchecked_changes(order):
        st.info(tr("Told since this check: {what}.", what="; ".join(waits)))
        if st.button(tr("Check it as it stands"), type="primary", key="check_told"):
            _done(order, who, case, keep=True, fields=())
    with st.container(horizontal=True, key="desk_completing"):
        if case.photos:
            st.button(
                tr("Correct the marks"),
                on_click=go,
                kwargs={"case": order.key, "do": "marks"},
                key="to_marks",
                icon=":material/my_location:",
            )
        correct = st.popover(
            tr("Correct a reading"), icon=":material/straighten:", key=CORRECT, on_change="rerun"
        )
        with correct:
            _readings(order, case, who)
        with st.popover(tr("Dog and owner"), icon=":material/pets:", key="desk_facts"):
            _facts(order, case, who)
        pictures = st.popover(
            tr("Photos"), icon=":material/photo_camera:", key=PICTURES, on_change="rerun"
        )
        if pictures.open:  # not before, for its pictures must be decoded
            with pictures:
                photo_changes.show(order, case, who)


def offer_what_fits(order: Order, who: str, found: tuple[Explanation, ...]) -> None:
    """The values that would fit, each a press away from the reading it would correct."""
    # The same value in other words, 27 cm and 27.0 cm, is offered once.
    values = {
        (name, round(mm, 1)): text
        for one in reversed(found)
        for name, text, mm in reversed(one.candidates)
    }
    if not values:
        return
    with st.container(horizontal=True, vertical_alignment="center", key="desk_would_fit"):
        st.html(escape(tr("What would fit:")), width="content")
        for (name, _), text in reversed(values.items()):
            st.button(
                tr("{reading}: {value}", reading=tr(READING_TITLES[name]), value=text),
                key=f"would_fit {name} {text}",
                help=tr("Put it into “Correct a reading”, to be asked of the owner."),
                on_click=_try,
                args=(order, who, name, text),
            )


def _try(order: Order, who: str, name: str, text: str) -> None:
    # Another turn has fields of its own, so that the browser takes the value.
    st.session_state[_turn_key(order)] = _turn(order) + 1
    keep_unsent(who, order.key, f"{_stand(order)} {name}", text)
    st.session_state[CORRECT] = True


def _turn_key(order: Order) -> str:
    return f"desk tried {order.key}"


def _turn(order: Order) -> int:
    return int(st.session_state.get(_turn_key(order), 0))


def _stand(order: Order) -> str:
    """Fields belong to one state of the order: after a new check they begin with its readings."""
    return f"reading {len(order.checks)} {_turn(order)}"


def _readings(order: Order, case: Draft, who: str) -> None:
    st.markdown(tr("As told by phone, for example. What was typed before stays in the history."))
    st.caption(tr("Measured more than once: type all, as in 41 / 41.5."))
    stand = _stand(order)
    unit = case.unit
    if not unit:
        field = f"{stand} unit"
        unit = st.radio(
            tr("The tape shows"),
            UNITS,
            horizontal=True,
            index=UNITS.index(begun(who, order.key, field, UNITS[0])),
            key=field_key(order.key, field),
        )
    typed = {}
    places = st.columns(2)
    for number, name in enumerate(READINGS):
        before = reading_text(case.readings.get(name))
        field = f"{stand} {name}"
        typed[name] = places[number % 2].text_input(
            f"{tr(READING_TITLES[name])} ({unit})",
            begun(who, order.key, field, before),
            key=field_key(order.key, field),
            max_chars=LONGEST_FIELD,
        )
    if st.button(tr("Check again with these"), type="primary", key="check_readings"):
        told = case if case.unit else case.but("unit", unit)
        corrected = with_readings(told, typed, owners_hand())
        _done(order, who, corrected, keep=is_being_told(order), fields=("reading",))


def _facts(order: Order, case: Draft, who: str) -> None:
    st.markdown(tr("As told by phone, for example. What was typed before stays in the history."))
    stand = f"facts {len(order.checks)}"
    typed: dict[Blank, str] = {}
    places = st.columns(2)
    for number, (blank, title) in enumerate(TEXTS.items()):
        said = tr(title)
        label = f"{said} ({case.bare_unit})" if blank.name in _LENGTHS else said
        field = f"{stand} {blank.part} {blank.name}"
        typed[blank] = places[number % 2].text_input(
            label,
            begun(who, order.key, field, _text(case, blank)),
            key=field_key(order.key, field),
            max_chars=LONGEST_FIELD,
        )
    for number, (blank, words) in enumerate((one, _WORDS_OF[one.name]) for one in WORDS):
        field = f"{stand} {blank.part} {blank.name}"
        told = begun(who, order.key, field, _text(case, blank) or words[0])
        picked = places[number % 2].selectbox(
            tr(WORDS[blank]),
            words,
            index=words.index(told) if told in words else 0,
            format_func=tr,
            key=field_key(order.key, field),
        )
        if picked != words[0] or _text(case, blank):
            typed[blank] = picked
    field = f"{stand} {NOTES.part} {NOTES.name}"
    typed[NOTES] = st.text_area(
        tr("Notes"),
        begun(who, order.key, field, _text(case, NOTES)),
        key=field_key(order.key, field),
        max_chars=LONGEST_TOLD,
        height=90,
    )
    if st.button(tr("Keep and check"), type="primary", key="keep_facts"):
        _done(order, who, filled_in(case, typed, owners_hand()), keep=True, fields=("facts",))


_WORDS_OF: Final = {"coat": COATS, "build": BUILDS}


def _text(case: Draft, blank: Blank) -> str:
    told = typed_at(case, blank)
    return f"{told:g}" if isinstance(told, float) else "" if told is None else str(told)


def _done(order: Order, who: str, draft: Draft, *, keep: bool, fields: tuple[str, ...]) -> None:
    if keep_and_check(order, who, draft, keep=keep):
        drop_unsent(who, order.key, *fields)
        go(case=order.key)
        st.rerun()
