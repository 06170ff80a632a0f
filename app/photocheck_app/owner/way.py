"""Where an owner stands on the way, and the order that is being filled in.

One thing is asked a screen, in the order that `photocheck.orders.screens` gives them.

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

from photocheck.orders import screens
from photocheck.orders.bounds import LONGEST_FIELD
from photocheck.orders.draft import Draft, Typed
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
from photocheck.orders.model import OrderError
from photocheck.server.access.addresses import BEGIN, LINK
from photocheck.server.access.rates import TooOftenError
from photocheck.speech import capital_first, later, tr
from photocheck.words import UNIT_WORDS
from photocheck_app import kept
from photocheck_app.address import Address
from photocheck_app.doors.rate_limits import COUNTS, here
from photocheck_app.doors.settings import by_invitation_only
from photocheck_app.outage import guarded
from photocheck_app.shared import language, owners_store

READINGS_PAGE: Final = "readings"
"""All readings on one page: beside the way, for whoever puts one right."""

AGAIN: Final = "again"
"""The same for their second round."""

DOG: Final = "dog"
"""What may be told of the dog: beside the way, for whoever wants more certainty."""

SEND: Final = "send"
"""Who orders, before it goes to the workshop."""

ASIDE: Final = {
    READINGS_PAGE: later("All readings"),
    AGAIN: later("Read once more"),
    DOG: later("About the dog"),
    SEND: later("To the workshop"),
}
"""The pages beside the way, with their titles."""

PAGES: Final = (*screens.EVERY, *ASIDE)
"""Every page of an order that can be gone to."""


def title_of(page: str) -> str:
    """What a page is called."""
    return tr(ASIDE[page]) if page in ASIDE else capital_first(screens.title_of(page))


ADDRESS: Final = Address(("step",))

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
def begin(depth: str = screens.QUICK) -> None:
    """Open an order and go to its first screen."""
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
    draft = new_draft("in" if place in _INCH_PLACES else "cm")
    owners_store().save_draft(key, with_typed(draft, Blank("owner", "depth"), depth))
    st.session_state["order"] = key
    st.query_params.pop(BEGIN, None)  # a reload is not another order
    st.query_params[LINK] = key
    go(screens.ASKED[0])


@guarded
def go_deeper(key: str) -> None:
    """Every reading twice, the ring and a photo from the front: on from what is there already."""
    change(key, lambda draft: with_typed(draft, Blank("owner", "depth"), screens.CAREFUL))
    draft = owners_store().draft(key)
    finished = screens.done(draft)
    go(next(one for one in screens.screens(draft) if one not in finished))


def leave() -> None:
    """Back to the first page; the order stays where it is."""
    st.session_state.pop("order", None)
    st.query_params.pop(LINK, None)
    ADDRESS.leave()


def go(step: str) -> None:
    """To a step."""
    ADDRESS.go(step=step)


def current_step() -> str:
    """The page in the address, or "sample"; empty when it names none."""
    ADDRESS.arrive()
    step = st.query_params.get("step", "")
    return step if step in (*PAGES, "sample") else ""


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
    *,
    side_by_side: bool = False,
) -> str:
    """A word of the draft out of a few; the default is not written down."""
    words = list(titles)
    known = str(typed_at(way.draft, blank) or default)
    name = _watched(way, blank, known, default)
    at = words.index(known) if known in words else None
    # No select box: on a phone it would bring up the keyboard.
    picked = st.radio(
        label, words, at, format_func=titles.__getitem__, key=name, horizontal=side_by_side
    )
    return default if picked is None else str(picked)


def counted(way: Way, blank: Blank, label: str, low: int, high: int) -> int | None:
    """A whole number of the draft, or None."""
    known = typed_at(way.draft, blank)
    known = int(known) if isinstance(known, int | float) and low <= known <= high else None
    name = _watched(way, blank, known)
    return st.number_input(label, min_value=low, max_value=high, value=known, step=1, key=name)


def name_of(key: str, blank: Blank) -> str:
    """The name of the widget for a blank of an order's draft."""
    parts = {
        "order": (blank.name,),
        "photo": ("photos", blank.photo, blank.name),
        "reference": ("photos", blank.photo, "reference", blank.name),
    }.get(blank.part, (blank.part, blank.name))
    if blank.take:
        parts = (*parts, str(blank.take + 1))
    return "/".join((key, *parts))


def _watched(way: Way, blank: Blank, known: Typed | None, default: Typed | None = None) -> str:
    """The name of the widget for a blank of the draft, which is kept from now on.

    The default is not written down.
    """
    name = name_of(way.key, blank)
    kept.watch(name, known, partial(_keep, way.key, blank, default))
    return name


def _keep(key: str, blank: Blank, default: Typed | None, value: Typed | None) -> bool:
    with suppress(OrderError):
        return put(key, blank, None if value == default else value)
    return False


def show_ways_on(
    way: Way,
    page: str,
    *,
    stay: Callable[[], bool] | None = None,
    onward: bool = True,
    said: str = "",
) -> None:
    """Back and next, in reach of the thumb on every screen.

    Parameters
    ----------
    stay : callable, optional
        Asked when next is pressed; what it finds first is put right on this screen.
    onward : bool
        Whether there is a next at all.
    said : str
        What the button for it says, where it says more than that.
    """
    aside = page in ASIDE
    back = _whence(way, page) if aside else screens.preceding(way.draft, page)
    further = screens.stands_at(way.draft) if aside else screens.following(way.draft, page)

    @guarded
    def on() -> None:
        if stay is None or not stay():
            go(further)

    with st.container(horizontal=True, key="ways_on"):
        if back:
            st.button(tr("Back"), key="back", on_click=go, args=(back,), width="stretch")
        else:
            st.button(tr("Back"), key="back", on_click=leave, width="stretch")
        if onward:
            plain = tr("See the result") if further == screens.RESULT else tr("Next")
            st.button(said or plain, key="next", type="primary", on_click=on, width="stretch")


def _whence(way: Way, page: str) -> str:
    """Where a page beside the way leads back to."""
    return READINGS_PAGE if page == AGAIN else screens.stands_at(way.draft)
