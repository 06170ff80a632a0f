"""What a page keeps between its runs: what was typed or placed, and where somebody went.

Streamlit may break a run off at any moment, its callbacks too, and does not call them again.  So
nothing is kept by a callback: each field says once, where it is drawn, what it is known to hold
and how a change is kept, and the start of the next run keeps whatever has come.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from time import monotonic
from typing import Any, Final

import streamlit as st

_WATCHED: Final = "photocheck watched"


@dataclass(frozen=True)
class Watched:
    """A field of the page whose value has a home elsewhere.

    Attributes
    ----------
    keep : function of a value
        Brings what the browser has sent home; it reads anew what it changes, for the page may be
        older.
    known : object
        What its home holds, as far as this visitor knows.
    read : function or None
        Gives what the browser last sent, or None for nothing yet; None for the widget's own
        value.
    """

    keep: Callable[[Any], None]
    known: Any
    read: Callable[[], Any] | None = None


def watch(
    key: str, known: Any, keep: Callable[[Any], None], *, read: Callable[[], Any] | None = None
) -> str:
    """Have a field's changes kept from now on; called where the field is drawn.

    What is known stays as it was while the field is shown: somebody may be typing while a slow
    run is still on its way, and must not lose that by what the run began with.

    Parameters
    ----------
    key : str
        Of the widget or component.
    known, keep, read
        As in `Watched`.

    Returns
    -------
    str
        The key, for the widget.
    """
    fields = _fields()
    before = fields.get(key)
    fields[key] = Watched(keep, known if before is None else before.known, read)
    return key


def hold(key: str, now: Any, keep: Callable[[Any], None]) -> str:
    """The same for a field that shows in every run what its home holds: a choice, not a text.

    Parameters
    ----------
    now : object
        What its home holds now, perhaps by another way than this field.

    Returns
    -------
    str
        The key, for the widget, which is given no value of its own.
    """
    st.session_state[key] = now
    _fields()[key] = Watched(keep, now)
    return key


def keep_all() -> None:
    """Keep every change that came with this run; at its start, before anything is drawn."""
    fields = _fields()
    for key, field in list(fields.items()):
        if key not in st.session_state:
            # No longer shown by the last whole run: it begins anew when it is shown again.
            del fields[key]
            continue
        value = st.session_state[key] if field.read is None else field.read()
        if value == field.known or (field.read is not None and value is None):
            continue
        # First, so that what cannot be kept is not tried in every run.
        fields[key] = replace(field, known=value)
        field.keep(value)


def _fields() -> dict[str, Watched]:
    fields: dict[str, Watched] = st.session_state.setdefault(_WATCHED, {})
    return fields


@dataclass(frozen=True)
class Course:
    """The parts of the page's address that say what is shown, and the way from one to another.

    Attributes
    ----------
    name : str
        Tells one page's course from another's.
    parts : tuple of str
        Of the address.
    on_the_way_s : float
        How long after a step a run may still come with the old address; a press of the browser's
        back button within that time is not heeded.
    """

    name: str
    parts: tuple[str, ...]
    on_the_way_s: float

    def go(self, **there: str) -> None:
        """Show something else; the browser's back button undoes it."""
        wanted = {part: value for part, value in there.items() if value}
        # First, for Streamlit may break off a callback where it changes the address.
        st.session_state[self._key] = (wanted, monotonic() + self.on_the_way_s)
        self._show(wanted)

    def arrive(self) -> None:
        """Stay where `go` has led, at the start of every run.

        The browser may have asked for this run before it learned of the new address: a mark that
        was still on its way, or a list that asks by itself.  It must not undo the step.
        """
        wanted, until = st.session_state.get(self._key, ({}, 0.0))
        here = {part: value for part, value in st.query_params.items() if part in self.parts}
        if here != wanted and monotonic() < until:
            self._show(wanted)

    def forget(self) -> None:
        """Be led by the address alone again."""
        st.session_state.pop(self._key, None)

    @property
    def _key(self) -> str:
        return f"photocheck went {self.name}"

    def _show(self, wanted: Mapping[str, str]) -> None:
        others = {k: v for k, v in st.query_params.items() if k not in self.parts}
        # All at once: each change of its own would be a step for the back button.
        st.query_params.from_dict({**others, **wanted})
