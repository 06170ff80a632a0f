"""A photo, what in it is of known size, and where that was: asked on one screen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Final

import streamlit as st
from streamlit.typing import UploadedFile

from photocheck.case.validity import MOST_PHOTOS
from photocheck.errors import PhotocheckError
from photocheck.orders import screens
from photocheck.orders.draft import Draft, DraftPhoto, ReferenceTold
from photocheck.orders.filling import Blank, with_photo, without_photo
from photocheck.orders.gaps import understood_length
from photocheck.orders.model import StoreError
from photocheck.orders.taking import FirstLook, shapes_of, take_photo
from photocheck.photo.kind import NO_HEIC
from photocheck.scale.catalogue import DOG_TAGS, REFERENCES
from photocheck.server import bench
from photocheck.speech import later, spoken, tr
from photocheck.uploads import BusyError
from photocheck.words import SHORT_PLACES
from photocheck_app.doors.paths import SHEET
from photocheck_app.doors.rate_limits import COUNTS
from photocheck_app.framework import file_id
from photocheck_app.held_uploads import content_of, let_go
from photocheck_app.outage import NOT_DONE, guarded
from photocheck_app.owner import refused, tags_shown, unsent
from photocheck_app.owner.pointing import ask_kind, point_out, sighted_in
from photocheck_app.owner.readings import say_back
from photocheck_app.owner.sizes import ask_size
from photocheck_app.owner.way import Way, change, chosen, go, put, show_ways_on, typed
from photocheck_app.proposals import proposal_in
from photocheck_app.shared import as_text, drawing, drawn, lead_to, limits, owners_store, picture

HEADING: Final = later("A photo from the side")
HEADING_FRONT: Final = later("A photo from the front")
THUMBNAIL_PX: Final = 900
FINDS_ITSELF: Final = "marker_sheet"
"""The kind of reference that can be told from what else is in a picture; without one, tags."""

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


def show(way: Way, page: str) -> None:
    """How to take it and the upload; of what is there, what was found and where it was."""
    front = page == screens.FRONT
    unsent.tell(way, "front" if front else "side")
    mine = _taken_for(way.draft, page)
    if not mine:
        _upload(way, front)
        _how(front)
        show_ways_on(way, page, stay=partial(_comes, way))
        return
    for photo in mine:
        _photo(way, page, photo, alone=len(mine) == 1)
    with st.expander(tr("Add another photo"), icon=":material/add_a_photo:"):
        _upload(way, front)
        _how(front)
    show_ways_on(way, page, stay=partial(_must_say, way, page))


def _must_say(way: Way, page: str) -> bool:
    """Whether it is still open where something stood, or a photo is refused; both stand here.

    A photo that has come and was not taken in yet is waited for as well.
    """
    if _comes(way):
        return True
    mine = _taken_for(owners_store().draft(way.key), page)
    if any(refused.of(way, photo) for photo in mine):
        return True
    asked = any(photo.reference.kind and not photo.place_told for photo in mine)
    st.session_state[f"{way.key}/place asked"] = asked
    return asked


def _comes(way: Way) -> bool:
    """Whether a photo lies in the uploader; the next screen has none, and would lose it."""
    turn_key = f"{way.key}/uploads"
    return bool(st.session_state.get(f"{turn_key}/{st.session_state.get(turn_key, 0)}"))


def _taken_for(draft: Draft, page: str) -> list[DraftPhoto]:
    return [photo for photo in draft.photos if photo.from_front == (page == screens.FRONT)]


def _how(front: bool) -> None:
    if front:
        said = tr("A dog facing you, the marker sheet on the ground beside its front feet.")
        st.html(drawing("front", said, shown="photo"))
        st.markdown("\n".join(f"- {tr(line)}" for line in HOW_FRONT))
        return
    st.html(drawing("side", tr("A dog standing square beside the printed marker sheet.")))
    st.markdown("\n".join(f"{number}. {tr(line)}" for number, line in enumerate(HOW, start=1)))
    st.caption(
        tr("Never force or lean on a dog to make it stand. Take two or three photos if you can.")
    )
    st.markdown(
        tr(
            "**The surest: tags on the dog.** Put them on before you measure, and leave them on "
            "for the photo; they are found by themselves."
        )
    )
    lead_to(SHEET, tr("Print the tags"), ":material/print:")


def _upload(way: Way, front: bool) -> None:
    turn_key, said_key = f"{way.key}/uploads", f"{way.key}/uploads/said"
    turn = st.session_state.get(turn_key, 0)
    label = tr("Take or choose a photo")
    # The framework's own button speaks English only.
    st.html(f'<style>.st-key-take_photo {{ --take-photo: "{label}"; }}</style>')
    with st.container(key="take_photo"):
        given = st.file_uploader(
            label,
            label_visibility="collapsed",
            type=list(limits().suffixes),
            accept_multiple_files=True,
            key=f"{turn_key}/{turn}",
        )
    if not limits().heic:
        st.caption(as_text(tr("HEIC pictures are not read here. {instead}.", instead=tr(NO_HEIC))))
    waiting = False
    if given:
        with st.spinner(tr("Looking at the photo")):
            taken, said, waiting, answered = _taken(way, given)
        st.session_state[said_key] = said
        # First of all, so that a store that is away finds them still in the uploader.
        if taken:
            try:
                view = "front" if front else ""
                seen = {name: _kind_seen(way, name, view) for name in taken}
                change(way.key, partial(_with_photos, seen, view))
                _look_ahead(way, seen, view)
            except StoreError:
                st.session_state.pop(f"{way.key}/uploads/told", None)
                raise
        unsent.answered(way, answered)
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


def _kind_seen(way: Way, name: str, view: str) -> str:
    """What of known size finds itself in a photo; empty where somebody has to point at it.

    The look is the one that the screen then shows.
    """
    photo = DraftPhoto(name, ReferenceTold(kind=FINDS_ITSELF), view=view)
    if look_at(way, photo).found:
        return FINDS_ITSELF
    return DOG_TAGS if tags_shown.found_in(way, photo).scale else ""


def _look_ahead(way: Way, seen: Mapping[str, str], view: str) -> None:
    """What the next screens ask of the photos, while one waits anyway; tags come before that."""
    for name, kind in seen.items():
        photo = DraftPhoto(name, view=view)
        if not kind:
            sighted_in(way, photo)
        if not tags_shown.found_in(way, photo).marks:
            proposal_in(owners_store(), way.key, photo)


def _with_photos(seen: Mapping[str, str], view: str, draft: Draft) -> Draft:
    for name, kind in seen.items():
        draft = with_photo(draft, name, view=view, kind=kind)
    return draft


def _taken(
    way: Way, given: Sequence[UploadedFile]
) -> tuple[list[str], tuple[str, ...], bool, tuple[str, ...]]:
    """What could be taken, by its name; what is to be said; whether some must wait; and which
    files need not come again."""
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
    answered = tuple(told)
    if not waiting:
        told.clear()
    return taken, said, bool(waiting), answered


def _photo(way: Way, page: str, photo: DraftPhoto, *, alone: bool) -> None:
    number = way.draft.photos.index(photo) + 1
    if not alone:
        st.subheader(tr("Photo {number}", number=number), anchor=False)
    refused.ask(way, photo)
    look = look_at(way, photo) if photo.reference.kind else None
    if photo.reference.form == "tags":
        tags_shown.say_scale(way, number, photo)
    elif look is None:
        point_out(way, photo)
    else:
        _show_found(way, number, photo, look)
    for said in look.cut if look else ():
        st.warning(as_text(said), icon=":material/crop:")
    if look and (look.found or photo.reference.form != "markers"):
        ask_size(way, photo)
        if photo.reference.form != "tags":
            _ask_place(way, page, photo)
    with st.expander(tr("More about this photo"), icon=":material/tune:"):
        for remark in look.remarks if look else ():
            st.caption(f":material/info: {as_text(remark)}")
        _details(way, photo, look)
        st.button(
            tr("Take photo {number} out", number=number),
            key=f"out/{photo.file}",
            icon=":material/delete:",
            on_click=_take_out,
            args=(way.key, photo.file),
        )


def _show_found(way: Way, number: int, photo: DraftPhoto, look: FirstLook) -> None:
    said = tr("Photo {number}", number=number)
    title = tr(REFERENCES[photo.reference.kind].title)
    try:
        small = bench.shown(owners_store(), way.key, photo.file, (THUMBNAIL_PX,))
        outlines = shapes_of(photo.reference.form, look.outline) if look.found else ()
        st.html(picture(small.copies[0].jpeg, said, outlined=(small.size_px, outlines)))
    except StoreError:
        raise
    except PhotocheckError as error:
        st.error(as_text(str(error)))
    if look.problem:
        st.warning(as_text(look.problem), icon=":material/search_off:")
        if photo.reference.form == "markers":
            ask_kind(way, photo)
    elif look.found:
        said_so = tr("Found, where it is outlined: {title}.", title=title)
        st.markdown(f":material/check_circle: **{said_so}**")


def _ask_place(way: Way, page: str, photo: DraftPhoto) -> None:
    """Where it was, by one tap on a small drawing; which goes on where nothing else is asked."""
    told = photo.reference.place
    words = [place for place in SHORT_PLACES if place in photo.places]
    name = f"cards_place_{photo.file}"
    st.session_state[name] = told if told in words else None

    def said() -> None:
        picked = st.session_state.get(name)
        if picked:
            _put_place(way, page, photo.file, picked)

    with st.container(key=f"cards_place/{photo.file}"):
        st.radio(
            tr("Where was it? Seen from above, the camera below:"),
            words,
            format_func=lambda place: f"{drawn('place', shown=place)} {tr(SHORT_PLACES[place])}",
            index=None,
            horizontal=True,
            key=name,
            on_change=said,
        )
    if not told and st.session_state.get(f"{way.key}/place asked"):
        st.warning(tr("Tap where it was, please."), icon=":material/touch_app:")
    if told == "unknown":
        st.caption(tr("Do tell if you can: it is the largest source of error of such photos."))


@guarded
def _put_place(way: Way, page: str, file: str, place: str) -> None:
    put(way.key, Blank("reference", "place", file), place)
    draft = owners_store().draft(way.key)
    mine = _taken_for(draft, page)
    told = all(photo.place_told and not refused.of(way, photo) for photo in mine)
    if place != "unknown" and told and page in screens.done(draft):
        go(screens.following(draft, page))


def _details(way: Way, photo: DraftPhoto, look: FirstLook | None) -> None:
    """What is seldom to be changed, or sharpens the answer."""

    def of_it(name: str) -> Blank:
        return Blank("reference", name, photo.file)

    told = photo.reference
    if told.kind == FINDS_ITSELF:
        label = tr("What does the proof bar on the sheet measure?")
        bar = typed(way, of_it("bar"), label, placeholder="150 mm")
        if bar:
            say_back(lambda: understood_length(bar, "cm", field=tr("proof bar")), bar)
        else:
            st.caption(tr("Hold a ruler to the printed bar: printers seldom print quite true."))
    if told.place not in ("", "middle", "unknown") and not photo.from_front:
        label = tr(
            "How far from the dog's middle was it, in {unit}? If you measured it.",
            unit=way.unit_word,
        )
        offset = typed(way, of_it("offset"), label)
        if offset:
            say_back(lambda: understood_length(offset, way.unit, field=tr("distance")), offset)
        else:
            st.caption(tr("From the line of its back, towards you or away from you."))
    if look and (look.found or told.form != "markers"):  # else it is asked for beside the photo
        ask_kind(way, photo)
    views = {"side": tr("from the side"), "front": tr("from the front")}
    chosen(way, Blank("photo", "view", photo.file), tr("Where was it taken from?"), views, "side")


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


# By what is told, not by how it stood in the store: else each photo would be looked at twice.
@st.cache_data(show_spinner=False, max_entries=96, hash_funcs={ReferenceTold: repr})
def _look(
    key: str, name: str, reference: ReferenceTold, unit: str, said_in: str, view: str
) -> FirstLook:
    return bench.look(owners_store(), key, name, reference, unit, view)
