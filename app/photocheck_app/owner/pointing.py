"""What of known size is in a photo that has no marker sheet: what was found, for a yes; or one tap.

What was found counts for nothing until somebody has said that it is right.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from functools import partial
from typing import Final

import streamlit as st

from photocheck.case.model import Point
from photocheck.orders.draft import DraftPhoto
from photocheck.orders.filling import Blank, with_declined, with_pointed, with_typed
from photocheck.orders.model import OrderError
from photocheck.orders.taking import Sighted
from photocheck.scale.catalogue import REFERENCES
from photocheck.server import bench
from photocheck.speech import capital_first, tr
from photocheck.words import THING_DECLINED
from photocheck_app import kept
from photocheck_app.doors.paths import PRACTISE
from photocheck_app.marking import Placed, marking_surface, watch_placed
from photocheck_app.outage import guarded
from photocheck_app.owner.way import Way, change, chosen, put
from photocheck_app.shared import land, lead_to, owners_store, picture, saying, unless_unseen

PART_PX: Final = 900
"""Longer side of the part of a photo that shows what was found."""


def point_out(way: Way, photo: DraftPhoto) -> None:
    """What was found in it, to be confirmed; or the photo, to be tapped once, and all kinds."""
    things = () if photo.reference.near else sighted_in(way, photo)
    if things and THING_DECLINED not in photo.declined:
        _ask_sighted(way, photo, things)
        return
    st.info(
        tr("No marker sheet was seen. Tap once inside the thing whose size is known."),
        icon=":material/touch_app:",
    )
    kinds: tuple[str, ...] | None = None
    near = photo.reference.near
    with saying():
        _surface(way, photo)
        kinds = _kinds(way.key, photo.file, near, land()) if near else ()
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


def sighted_in(way: Way, photo: DraftPhoto) -> tuple[Sighted, ...]:
    """Cards and sheets that seem to be in a photo; none where it cannot be looked at now."""
    return unless_unseen(lambda: _sighted(way.key, photo.file, land()), ())


def _ask_sighted(way: Way, photo: DraftPhoto, things: Sequence[Sighted]) -> None:
    """What was found, outlined and large; a yes to one of them."""
    several = len(things) > 1
    if several:
        st.markdown(f"**{tr('Which of these is it?')}**")
    for number, thing in enumerate(things, start=1):
        first, *others = (tr(REFERENCES[kind].title) for kind in thing.kinds)
        with st.container(key=f"sighted_{number}"):
            _show_sighted(way, photo, thing, first)
            if not several:
                asked = tr("{title}, where it is outlined: right?", title=capital_first(first))
                st.markdown(f"**{asked}**")
        yes = tr("This one: {title}", title=first) if several else tr("Yes, right")
        for kind, said in zip(
            thing.kinds,
            (yes, *(tr("No, it is: {title}", title=other) for other in others)),
            strict=True,
        ):
            if several and kind != thing.kinds[0]:
                continue
            st.button(
                said,
                key=f"right/{number}/{kind}/{photo.file}",
                type="primary" if said == yes and not several else "secondary",
                on_click=_confirm,
                args=(way.key, photo.file, kind, thing.near),
                width="stretch",
            )
    st.button(
        tr("None of these") if several else tr("No, something else"),
        key=f"not_right/{photo.file}",
        on_click=_decline,
        args=(way.key, photo.file),
        width="stretch",
    )


def _show_sighted(way: Way, photo: DraftPhoto, thing: Sighted, title: str) -> None:
    left, top = thing.frame[:2]
    with saying():
        part = bench.shown_part(owners_store(), way.key, photo.file, thing.frame, (PART_PX,))
        outline = tuple((x - left, y - top) for x, y in thing.outline)
        said = tr("Part of the photo: {title}", title=title)
        st.html(picture(part.copies[0].jpeg, said, outlined=(part.size_px, (outline,))))


@guarded
def _decline(key: str, file: str) -> None:
    change(key, lambda draft: with_declined(draft, file, THING_DECLINED))


@guarded
def _confirm(key: str, file: str, kind: str, near: Point) -> None:
    change(
        key,
        lambda draft: with_typed(
            with_pointed(draft, file, "near", (near,)), Blank("reference", "kind", file), kind
        ),
    )


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
def _kinds(key: str, file: str, near: Point, land: str) -> tuple[str, ...]:
    return bench.kinds_seen(owners_store(), key, file, near, land)


@st.cache_data(show_spinner=False, max_entries=96)
def _sighted(key: str, file: str, land: str) -> tuple[Sighted, ...]:
    return bench.things_sighted(owners_store(), key, file, land)
