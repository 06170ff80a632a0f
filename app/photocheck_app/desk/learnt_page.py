"""What the shop's orders have taught: what is in use, what it did to the doubt, what not."""

from __future__ import annotations

from html import escape
from typing import Final

import streamlit as st

from photocheck import outcomes
from photocheck.errors import PhotocheckError
from photocheck.judge.learning import Learning
from photocheck.judge.ratios import Ratios, Version
from photocheck.orders.taught import learn_from_store
from photocheck.server.bench import at_work
from photocheck.server.shop import shop_of
from photocheck.shown.learnt import group_rows, predicted_rows, refusals
from photocheck.speech import capital_first, tr, tr_n
from photocheck_app.desk.figures import listed, table_of
from photocheck_app.desk.moves import say_on_arrival
from photocheck_app.desk.shop_files import shop_ratios
from photocheck_app.shared import as_text, store

_LAST: Final = "desk learnt last"
"""What the last learning of this page gave, for whoever pressed: ratios file, `Learning`."""


def show(who: str) -> None:
    """The whole page."""
    title = tr("What was learnt")
    st.html(f"<h1>{escape(title)}</h1>")
    file = shop_of().ratios
    if not file:
        _not_set_up()
        return
    try:
        ratios = shop_ratios() or Ratios()
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    _in_use(ratios)
    _buttons(file, ratios)
    st.caption(
        tr(
            "Learnt from orders that fitted, and by half from those accepted of which nobody was "
            "heard. Tight or loose says no number, and teaches only with a tape laid anew. What "
            "came back teaches nothing."
        )
    )
    last = st.session_state.get(_LAST)
    if last and last[0] == file:
        _told(last[1])


def _not_set_up() -> None:
    st.info(
        tr(
            "This workshop has no ratios file, so nothing is learnt here: checks use the shipped "
            "ratios. Whoever runs the server can begin one (photocheck learn --begin --ratios "
            "ratios.json) and name it when starting the server (--ratios ratios.json)."
        )
    )


def _in_use(ratios: Ratios) -> None:
    version = ratios.in_use
    if version is None:
        said = tr("The shipped ratios are in use: nothing was learnt yet, or it was undone.")
        st.html(f'<div class="answer">{escape(said)}</div>')
        return
    said = tr(
        "In use is version {version}, learnt from {count}.",
        version=version.version,
        count=tr_n("{count} order", "{count} orders", version.orders),
    )
    st.html(f'<div class="answer">{escape(said)}</div>')
    _tables(version)


def _tables(version: Version) -> None:
    head = tr("Tape over photo against the shipped ratios, and the doubt about the dog's shape")
    left, right = st.columns([3, 1], gap="medium")
    left.html(f"<h2>{escape(head)}</h2>{table_of(group_rows(version), head)}")
    held = tr("{count} orders, each predicted without it", count=version.check.orders)
    right.html(f"<h2>{escape(held)}</h2>{table_of(predicted_rows(version), held)}")


def _buttons(file: str, ratios: Ratios) -> None:
    with st.container(horizontal=True, vertical_alignment="center"):
        look = st.button(tr("Look what the orders teach"), key="learn_look")
        anew = st.button(tr("Learn anew"), type="primary", key="learn_anew")
        undo = ratios.in_use is not None and st.button(
            tr("Go back to the version before"), key="learn_undo"
        )
    try:
        if undo:
            current = outcomes.undo(file).current
            st.session_state.pop(_LAST, None)
            say_on_arrival(tr("Version {version} is in use again.", version=current))
        elif look or anew:
            with st.spinner(tr("Learning from all accepted orders")), at_work():
                learnt = learn_from_store(store(), file, write=anew)
            st.session_state[_LAST] = (file, learnt)
            if anew and learnt.adopted:
                say_on_arrival(tr("Learnt: every check from now on uses it."))
        else:
            return
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    st.rerun()


def _told(learnt: Learning) -> None:
    """What the last press gave."""
    reasons = [f"{capital_first(said)}." for said in (learnt.reason, learnt.tape_reason) if said]
    st.html(listed(tr("What the orders say now"), reasons))
    version = learnt.version
    if version is not None and version != learnt.ratios.in_use:
        st.caption(tr("This would have been learnt; it is not in use."))
        _tables(version)
    if not learnt.left_out:
        return
    found = refusals(learnt.left_out)
    title = tr("Not learnt from, and why")
    heads = (tr("why"), tr("orders"))
    rows = [(capital_first(one.reason), str(one.count)) for one in found]
    st.html(f"<h2>{escape(title)}</h2>{table_of([heads, *rows], title)}")
    with st.expander(tr("Which orders")):
        for one in found:
            rest = one.count - len(one.names)
            more = [tr("and {count} more", count=rest)] if rest else []
            st.html(listed(capital_first(one.reason), [*one.names, *more]))
