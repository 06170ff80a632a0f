"""A table that is being brought in, and what came of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Final

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.intake.bring import Result, bring, counted
from photocheck.orders.intake.entries import Entry
from photocheck.orders.intake.look_ahead import Preview
from photocheck.server.bench import at_work, tags_in
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
    entries : sequence of Entry
        All of the table.
    language, who : str
        The owners', where the table tells none; and who brings them in.
    update : bool
        As for `photocheck.orders.intake.bring.bring`.
    ended : bool
        Whether all was done that can be done.
    """

    entries: Sequence[Entry]
    language: str
    who: str
    update: bool
    results: list[Result] = field(default_factory=list)
    checked: int = 0
    unchecked: list[tuple[str, str]] = field(default_factory=list)
    problem: str = ""
    ended: bool = False

    def end(self, problem: str = "") -> None:
        """Nothing more is done; what was handed in need not be held any longer."""
        self.problem, self.ended, self.entries = problem, True, ()


def bring_in(preview: Preview, spoken_by_owners: str, who: str, *, update: bool) -> None:
    """Bring all in that can come in, then check what is whole; `go_on` does it."""
    st.session_state[_DONE] = Done(preview.entries.entries, spoken_by_owners, who, update)
    go_on()


def go_on() -> None:
    """Go on with what was begun, if anything was.

    A run of a page may end at any moment for another, because something was pressed or the
    connection was gone for a second; hundreds of orders take minutes.  So what has been done is
    kept beside what is to do, and the next run goes on.  Every order is in the store for good
    once it is counted.
    """
    done: Done | None = st.session_state.get(_DONE)
    if done is None or done.ended:
        return
    try:
        _bring(done)
        _check(done)
        done.end()
    except PhotocheckError as error:
        done.end(str(error))
    st.rerun()


def all_in() -> bool:
    """Whether all that could come in of the last table did."""
    done: Done | None = st.session_state.get(_DONE)
    return done is not None and done.ended and not done.problem


def given_up() -> None:
    """The table is no longer there: what was begun with it ends where it is."""
    done: Done | None = st.session_state.get(_DONE)
    if done is not None and not done.ended:
        done.end(tr("The table was put away before all of it had come in."))


def _bring(done: Done) -> None:
    left = done.entries[len(done.results) :]
    if not left:
        return
    bar = st.progress(len(done.results) / len(done.entries), tr("Bringing in …"))

    def on_result(result: Result) -> None:
        done.results.append(result)
        came, of = len(done.results), len(done.entries)
        bar.progress(came / of, tr("Bringing in: {done} of {all}", done=came, all=of))

    bring(
        store(),
        left,
        language=done.language,
        update=done.update,
        limits=limits(),
        find_tags=tags_in,
        on_result=on_result,
    )
    bar.empty()


def _check(done: Done) -> None:
    ready = [result for result in done.results if result.ready and result.key]
    tried = done.checked + len(done.unchecked)
    if tried == len(ready):
        return
    bar = st.progress(tried / len(ready), tr("Checking …"))
    for number, result in enumerate(ready[tried:], start=tried + 1):
        try:
            with at_work():
                checked_by_shop(result.key, done.who)
            done.checked += 1
        except PhotocheckError as error:
            done.unchecked.append((result.title or result.where, str(error)))
        said = tr("Checking: {done} of {all}", done=number, all=len(ready))
        bar.progress(number / len(ready), said)
    bar.empty()


def show() -> None:
    """What came of the last table, with ways to its orders, until somebody puts it away."""
    done: Done | None = st.session_state.get(_DONE)
    if done is None or not done.ended:
        return
    with st.container(key="import_done", border=True):
        st.html(f'<div class="answer" role="status">{escape(_counts(done))}</div>')
        if done.problem:
            st.error(as_text(done.problem))
            st.caption(
                tr("What came in until then is in; bring the same table in again for the rest.")
            )
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
