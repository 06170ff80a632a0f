"""The same dog's earlier order beside today's."""

from __future__ import annotations

from html import escape

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.listing import STATE_TITLES
from photocheck.orders.model import Order, StoreError
from photocheck.orders.same_dog import changes_since, earlier_orders
from photocheck.speech import tr
from photocheck.words import READING_TITLES
from photocheck_app.desk.moves import go, when
from photocheck_app.shared import store


def show(order: Order) -> None:
    """What was measured then, now, and how far apart; nothing for a dog that is new here."""
    try:
        found = earlier_orders(store(), order)
    except StoreError:
        raise
    except PhotocheckError:  # the page says much else; an order that went meanwhile is none here
        return
    if not found:
        return
    st.html(f"<h2>{escape(tr('The same dog before'))}</h2>")
    last = found[0]
    heads = (tr("length"), when(last.checks[-1].at).partition(" ")[0], tr("now"), "")
    head = "".join(f'<th scope="col">{escape(text)}</th>' for text in heads)
    rows = "".join(
        f'<tr><th scope="row">{escape(tr(READING_TITLES[row.reading]))}</th>'
        f"<td>{escape(row.before)}</td><td>{escape(row.now)}</td><td>{escape(row.off)}</td></tr>"
        for row in changes_since(last, order)
    )
    st.html(f'<table class="figures"><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>')
    with st.container(horizontal=True):
        for other in found[:3]:
            at = when(other.checks[-1].at).partition(" ")[0]
            st.button(
                tr("{when}, {state}", when=at, state=tr(STATE_TITLES[other.state])),
                key=f"desk_before {other.key}",
                type="tertiary",
                on_click=go,
                kwargs={"case": other.key},
            )
