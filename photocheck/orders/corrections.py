"""What was told of an order with something put right by staff: marks, the reference, a reading."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from photocheck.case.lengths import parse_reading
from photocheck.case.model import Point
from photocheck.case.takes import split_takes
from photocheck.errors import CaseError
from photocheck.orders.draft import (
    Draft,
    DraftMarking,
    DraftTake,
    ReferenceTold,
    reading_text,
    takes_of,
)
from photocheck.orders.filling import NOBODY, Hand, with_takes
from photocheck.speech import tr
from photocheck.words import LANDMARK_TITLES, READING_TITLES, READINGS, TAGS_UNUSED

REFERENCE_FIELDS: Final = ("corners", "ends", "near", "outline")


def with_readings(case: Draft, typed: Mapping[str, str], hand: Hand = NOBODY) -> Draft:
    """The case with readings as now told, kept as typed; an empty one is taken out.

    Several takes stand in one text, "41 / 41.5".  Those that stood there before keep when and
    by whom they were typed.

    Parameters
    ----------
    case : Draft
    typed : mapping of reading name to str
    hand : Hand
        Who tells it, and when.

    Raises
    ------
    CaseError
        When a reading cannot be understood, or no dog could have it.
    """
    for name in READINGS:
        if name not in typed:
            continue
        text, told = typed[name].strip(), case.readings.get(name)
        if text and text == reading_text(told):
            continue
        before = {take.text: take for take in reversed(takes_of(told))}
        takes = []
        for one in split_takes(name, text, case.bare_unit) if text else ():
            parse_reading(name, one, case.bare_unit)
            takes.append(before.pop(one, DraftTake(one, hand.at, hand.by)))
        case = with_takes(case, name, takes)
    return case


def with_marking(case: Draft, photo: int, *, by: str, placed: DraftMarking, beside: bool) -> Draft:
    """The case with one person's marks on one photo.

    Parameters
    ----------
    case : Draft
    photo : int
        Which of the case's photos, from 0.
    by : str
        Who placed the marks; earlier marks of theirs on this photo are replaced.
    placed : DraftMarking
        Its marks and bends, px of the upright photo.
    beside : bool
        Whether the marks of others stay and count as well.

    Raises
    ------
    CaseError
        When one of the marks that are needed is missing.
    """
    entry = case.photos[photo]
    missing = [tr(LANDMARK_TITLES[name]) for name in entry.needed if name not in placed.marks]
    if missing:
        raise CaseError(
            tr("not marked yet: {titles}", titles=", ".join(missing)),
            do=tr("Place these marks as well, then check again"),
        )
    others = [marking for marking in entry.markings if marking.marker != by]
    own = DraftMarking(by=by).moved_to(placed)
    markings = (*(others if beside else ()), own)
    return case.with_photo_changed(photo, entry.but("markings", markings))


def with_tags_used(case: Draft, photo: int, *, used: bool) -> Draft:
    """The case in one photo of which the tags on the dog are used, or not even looked for.

    Parameters
    ----------
    case : Draft
    photo : int
        Which of the case's photos, from 0.
    used : bool
    """
    entry = case.photos[photo]
    if used == (entry.tags != TAGS_UNUSED):
        return case
    return case.with_photo_changed(photo, entry.but("tags", None if used else TAGS_UNUSED))


def with_reference_points(case: Draft, photo: int, shape: str, points: Sequence[Point]) -> Draft:
    """The case with the reference's points as placed by hand.

    Parameters
    ----------
    case : Draft
    photo : int
        Which of the case's photos, from 0.
    shape : str
        One of `REFERENCE_FIELDS`.
    points : sequence of Point
        Px of the upright photo; exactly one for ``near``.
    """
    entry = case.photos[photo]
    reference = entry.reference
    for name in REFERENCE_FIELDS:
        reference = reference.pointed(name, points if name == shape else ())
    return case.with_photo_changed(photo, entry.but("reference", reference))


def shape_of(reference: ReferenceTold) -> str:
    """How the points of a case's reference are placed by hand: a reference field or "none"."""
    if reference.form in ("disc", "ball"):
        return "outline" if reference.outline else "near"
    return {"rectangle": "corners", "points": "ends"}.get(reference.form, "none")


def reference_points(reference: ReferenceTold) -> tuple[Point, ...]:
    """The points placed by hand so far, px; none when the reference finds itself."""
    return reference.points(shape_of(reference))


def changes(before: Draft, after: Draft) -> tuple[str, ...]:
    """What differs between two cases, as short texts for the history."""
    found = []
    for name in READINGS:
        old, new = (reading_text(told.readings.get(name)) for told in (before, after))
        if old != new:
            found.append(
                tr(
                    "{reading}: {before}, now {after}",
                    reading=tr(READING_TITLES[name]),
                    before=old or tr("not given"),
                    after=new or tr("not given"),
                )
            )
    if before.unit != after.unit:
        found.append(tr("another unit"))
    if before.measured_at_tags != after.measured_at_tags:
        found.append(tr("whether the tape was held at the tags"))
    if before.owner != after.owner:
        found.append(tr("who orders"))
    if before.dog != after.dog:
        found.append(tr("facts about the dog"))
    photos = {photo.file: photo for photo in before.photos}
    for number, photo in enumerate(after.photos, start=1):
        earlier = photos.get(photo.file)
        if earlier is None:
            found.append(tr("photo {number}: new", number=number))
            continue
        if earlier.markings != photo.markings:
            found.append(tr("photo {number}: marks", number=number))
        if earlier.view != photo.view:
            found.append(tr("photo {number}: where it was taken from", number=number))
        if earlier.tags != photo.tags:
            found.append(tr("photo {number}: tags", number=number))
        if earlier.reference != photo.reference:
            found.append(tr("photo {number}: reference", number=number))
    if len(after.photos) < len(photos):
        found.append(tr("a photo taken out"))
    return tuple(found)
