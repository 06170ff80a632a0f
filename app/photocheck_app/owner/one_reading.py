"""One reading a screen: where the tape runs, one number, and how it was understood."""

from __future__ import annotations

from contextlib import suppress
from functools import partial

import streamlit as st

from photocheck.case.typed_numbers import bare_fraction
from photocheck.errors import CaseError
from photocheck.judge.wording import CAUTIONS
from photocheck.orders.filling import Blank
from photocheck.orders.gaps import understood_reading
from photocheck.orders.screens import ASKED, again, read_again
from photocheck.speech import tr
from photocheck.words import UNIT_WORDS
from photocheck_app.outage import guarded
from photocheck_app.owner import again as second_round
from photocheck_app.owner.readings import HOW, PROOFS, field, say_back, tape_drawn
from photocheck_app.owner.way import Way, chosen, name_of, put, show_ways_on
from photocheck_app.shared import as_text


def show(way: Way, screen: str) -> None:
    """The screen of one reading, or of its second time."""
    reading = read_again(screen)
    if reading:
        _once_more(way, reading)
    else:
        _first_time(way, screen)


def _first_time(way: Way, name: str) -> None:
    _show_how(name)
    unit = way.unit
    if name == ASKED[0]:
        words = {unit: tr(word) for unit, word in UNIT_WORDS.items()}
        with st.container(key="aside_unit"):
            told = chosen(
                way, Blank("order", "unit"), tr("My tape shows"), words, "", side_by_side=True
            )
        unit = told or unit
    blank = Blank("readings", name)
    with st.container(key=f"number_{unit}"):
        text = field(way, name, unit)
    if _fraction_of_cm(text, unit):
        _ask_unit(way, blank, text)
    else:
        say_back(lambda: understood_reading(name, text, unit), text)
    if name == ASKED[0]:
        st.caption(
            tr("Let the dog stand at ease on level ground, its head as it carries it.")
            + " "
            + tr(CAUTIONS[2])
        )
    elif name in PROOFS:
        st.caption(tr(PROOFS[name]))
    show_ways_on(way, name, stay=partial(_must_stay, way, blank, unit))


def _once_more(way: Way, name: str) -> None:
    _show_how(name)
    st.write(
        tr(
            "Measure it again as if for the first time. Your first number is shown as soon as the "
            "new one is in."
        )
    )
    second_round.fields(way, name)
    second_round.whose_hands(way)
    show_ways_on(
        way,
        again(name),
        stay=partial(_must_look, way, Blank("readings", name, take=1)),
    )


def _show_how(name: str) -> None:
    st.html(f'<div class="tape">{tape_drawn(name)}</div>')
    st.write(tr(HOW[name]))


def _fraction_of_cm(text: str, unit: str) -> bool:
    return unit == "cm" and bare_fraction(text)


def _ask_unit(way: Way, blank: Blank, text: str) -> None:
    """A fraction where the tape is said to show centimetres: whoever typed it says which."""
    st.warning(
        tr("A fraction is mostly one of inches. Which does {text} mean?", text=as_text(text)),
        icon=":material/help:",
    )
    for unit in ("in", "cm"):
        meant = f"{text} {unit}"
        with suppress(CaseError):
            said = understood_reading(blank.name, meant, unit)
            st.button(
                said, key=f"meant_{unit}", on_click=_mean, args=(way, blank, meant), width="stretch"
            )


@guarded
def _mean(way: Way, blank: Blank, text: str) -> None:
    st.session_state[name_of(way.key, blank)] = text
    put(way.key, blank, text)


def _must_stay(way: Way, blank: Blank, unit: str) -> bool:
    """Whether what was typed has to be put right first: it is said at the field."""
    text = str(st.session_state.get(name_of(way.key, blank), "")).strip()
    if not text:
        return False
    try:
        understood_reading(blank.name, text, unit)
    except CaseError:
        return True
    return _fraction_of_cm(text, unit)


def _must_look(way: Way, blank: Blank) -> bool:
    """Whether the new number is wrong, or so far from the first that a third is asked for.

    That is said once; whoever presses again goes on.
    """
    text = str(st.session_state.get(name_of(way.key, blank), "")).strip()
    if _must_stay(way, blank, way.unit):
        return True
    asked = f"{name_of(way.key, blank)} third"
    if not text or not second_round.third_wanted(way, blank.name, text):
        return False
    seen = bool(st.session_state.get(asked))
    st.session_state[asked] = True
    return not seen
