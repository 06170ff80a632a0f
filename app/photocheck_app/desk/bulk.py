"""Accepting in one go the orders whose readings all agree."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.in_bulk import BulkResult, accept_all, fully_agreeing
from photocheck.orders.model import OrderLine
from photocheck.speech import tr
from photocheck_app.desk.moves import say_on_arrival
from photocheck_app.desk.shop_files import shop_sizes, shop_templates
from photocheck_app.shared import as_text, store

NAMED = 20
"""Orders named one by one; of more the rest is counted (judgement)."""


def offer(lines: Sequence[OrderLine], who: str) -> None:
    """Which orders those are, and one press that accepts them; nothing where there is none."""
    agreeing = fully_agreeing(lines)
    if not agreeing:
        return
    with st.popover(tr("Accept what agrees ({number})", number=len(agreeing)), key="desk_bulk"):
        st.markdown(
            tr(
                "Of these orders every reading agrees with the photo. Each is accepted as if "
                "you had opened it: with the drafted message in the owner's language, under your "
                "name. What no longer stands so, or cannot be cut yet, is left."
            )
        )
        names = [as_text(line.name) or tr("order without a name") for line in agreeing]
        more = len(names) - NAMED
        st.markdown("\n".join(f"- {name}" for name in names[:NAMED]))
        if more > 0:
            st.caption(tr("and {number} more", number=more))
        label = tr("Accept these {number} orders", number=len(agreeing))
        pressed = st.button(label, type="primary", key="accept_all")
    if pressed:
        _accept(agreeing, who)


def _accept(agreeing: Sequence[OrderLine], who: str) -> None:
    bar = st.progress(0.0, tr("Accepting …"))
    done: list[BulkResult] = []

    def on_done(result: BulkResult) -> None:
        done.append(result)
        bar.progress(len(done) / len(agreeing))

    try:
        accept_all(
            store(),
            agreeing,
            by=who,
            sizes=shop_sizes(),
            templates=shop_templates(),
            on_done=on_done,
        )
    except PhotocheckError as error:
        # What was accepted until then is; the list shows it.
        _say(done, str(error))
    else:
        _say(done, "")
    st.rerun()


def _say(done: Sequence[BulkResult], problem: str) -> None:
    left = [result for result in done if result.problem]
    parts = [tr("{number} orders accepted.", number=len(done) - len(left))]
    parts += [f"{result.line.name}: {result.problem}" for result in left[:NAMED]]
    if len(left) > NAMED:
        parts.append(tr("and {number} more", number=len(left) - NAMED))
    say_on_arrival(" ".join((*parts, *([problem] if problem else []))))
