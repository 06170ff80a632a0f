"""Filling in a draft: each step gives a changed copy, and whatever it is not about stays."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from photocheck.case.file import FORMAT
from photocheck.case.typed_numbers import without_sign
from photocheck.orders.draft import Draft, DraftMarking, DraftPhoto, ReferenceTold, Typed
from photocheck.words import PLACES_BEHIND


@dataclass(frozen=True)
class Blank:
    """One thing to be typed or chosen, and where it stands in a draft.

    Attributes
    ----------
    part : str
    name : str
        As the case file has it.
    photo : str
        The file of the photo, or of the one whose reference it is about; numbers change.
    """

    part: Literal["order", "readings", "dog", "photo", "reference"]
    name: str
    photo: str = ""


def new_photo(
    file: str, reference: ReferenceTold, markings: tuple[DraftMarking, ...] = ()
) -> DraftPhoto:
    """A photo as it comes into a draft."""
    return DraftPhoto(file, reference, markings, written=("file", "reference", "markings"))


def new_draft(unit: str) -> Draft:
    """A draft in which nothing is filled in but the unit."""
    written = ("format", "unit", "readings", "dog", "photos")
    return Draft(format=FORMAT, unit=unit, written=written)


def typed_at(draft: Draft, blank: Blank) -> Typed | None:
    """What stands in a blank; None when nothing does."""
    found: Typed | None
    if blank.part == "readings":
        found = draft.readings.get(blank.name)
    elif blank.part == "dog":
        found = getattr(draft.dog, blank.name)
    elif blank.part == "order":
        found = getattr(draft, blank.name)
    else:
        number = draft.number_of(blank.photo)
        photo = None if number is None else draft.photos[number]
        part = photo if photo is None or blank.part == "photo" else photo.reference
        found = None if part is None else getattr(part, blank.name)
    return None if found == "" else found


def with_typed(draft: Draft, blank: Blank, value: Typed | None) -> Draft:
    """A copy of the draft with a blank filled in; None or an empty text empties it.

    A blank of a photo that is no longer there changes nothing.
    """
    told = None if isinstance(value, str) and not value.strip() else value
    if blank.part == "order":
        return draft.but(blank.name, told)
    if blank.part == "dog":
        return draft.but("dog", draft.dog.but(blank.name, told))
    if blank.part == "readings":
        return _with_reading(draft, blank.name, told)
    number = draft.number_of(blank.photo)
    if number is None:
        return draft
    photo = draft.photos[number]
    if blank.part == "photo":
        return draft.with_photo_changed(number, _seen_from(photo, str(told or "")))
    reference = photo.reference.but(blank.name, told)
    return draft.with_photo_changed(number, photo.but("reference", reference))


def _seen_from(photo: DraftPhoto, view: str) -> DraftPhoto:
    """The photo from another side: its marks and places were words of the other view."""
    if view == photo.view:
        return photo
    reference = photo.reference.but("place", None).but("offset", None).but("offset_spread", None)
    return photo.but("view", view or None).but("reference", reference).but("markings", None)


def _with_reading(draft: Draft, name: str, told: Typed | None) -> Draft:
    # One that is none keeps the others from being understood, but not from being kept.
    before = draft.extra.get("readings")
    readings = {**(before if isinstance(before, Mapping) else draft.readings)}
    readings.pop(name, None)
    return draft.but_json("readings", readings if told is None else {**readings, name: told})


def with_photo(draft: Draft, name: str) -> Draft:
    """A copy of the draft with one more photo, its reference told as for the last from the side.

    The same photo is not taken twice.
    """
    if draft.number_of(name) is not None:
        return draft
    reference = ReferenceTold(kind="marker_sheet")
    if draft.photos:
        sides = [photo for photo in draft.photos if not photo.from_front] or draft.photos
        last = sides[-1].reference
        reference = ReferenceTold(
            kind=last.kind,
            place="" if sides[-1].from_front else last.place,
            offset=None if sides[-1].from_front else last.offset,
            bar=last.bar,
            length=last.length,
            diameter=last.diameter,
        )
    return draft.but("photos", (*draft.photos, new_photo(name, reference)))


def without_photo(draft: Draft, name: str) -> Draft:
    """A copy of the draft without a photo."""
    if draft.number_of(name) is None:
        return draft
    return draft.but("photos", tuple(photo for photo in draft.photos if photo.file != name))


def with_marks(draft: Draft, number: int, placed: DraftMarking) -> Draft:
    """A copy of the draft with the owner's marks on photo `number` (from 0)."""
    photo = draft.photos[number]
    own = photo.markings[0] if photo.markings else DraftMarking(by="owner", written=("by", "marks"))
    others = photo.markings[1:]
    markings = (own.moved_to(placed), *others) if placed.marks or others else ()
    return draft.with_photo_changed(number, photo.but("markings", markings))


_FITS: Final = {
    "markers": ("bar",),
    "rectangle": ("near", "corners"),
    "points": ("ends", "length"),
    "disc": ("near", "outline", "diameter"),
    "ball": ("near", "outline", "diameter"),
}
"""What besides kind, place and offset may be told of each form of reference."""


def settled(draft: Draft) -> Draft:
    """A copy of the draft in which no reference holds what its kind or place has no use for.

    A distance behind the dog is written as negative there, however it was typed: it is the
    place that tells the side, and a sign that was typed, of whatever kind, tells nothing.
    """
    photos = tuple(photo.but("reference", _settled(photo.reference)) for photo in draft.photos)
    return draft if photos == draft.photos else draft.but("photos", photos)


def _settled(told: ReferenceTold) -> ReferenceTold:
    if not told.form:  # what would fit is not known
        return told
    fits = {*_FITS[told.form], "kind", "place", "corner_spread_px"}
    if told.place not in ("", "middle", "unknown"):
        fits |= {"offset", "offset_spread"}
    told = told.only(fits)
    if isinstance(told.offset, str):
        size = without_sign(told.offset)
        told = told.but("offset", f"-{size}" if told.place in PLACES_BEHIND else size)
    return told


def renamed(draft: Draft, kept: Mapping[str, str]) -> Draft:
    """A copy of a draft that calls its photos what the store calls them."""
    photos = tuple(photo.but("file", kept[photo.file]) for photo in draft.photos)
    return draft.but("photos", photos) if photos else draft
