"""Filling in a draft: each step gives a changed copy, and whatever it is not about stays."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Final, Literal

from photocheck.case.file import FORMAT
from photocheck.case.model import Point
from photocheck.case.takes import OWNER
from photocheck.case.typed_numbers import without_sign
from photocheck.orders.draft import (
    Draft,
    DraftMarking,
    DraftPhoto,
    DraftTake,
    ReadingTold,
    ReferenceTold,
    Typed,
    takes_of,
)
from photocheck.scale.catalogue import DOG_TAGS
from photocheck.words import PLACES_BEHIND, TAGS, TAGS_AND_OWNER, TAGS_UNUSED


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
    take : int
        Which time a reading was taken, from 0.
    """

    part: Literal["order", "owner", "readings", "dog", "photo", "reference"]
    name: str
    photo: str = ""
    take: int = 0


@dataclass(frozen=True)
class Hand:
    """Who types something, and when: kept with what is typed anew.

    Attributes
    ----------
    by : str
    at : str
        ISO 8601.
    """

    by: str = ""
    at: str = ""


NOBODY: Final = Hand()


HELPER: Final = "helper"
"""Whose hands led the tape where it was somebody else than the owner."""


def owners_hand() -> Hand:
    """The owner's, now: also of what staff write down as told by phone."""
    return hand_of(OWNER)


def hand_of(by: str) -> Hand:
    """Somebody's, now."""
    return Hand(by, f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}")


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
        takes = takes_of(draft.readings.get(blank.name))
        found = takes[blank.take].typed if blank.take < len(takes) else None
    elif blank.part in ("dog", "owner"):
        found = getattr(getattr(draft, blank.part), blank.name)
    elif blank.part == "order":
        found = getattr(draft, blank.name)
    else:
        number = draft.number_of(blank.photo)
        photo = None if number is None else draft.photos[number]
        part = photo if photo is None or blank.part == "photo" else photo.reference
        found = None if part is None else getattr(part, blank.name)
    return None if found == "" else found


def with_typed(draft: Draft, blank: Blank, value: Typed | None, hand: Hand = NOBODY) -> Draft:
    """A copy of the draft with a blank filled in; None or an empty text empties it.

    A blank of a photo that is no longer there changes nothing.  A take keeps when and by whom
    it was first typed; one that is emptied between others keeps its place.
    """
    told = None if isinstance(value, str) and not value.strip() else value
    if blank.part == "order":
        return draft.but(blank.name, told)
    if blank.part in ("dog", "owner"):
        part = getattr(draft, blank.part)
        return draft.but(blank.part, part.but(blank.name, told))
    if blank.part == "readings":
        takes = list(takes_of(draft.readings.get(blank.name)))
        takes += [DraftTake("")] * (blank.take + 1 - len(takes))
        takes[blank.take] = _retyped(takes[blank.take], told, hand)
        return with_takes(draft, blank.name, takes)
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


def _retyped(take: DraftTake, told: Typed | None, hand: Hand) -> DraftTake:
    if told is None:
        return DraftTake("")
    if take.typed == told:
        return take
    if take.at or take.by or take.extra:
        return take.but("typed", told)
    return DraftTake(told, hand.at, hand.by)


def with_helper(draft: Draft, helped: bool) -> Draft:
    """A copy of the draft whose later rounds of readings a helper measured, or the owner."""
    by = HELPER if helped else OWNER
    for name, told in draft.readings.items():
        first, *later = takes_of(told)
        turned = [take.but("by", by) if take.text else take for take in later]
        if turned != later:
            draft = with_takes(draft, name, [first, *turned])
    return draft


def helped(draft: Draft) -> bool:
    """Whether a helper measured in a later round."""
    return any(take.by == HELPER for told in draft.readings.values() for take in takes_of(told))


def with_takes(draft: Draft, name: str, takes: Sequence[DraftTake]) -> Draft:
    """A copy of the draft with these takes of a reading; none takes it out.

    One of which nothing is told but what was typed stands as it was typed.
    """
    left = list(takes)
    while left and left[-1] in (DraftTake(), DraftTake("")):
        left.pop()
    bare = [one.typed if one == DraftTake(one.typed) else one for one in left]
    told: ReadingTold | None = tuple(one for one in bare if one is not None) or None
    if len(bare) == 1 and not isinstance(bare[0], DraftTake):
        told = bare[0]
    # One that is none keeps the others from being understood, but not from being kept.
    before = draft.to_dict().get("readings")
    readings = {**before} if isinstance(before, Mapping) else {}
    readings.pop(name, None)
    if told is not None:
        readings[name] = replace(draft, readings={name: told}).to_dict()["readings"][name]
    return draft.but_json("readings", readings)


def with_photo(draft: Draft, name: str, *, view: str = "", kind: str = "") -> Draft:
    """A copy of the draft with one more photo, its reference told as for the last from the side.

    The same photo is not taken twice.

    Parameters
    ----------
    view : str
        Where it was taken from, as the case file has it; empty for the side.
    kind : str
        What of known size was seen in it; empty where that is not known.
    """
    if draft.number_of(name) is not None:
        return draft
    reference = ReferenceTold(kind=kind)
    if draft.photos:
        sides = [photo for photo in draft.photos if not photo.from_front] or draft.photos
        last = sides[-1].reference
        alike = not view and not sides[-1].from_front and kind in ("", last.kind)
        reference = ReferenceTold(
            kind=kind or last.kind,
            place=last.place if alike else "",
            offset=last.offset if alike else None,
            bar=last.bar,
            length=last.length,
            diameter=last.diameter,
        )
    photo = new_photo(name, reference)
    # A tag that slipped in one photo may have been put back for the next.
    if draft.photos and draft.photos[-1].tags not in ("", TAGS_UNUSED):
        photo = photo.but("tags", draft.photos[-1].tags)
    return draft.but("photos", (*draft.photos, photo.but("view", view or None)))


