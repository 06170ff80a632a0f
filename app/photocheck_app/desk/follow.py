"""Following what others do: the list by itself, an order's page by a notice."""

from __future__ import annotations

from html import escape
from typing import Final

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.listing import DECISION_TITLES
from photocheck.orders.model import Order, OrderError
from photocheck.speech import speaking, tr
from photocheck_app.desk.moves import when
from photocheck_app.shared import language, store

EVERY_S: Final = 3.0
"""Seconds between two looks (judgement): soon enough to seem at once, and each costs a few ms."""


_SEEN: Final = "desk order seen"


def follow_list(seen: str) -> None:
    """Show the list anew as soon as the store's stamp is another than `seen`."""
    _list(seen)


def follow_order(order: Order, who: str) -> None:
    """Say so when others have changed the order; what is shown stays until somebody asks."""
    stands = (order.key, len(order.checks), len(order.decisions))
    seen = st.session_state.get(_SEEN, stands)
    st.session_state[_SEEN] = stands
    if seen[0] == order.key and seen != stands:
        # Whatever is done on the page shows it anew, so that it may change under one's hands.
        said, by = _what_happened(order, seen[1])
        if by != who:
            st.html(f'<div class="arrived" role="status">{escape(said)}</div>')
    _order(*stands)


# Streamlit runs these alone, outside the page's own run: they say for themselves in which
# language, and let nothing out.


@st.fragment(run_every=EVERY_S)
def _list(seen: str) -> None:
    with speaking(language()):
        try:
            changed = store().stamp() != seen
        except PhotocheckError:
            said = tr("The list cannot be brought up to date just now.")
            st.html(f'<span class="quiet" role="status">{escape(said)}</span>')
            return
    if changed:
        st.rerun()


@st.fragment(run_every=EVERY_S)
def _order(key: str, checks: int, decisions: int) -> None:
    with speaking(language()):
        try:
            if store().latest(key) == (checks, decisions):
                return
            said, _ = _what_happened(store().order(key), checks)
        except OrderError:
            said = tr("This order was deleted meanwhile.")
        except PhotocheckError:
            said = tr("Whether somebody else changed this order cannot be seen just now.")
        with st.container(key="desk_notice", horizontal=True, vertical_alignment="center"):
            st.html(f'<span role="status">{escape(said)}</span>', width="content")
            asked = st.button(tr("Show it"), key="desk_show_new")
    if asked:
        st.rerun()


def _what_happened(order: Order, checks: int) -> tuple[str, str]:
    """The newest of it as a sentence, and who did it."""
    if len(order.checks) <= checks:
        decision = order.decisions[-1]
        said = tr(
            "{name} decided on this order meanwhile: {choice}.",
            name=decision.by,
            choice=tr(DECISION_TITLES[decision.choice]),
        )
        return said, decision.by
    check = order.checks[-1]
    if check.by != "owner":
        return tr("{name} checked this order meanwhile.", name=check.by), check.by
    return tr("This order was sent anew, {when}.", when=when(check.at)), check.by
