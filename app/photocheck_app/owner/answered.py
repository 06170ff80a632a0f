"""What the workshop does with an order that was sent is shown without being asked for."""

from __future__ import annotations

from typing import Final

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.speech import speaking
from photocheck_app.owner.way import Way
from photocheck_app.shared import language, owners_store

EVERY_S: Final = 15.0
"""Seconds between two looks (judgement): an answer comes within hours, and phones are to rest."""


def show_answers(way: Way) -> None:
    """Show the page anew as soon as the workshop has decided something."""
    _look(way.key, way.decisions)


# Streamlit runs this alone, outside the page's own run; a store that is away is told by the page.
@st.fragment(run_every=EVERY_S)
def _look(link: str, decisions: int) -> None:
    with speaking(language()):
        try:
            changed = owners_store().latest(link)[1] != decisions
        except PhotocheckError:
            return
    if changed:
        st.rerun()
