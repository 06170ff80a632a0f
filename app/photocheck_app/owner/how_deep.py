"""How deep the coat is: a photo shows its outline, a tape presses it down."""

from __future__ import annotations

import streamlit as st

from photocheck.orders.filling import Blank
from photocheck.orders.gaps import understood_length
from photocheck.speech import tr
from photocheck_app.owner.readings import say_back
from photocheck_app.owner.way import Way, typed


def ask_depth(way: Way, why: str) -> None:
    """One number, which may be left out; `why` says what it is good for."""
    depth = typed(
        way,
        Blank("dog", "coat_depth"),
        tr("How deep the coat stands off the skin in {unit}", unit=way.unit_word),
        placeholder=tr("a short coat has 0.5 cm or less"),
    )
    if depth:
        say_back(lambda: understood_length(depth, way.unit, field=tr("coat depth")), depth)
    st.caption(why)
    st.caption(
        tr(
            "Part the hair where the harness's ring lies, stand a ruler on the skin without "
            "pressing, and read how high the hair beside it lies by itself."
        )
    )
