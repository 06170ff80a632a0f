"""Where an owner stands on the way, and the order that is being filled in.

The order's link and the step are in the address, so that a reload, a link sent
to another device and the browser's way back all find the same page.  What is filled in goes to
the store with every change.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from typing import Final

import streamlit as st

from photocheck.orders.bounds import LONGEST_FIELD
from photocheck.orders.draft import DogTold, Draft, Typed
from photocheck.orders.filling import (
    HELPER,
    Blank,
    hand_of,
    helped,
    new_draft,
    owners_hand,
    settled,
    typed_at,
    with_helper,
    with_typed,
)
from photocheck.orders.gaps import gaps
from photocheck.orders.model import OrderError
from photocheck.server.access.addresses import LINK
from photocheck.server.access.rates import TooOftenError
from photocheck.speech import later, tr
from photocheck_app import kept
from photocheck_app.address import Address
from photocheck_app.doors.rate_limits import COUNTS, here
from photocheck_app.doors.settings import by_invitation_only
from photocheck_app.outage import guarded
from photocheck_app.shared import language, owners_store

STEPS: Final = {
    "readings": later("Readings"),
    "dog": later("Dog"),
    "photo": later("Photo"),
    "marks": later("Marks"),
    "result": later("Result"),
}
"""The steps in turn, with their titles."""

AGAIN: Final = "again"
"""The second round of the readings: a page beside the way, from the readings and back."""

TITLES: Final = {**STEPS, AGAIN: later("Read once more")}
"""Of every page one can be sent to."""

ON_THE_WAY_S: Final = 2.0
"""How long after a step a run may still come with the old address (judgement)."""

ADDRESS: Final = Address(("step",), ON_THE_WAY_S)

UNIT_WORDS: Final = {"cm": later("centimetres"), "in": later("inches")}

_INCH_PLACES: Final = ("US", "LR", "MM")
"""Where people measure in inches, by the browser's locale (common practice, no source)."""


@dataclass(frozen=True)
class Way:
    """One owner's order.

    Attributes
    ----------
    key : str
        What the order's link carries.
    draft : Draft
        What is filled in so far.
    checks, decisions : int
        How many the order has.
    """

    key: str
    draft: Draft
    checks: int
    decisions: int

    @property
    def unit(self) -> str:
        """ "cm" or "in"."""
        return self.draft.bare_unit

    @property
    def unit_word(self) -> str:
        """The unit as a word, for labels."""
        return tr(UNIT_WORDS[self.unit])


@guarded
def begin() -> None:
    """Open an order and go to its first step."""
    if by_invitation_only():
        return
    try:
        COUNTS.count("begin from address", here())
    except TooOftenError as error:
        st.session_state["not begun"] = str(error)
        return
    spoken = language()
    key = owners_store().open(spoken)
    place = (st.context.locale or "").partition("-")[2]
    owners_store().save_draft(key, new_draft("in" if place in _INCH_PLACES else "cm"))
    st.session_state["order"] = key
    st.query_params[LINK] = key
    go("readings")


def leave() -> None:
    """Back to the first page; the order stays where it is."""
    st.session_state.pop("order", None)
    st.query_params.pop(LINK, None)
    ADDRESS.leave()


def go(step: str) -> None:
    """To a step."""
    ADDRESS.go(step=step)


def current_step() -> str:
    """The step in the address, or "sample"; the first step when it names none."""
    ADDRESS.arrive()
    step = st.query_params.get("step", "")
    return step if step in (*TITLES, "sample") else "readings"


def change(key: str, edit: Callable[[Draft], Draft]) -> bool:
    """Keep the draft as `edit` gives it; whether that is another."""
    return owners_store().change_draft(key, lambda draft: settled(edit(draft)))


def put(key: str, blank: Blank, value: Typed | None) -> bool:
    """Keep one value of the draft, nothing taking it out; whether that changed it."""

    def edited(draft: Draft) -> Draft:
        later = blank.take and helper_measures(key, draft)
        return with_typed(draft, blank, value, hand_of(HELPER) if later else owners_hand())

    return change(key, edited)


def helper_measures(key: str, draft: Draft) -> bool:
    """Whether somebody else holds the tape in the second round, as told."""
    return helped(draft) or bool(st.session_state.get(f"{key} helper", False))


