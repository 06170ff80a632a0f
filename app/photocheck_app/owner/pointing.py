"""What of known size is in a photo, where it was not found by itself: one tap, and a yes."""

from __future__ import annotations

from contextlib import suppress
from functools import partial

import streamlit as st

from photocheck.case.model import Point
from photocheck.orders.draft import DraftPhoto
from photocheck.orders.filling import Blank, with_pointed
from photocheck.orders.model import OrderError
from photocheck.scale.catalogue import REFERENCES
from photocheck.server import bench
from photocheck.speech import capital_first, tr
from photocheck_app import kept
from photocheck_app.doors.paths import PRACTISE
from photocheck_app.marking import Placed, marking_surface, watch_placed
from photocheck_app.outage import guarded
from photocheck_app.owner.way import Way, change, chosen, put
from photocheck_app.shared import lead_to, owners_store, saying


def point_out(way: Way, photo: DraftPhoto) -> None:
    """The photo, to be tapped once; what that may be; and all kinds to choose from."""
    st.info(
        tr("No marker sheet was seen. Tap once inside the thing whose size is known."),
        icon=":material/touch_app:",
    )
    kinds: tuple[str, ...] | None = None
    with saying():
        _surface(way, photo)
        kinds = _kinds(way.key, photo.file, photo.reference.near) if photo.reference.near else ()
    if kinds is None:
        return
    if kinds:
        st.markdown(f"**{tr('Is it this?')}**")
    elif photo.reference.near:
        st.caption(tr("Nothing was recognised there. Say what it is."))
    for number, kind in enumerate(kinds):
        st.button(
            capital_first(tr(REFERENCES[kind].title)),
            key=f"is/{kind}/{photo.file}",
            type="secondary" if number else "primary",
            on_click=_say_kind,
            args=(way.key, photo.file, kind),
            width="stretch",
        )
    with st.expander(tr("Something else"), expanded=bool(photo.reference.near) and not kinds):
        ask_kind(way, photo)
    with st.expander(tr("There is nothing of known size in it")):
        st.write(
            tr(
                "Then no length can be told from it. Take it again with the marker sheet, a bank "
                "card or a sheet of paper in the picture; your readings stay."
            )
        )
        lead_to(PRACTISE, tr("Practise the marks meanwhile"))


def ask_kind(way: Way, photo: DraftPhoto) -> None:
    """Every kind there is, to choose from."""
    kinds = {kind: tr(item.title) for kind, item in REFERENCES.items()}
    chosen(way, Blank("reference", "kind", photo.file), tr("What is of known size?"), kinds, "")


def _surface(way: Way, photo: DraftPhoto) -> None:
    name = f"{way.key}/{photo.file}/near"
    start = Placed(reference=photo.reference.points("near"))
    watch_placed(name, start, partial(_keep_near, way.key, photo.file))
    with st.container(key="marking"):
        placed = marking_surface(
            bench.shown(owners_store(), way.key, photo.file),
            key=name,
            start=start,
            landmarks=(),
            optional=(),
            reference_shape="near",
        )
    if kept.keep(name, placed):
        st.rerun()


def _keep_near(key: str, file: str, placed: Placed) -> bool:
    if placed.reference:
        with suppress(OrderError):
            return change(key, lambda draft: with_pointed(draft, file, "near", placed.reference))
    return False


@guarded
def _say_kind(key: str, file: str, kind: str) -> None:
    put(key, Blank("reference", "kind", file), kind)


@st.cache_data(show_spinner=False, max_entries=96)
def _kinds(key: str, file: str, near: Point) -> tuple[str, ...]:
    return bench.kinds_seen(owners_store(), key, file, near)
