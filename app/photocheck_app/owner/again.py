"""The second round of the readings: the first numbers stay hidden until the new ones are in."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from functools import partial
from typing import Final

import streamlit as st

from photocheck.case.lengths import format_length, parse_reading
from photocheck.case.model import Reading, Take
from photocheck.errors import CaseError
from photocheck.judge.repeats import needs_third, tape_noise
from photocheck.orders.draft import takes_of
from photocheck.orders.filling import Blank
from photocheck.orders.gaps import understood_reading
from photocheck.orders.screens import ASKED
from photocheck.speech import capital_first, later, listed, tr
from photocheck.words import READING_TITLES
from photocheck_app import kept
from photocheck_app.owner.readings import HOW, example_of, say_back, tape_drawn
from photocheck_app.owner.way import (
    Way,
    helper_measures,
    let_helper_measure,
    show_ways_on,
    typed,
)
from photocheck_app.shared import as_text, beside

HEADING: Final = later("And once more")


def show(way: Way, page: str) -> None:
    """Every reading that was taken, with an empty field for each further time."""
    taken = [name for name in ASKED if _taken(way, name)]
    # what the result asked for comes first, and stays there once it is typed
    names = sorted(taken, key=lambda name: _more(way, name) not in st.session_state)
    if not names:
        st.info(tr("Nothing was measured yet. Go back and begin with the first round."))
    else:
        st.write(
            tr(
                "Measure each again as if for the first time. Your first number is shown as soon "
                "as the new one is in. You may leave out what you like."
            )
        )
        whose_hands(way)
    for name in names:
        with st.container(border=True):
            _once_more(way, name)
    show_ways_on(way, page)


def whose_hands(way: Way) -> None:
    """Whether somebody else measures this time."""
    helps = helper_measures(way.key, way.draft)
    name = kept.hold(f"{way.key}/helper", helps, partial(let_helper_measure, way.key))
    st.toggle(tr("Somebody else holds the tape this time"), key=name)
    st.caption(tr("Two people tell more than one: each leads the tape a little differently."))


def _taken(way: Way, name: str) -> tuple[Take, ...]:
    """The takes of a reading that are understood."""
    found = []
    for take in takes_of(way.draft.readings.get(name)):
        with suppress(CaseError):
            mm, unit = parse_reading(name, take.text, way.unit)
            found.append(Take(mm, take.text, unit, take.at, take.by))
    return tuple(found)


def _once_more(way: Way, name: str) -> None:
    title = tr(READING_TITLES[name])
    st.subheader(capital_first(title), anchor=False)
    st.html(beside(tape_drawn(name), tr(HOW[name])))
    fields(way, name)


def want_more(way: Way, names: Sequence[str]) -> None:
    """Have one more field for each of these readings, though those before fit each other."""
    for name in names:
        there = len(takes_of(way.draft.readings.get(name)))
        if there > 1:
            st.session_state[_more(way, name)] = there


def _more(way: Way, name: str) -> str:
    return f"{way.key}/{name}/more"


def fields(way: Way, name: str) -> None:
    """An empty field for each further time, and what all of them say together.

    Where one more is wanted of a reading, its numbers stay hidden until that is in.
    """
    there = max(2, len(takes_of(way.draft.readings.get(name))))
    if st.session_state.get(_more(way, name)) == there:
        _field(way, name, there)
        st.caption(tr("Your earlier numbers are shown as soon as the new one is in."))
        return
    for number in range(1, there):
        _field(way, name, number)
    takes = _taken(way, name)
    if len(takes) < 2:
        return
    _compare(name, takes, way.unit)
    if needs_third(takes):
        _field(way, name, there)
    elif len(takes) == there:
        st.button(
            tr("Measure it another time"),
            key=f"more_{name}",
            icon=":material/replay:",
            on_click=want_more,
            args=(way, (name,)),
        )


def third_wanted(way: Way, name: str, second: str) -> bool:
    """Whether a second number, as typed, lies so far from the first that a third is wanted."""
    takes = _taken(way, name)
    with suppress(CaseError):
        mm, unit = parse_reading(name, second, way.unit)
        return len(takes) < 3 and needs_third((*takes[:1], Take(mm, second, unit)))
    return False


def _field(way: Way, name: str, number: int) -> None:
    """One empty field, with how it was understood."""
    parts = {"title": capital_first(tr(READING_TITLES[name])), "unit": way.unit_word}
    label = {
        1: tr("{title}, once more, in {unit}", **parts),
        2: tr("{title}, a third time, in {unit}", **parts),
    }.get(number, tr("{title}, another time, in {unit}", **parts))
    with st.container(key=f"number_{way.unit}_{name}_{number}"):
        blank = Blank("readings", name, take=number)
        text = typed(way, blank, label, placeholder=example_of(way.unit))
    say_back(lambda: understood_reading(name, text, way.unit), text)


def _compare(name: str, takes: Sequence[Take], unit: str) -> None:
    """All numbers, once they are in, and what they say together; a third is asked for at once."""
    every = " · ".join(format_length(take.mm, unit) for take in takes)
    st.markdown(tr("Your numbers: {takes}", takes=f"**{as_text(every)}**"))
    if needs_third(takes):
        title = tr(READING_TITLES[name])
        st.warning(
            tr("These lie farther apart than a tape does.")
            + " "
            + (
                tr("Please measure the {reading} a third time.", reading=title)
                if len(takes) == 2
                else tr("Please measure the {reading} another time.", reading=title)
            ),
            icon=":material/straighten:",
        )
        return
    aside = tape_noise({name: Reading.of(takes)}).aside.get(name, ())
    if aside:
        outvoted = listed([format_length(takes[k].mm, unit) for k in aside])
        said = tr(
            "{takes} does not fit the others. It is kept, but does not count.", takes=outvoted
        )
        st.caption(as_text(said))
    else:
        st.caption(f":material/check: {tr('They fit each other.')}")
