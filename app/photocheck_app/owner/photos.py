"""The photos, and what in them is of known size."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Final

import streamlit as st
from streamlit.typing import UploadedFile

from photocheck.case.validity import MOST_PHOTOS
from photocheck.errors import PhotocheckError
from photocheck.orders.draft import Draft, DraftPhoto, ReferenceTold
from photocheck.orders.filling import Blank, with_photo, without_photo
from photocheck.orders.gaps import SIZES, understood_length
from photocheck.orders.model import StoreError
from photocheck.orders.taking import FirstLook, take_photo
from photocheck.photo.kind import NO_HEIC
from photocheck.scale.catalogue import REFERENCES
from photocheck.server import bench
from photocheck.speech import later, spoken, tr
from photocheck.uploads import BusyError
from photocheck.uploads.gate import on_behalf_of
from photocheck_app.doors.rate_limits import COUNTS, here
from photocheck_app.framework import file_id
from photocheck_app.held_uploads import content_of, let_go
from photocheck_app.outage import NOT_DONE, guarded
from photocheck_app.owner.readings import say_back
from photocheck_app.owner.way import Way, change, chosen, show_ways_on, typed
from photocheck_app.shared import as_text, drawing, limits, owners_store, picture

HEADING: Final = later("A photo from the side")
THUMBNAIL_PX: Final = 900

HOW: Final = (
    later("The dog stands square, its side to you, its head as it carries it."),
    later(
        "Something of known size stands level with the dog's middle: in front of its chest or "
        "behind its tail, facing you. Best is the printed marker sheet."
    ),
    later("Crouch, so that the phone is as high as the dog's chest, two to three metres away."),
    later("Hold the phone sideways. The whole dog is in the picture, with its feet and tail."),
    later("Somebody may hold the dog, but nothing should cover its side."),
)


HOW_FRONT: Final = (
    later("It shows how wide the neck is, which no photo from the side can."),
    later("The dog stands and looks at you; stand the sheet beside its front feet, facing you."),
    later("Crouch two to three metres before it and hold the phone upright."),
)


def show(way: Way) -> None:
    """How to take it, the upload, and each photo with its reference."""
    photos = way.draft.photos
    with st.expander(
        tr("How to take the photo"), expanded=not photos, icon=":material/photo_camera:"
    ):
        _how()
    for number in range(len(photos)):
        with st.container(border=True):
            _photo(way, number)
    _upload(way)
    show_ways_on("photo")


def _how() -> None:
    left, right = st.columns(2, vertical_alignment="center")
    with left:
        st.html(drawing("side", tr("A dog standing square beside the printed marker sheet.")))
    with right:
        st.html(
            drawing(
                "above",
                tr(
                    "Seen from above: the sheet in line with the dog, the phone square to its side."
                ),
            )
        )
    st.markdown("\n".join(f"{number}. {tr(line)}" for number, line in enumerate(HOW, start=1)))
    st.caption(
        tr("Never force or lean on a dog to make it stand. Take two or three photos if you can.")
    )
    st.markdown(f"**{tr('And one from the front')}**")
    left, right = st.columns(2, vertical_alignment="center")
    with left:
        said = tr("A dog facing you, the marker sheet on the ground beside its front feet.")
        st.html(drawing("front", said, shown="photo"))
    with right:
        st.markdown("\n".join(f"- {tr(line)}" for line in HOW_FRONT))


def _upload(way: Way) -> None:
    turn_key, said_key = f"{way.key}/uploads", f"{way.key}/uploads/said"
    turn = st.session_state.get(turn_key, 0)
    label = tr("Add another photo") if way.draft.photos else tr("Take or choose a photo")
    given = st.file_uploader(
        label, type=list(limits().suffixes), accept_multiple_files=True, key=f"{turn_key}/{turn}"
    )
    if not limits().heic:
        st.caption(as_text(tr("HEIC pictures are not read here. {instead}.", instead=tr(NO_HEIC))))
    waiting = False
    if given:
        with st.spinner(tr("Looking at the photo")):
            taken, said, waiting = _taken(way, given)
        st.session_state[said_key] = said
        # First of all, so that a store that is away finds them still in the uploader.
        if taken:
            try:
                change(way.key, partial(_with_photos, taken))
            except StoreError:
                st.session_state.pop(f"{way.key}/uploads/told", None)
                raise
        if not waiting:
            # An empty uploader again: what was taken is shown above it, and stays after a reload.
            st.session_state[turn_key] = turn + 1
            let_go(given)
        if taken or not waiting:
            st.rerun()
    for problem in st.session_state.get(said_key, ()):
        st.error(as_text(problem), icon=":material/broken_image:")
    if waiting:
        # They stay in the uploader, and every run tries them once more.
        st.button(tr("Try again"), key="try_again", type="primary")


def _with_photos(names: Sequence[str], draft: Draft) -> Draft:
    for name in names:
        draft = with_photo(draft, name)
    return draft


def _taken(way: Way, given: Sequence[UploadedFile]) -> tuple[list[str], tuple[str, ...], bool]:
    """What could be taken, by its name; what is to be said; and whether some must wait."""
    # What became of each file, by its id; an empty text when it was taken.
    told: dict[str, str] = st.session_state.setdefault(f"{way.key}/uploads/told", {})
    taken: list[str] = []
    waiting: list[str] = []
    there = {photo.file for photo in way.draft.photos}
    for file in given:
        known = file_id(file)
        if known in told:
            continue
        if len(there.union(taken)) >= MOST_PHOTOS:
            told[known] = tr("{name}: {most} photos are enough.", name=file.name, most=MOST_PHOTOS)
            continue
        try:
            content = content_of(file)
            COUNTS.count("photos of link", way.key)
            with on_behalf_of(here()):
                name = take_photo(owners_store(), way.key, content, name=file.name, limits=limits())
        except BusyError as error:
            waiting.append(str(error))
        except StoreError:
            waiting.append(tr(NOT_DONE))
        except PhotocheckError as error:
            told[known] = str(error)
        else:
            taken.append(name)
            told[known] = ""
    said = (*filter(None, told.values()), *waiting)
    if not waiting:
        told.clear()
    return taken, said, bool(waiting)


def _photo(way: Way, number: int) -> None:
    entry = way.draft.photos[number]
    name = entry.file
    st.subheader(tr("Photo {number}", number=number + 1), anchor=False)
    try:
        small = bench.shown(owners_store(), way.key, name, (THUMBNAIL_PX,)).copies[0]
        st.html(picture(small.jpeg, tr("Photo {number}", number=number + 1)))
    except StoreError:
        raise
    except PhotocheckError as error:
        st.error(as_text(str(error)))
    look = look_at(way, entry)
    for said in look.cut:
        st.warning(as_text(said), icon=":material/crop:")
    if look.problem:
        st.warning(as_text(look.problem), icon=":material/search_off:")
    elif look.found:
        st.success(
            tr("Found in the photo. You will see where at the marks."), icon=":material/check:"
        )
    for remark in look.remarks:
        st.caption(f":material/info: {as_text(remark)}")

    st.button(
        tr("Take photo {number} out", number=number + 1),
        key=f"out/{name}",
        icon=":material/delete:",
        on_click=_take_out,
        args=(way.key, name),
    )
    views = {"side": tr("from the side"), "front": tr("from the front")}
    chosen(way, Blank("photo", "view", name), tr("Where was it taken from?"), views, "side")
    _reference(way, number)


def _reference(way: Way, number: int) -> None:
    photo = way.draft.photos[number]

    def of_it(name: str) -> Blank:
        return Blank("reference", name, photo.file)

    kinds = {kind: tr(item.title) for kind, item in REFERENCES.items()}
    kind = chosen(way, of_it("kind"), tr("What is of known size?"), kinds, "")
    if kind in SIZES:
        label = (
            tr("How far are the two points apart, in {unit}?", unit=way.unit_word)
            if kind == "two_points"
            else tr("How wide is it across, in {unit}?", unit=way.unit_word)
        )
        size = typed(way, of_it(SIZES[kind]), label)
        say_back(lambda: understood_length(size, way.unit, field=tr("size")), size)
    if kind == "marker_sheet":
        bar = typed(
            way,
            of_it("bar"),
            tr("What does the proof bar on the sheet measure?"),
            placeholder="150 mm",
        )
        if bar:
            say_back(lambda: understood_length(bar, "cm", field=tr("proof bar")), bar)
        else:
            st.caption(tr("Hold a ruler to the printed bar: printers seldom print quite true."))
    places = {place: tr(title) for place, title in photo.places.items()}
    place = chosen(way, of_it("place"), tr("Where was it?"), places, "unknown")
    if place not in ("middle", "unknown") and not photo.from_front:
        offset = typed(
            way,
            of_it("offset"),
            tr(
                "How far from the dog's middle was it, in {unit}? If you measured it.",
                unit=way.unit,
            ),
        )
        if offset:
            say_back(lambda: understood_length(offset, way.unit, field=tr("distance")), offset)
        else:
            st.caption(tr("From the line of its back, towards you or away from you."))
    if place == "unknown" and photo.reference.offset is None:
        st.caption(tr("Do tell: it is the largest source of error of such photos."))


@guarded
def _take_out(key: str, name: str) -> None:
    change(key, lambda draft: without_photo(draft, name))


def look_at(way: Way, entry: DraftPhoto) -> FirstLook:
    """What one photo of the draft shows by itself, and of its reference."""
    try:
        view = entry.view or "side"
        return _look(way.key, entry.file, entry.reference, way.unit, spoken(), view)
    except StoreError:
        raise
    except PhotocheckError as error:
        # Not kept: it may have been but busy.
        return FirstLook(False, (), str(error), ())


@st.cache_data(show_spinner=False, max_entries=96)
def _look(
    key: str, name: str, reference: ReferenceTold, unit: str, said_in: str, view: str
) -> FirstLook:
    return bench.look(owners_store(), key, name, reference, unit, view)
