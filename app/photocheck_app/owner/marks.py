"""The marks on each photo, and on what in it is of known size."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from typing import Final

import streamlit as st

from photocheck.case.model import Point
from photocheck.judge.marks_told import told_at_once
from photocheck.orders.draft import Draft, DraftPhoto, ReferenceTold
from photocheck.orders.filling import with_marks, with_pointed
from photocheck.orders.model import OrderError
from photocheck.orders.screens import PHOTO
from photocheck.orders.taking import FirstLook
from photocheck.propose.proposal import NOTHING
from photocheck.scale.catalogue import REFERENCES
from photocheck.server import bench
from photocheck.shown.display import Shown
from photocheck.speech import later, tr
from photocheck.words import LANDMARK_TITLES
from photocheck_app import kept
from photocheck_app.doors.paths import CAME_FROM, PRACTISE
from photocheck_app.marking import Placed, marking_surface, reference_complete, watch_placed
from photocheck_app.outage import guarded
from photocheck_app.owner import tags_shown
from photocheck_app.owner.photos import look_at
from photocheck_app.owner.way import Way, change, go, show_ways_on
from photocheck_app.proposals import proposal_in
from photocheck_app.shared import as_text, lead_to, owners_store, saying

HEADING: Final = later("Mark your dog")

BY_HAND: Final = {"rectangle": "corners", "disc": "outline", "ball": "outline"}
"""What is placed by hand of a reference that is not seen by itself."""


@dataclass(frozen=True)
class _Surface:
    """The surface that was last shown: of which order and photo, and what was asked for."""

    key: str
    file: str
    shape: str

    @property
    def name(self) -> str:
        return f"{self.key}/{self.file}/{self.shape}"


def show(way: Way, page: str) -> None:
    """The surface of one photo, and what is still to place on any."""
    photos = way.draft.photos
    if not photos:
        st.info(tr("There is no photo to mark yet."))
        st.button(tr("Add a photo"), type="primary", on_click=go, args=(PHOTO,))
        return
    if found := tags_shown.to_confirm(way):
        tags_shown.ask(way, page, found)
        return
    number = _which(way)
    entry = photos[number]
    look = look_at(way, entry)
    _say_reference(way, number, look)
    photo: Shown | None = None
    with saying():
        photo = bench.shown(owners_store(), way.key, entry.file)
    if photo is None:
        return
    shape = _shape(entry.reference, look)
    # What gives the scale comes first, alone: a card may be held where a mark will lie.
    pointing = shape == "near"
    surface = _Surface(way.key, entry.file, shape)
    start = _start(entry, shape)
    proposal = NOTHING if pointing else proposal_in(owners_store(), way.key, entry)
    proposed = {name: mark.xy for name, mark in proposal.marks.items()}
    watch_placed(surface.name, start, partial(_keep, surface, proposed))
    expected = proposal.unlike(entry.first.confirmed)
    told = told_at_once(entry.first.marks, max(photo.size_px), look.px_per_mm, expected)
    with st.container(key="marking"):
        placed = marking_surface(
            photo,
            key=surface.name,
            start=start,
            landmarks=() if pointing else entry.needed,
            optional=() if pointing else entry.helpers,
            reference_shape=shape,
            reference_seen=look.outline,
            proposed=proposed,
            frame=proposal.frame,
            told=None if pointing else told,
        )
    if kept.keep(surface.name, placed):
        # What stands above the surface tells of it.
        st.rerun()
    tags_shown.say_placed(way, entry)
    _say_missing(way, told is None)
    lead_to(
        PRACTISE,
        tr("Never done this? One minute of practice"),
        ":material/school:",
        query={CAME_FROM: way.key},
    )
    show_ways_on(way, page)


def _which(way: Way) -> int:
    photos = way.draft.photos
    if len(photos) == 1:
        return 0
    name = f"{way.key}/marked"
    names = [photo.file for photo in photos]
    titles = {
        photo.file: ("" if photo.unplaced else "✓ ") + tr("Photo {number}", number=number)
        for number, photo in enumerate(photos, start=1)
    }
    if st.session_state.get(name) not in names:
        unready = [photo.file for photo in photos if photo.unplaced]
        st.session_state[name] = (unready or names)[0]
    # Kept under a name of our own: a widget's value is gone once the step is left.
    st.session_state["photo_choice"] = st.session_state[name]

    def moved() -> None:
        st.session_state[name] = st.session_state["photo_choice"] or st.session_state[name]

    st.segmented_control(
        tr("Which photo"),
        names,
        format_func=titles.__getitem__,
        key="photo_choice",
        on_change=moved,
        label_visibility="collapsed",
    )
    return names.index(st.session_state[name])


def _shape(reference: ReferenceTold, look: FirstLook) -> str:
    """What the person is asked to place of the reference."""
    if reference.form == "points":
        return "ends"
    by_hand = BY_HAND.get(reference.form, "none")
    if by_hand == "none":
        return "none"
    # One tap inside is enough where that finds it; its outline may then be corrected.
    return by_hand if reference.points(by_hand) or look.found or look.problem else "near"


def _start(entry: DraftPhoto, shape: str) -> Placed:
    if shape == "near":
        return Placed()
    return Placed(entry.first.marks, entry.first.bends, entry.reference.points(shape))


def _keep(surface: _Surface, proposed: Mapping[str, Point], placed: Placed) -> bool:
    """Whether the draft has changed by what is placed."""
    with suppress(OrderError):
        return change(surface.key, lambda draft: _with_placed(draft, surface, proposed, placed))
    return False


def _with_placed(
    draft: Draft, surface: _Surface, proposed: Mapping[str, Point], placed: Placed
) -> Draft:
    number, shape = draft.number_of(surface.file), surface.shape
    if number is None:
        return draft
    if shape == "near" and not placed.reference:
        return draft
    if shape != "near":
        draft = with_marks(draft, number, placed, proposed)
    if shape != "none":
        points = placed.reference if reference_complete(placed, shape) else ()
        draft = with_pointed(draft, surface.file, shape, points)
    return draft


@guarded
def _point_again(key: str, file: str) -> None:
    change(key, lambda draft: with_pointed(draft, file, "near", ()))


def _say_reference(way: Way, number: int, look: FirstLook) -> None:
    reference = way.draft.photos[number].reference
    if not reference.form:
        return
    title = tr(REFERENCES[reference.kind].title)
    if look.problem:
        st.warning(as_text(look.problem), icon=":material/search_off:")
    elif look.found and reference.near:
        st.caption(
            tr(":material/check: Found: {title}. Look whether its outline fits.", title=title)
        )
    elif not look.found and not reference.located:
        st.info(tr("First, tap once inside the {title}.", title=title), icon=":material/touch_app:")
    if reference.near and not reference.outline and not reference.corners:
        st.button(
            tr("Point at it again"),
            on_click=_point_again,
            args=(way.key, way.draft.photos[number].file),
        )


def _say_missing(way: Way, fine: bool) -> None:
    photos = way.draft.photos
    lines = []
    for number, photo in enumerate(photos, start=1):
        missing = ", ".join(tr(LANDMARK_TITLES[name]) for name in photo.unplaced)
        if missing and len(photos) == 1:
            lines.append(tr("Still to mark: {missing}.", missing=missing))
        elif missing:
            lines.append(
                tr("Photo {number}: still to mark: {titles}.", number=number, titles=missing)
            )
    if lines:
        st.caption("\n\n".join(as_text(line) for line in lines))
    elif fine:
        st.caption(f":material/check: {tr('All marks are placed.')}")
