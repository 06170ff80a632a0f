"""Staff's own marks on an order's photo: beside the owner's, or in their place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from html import escape

import streamlit as st

from photocheck.case.model import Point
from photocheck.errors import PhotocheckError
from photocheck.judge.marks_told import told_at_once
from photocheck.orders.completing import is_being_told, working_copy
from photocheck.orders.corrections import (
    reference_points,
    shape_of,
    with_marking,
    with_reference_points,
    with_tags_used,
)
from photocheck.orders.draft import Draft, DraftMarking, DraftPhoto
from photocheck.orders.filling import confirmed, with_tape_at_tags
from photocheck.orders.model import Order
from photocheck.orders.worn_tags import FoundTags
from photocheck.propose.proposal import NOTHING
from photocheck.report.model import PhotoResult
from photocheck.server import bench
from photocheck.speech import tr
from photocheck.words import LANDMARK_TITLES, TAGS, TAGS_UNUSED
from photocheck_app import kept
from photocheck_app.desk import expected
from photocheck_app.desk.follow import follow_order
from photocheck_app.desk.keeping import keep_and_check
from photocheck_app.desk.moves import choose_photo, go
from photocheck_app.desk.session import drop_unsent, keep_unsent, unsent
from photocheck_app.marking import Placed, marking_surface, watch_placed
from photocheck_app.proposals import proposal_in
from photocheck_app.shared import as_text, store
from photocheck_app.worn import tags_in_photo

WAYS = ("instead", "beside")


def show(order: Order, who: str) -> None:
    """The surface, and the check with what was placed on it."""
    case = working_copy(order)
    photos = case.photos
    with st.container(horizontal=True, vertical_alignment="center"):
        title = tr("Marks of {name}", name=order.name or tr("order without a name"))
        st.html(f"<h1>{escape(title)}</h1>", width="stretch")
        st.button(tr("Back to the order"), on_click=go, kwargs={"case": order.key}, key="to_case")
    follow_order(order, who)
    if not photos:
        st.info(tr("This order has no photo yet."))
        return
    stand = f"marks {len(order.checks)}"
    with st.container(horizontal=True, vertical_alignment="bottom"):
        unmarked = [number for number, photo in enumerate(photos) if photo.unplaced]
        index = choose_photo(
            len(photos),
            f"marked photo {order.key} {len(photos)}",
            first=unmarked[0] if unmarked else 0,
        )
        way = _way(order.key)
        send = st.button(tr("Check again with these marks"), type="primary", key="check_marks")
    if way == "beside":
        st.caption(
            tr(
                "Two people's marks on one photo count as two, if they do not copy each other: "
                "so yours begin empty."
            )
        )
    else:
        st.caption(
            tr(
                "You begin with the marks as they are, and yours take their place; the earlier "
                "check stays in the history."
            )
        )
    entry = photos[index]
    tags = tags_in_photo(store(), order.key, entry)
    unused = _say_tags(order, index, entry, tags)
    at_tags = bool(tags.marks) and not unused and _say_measured(order, case)
    bare = way == "instead" and not entry.markings and not unused
    by_tags = tags.marks if bare else {}
    begin = _begin(entry, who, way, by_tags)
    field = f"{stand} {index} {way}"
    surface = f"desk-{order.key}-{len(order.checks)}-{index}-{way}"
    watch_placed(surface, begin, partial(keep_unsent, who, order.key, field))
    photo = bench.shown(store(), order.key, entry.file)
    start = unsent(who, order.key, field, begin)
    checked = _checked(order, index)
    proposal = proposal_in(store(), order.key, entry) if way == "beside" else NOTHING
    proposed = {name: mark.xy for name, mark in proposal.marks.items()}
    if proposed and not start.marks:
        st.caption(
            tr("The hollow rings are proposed by the program, which knows nothing of other marks.")
        )
    if checked:
        for said in expected.sentences(order, order.checks[-1], index):
            st.warning(as_text(said), icon=":material/search:")
    placed = marking_surface(
        photo,
        key=surface,
        start=start,
        landmarks=entry.needed,
        optional=entry.helpers,
        reference_shape=shape_of(entry.reference),
        reference_seen=checked.reference_px if checked else (),
        proposed=proposed,
        frame=proposal.frame,
        told=told_at_once(start.marks, max(photo.size_px), checked.px_per_mm if checked else 0.0),
    )
    kept.keep(surface, placed)
    if not send:
        return

    try:
        by = TAGS if by_tags and placed.marks == begin.marks else who
        confirms = confirmed(_newest(entry, who, way), placed, proposed)
        told = replace(placed, confirmed=confirms)
        corrected = _corrected(case, index, by, way, told, begin)
        corrected = with_tags_used(corrected, index, used=not unused)
        if tags.marks:
            corrected = with_tape_at_tags(corrected, at_tags)
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    if keep_and_check(order, who, corrected, keep=is_being_told(order)):
        drop_unsent(who, order.key, stand)
        go(case=order.key)
        st.rerun()


def _way(order: str) -> str:
    titles = {
        "instead": tr("Move the marks: mine in their place"),
        "beside": tr("Place my own: both count"),
    }
    return st.radio(
        tr("How"),
        WAYS,
        format_func=lambda way: titles[way],
        horizontal=True,
        key=f"way {order}",
        label_visibility="collapsed",
    )


def _say_tags(order: Order, index: int, entry: DraftPhoto, tags: FoundTags) -> bool:
    """Say which tags were found; whether they are not to be used."""
    if not tags.marks:
        return entry.tags == TAGS_UNUSED
    titles = ", ".join(tr(LANDMARK_TITLES[name]) for name in tags.marks)
    found = tr(
        "Tags were found: {titles}. A check takes their tips, not marks there.", titles=titles
    )
    st.caption(f":material/sell: {as_text(found)}")
    return st.checkbox(
        tr("They are not where they belong: do not use them"),
        entry.tags == TAGS_UNUSED,
        key=f"tags unused {order.key} {len(order.checks)} {index}",
    )


def _say_measured(order: Order, case: Draft) -> bool:
    """Whether the owner is known to have held the tape at the tags."""
    return st.checkbox(
        tr("The owner measured with these tags on, from tip to tip"),
        case.measured_at_tags,
        key=f"measured at tags {order.key} {len(order.checks)}",
    )


def _begin(entry: DraftPhoto, who: str, way: str, by_tags: Mapping[str, Point]) -> Placed:
    """What the surface begins with: the newest marks there, or for a second opinion none."""
    begin = _newest(entry, who, way)
    begin = begin if begin.marks or not by_tags else DraftMarking(by_tags)
    return Placed(begin.marks, begin.bends, reference_points(entry.reference))


def _newest(entry: DraftPhoto, who: str, way: str) -> DraftMarking:
    markings = [m for m in entry.markings if way == "instead" or m.marker == who]
    return markings[-1] if markings else DraftMarking()


def _checked(order: Order, index: int) -> PhotoResult | None:
    """What the last check found on this photo."""
    photos = order.checks[-1].report.photos if order.checks else ()
    return photos[index] if index < len(photos) else None


def _corrected(case: Draft, index: int, by: str, way: str, placed: Placed, begin: Placed) -> Draft:
    corrected = with_marking(case, index, by=by, placed=placed, beside=way == "beside")
    if placed.reference and placed.reference != begin.reference:
        shape = shape_of(case.photos[index].reference)
        corrected = with_reference_points(corrected, index, shape, placed.reference)
    return corrected
