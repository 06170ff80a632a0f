"""The store cannot be reached: one plain page in the visitor's language, and on by itself.

Nothing typed is lost: `kept` holds what could not be stored, and the browser as well, until it is.
The log has one line when that begins, one a minute while it lasts, and one when it is over.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from functools import wraps
from threading import Lock
from typing import Any, Final, ParamSpec

import streamlit as st

from photocheck.orders.model import StoreError
from photocheck.speech import later, speaking, tr
from photocheck_app import kept
from photocheck_app.shared import as_text, language

EVERY_S: Final = 5.0
"""Seconds between two tries (judgement): soon enough, and few where many pages are open."""

LOG_EVERY_S: Final = 60.0

_SAID: Final = "photocheck store away"

P = ParamSpec("P")

_log = logging.getLogger(__name__)
_lock: Final = Lock()
_away_since: dict[str, float] = {}


def note(error: StoreError | None) -> None:
    """Have the log say that the store is away, or there again; not once for every visitor."""
    now = time.monotonic()
    with _lock:
        last = _away_since.get("said")
        if error is None:
            _away_since.clear()
        elif last is None or now - last >= LOG_EVERY_S:
            _away_since["said"] = now
    if error is None and last is not None:
        _log.warning("the orders can be reached again")
    elif error is not None and "said" in _away_since and _away_since["said"] == now:
        _log.warning("%s", error)


def guarded(act: Callable[P, object]) -> Callable[P, None]:
    """What a button does, for a store that may be away: then the page says so and stays."""

    @wraps(act)
    def acting(*args: P.args, **kwargs: P.kwargs) -> None:
        try:
            act(*args, **kwargs)
        except StoreError as error:
            note(error)
            st.session_state[_SAID] = tr(NOT_DONE)

    return acting


NOT_DONE: Final = later(
    "That could not be done just now: the orders cannot be reached. Nothing is lost; try again in "
    "a moment."
)


def say(error: StoreError | None) -> None:
    """Above a page that can be shown: what could not be stored is held, and tried again."""
    note(error)
    _hold_in_browser()
    if said := st.session_state.pop(_SAID, ""):
        st.warning(said, icon=":material/cloud_off:")
    if error is not None:
        st.warning(
            tr(
                "What you changed last could not be stored yet. It is kept in this page and tried "
                "again by itself: leave the page open."
            ),
            icon=":material/cloud_off:",
        )
        _again()


def show(error: StoreError, *, why: bool) -> None:
    """In place of a page that cannot be shown.

    Parameters
    ----------
    why : bool
        Whether it is said what the database said: for staff.
    """
    note(error)
    _hold_in_browser()
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
    _again()


def show_failure() -> None:
    """In place of a page at which the program failed; the log has why."""
    st.header(tr("This should not have happened"), anchor=False)
    st.write(
        tr(
            "The program failed at this page; nothing you did is to blame, and nothing that was "
            "stored is lost. Try again, or tell the workshop."
        )
    )
    st.button(tr("Try again"), key="failure_again", type="primary")


@st.fragment(run_every=EVERY_S)
def _again() -> None:
    # Its first run is the page's own.
    if st.session_state.get("photocheck outage ticks"):
        st.session_state["photocheck outage ticks"] = 0
        st.rerun()
    st.session_state["photocheck outage ticks"] = 1
    with speaking(language()):
        st.html("")


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
    stored = bool(st.session_state.get("photocheck held", False)) and not texts
    if texts:
        st.session_state["photocheck held"] = True
    _browser(data={"texts": texts, "stored": stored}, key="unstored", on_back_change=_came_back)


def _came_back() -> None:
    sent: Any = st.session_state.get("unstored", {})
    back = sent.get("back") if hasattr(sent, "get") else None
    if kept.bring_back(back):
        st.session_state["photocheck held"] = True
