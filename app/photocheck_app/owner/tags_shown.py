"""Tags on the dog that were found: shown as found, and one yes for all of them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Final

import streamlit as st

from photocheck.case.model import Point
from photocheck.orders import screens
from photocheck.orders.draft import DraftPhoto
from photocheck.orders.filling import (
    with_tag_set,
    with_tags,
    with_tags_again,
    with_tape_at_tags,
    without_tags,
)
from photocheck.orders.worn_tags import FoundTags
from photocheck.server import bench
from photocheck.speech import tr
from photocheck.words import LANDMARK_TITLES, TAGS, TAGS_AND_OWNER, TAGS_UNUSED
from photocheck_app.outage import guarded
from photocheck_app.owner.how_deep import ask_depth
from photocheck_app.owner.way import Way, change, go, show_ways_on
from photocheck_app.shared import as_text, owners_store, picture, saying
from photocheck_app.worn import tags_in_photo

SHOWN_PX: Final = 1600
"""Longer side of the part of a photo that shows the tags."""


def found_in(way: Way, photo: DraftPhoto) -> FoundTags:
    """The tags of one photo of the draft."""
    return tags_in_photo(owners_store(), way.key, photo)


def to_confirm(way: Way) -> Mapping[str, FoundTags]:
    """What was found in photos that nobody has marked, by their files; none once declined."""
    unmarked = [
        photo for photo in way.draft.photos if not photo.first.marks and photo.tags != TAGS_UNUSED
    ]
    found = {photo.file: found_in(way, photo) for photo in unmarked}
    return {file: tags for file, tags in found.items() if tags.marks}


def ask(way: Way, page: str, found: Mapping[str, FoundTags]) -> None:
    """Show what was found in every photo, and ask once whether it is right."""
    st.write(
        tr(
            "The tags were found: each is outlined, down to its tip. Look whether every tip lies "
            "at its point."
        )
    )
    for number, photo in enumerate(way.draft.photos, start=1):
        if photo.file in found:
            _show(way, number, photo, found[photo.file])
    _ask_set(way)
    _ask_measured(way)
    ask_depth(
        way,
        tr("May be left out. With tags on, the coat is what leaves most open in the half neck."),
    )
    st.button(
        tr("Mark by hand instead"),
        key="tags_wrong",
        on_click=_decline,
        args=(way.key,),
        width="stretch",
    )
    st.caption(
        tr(
            "A tag that slipped or fell off: put it back, measure again what ends there, and take "
            "the photo again."
        )
    )
    marks = {file: tags.marks for file, tags in found.items()}
    show_ways_on(way, page, stay=partial(_take, way.key, page, marks), said=tr("All are right"))


def say_placed(way: Way, photo: DraftPhoto) -> None:
    """That tags placed the marks of a photo, where they did, or that they are not used."""
    if photo.tags == TAGS_UNUSED:
        st.caption(f":material/sell: {tr('The tags in this photo are not used.')}")
        st.button(tr("Use the tags after all"), key="tags_after_all", on_click=_use, args=(way,))
    elif photo.first.by == TAGS:
        st.caption(f":material/sell: {tr('The tags placed these marks.')}")
    elif photo.first.by == TAGS_AND_OWNER:
        st.caption(f":material/sell: {tr('The tags placed some of these marks.')}")


def say_scale(way: Way, number: int, photo: DraftPhoto) -> None:
    """That nothing else of known size is needed in a photo, and which tags were found in it."""
    tags = found_in(way, photo)
    if not tags.scale:
        st.warning(
            tr(
                "No tag that faces the camera was found. Take the photo again from nearer, or with "
                "the marker sheet beside the dog."
            ),
            icon=":material/search_off:",
        )
        return
    _show(way, number, photo, tags)
    st.caption(tr("No sheet was seen; the tags tell how large things are."))


def _show(way: Way, number: int, photo: DraftPhoto, tags: FoundTags) -> None:
    said = tr("Photo {number}", number=number)
    with saying(), st.container(key=f"tags_seen_{number}"):
        part = bench.shown_part(owners_store(), way.key, photo.file, tags.frame, (SHOWN_PX,))
        st.html(picture(part.copies[0].jpeg, said, outlined=(part.size_px, tags.outlines)))
    titles = ", ".join(tr(LANDMARK_TITLES[name]) for name in tags.marks)
    found = tr("Found: {titles}.", titles=titles)
    st.markdown(f":material/check_circle: **{as_text(found)}**")
    missing = ", ".join(tr(LANDMARK_TITLES[n]) for n in photo.needed if n not in tags.marks)
    if missing:
        st.caption(as_text(tr("Then still to mark by hand: {missing}.", missing=missing)))
    for remark in tags.remarks:
        st.warning(as_text(remark), icon=":material/sell:")


def _take(key: str, page: str, marks: Mapping[str, Mapping[str, Point]]) -> bool:
    """Whether something is still to be marked by hand, or pointed at."""
    change(key, lambda draft: with_tags(draft, marks))
    return page not in screens.done(owners_store().draft(key))


def _ask_set(way: Way) -> None:
    """Which set it is: the photo does not tell how large a tag is."""
    titles = {"usual": tr("usual set"), "small": tr("small set")}
    name = f"{way.key}/tag set"
    told = next((photo.tags for photo in way.draft.photos if photo.tags), "usual")
    st.session_state[name] = told if told in titles else "usual"

    @guarded
    def said() -> None:
        size = st.session_state[name]
        change(way.key, lambda draft: with_tag_set(draft, "" if size == "usual" else size))

    st.radio(
        tr("What is written on them?"),
        list(titles),
        format_func=titles.__getitem__,
        horizontal=True,
        key=name,
        on_change=said,
    )


def _ask_measured(way: Way) -> None:
    """Whether tape and photo have their points in common: no photo tells when the tape was held."""
    name = f"{way.key}/at tags"
    st.session_state[name] = way.draft.measured_at_tags

    @guarded
    def said() -> None:
        at_tags = bool(st.session_state[name])
        change(way.key, lambda draft: with_tape_at_tags(draft, at_tags))

    st.checkbox(
        tr("These tags were on while I measured, and I held the tape at their tips."),
        key=name,
        on_change=said,
        help=tr("Then tape and photo share their points, and a smaller error is seen."),
    )


@guarded
def _decline(key: str) -> None:
    change(key, without_tags)
    if not all(photo.reference.form for photo in owners_store().draft(key).photos):
        go(screens.PHOTO)  # the tags told how large things are; something else has to now


@guarded
def _use(way: Way) -> None:
    without = [photo for photo in way.draft.photos if not photo.reference.kind]
    telling = frozenset(photo.file for photo in without if found_in(way, photo).scale)
    change(way.key, lambda draft: with_tags_again(draft, telling))