def without_photo(draft: Draft, name: str) -> Draft:
    """A copy of the draft without a photo."""
    if draft.number_of(name) is None:
        return draft
    return draft.but("photos", tuple(photo for photo in draft.photos if photo.file != name))


def with_marks(
    draft: Draft, number: int, placed: DraftMarking, proposed: Mapping[str, Point] | None = None
) -> Draft:
    """A copy of the draft with the owner's marks on photo `number` (from 0).

    Of marks that tags had placed it is kept that some are by hand now.

    Parameters
    ----------
    proposed : mapping of landmark name to Point, optional
        What was shown for confirmation, px: a mark on the very spot was confirmed.
    """
    photo = draft.photos[number]
    own = photo.markings[0] if photo.markings else DraftMarking(by="owner", written=("by", "marks"))
    others = photo.markings[1:]
    if own.by == TAGS and own.marks != placed.marks:
        own = own.but("by", TAGS_AND_OWNER)
    placed = replace(placed, confirmed=confirmed(own, placed, proposed or {}))
    markings = (own.moved_to(placed), *others) if placed.marks or others else ()
    return draft.with_photo_changed(number, photo.but("markings", markings))


def confirmed(
    before: DraftMarking, placed: DraftMarking, proposed: Mapping[str, Point]
) -> tuple[str, ...]:
    """Which marks lie where they were proposed, now or when they were placed.

    Nobody hits a tenth of a px of a large photo by hand, and whoever did would have confirmed it.

    Parameters
    ----------
    before : DraftMarking
        The same person's marks as kept until now.
    placed : DraftMarking
    proposed : mapping of landmark name to Point

    >>> here = {"last_rib": (620.1, 710.4)}
    >>> confirmed(DraftMarking(), DraftMarking(here | {"tail_base": (1010.0, 910.0)}), here)
    ('last_rib',)
    """
    stayed = {name: before.marks[name] for name in before.confirmed if name in before.marks}
    return tuple(
        name for name, xy in placed.marks.items() if xy in (proposed.get(name), stayed.get(name))
    )


def with_tags(draft: Draft, found: Mapping[str, Mapping[str, Point]]) -> Draft:
    """A copy of the draft whose photos have the marks that tags on the dog place.

    A photo that is marked already, or is no longer there, stays as it is.

    Parameters
    ----------
    found : mapping of file to marks
        Px of the upright photo.
    """
    for file, marks in found.items():
        number = draft.number_of(file)
        if number is None or not marks or draft.photos[number].first.marks:
            continue
        photo = draft.photos[number]
        own = DraftMarking(marks, by=TAGS, written=("by", "marks"))
        markings = (own, *photo.markings[1:])
        draft = draft.with_photo_changed(number, photo.but("markings", markings))
    return draft


def with_tag_set(draft: Draft, size: str) -> Draft:
    """A copy of the draft in whose photos the dog wears one set of tags.

    Parameters
    ----------
    size : str
        As the case file has it; empty for the usual one.
    """
    return draft.but("photos", tuple(photo.but("tags", size or None) for photo in draft.photos))


def with_tape_at_tags(draft: Draft, held: bool) -> Draft:
    """A copy of the draft that says whether every reading was taken with the tape at the tags."""
    return draft.but("measured_at_tags", held or None)


def without_tags(draft: Draft) -> Draft:
    """A copy of the draft whose photos are marked by hand, whatever tags are in them.

    A photo in which tags told how large things are lacks something of known size then.
    """
    photos = [
        photo.but("reference", ReferenceTold()) if photo.reference.form == "tags" else photo
        for photo in draft.photos
    ]
    told = with_tape_at_tags(draft, False)
    return with_tag_set(told.but("photos", tuple(photos)), TAGS_UNUSED)


def with_tags_again(draft: Draft, telling: Collection[str] = ()) -> Draft:
    """The opposite of `without_tags`; marks by hand stay.

    Parameters
    ----------
    telling : collection of str
        Files of photos in which tags tell how large things are, where nothing else does.
    """
    photos = [
        photo.but("reference", ReferenceTold(kind=DOG_TAGS))
        if photo.file in telling and not photo.reference.kind
        else photo
        for photo in draft.photos
    ]
    return with_tag_set(draft.but("photos", tuple(photos)), "")


def with_declined(draft: Draft, file: str, what: str) -> Draft:
    """A copy of the draft that says no to what the program saw in a photo.

    A photo that is no longer there changes nothing.

    Parameters
    ----------
    what : str
        One of `photocheck.words.DECLINED`.
    """
    number = draft.number_of(file)
    if number is None or what in draft.photos[number].declined:
        return draft
    photo = draft.photos[number]
    return draft.with_photo_changed(number, photo.but("declined", (*photo.declined, what)))


def with_pointed(draft: Draft, file: str, shape: str, points: Sequence[Point]) -> Draft:
    """A copy of the draft with other points of the reference in a photo; none take them out.

    A photo that is no longer there changes nothing.

    Parameters
    ----------
    shape : str
        As `ReferenceTold.points` has it.
    points : sequence of Point
        Px of the upright photo.
    """
    number = draft.number_of(file)
    if number is None:
        return draft
    photo = draft.photos[number]
    reference = photo.reference.pointed(shape, points)
    return draft.with_photo_changed(number, photo.but("reference", reference))


_FITS: Final = {
    "markers": ("bar",),
    "tags": (),
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
