"""Where an owner stands on the way, and the order that is being filled in.

The order's link and the step are in the address, so that a reload, a link sent
to another device and the browser's way back all find the same page.  What is filled in goes to
the store with every change.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from time import monotonic
from typing import Any, Final

import streamlit as st

from photocheck.orders.draft import Path, gaps, new_draft, settled, value_at, with_value
from photocheck.orders.model import Order, OrderError
from photocheck.server.access.addresses import LINK
from photocheck.server.access.rates import TooOftenError
from photocheck.speech import later, tr
from photocheck_app.doors.rate_limits import COUNTS, here
from photocheck_app.doors.settings import by_invitation_only
from photocheck_app.shared import language, owners_store

STEPS: Final = {
    "readings": later("Readings"),
    "dog": later("Dog"),
    "photo": later("Photo"),
    "marks": later("Marks"),
    "result": later("Result"),
}
"""The steps in turn, with their titles."""

ON_THE_WAY_S: Final = 2.0
"""How long after a step a run may still come with the old address (judgement)."""

UNIT_WORDS: Final = {"cm": later("centimetres"), "in": later("inches")}

_INCH_PLACES: Final = ("US", "LR", "MM")
"""Where people measure in inches, by the browser's locale (common practice, no source)."""


@dataclass(frozen=True)
class Way:
    """One owner's order.

    Attributes
    ----------
    order : Order
        As the store has it now.
    """

    order: Order

    @property
    def key(self) -> str:
        """What the order's link carries."""
        return self.order.key

    @property
    def draft(self) -> Mapping[str, Any]:
        """What is filled in so far."""
        return self.order.draft

    @property
    def unit(self) -> str:
        """ "cm" or "in"."""
        return str(self.draft["unit"])

    @property
    def unit_word(self) -> str:
        """The unit as a word, for labels."""
        return tr(UNIT_WORDS[self.unit])


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
    st.session_state.pop("went", None)
    for name in (LINK, "step"):
        st.query_params.pop(name, None)


def go(step: str) -> None:
    """To a step."""
    # First, for Streamlit may break off a callback where it changes the address.
    st.session_state["went"] = (step, monotonic() + ON_THE_WAY_S)
    st.query_params["step"] = step


def current_step() -> str:
    """The step in the address, or "sample"; the first step when it names none."""
    step = st.query_params.get("step", "")
    went, until = st.session_state.get("went", ("", 0.0))
    if went and step != went and monotonic() < until:
        # The browser asked for this run before it learned of the new address: a mark that was
        # still on its way, say.  It must not undo the step.
        st.query_params["step"] = step = went
    return step if step in (*STEPS, "sample") else "readings"


def put(key: str, path: Path, value: Any) -> None:
    """Keep one value of the draft; nothing typed takes it out."""
    draft = owners_store().order(key).draft
    changed = settled(with_value(draft, path, value))
    if changed != draft:
        owners_store().save_draft(key, changed)


def save(key: str, draft: Mapping[str, Any]) -> None:
    """Keep a whole draft."""
    owners_store().save_draft(key, draft)


def typed(way: Way, path: Path, label: str, *, placeholder: str = "") -> str:
    """A text of the draft, kept as typed, right or wrong."""
    # Given as the value to begin with and never set again: setting it through the session's
    # state would overwrite what somebody is typing while a slow run is still on its way.
    # Only a distance behind the dog is negative, and its place tells that.
    known = str(value_at(way.draft, path) or "").lstrip("-")
    name = _watched(way, path, known)
    return st.text_input(
        label, known, key=name, placeholder=placeholder, autocomplete="off"
    ).strip()


def chosen(
    way: Way,
    path: Path,
    label: str,
    titles: Mapping[str, str],
    default: str,
) -> str:
    """A word of the draft out of a few; the default is not written down."""
    words = list(titles)
    known = value_at(way.draft, path) or default
    name = _watched(way, path, known, default)
    # No select box: on a phone it would bring up the keyboard.
    picked = st.radio(label, words, words.index(known), format_func=titles.__getitem__, key=name)
    return str(picked)


def counted(way: Way, path: Path, label: str, low: int, high: int) -> int | None:
    """A whole number of the draft, or None."""
    known = value_at(way.draft, path)
    known = None if known is None else int(known)
    name = _watched(way, path, known)
    return st.number_input(label, min_value=low, max_value=high, value=known, step=1, key=name)


@dataclass(frozen=True)
class _Watched:
    """A widget whose value belongs into a draft.

    Attributes
    ----------
    key : str
        Of the order.
    path : tuple
        As in the draft, but photos by their names: their numbers change.
    kept : object
        What the draft has, as far as this visitor knows.
    default : object
        A value that is not written down.
    """

    key: str
    path: tuple[str, ...]
    kept: Any
    default: Any


def _watched(way: Way, path: Path, known: Any, default: Any = None) -> str:
    """The name of the widget for a value of the draft, which `keep_typed` keeps from now on."""
    steps = tuple(
        way.draft["photos"][step]["file"] if isinstance(step, int) else step for step in path
    )
    name = "/".join((way.key, *steps))
    watched: dict[str, _Watched] = st.session_state.setdefault("watched", {})
    watched.setdefault(name, _Watched(way.key, steps, known, default))
    return name


def keep_typed() -> None:
    """Keep what was changed since the last run, whatever that run came to.

    Called at the start of every run, and not by the widgets' own callbacks: Streamlit breaks a
    callback off when the next change arrives, and does not call it again.
    """
    watched: dict[str, _Watched] = st.session_state.get("watched", {})
    for name, one in list(watched.items()):
        if name not in st.session_state:
            del watched[name]
            continue
        value = st.session_state[name]
        if value == one.kept:
            continue
        with suppress(OrderError):
            draft = owners_store().order(one.key).draft
            path = _numbered(draft, one.path)
            if path:
                put(one.key, path, None if value == one.default else value)
        watched[name] = replace(one, kept=value)


def _numbered(draft: Mapping[str, Any], steps: tuple[str, ...]) -> Path:
    """The path with the photo's number; empty when the photo is no longer there."""
    if steps[0] != "photos":
        return steps
    names = [photo["file"] for photo in draft["photos"]]
    return ("photos", names.index(steps[1]), *steps[2:]) if steps[1] in names else ()


def show_progress(way: Way, step: str) -> None:
    """All steps as buttons: what is done, and where one stands."""
    open_steps = {gap.step for gap in gaps(way.draft)}
    started = {"readings", "photo", "marks"} if way.draft.get("photos") else {"readings"}
    if way.draft.get("dog"):
        started = {*started, "dog"}
    done = {name for name in started if name not in open_steps}
    if way.order.checks:
        done.add("result")
    numbered = {
        name: f"{'✓' if name in done else number} {tr(title)}"
        for number, (name, title) in enumerate(STEPS.items(), start=1)
    }
    st.session_state["step_choice"] = step

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


def show_ways_on(step: str) -> None:
    """Back and next, at the foot of every step."""
    names = list(STEPS)
    at = names.index(step)
    with st.container(horizontal=True):
        if at == 0:
            st.button(tr("Back"), key="back", on_click=leave, width="stretch")
        else:
            st.button(tr("Back"), key="back", on_click=go, args=(names[at - 1],), width="stretch")
        if step != "result":
            following = names[at + 1]
            said = tr("See the result") if following == "result" else tr("Next")
            st.button(
                said, key="next", type="primary", on_click=go, args=(following,), width="stretch"
            )
