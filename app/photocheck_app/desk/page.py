"""The workshop's way: the orders, worst first, and one of them on one screen."""

from __future__ import annotations

import logging

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.model import StoreError
from photocheck.speech import tr
from photocheck_app.desk import order_page, places, staff_marks
from photocheck_app.desk.moves import ADDRESS, go, say_now
from photocheck_app.desk.style import STYLE
from photocheck_app.doors.signed_in import at_desk, show_way_in, show_way_out
from photocheck_app.shared import as_text, store


def page() -> None:
    """The whole way."""
    st.html(STYLE)
    with st.container(key="desk"):
        try:
            who = at_desk()
            if not who:
                show_way_in()
                return
            ADDRESS.arrive()
            say_now()
            _shown(who)
            show_way_out(who)
        except StoreError:
            raise
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


def _shown(who: str) -> None:
    key = st.query_params.get("case", "")
    if not key:
        places.show(st.query_params.get("do", ""), who)
        return
    order = store().order(key)
    if st.query_params.get("do") == "marks":
        staff_marks.show(order, who)
    else:
        order_page.show(order, who)
