"""The marks on each photo, and on what in it is of known size."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Final

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.draft import reference_told, unplaced, with_marks, with_value
from photocheck.orders.model import OrderError
from photocheck.orders.taking import FirstLook
from photocheck.orders.uploads import BusyError
from photocheck.scale.catalogue import REFERENCES
from photocheck.server import bench
from photocheck.speech import later, tr
from photocheck.words import HELPER_LANDMARKS, LANDMARK_TITLES, LANDMARKS
from photocheck_app.marking import Placed, last_placed, marking_surface, reference_complete
from photocheck_app.owner.photos import look_at
from photocheck_app.owner.way import Way, go, put, save, show_ways_on
from photocheck_app.shared import as_text, owners_store, say_busy

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


def show(way: Way) -> None:
    """The surface of one photo, and what is still to place on any."""
    photos = way.draft["photos"]
    if not photos:
        st.info(tr("There is no photo to mark yet."))
        st.button(tr("Add a photo"), type="primary", on_click=go, args=("photo",))
        return
    number = _which(way)
    entry = photos[number]
    look = look_at(way, entry)
    _say_reference(way, number, look)
    try:
        photo = bench.shown(owners_store(), way.key, entry["file"])
    except BusyError as error:
        say_busy(error)
        return
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    shape = _shape(entry["reference"], look)
    # What gives the scale comes first, alone: a card may be held where a mark will lie.
    pointing = shape == "near"
    surface = _Surface(way.key, entry["file"], shape)
    st.session_state["surface"] = surface
    with st.container(key="marking"):
        placed = marking_surface(
            photo,
            key=surface.name,
            start=_start(entry, shape),
            landmarks=() if pointing else LANDMARKS,
            optional=() if pointing else HELPER_LANDMARKS,
            reference_shape=shape,
            reference_seen=look.outline,
        )
    if _keep(surface, placed):
        # What stands above the surface tells of it.
        st.rerun()
    _say_missing(way)
    show_ways_on("marks")


def _which(way: Way) -> int:
    photos = way.draft["photos"]
    if len(photos) == 1:
        return 0
    name = f"{way.key}/marked"
    names = [photo["file"] for photo in photos]
    titles = {
        photo["file"]: ("" if unplaced(photo) else "✓ ") + tr("Photo {number}", number=number)
        for number, photo in enumerate(photos, start=1)
    }
    if st.session_state.get(name) not in names:
        unready = [photo["file"] for photo in photos if unplaced(photo)]
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


def _shape(reference: Mapping[str, Any], look: FirstLook) -> str:
    """What the person is asked to place of the reference."""
    form = REFERENCES[reference["kind"]].form
    if form == "markers":
        return "none"
    if form == "points":
        return "ends"
    by_hand = BY_HAND[form]
    # One tap inside is enough where that finds it; its outline may then be corrected.
    return by_hand if by_hand in reference or look.found or look.problem else "near"


def _start(entry: Mapping[str, Any], shape: str) -> Placed:
    if shape == "near":
        return Placed()
    marking = entry["markings"][0] if entry["markings"] else {}
    return Placed.as_told(marking, entry["reference"].get(shape, ()))


def keep_placed() -> None:
    """Keep the marks that came with this run, also when it no longer shows the surface."""
    surface: _Surface | None = st.session_state.get("surface")
    if surface is None:
        return
    placed = last_placed(surface.name)
    if placed is not None:
        with suppress(OrderError):
            _keep(surface, placed)


def _keep(surface: _Surface, placed: Placed) -> bool:
    """Whether the draft has changed by what is placed."""
    draft = owners_store().order(surface.key).draft
    names = [photo["file"] for photo in draft["photos"]]
    if surface.file not in names:
        return False
    number = names.index(surface.file)
    reference = dict(draft["photos"][number]["reference"])
    shape = surface.shape
    changed = draft
    if shape == "near":
        if placed.reference:
            reference["near"] = list(placed.reference[0])
    else:
        changed = with_marks(draft, number, placed.marks, placed.bends)
        if reference_complete(placed, shape):
            reference[shape] = [list(xy) for xy in placed.reference]
        else:
            reference.pop(shape, None)
    changed = with_value(changed, ("photos", number, "reference"), reference)
    if changed == draft:
        return False
    save(surface.key, changed)
    return True


def _say_reference(way: Way, number: int, look: FirstLook) -> None:
    reference = way.draft["photos"][number]["reference"]
    title = tr(REFERENCES[reference["kind"]].title)
    if look.problem:
        st.warning(as_text(look.problem), icon=":material/search_off:")
    elif look.found:
        st.caption(
            tr(":material/check: Found: {title}. Look whether its outline fits.", title=title)
        )
    elif not reference_told(reference):
        st.info(tr("First, tap once inside the {title}.", title=title), icon=":material/touch_app:")
    if "near" in reference and "outline" not in reference and "corners" not in reference:
        st.button(
            tr("Point at it again"),
            on_click=put,
            args=(way.key, ("photos", number, "reference", "near"), None),
        )


def _say_missing(way: Way) -> None:
    photos = way.draft["photos"]
    lines = []
    for number, photo in enumerate(photos, start=1):
        missing = ", ".join(tr(LANDMARK_TITLES[name]) for name in unplaced(photo))
        if missing and len(photos) == 1:
            lines.append(tr("Still to mark: {missing}.", missing=missing))
        elif missing:
            lines.append(
                tr("Photo {number}: still to mark: {titles}.", number=number, titles=missing)
            )
    if lines:
        st.caption("\n\n".join(as_text(line) for line in lines))
    else:
        st.success(tr("All marks are placed."), icon=":material/check:")
