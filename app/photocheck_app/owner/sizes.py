"""How large the thing of known size is, where its kind does not say so: named, or measured."""

from __future__ import annotations

from functools import partial
from typing import Final

import streamlit as st

from photocheck.orders.draft import DraftPhoto
from photocheck.orders.filling import Blank, typed_at
from photocheck.orders.gaps import SIZES, understood_length
from photocheck.scale.catalogue import usual_rounds
from photocheck.speech import number, tr
from photocheck_app.kept import hold
from photocheck_app.owner.readings import say_back
from photocheck_app.owner.way import Way, put, typed
from photocheck_app.shared import land

OTHER: Final = "other"
"""None of those that can be named."""


def ask_size(way: Way, photo: DraftPhoto) -> None:
    """How large it is, where no standard says so."""
    kind = photo.reference.kind
    if kind not in SIZES:
        return
    blank = Blank("reference", SIZES[kind], photo.file)
    if not _named(way, photo, blank):
        _measured(way, photo, blank)


def _named(way: Way, photo: DraftPhoto, blank: Blank) -> bool:
    """Which coin or ball it is, by one tap; whether that says its size, or is still to be said."""
    titles = {
        f"{one.across_mm:.2f}".rstrip("0").rstrip(".") + " mm": one.title
        for one in usual_rounds(photo.reference.kind, land())
    }
    if not titles:
        return False
    told = str(typed_at(way.draft, blank) or "")
    another = f"{way.key}/{photo.file}/other size"
    if told and told not in titles:
        st.session_state[another] = True
    now = told if told in titles else OTHER if st.session_state.get(another) else None

    def keep(picked: str | None) -> bool:
        st.session_state[another] = picked == OTHER
        return put(way.key, blank, picked if picked in titles else "")

    picked = st.radio(
        tr("Which one is it? How large it is cannot be told from the photo."),
        [*titles, OTHER],
        format_func=partial(_title, titles),
        index=None,
        key=hold(f"{way.key}/{photo.file}/usual size/{photo.reference.kind}", now, keep),
    )
    return picked != OTHER


def _title(titles: dict[str, str], size: str) -> str:
    if size == OTHER:
        return tr("another one, measured")
    return tr("{title}: {size}", title=tr(titles[size]), size=number(size))


def _measured(way: Way, photo: DraftPhoto, blank: Blank) -> None:
    label = (
        tr("How far are the two points apart, in {unit}?", unit=way.unit_word)
        if photo.reference.kind == "two_points"
        else tr("How wide is it across, in {unit}?", unit=way.unit_word)
    )
    with st.container(key=f"number_{way.unit}_size_{photo.file}"):
        size = typed(way, blank, label)
    say_back(lambda: understood_length(size, way.unit, field=tr("size")), size)
