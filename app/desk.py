"""The workshop's way: the orders, worst first, and one of them on one screen."""

from __future__ import annotations

import logging

import streamlit as st

from photocheck.app import desk_case, desk_list, desk_marks
from photocheck.app.desk_moves import go, say_now
from photocheck.app.desk_style import STYLE
from photocheck.app.shared import as_text, store
from photocheck.errors import PhotocheckError
from photocheck.speech import tr


def page() -> None:
    """The whole way."""
    st.html(STYLE)
    with st.container(key="desk"):
        say_now()
        try:
            _shown(staff_name())
        except PhotocheckError as error:
            _way_out(str(error))
        except Exception:
            logging.getLogger(__name__).exception("the desk failed")
            _way_out(
                tr(
                    "This should not have happened. Nothing that was recorded is lost; go back "
                    "to the list and try again, and report it with what the server's log says."
                )
            )


def _way_out(problem: str) -> None:
    st.error(as_text(problem))
    st.button(tr("All orders"), on_click=go, key="desk_way_out")


def staff_name() -> str:
    """Who is at the desk, for the history: as they say, for nobody is asked to prove it yet."""
    name = " ".join(str(st.query_params.get("by", "")).split())[:60]
    # "owner" in the history means the owner.
    return name if name and name.casefold() != "owner" else "staff"


def _shown(who: str) -> None:
    key = st.query_params.get("case", "")
    if not key:
        desk_list.show(who)
        return
    order = store().order(key)
    if st.query_params.get("do") == "marks":
        desk_marks.show(order, who)
    else:
        desk_case.show(order, who)
