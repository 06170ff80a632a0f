"""The store cannot be reached: one plain page in the visitor's language, and on by itself.

Nothing typed is lost: `kept` holds what could not be stored, and the browser as well, until it is.
The log has one line a minute at most while that lasts, and one when it is over.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from itertools import count
from typing import Any, Final, ParamSpec

import streamlit as st

from photocheck.orders.model import StoreError
from photocheck.speech import later, speaking, tr
from photocheck_app import kept
from photocheck_app.doors.trouble import TROUBLE
from photocheck_app.framework import Container
from photocheck_app.shared import as_text, language

EVERY_S: Final = 5.0
"""Seconds between two tries (judgement): soon enough, and few where many pages are open."""


_SAID: Final = "photocheck store away"
_TRIED: Final = "photocheck store tried"
_HELD: Final = "photocheck texts held"
_failures: Final = count()

P = ParamSpec("P")


def guarded(act: Callable[P, object]) -> Callable[P, None]:
    """What a button does, for a store that may be away: then the page says so and stays."""

    @wraps(act)
    def acting(*args: P.args, **kwargs: P.kwargs) -> None:
        try:
            act(*args, **kwargs)
        except StoreError as error:
            TROUBLE.away(error)
            st.session_state[_SAID] = tr(NOT_DONE)

    return acting


NOT_DONE: Final = later(
    "That could not be done just now: the orders cannot be reached. Nothing is lost; try again in "
    "a moment."
)


def say(error: StoreError | None) -> Container:
    """Above a page that can be shown: what could not be stored is held, and tried again.

    Returns
    -------
    container
        What is said, for whoever finds that the page cannot be shown either.
    """
    if error is not None:
        TROUBLE.away(error)
    _hold_in_browser()
    place = st.empty()
    with place.container():
        if said := st.session_state.pop(_SAID, ""):
            st.warning(said, icon=":material/cloud_off:")
        if error is not None:
            st.warning(
                tr(
                    "What you changed last could not be stored yet. It is kept in this page and "
                    "tried again by itself: leave the page open."
                ),
                icon=":material/cloud_off:",
            )
    return place


def show(error: StoreError, *, why: bool) -> None:
    """In place of a page that cannot be shown.

    Parameters
    ----------
    why : bool
        Whether it is said what the database said: for staff.
    """
    TROUBLE.away(error)
    st.header(tr("The orders cannot be reached just now"), anchor=False)
    st.write(
        tr(
            "The place where the workshop keeps its orders does not answer. Nothing that was "
            "stored is lost. This page goes on by itself as soon as it can: leave it open."
        )
    )
    if kept.anything_unstored():
        st.write(tr("What you typed last is kept in this page until it is stored."))
    if why:
        st.caption(as_text(str(error)))
    st.button(tr("Try again"), key="outage_again", type="primary")


def in_place_of_error(_: Exception) -> bool:
    """As `show_failure`, where a run failed outside of its page: in what a press does, for example.

    Returns
    -------
    bool
        That the framework shows nothing of its own, which is in English.
    """
    with speaking(language()):
        # Several may fail in one run, and no two buttons have one name.
        show_failure(f"failure_again {next(_failures)}")
    return True


def show_failure(key: str = "failure_again") -> None:
    """In place of a page at which the program failed; the log has why.

    Parameters
    ----------
    key : str
        Of its button.
    """
    st.header(tr("This should not have happened"), anchor=False)
    st.write(
        tr(
            "The program failed at this page; nothing you did is to blame, and nothing that was "
            "stored is lost. Try again, or tell the workshop."
        )
    )
    st.button(tr("Try again"), key=key, type="primary")


@st.fragment(run_every=EVERY_S)
def try_again() -> None:
    """Run the page anew in a moment, and again until it is shown without this."""
    with speaking(language()):
        # The fragment's first run is the page's own, every later one is by itself.
        if st.session_state.get(_TRIED):
            del st.session_state[_TRIED]
            st.rerun()
        st.session_state[_TRIED] = True


_browser = st.components.v2.component(
    "photocheck_unstored",
    # Kept by the address's order, in this tab alone; taken away once the server holds nothing.
    js="""export default function ({ data, setTriggerValue }) {
      const key = "photocheck unstored";
      const first = window.photocheckUnstored === undefined;
      window.photocheckUnstored = true;
      try {
        const held = sessionStorage.getItem(key);
        if (Object.keys(data.texts).length) {
          const before = held ? JSON.parse(held) : {};
          sessionStorage.setItem(key, JSON.stringify({ ...before, ...data.texts }));
        } else if (held && first) {
          setTriggerValue("back", JSON.parse(held));
        } else if (held && data.stored) {
          sessionStorage.removeItem(key);
        }
      } catch { /* a browser without such memory: the page itself holds it */ }
    }""",
)


def _hold_in_browser() -> None:
    texts = kept.unstored_texts()
    held = bool(st.session_state.get(_HELD, False))
    stored = held and not texts and not kept.anything_brought()
    if texts:
        st.session_state[_HELD] = True
    _browser(data={"texts": texts, "stored": stored}, key="unstored", on_back_change=_came_back)


def _came_back() -> None:
    sent: Any = st.session_state.get("unstored", {})
    back = sent.get("back") if hasattr(sent, "get") else None
    if kept.bring_back(back):
        st.session_state[_HELD] = True