def let_helper_measure(key: str, helps: bool) -> bool:
    """Say so, or take it back, also of what was typed in that round; whether that changed any."""
    st.session_state[f"{key} helper"] = helps
    with suppress(OrderError):
        return change(key, lambda draft: with_helper(draft, helps))
    return False


def typed(way: Way, blank: Blank, label: str, *, placeholder: str = "") -> str:
    """A text of the draft, kept as typed, right or wrong."""
    # Given as the value to begin with and never set again: setting it through the session's
    # state would overwrite what somebody is typing while a slow run is still on its way.
    # Only a distance behind the dog is negative, and its place tells that.
    known = str(typed_at(way.draft, blank) or "").lstrip("-")
    name = _watched(way, blank, known)
    return st.text_input(
        label,
        kept.text_of(name, known),
        key=name,
        placeholder=placeholder,
        autocomplete="off",
        max_chars=max(LONGEST_FIELD, len(known)),
    ).strip()


def chosen(
    way: Way,
    blank: Blank,
    label: str,
    titles: Mapping[str, str],
    default: str,
) -> str:
    """A word of the draft out of a few; the default is not written down."""
    words = list(titles)
    known = str(typed_at(way.draft, blank) or default)
    name = _watched(way, blank, known, default)
    at = words.index(known) if known in words else None
    # No select box: on a phone it would bring up the keyboard.
    picked = st.radio(label, words, at, format_func=titles.__getitem__, key=name)
    return default if picked is None else str(picked)


def counted(way: Way, blank: Blank, label: str, low: int, high: int) -> int | None:
    """A whole number of the draft, or None."""
    known = typed_at(way.draft, blank)
    known = int(known) if isinstance(known, int | float) and low <= known <= high else None
    name = _watched(way, blank, known)
    return st.number_input(label, min_value=low, max_value=high, value=known, step=1, key=name)


def _watched(way: Way, blank: Blank, known: Typed | None, default: Typed | None = None) -> str:
    """The name of the widget for a blank of the draft, which is kept from now on.

    The default is not written down.
    """
    parts = {
        "order": (blank.name,),
        "photo": ("photos", blank.photo, blank.name),
        "reference": ("photos", blank.photo, "reference", blank.name),
    }.get(blank.part, (blank.part, blank.name))
    if blank.take:
        parts = (*parts, str(blank.take + 1))
    name = "/".join((way.key, *parts))
    kept.watch(name, known, partial(_keep, way.key, blank, default))
    return name


def _keep(key: str, blank: Blank, default: Typed | None, value: Typed | None) -> bool:
    with suppress(OrderError):
        return put(key, blank, None if value == default else value)
    return False


def show_progress(way: Way, step: str) -> None:
    """All steps as buttons: what is done, and where one stands."""
    open_steps = {_of_the_way(gap.step) for gap in gaps(way.draft)}
    started = {"readings", "photo", "marks"} if way.draft.photos else {"readings"}
    if way.draft.dog != DogTold():
        started = {*started, "dog"}
    done = {name for name in started if name not in open_steps}
    if way.checks:
        done.add("result")
    numbered = {
        name: f"{'✓' if name in done else number} {tr(title)}"
        for number, (name, title) in enumerate(STEPS.items(), start=1)
    }
    st.session_state["step_choice"] = _of_the_way(step)

    def moved() -> None:
        go(st.session_state["step_choice"] or step)

    st.segmented_control(
        tr("Steps"),
        list(STEPS),
        format_func=numbered.__getitem__,
        key="step_choice",
        on_change=moved,
        label_visibility="collapsed",
        width="stretch",
    )


def _of_the_way(step: str) -> str:
    """The step that a page belongs to."""
    return "readings" if step == AGAIN else step


def show_ways_on(step: str) -> None:
    """Back and next, at the foot of every step."""
    names = list(STEPS)
    at = names.index(_of_the_way(step))
    with st.container(horizontal=True):
        if step == AGAIN:
            st.button(tr("Back"), key="back", on_click=go, args=(names[at],), width="stretch")
        elif at == 0:
            st.button(tr("Back"), key="back", on_click=leave, width="stretch")
        else:
            st.button(tr("Back"), key="back", on_click=go, args=(names[at - 1],), width="stretch")
        if step != "result":
            following = names[at + 1]
            said = tr("See the result") if following == "result" else tr("Next")
            st.button(
                said, key="next", type="primary", on_click=go, args=(following,), width="stretch"
            )
