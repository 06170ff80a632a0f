"""A table that is being brought in, and what came of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Final

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.intake.bring import Result, bring, counted
from photocheck.orders.intake.look_ahead import Preview
from photocheck.server.bench import at_work
from photocheck.speech import tr, tr_n
from photocheck_app.desk.moves import go
from photocheck_app.desk.shop_files import checked_by_shop
from photocheck_app.shared import as_text, limits, store

_DONE: Final = "import done"
NAMED: Final = 25
"""Rows of which something is said one by one (judgement)."""


@dataclass
class Done:
    """What came of a table, as far as it has come.

    Attributes
    ----------
    results : list of Result
    checked : int
        How many orders were checked.
    unchecked : list of (str, str)
        Orders that lack nothing and could not be checked: title and why.
    problem : str
        What ended it before its time; empty when nothing did.
    """

    results: list[Result] = field(default_factory=list)
    checked: int = 0
    unchecked: list[tuple[str, str]] = field(default_factory=list)
    problem: str = ""


def bring_in(preview: Preview, spoken_by_owners: str, who: str, *, update: bool) -> None:
    """Bring all in that can come in, then check what is whole.

    Every order is in the store for good once it is counted: what ends this in the middle, a press
    elsewhere or a full disk, leaves the rest to the next press.
    """
    entries = preview.entries.entries
    done = Done()
    st.session_state[_DONE] = done
    bar = st.progress(0.0, tr("Bringing in …"))

    def on_result(result: Result) -> None:
        done.results.append(result)
        came = len(done.results)
        said = tr("Bringing in: {done} of {all}", done=came, all=len(entries))
        bar.progress(came / len(entries), said)

    try:
        bring(
            store(),
            entries,
            language=spoken_by_owners,
            update=update,
            limits=limits(),
            on_result=on_result,
        )
        _check(done, who)
    except PhotocheckError as error:
        done.problem = str(error)
    bar.empty()


def _check(done: Done, who: str) -> None:
    ready = [result for result in done.results if result.ready and result.key]
    if not ready:
        return
    bar = st.progress(0.0, tr("Checking …"))
    for number, result in enumerate(ready, start=1):
        try:
            with at_work():
                checked_by_shop(result.key, who)
            done.checked += 1
        except PhotocheckError as error:
            done.unchecked.append((result.title or result.where, str(error)))
        said = tr("Checking: {done} of {all}", done=number, all=len(ready))
        bar.progress(number / len(ready), said)
    bar.empty()


def show() -> None:
    """What came of the last table, with ways to its orders, until somebody puts it away."""
    done: Done | None = st.session_state.get(_DONE)
    if done is None:
        return
    with st.container(key="import_done", border=True):
        st.html(f'<div class="answer" role="status">{escape(_counts(done))}</div>')
        if done.problem:
            st.error(as_text(done.problem))
            st.caption(tr("What came in until then is in; press again for the rest."))
        if done.unchecked:
            st.warning(
                "\n".join(f"- {as_text(f'{name}: {why}')}" for name, why in done.unchecked[:NAMED])
            )
        held = [result for result in done.results if result.outcome == "held_back"]
        _tell(tr("Held back"), held)
        told = [r for r in done.results if r.remarks and r.outcome in ("new", "completed")]
        _tell(tr("Came in, with something to know"), told)
        with st.container(horizontal=True):
            _way(tr("To those that wait for a decision"), "waiting", "import_to_waiting")
            _way(tr("To those being filled in"), "being_filled_in", "import_to_drafts")
            if st.button(tr("Close"), key="import_close", type="tertiary"):
                st.session_state.pop(_DONE, None)
                st.rerun()


def _counts(done: Done) -> str:
    count = counted(done.results)
    waits = sum(r.waits for r in done.results if r.outcome != "held_back")
    said = tr(
        "{new} new, {completed} completed, {there} there already, {held_back} held back.",
        **{name: count[name] for name in ("new", "completed", "there", "held_back")},
    )
    parts = [said, tr_n("{count} order was checked.", "{count} orders were checked.", done.checked)]
    if waits:
        parts.append(tr("Waiting for a photo: {n}.", n=waits))
    return " ".join(parts)


def _tell(title: str, results: Sequence[Result]) -> None:
    if not results:
        return
    with st.expander(f"{title} ({len(results)})"):
        for number, result in enumerate(results[:NAMED]):
            said = " ".join((*result.problems, *result.remarks))
            left, right = st.columns([6, 1], vertical_alignment="center")
            name = f"{result.where} ({result.title})" if result.title else result.where
            left.html(f"<b>{escape(name)}</b> {escape(said)}")
            if result.key:
                right.button(
                    tr("Open the order"),
                    on_click=go,
                    kwargs={"case": result.key},
                    key=f"import_open_{result.key}_{number}",
                    type="tertiary",
                )
        if len(results) > NAMED:
            st.caption(tr("and {number} more", number=len(results) - NAMED))


def _way(label: str, state: str, key: str) -> None:
    """A button that leads to the list of orders in a state, the newest first."""

    def lead() -> None:
        # The list keeps its own fields; here they are filled in for it.
        st.session_state["desk_state"] = state
        st.session_state["desk_sort"] = "sent"
        go()

    st.button(label, on_click=lead, key=key)
