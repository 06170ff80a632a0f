"""Where one is in a way of the app, as the page's address says it, and how one goes on from there.

The browser may ask for a run before it learned of the new address: a mark was still on its way,
or a list asks by itself.  Such a run must not undo the step.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from time import monotonic
from typing import Final

import streamlit as st

from photocheck_app.framework import went_through_history

LATE_S: Final = 30.0
"""How long after a step a run may still come with the address before it (judgement: a server under
attack has answered within that time)."""


MOST_BEFORE: Final = 20
"""Steps, one right after another, whose addresses are known apart."""


@dataclass(frozen=True)
class _Went:
    """Where `Address.go` has led.

    Attributes
    ----------
    there : mapping of str to str
        The parts of the address that say so.
    before : tuple of mappings
        Those by which the browser may still ask.
    until : float
        As `monotonic` has it; afterwards the address counts, whatever it is.
    """

    there: Mapping[str, str]
    before: tuple[Mapping[str, str], ...]
    until: float


@dataclass(frozen=True)
class Address:
    """The parts of the address that say what a way shows.

    Attributes
    ----------
    names : tuple of str
        Of the query's parts.
    """

    names: tuple[str, ...]

    @property
    def _went(self) -> str:
        return f"photocheck went {' '.join(self.names)}"

    def go(self, **places: str) -> None:
        """Show something else; the browser's back button undoes it."""
        there = {name: place for name, place in places.items() if place}
        went: _Went | None = st.session_state.get(self._went)
        before = went.before if went and monotonic() < went.until else ()
        st.session_state[self._went] = _Went(
            there, (*before[-MOST_BEFORE:], self._here()), monotonic() + LATE_S
        )
        self._show(there)

    def arrive(self) -> None:
        """Stay where `go` has led, before the address is looked at; the back and the forward button
        lead elsewhere."""
        went: _Went | None = st.session_state.get(self._went)
        here = self._here()
        if went is None or here == went.there:
            return
        asked_before = here in went.before and monotonic() < went.until
        if asked_before and not went_through_history():
            self._show(went.there)
        else:
            del st.session_state[self._went]

    def leave(self) -> None:
        """Go where none of its parts is in the address, and stay nowhere."""
        st.session_state.pop(self._went, None)
        self._show({})

    def _here(self) -> dict[str, str]:
        return {name: st.query_params[name] for name in self.names if name in st.query_params}

    def _show(self, there: Mapping[str, str]) -> None:
        others = {name: st.query_params[name] for name in st.query_params}
        kept = {name: place for name, place in others.items() if name not in self.names}
        # All at once: each change of its own would be a step for the back button.
        st.query_params.from_dict({**kept, **there})
