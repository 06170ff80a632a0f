"""All tape readings on one page, typed as people type them, for whoever puts one right."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import streamlit as st

from photocheck.errors import CaseError
from photocheck.judge.wording import CAUTIONS
from photocheck.orders.draft import reading_text, takes_of
from photocheck.orders.filling import Blank
from photocheck.orders.gaps import understood_reading
from photocheck.orders.screens import ASKED
from photocheck.speech import capital_first, later, number, tr
from photocheck.words import NECK_RING, READING_TITLES, UNIT_WORDS
from photocheck_app.owner.way import (
    AGAIN,
    ASIDE,
    Way,
    chosen,
    go,
    show_ways_on,
    typed,
)
from photocheck_app.shared import as_text, beside, drawing

HEADING: Final = later("What does the tape say?")

HOW: Final = {
    "half_neck": later(
        "Begin at the forward point of the breastbone. Lead the tape up around the side of the "
        "neck to the top of the shoulder blades. It lies flat and close, but does not pull."
    ),
    "front_length": later(
        "Begin at the breastbone. Lead the tape down between the forelegs, behind the foreleg, "
        "and up along the ribs to the last rib, halfway up the flank. It touches the dog all the "
        "way."
    ),
    "rear_length": later(
        "From that point on the last rib, lead the tape over the hip to where the tail begins."
    ),
    "full_length": later(
        "The same line in one go: from the breastbone past the last rib to where the tail begins. "
        "Measure it anew; do not add up."
    ),
    NECK_RING: later(
        "Close the tape into a ring that just slips over the head, and lay it where the collar of "
        "the harness will lie. Read the whole ring."
    ),
}
"""How each reading is taken, in short words."""

PROOFS: Final = {
    NECK_RING: later(
        "Please take this one too: tape against tape is the cheapest proof of the half neck."
    ),
    "full_length": later(
        "Please take this one too: it proves front and rear length without any photo."
    ),
}
"""Why a reading is asked for that nothing is cut by."""

EXAMPLES: Final = {"cm": "36.8", "in": "14 1/2"}


def show(way: Way, page: str) -> None:
    """All readings, each with its drawing, its field and how it was understood."""
    st.write(tr("Type each number as you read it. Leave out what you did not measure."))
    words = {unit: tr(word) for unit, word in UNIT_WORDS.items()}
    with st.container(key="aside_unit"):
        told = chosen(
            way, Blank("order", "unit"), tr("My tape shows"), words, "", side_by_side=True
        )
    unit = told or way.unit
    st.info(
        tr("Let the dog stand at ease on level ground, its head as it carries it.")
        + "\n\n"
        + tr(
            "Lay the tape snug on the line where the harness will lie, and do not pull it taut: "
            "pulled, it slides up the neck and cuts corners at the chest, and reads short."
        )
        + "\n\n"
        + tr(CAUTIONS[2]),
        icon=":material/pets:",
    )
    for name in ASKED:
        with st.container(border=True):
            _reading(way, name, unit)
    _once_more(way)
    show_ways_on(way, page)


def _once_more(way: Way) -> None:
    """The way to the second round, as soon as there is anything to read again."""
    with st.container(border=True):
        st.subheader(tr(ASIDE[AGAIN]), anchor=False)
        st.write(
            tr(
                "Two of your own readings tell more than one. Put the tape away, then measure "
                "again without looking at these numbers."
            )
        )
        st.button(
            tr(ASIDE[AGAIN]),
            key="to_again",
            icon=":material/replay:",
            on_click=go,
            args=(AGAIN,),
            disabled=not way.draft.readings,
            width="stretch",
        )


def _reading(way: Way, name: str, unit: str) -> None:
    title = tr(READING_TITLES[name])
    st.subheader(capital_first(title), anchor=False)
    if name in PROOFS:
        st.write(tr(PROOFS[name]))
    st.html(beside(tape_drawn(name), tr(HOW[name])))
    with st.container(key=f"number_{unit}_{name}"):
        text = field(way, name, unit)
    say_back(lambda: understood_reading(name, text, unit), text)
    takes = takes_of(way.draft.readings.get(name))
    if len([take for take in takes if take.text]) > 1:
        every = reading_text(way.draft.readings[name])
        st.caption(as_text(tr("Measured more than once: {takes}", takes=every)))


def tape_drawn(name: str) -> str:
    """HTML of where the tape runs for a reading."""
    described = tr("Where the tape runs for the {title}.", title=tr(READING_TITLES[name]))
    return drawing("tape", described, shown=name)


def example_of(unit: str) -> str:
    """What a field for a reading shows while it is empty."""
    return tr("for example {example}", example=number(EXAMPLES[unit]))


def field(way: Way, name: str, unit: str) -> str:
    """The field of a reading's first time; gives what was typed."""
    title = capital_first(tr(READING_TITLES[name]))
    label = tr("{title} in {unit}", title=title, unit=tr(UNIT_WORDS[unit]))
    return typed(way, Blank("readings", name), label, placeholder=example_of(unit))


def say_back(understand: Callable[[], str], text: str) -> None:
    """How a text was understood, or why it was not; a line is there in any case.

    Were it not, the page would move under the finger that leaves the field for a button.
    """
    if not text:
        st.caption(tr("Fractions, commas and units are all understood."))
        return
    try:
        st.caption(f":material/check: {as_text(understand())}")
    except CaseError as error:
        st.error(as_text(str(error)), icon=":material/edit:")
