"""How well the shop checks: its own figures, and the study of its tapes and marks."""

from __future__ import annotations

import base64
from html import escape

import streamlit as st

from photocheck.orders.own_figures import FEWEST, OwnFigures, own_figures
from photocheck.server.bench import at_work
from photocheck.shown.agreement_plot import agreement_svg
from photocheck.shown.own_figures_told import (
    Block,
    agreement_sentence,
    blocks,
    limits_note,
)
from photocheck.speech import tr, tr_n
from photocheck.words import UNITS
from photocheck_app.desk.figures import table_of
from photocheck_app.shared import saying, store


def show(who: str) -> None:
    """The whole page."""
    title = tr("How well do we check?")
    st.html(f"<h1>{escape(title)}</h1>")
    with saying():
        _show(_figures(store().stamp()))


# As long as no order changes, for everybody at the desk: it looks at every check ever made.
@st.cache_resource(max_entries=1, show_spinner=False)
def _figures(stamp: str) -> OwnFigures:
    with at_work():
        return own_figures(store().whole())


def _show(found: OwnFigures) -> None:
    with st.container(horizontal=True, vertical_alignment="center"):
        counted = tr_n("{count} order was checked.", "{count} orders were checked.", found.orders)
        st.html(f'<div class="answer">{escape(counted)}</div>', width="stretch")
        unit = st.segmented_control(
            tr("Lengths in"), UNITS, default=UNITS[0], required=True, key="figures unit"
        )
    if not found.orders:
        st.info(tr("There is nothing to count yet: figures begin with the first checked order."))
        return
    st.caption(limits_note())
    left, right = st.columns(2, gap="medium")
    for number, block in enumerate(blocks(found, str(unit))):
        with (left, right)[number % 2]:
            _block(block)
    with right:
        _pairs(found, str(unit))


def _block(block: Block) -> None:
    st.html(
        f"<h2>{escape(block.title)}</h2>{table_of(block.rows, block.title)}"
        f'<div class="quiet">{escape(block.meaning)}</div>'
    )


def _pairs(found: OwnFigures, unit: str) -> None:
    pairs = found.tape_pairs
    if pairs is None:
        return
    title = tr("Second take against the first")
    said = agreement_sentence(pairs, unit)
    drawn = ""
    if len(pairs.means) >= FEWEST:
        content = base64.b64encode(agreement_svg(pairs, unit).encode()).decode()
        drawn = (
            f'<img alt="{escape(said)}" style="width:100%;max-width:40rem" '
            f'src="data:image/svg+xml;base64,{content}">'
        )
    st.html(f'<h2>{escape(title)}</h2>{drawn}<div class="quiet">{escape(said)}</div>')
