"""Where one is in a way of the app, as the page's address says it, and how one goes on from there.

The browser may ask for a run before it learned of the new address: a mark was still on its way,
or a list asks by itself.  Such a run must not undo the step.
"""

from __future__ import annotations

from dataclasses import dataclass
from time import monotonic

import streamlit as st


@dataclass(frozen=True)
class Address:
    """The parts of the address that say what a way shows.

    Attributes
    ----------
    names : tuple of str
        Of the query's parts.
    late_s : float
        How long after a step a run may still come with the old address, s; a press of the back
        button within that time is not heeded.
    """

    names: tuple[str, ...]
    late_s: float

    @property
    def _went(self) -> str:
        return f"photocheck went {' '.join(self.names)}"

    def go(self, **places: str) -> None:
        """Show something else; the browser's back button undoes it."""
        there = {name: place for name, place in places.items() if place}
        # First, for Streamlit may break off a callback where it changes the address.
        st.session_state[self._went] = (there, monotonic() + self.late_s)
        self._show(there)

    def arrive(self) -> None:
        """Stay where `go` has led, before the address is looked at."""
        there, until = st.session_state.get(self._went, ({}, 0.0))
        here = {name: st.query_params[name] for name in self.names if name in st.query_params}
        if here != there and monotonic() < until:
            self._show(there)

    def leave(self) -> None:
        """Go where none of its parts is in the address, and stay nowhere."""
        st.session_state.pop(self._went, None)
        self._show({})

    def _show(self, there: dict[str, str]) -> None:
        others = {name: st.query_params[name] for name in st.query_params}
        kept = {name: place for name, place in others.items() if name not in self.names}
        # All at once: each change of its own would be a step for the back button.
        st.query_params.from_dict({**kept, **there})
