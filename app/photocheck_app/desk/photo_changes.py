"""An order's photos as staff change them: added, replaced, taken out, told of what is in them."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Final

import streamlit as st
from streamlit.typing import UploadedFile

from photocheck.case.validity import MOST_PHOTOS
from photocheck.errors import PhotocheckError, PhotoError
from photocheck.orders.bounds import LONGEST_FIELD
from photocheck.orders.completing import filled_in, with_photo_replaced
from photocheck.orders.draft import Draft, DraftPhoto
from photocheck.orders.filling import Blank, settled, typed_at, with_photo, without_photo
from photocheck.orders.gaps import SIZES
from photocheck.orders.model import Order
from photocheck.orders.taking import take_photo
from photocheck.scale.catalogue import REFERENCES
from photocheck.server import bench
from photocheck.speech import later, tr
from photocheck_app.desk.keeping import keep_and_check, keep_only
from photocheck_app.desk.moves import go
from photocheck_app.desk.session import begun, drop_unsent, field_key
from photocheck_app.framework import file_id
from photocheck_app.held_uploads import content_of, let_go
from photocheck_app.shared import as_text, limits, picture, store

THUMBNAIL_PX: Final = 400
VIEW_TITLES: Final = {"side": later("from the side"), "front": later("from the front")}


def show(order: Order, case: Draft, who: str) -> None:
    """Each photo with what is told of it, and one more to add."""
    stand = f"photos {len(order.checks)}"
    typed: dict[Blank, str] = {}
    for number, photo in enumerate(case.photos, start=1):
        st.markdown(f"**{tr('Photo {number}', number=number)}**")
        left, right = st.columns([2, 3])
        with left:
            _small(order, photo, number)
        with right:
            typed |= _told(order, case, photo, who, stand)
        _replace(order, case, photo)
    if case.photos and st.button(tr("Keep and check"), type="primary", key="keep_photos"):
        told = settled(filled_in(case, typed))
        if keep_and_check(order, who, told, keep=True):
            drop_unsent(who, order.key, "photos")
            go(case=order.key)
            st.rerun()
    if len(case.photos) < MOST_PHOTOS:
        _add(order, case)


def _small(order: Order, photo: DraftPhoto, number: int) -> None:
    try:
        small = bench.shown(store(), order.key, photo.file, (THUMBNAIL_PX,))
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    said = tr("Photo {number}", number=number)
    st.html(picture(small.copies[0].jpeg, said))


def _told(order: Order, case: Draft, photo: DraftPhoto, who: str, stand: str) -> dict[Blank, str]:
    """What is of known size in it and where that was, as now chosen and typed."""

    def chosen(name: str, title: str, titles: dict[str, str]) -> str:
        field = f"{stand} {photo.file} {name}"
        begin = begun(who, order.key, field, getattr(photo.reference, name) or "")
        options = ["", *titles]
        picked: str | None = st.selectbox(
            title,
            options,
            index=options.index(begin) if begin in options else 0,
            format_func=lambda one: tr(titles[one]) if one else tr("not said"),
            key=field_key(order.key, field),
        )
        return picked or ""

    def written(name: str, title: str) -> str:
        field = f"{stand} {photo.file} {name}"
        told = typed_at(case, Blank("reference", name, photo.file))
        begin = begun(who, order.key, field, "" if told is None else str(told))
        key = field_key(order.key, field)
        text: str = st.text_input(title, begin, key=key, max_chars=LONGEST_FIELD)
        return text

    kinds = {kind: item.title for kind, item in REFERENCES.items()}
    places = {place: title for place, title in photo.places.items() if place != "unknown"}
    kind = chosen("kind", tr("What is of known size?"), kinds)
    told = {"kind": kind, "place": chosen("place", tr("Where was it?"), places)}
    if kind in SIZES:
        title = tr("Its size in {unit}", unit=case.bare_unit)
        told[SIZES[kind]] = written(SIZES[kind], title)
    elif kind and REFERENCES[kind].form == "markers":
        told["bar"] = written("bar", tr("What the proof bar measures"))
    return {Blank("reference", name, photo.file): text for name, text in told.items()}


def _replace(order: Order, case: Draft, photo: DraftPhoto) -> None:
    with st.container(horizontal=True, vertical_alignment="bottom"):
        given = _uploader(order, tr("Another photo in its place"), f"for {photo.file}")
        gone = st.button(tr("Take it out"), key=f"desk_out {photo.file}", icon=":material/delete:")
    if gone and keep_only(order, without_photo(case, photo.file)):
        st.rerun()
    if given:
        _take(order, given, partial(with_photo_replaced, case, photo.file))


def _add(order: Order, case: Draft) -> None:
    st.markdown(f"**{tr('Add another photo')}**")
    view = st.radio(
        tr("Where was it taken from?"),
        list(VIEW_TITLES),
        format_func=lambda one: tr(VIEW_TITLES[one]),
        horizontal=True,
        key=f"desk_view {order.key}",
    )
    given = _uploader(order, tr("Photo"), "new")
    if given:
        _take(order, given, partial(with_photo, case, view="" if view == "side" else view))


def _turn_key(order: Order, what: str) -> str:
    return f"desk upload {order.key} {what}"


def _uploader(order: Order, label: str, what: str) -> UploadedFile | None:
    key = _turn_key(order, what)
    # An empty one again after what was given has been taken.
    turn = st.session_state.setdefault(f"{key} turn", 0)
    return st.file_uploader(label, key=f"{key} {turn}", type=list(limits().suffixes))


def _take(order: Order, given: UploadedFile, put: Callable[[str], Draft]) -> None:
    """Keep an uploaded photo in the order; one that cannot be taken stays in its uploader."""
    # One that was refused is told so again and not decoded again with every run.
    refused: dict[str, str] = st.session_state.setdefault(f"desk refused {order.key}", {})
    if told := refused.get(file_id(given)):
        st.error(as_text(told))
        return
    try:
        with st.spinner(tr("Looking at the photo")):
            name = take_photo(
                store(), order.key, content_of(given), name=given.name, limits=limits()
            )
    except PhotocheckError as error:
        if isinstance(error, PhotoError):  # and not that it is too much just now, say
            refused[file_id(given)] = str(error)
        st.error(as_text(str(error)))
        return
    if keep_only(order, put(name)):
        for key in [key for key in st.session_state if str(key).startswith(_turn_key(order, ""))]:
            if str(key).endswith(" turn"):
                st.session_state[key] += 1
        let_go((given,))
        st.rerun()
