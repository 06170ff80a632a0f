"""What a page tells the browser of photos that are on their way (`browser/unsent.js`).

The browser keeps a photo until the server has answered for it, so that a reload loses none.  It
knows neither which order a page is about, nor what became of what it sent, nor when nothing is to
be kept any longer; that stands here in the page, and nobody sees it.
"""

from __future__ import annotations

from collections.abc import Iterable
from hashlib import sha256
from html import escape
from typing import Final

import streamlit as st

from photocheck_app.owner.way import Way

_SHOWN_LAST: Final = 24
"""Answers that a page still repeats: more photos than one order holds are not under way at once."""
_GONE: Final = "order gone"


def _name_of(key: str) -> str:
    """What the browser calls an order: its link must not lie about in it a second time."""
    return sha256(f"unsent {key}".encode()).hexdigest()[:16]


def answered(way: Way, files: Iterable[str]) -> None:
    """Say of files, by what they are called on their way, that they need be sent no more."""
    name = f"{way.key}/uploads/answered"
    st.session_state[name] = (*st.session_state.get(name, ()), *files)[-_SHOWN_LAST:]


def tell(way: Way, view: str) -> None:
    """Whose photos a page asks for, "side" or "front"; and what became of those that came."""
    known = " ".join(st.session_state.get(f"{way.key}/uploads/answered", ()))
    _tell(_name_of(way.key), f' data-view="{view}" data-answered="{escape(known)}"')


def over(key: str) -> None:
    """Nothing of an order is to be kept: it was sent, or leads nowhere."""
    _tell(_name_of(key), ' data-over="yes"')


def gone(key: str) -> None:
    """The same of one that was deleted here, said by the next page."""
    st.session_state[_GONE] = key


def tell_gone() -> None:
    """Say it."""
    if key := st.session_state.get(_GONE):
        over(key)


def _tell(name: str, more: str) -> None:
    with st.container(key="unsent"):
        st.html(f'<span class="pc-unsent" data-order="{name}"{more}></span>')
