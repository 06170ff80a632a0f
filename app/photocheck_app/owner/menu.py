"""Where one stands on the way, and a menu of everything else."""

from __future__ import annotations

import streamlit as st

from photocheck.orders import screens
from photocheck.speech import tr
from photocheck_app.owner.link import show_leaving, show_link
from photocheck_app.owner.way import ASIDE, PAGES, SEND, Way, go, title_of
from photocheck_app.shared import choose_language


def show_whereabouts(way: Way, page: str) -> None:
    """One line: which of the screens this is, and the menu."""
    asked = screens.screens(way.draft)
    with st.container(horizontal=True, vertical_alignment="center", key="whereabouts"):
        if page in asked:
            number = asked.index(page) + 1
            said = tr("{number} of {all}", number=number, all=len(asked))
            st.progress(screens.share(way.draft, page), text=said)
        else:
            st.space("stretch")
        with st.popover(tr("Menu"), icon=":material/menu:"):
            _menu(way, page)


def _menu(way: Way, page: str) -> None:
    """Every screen and page, the link, the language, and the way out."""
    finished = screens.done(way.draft) | ({screens.RESULT} if way.checks else set())
    asked = {*screens.screens(way.draft), screens.FRONT, *ASIDE} - {SEND}
    for one in filter(asked.__contains__, PAGES):
        st.button(
            ("✓ " if one in finished else "") + title_of(one),
            key=f"go_{one}",
            type="primary" if one == page else "tertiary",
            on_click=go,
            args=(one,),
        )
    st.divider()
    if page != SEND:
        show_link(way)
    choose_language()
    st.divider()
    show_leaving(way)
