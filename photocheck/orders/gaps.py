"""What a draft still lacks before it can be checked, and how what was typed is understood."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

from photocheck.case.lengths import KG_PER, format_length, parse_length, parse_reading, parse_weight
from photocheck.errors import CaseError
from photocheck.orders.draft import Draft, reading_text, takes_of
from photocheck.scale.catalogue import REFERENCES
from photocheck.speech import number as decimal
from photocheck.speech import tr
from photocheck.words import FACT_TITLES, LANDMARK_TITLES, READINGS

SIZES: Final = {"two_points": "length", "disc": "diameter", "ball": "diameter"}
"""What must be told of a reference whose size no standard fixes."""


@dataclass(frozen=True)
class Gap:
    """Something that a draft still lacks before it can be checked.

    Attributes
    ----------
    step : str
        "readings", "again" (a reading's second or later take), "dog", "photo" or "marks":
        where it is filled in.
    sentence : str
        What is missing or wrong, and what to do.
    reading : str
        Which reading it is about; empty for none, or for all.
    """

    step: str
    sentence: str
    reading: str = ""


# --- what was typed, said back ----------------------------------------------


def understood_reading(name: str, typed: str, unit: str) -> str:
    """A reading in both units, ``"36.8 cm = 14 1/2 in"``.

    Raises
    ------
    CaseError
        When it cannot be read.
    """
    mm, own = parse_reading(name, typed, unit)
    return _both(mm, own)


def understood_length(typed: str, unit: str, *, field: str) -> str:
    """Any other length in both units.

    Raises
    ------
    CaseError
    """
    mm, own = parse_length(typed, unit, field=field, signed=True)
    return _both(abs(mm), own)


def understood_weight(typed: str) -> str:
    """A weight in both units.

    Raises
    ------
    CaseError
    """
    kg = parse_weight(typed)
    return decimal(f"{kg:.1f} kg = {kg / float(KG_PER['lb']):.1f} lb")


def _both(mm: float, own: str) -> str:
    first, second = ("in", "cm") if own in ("in", "ft") else ("cm", "in")
    return f"{format_length(mm, first)} = {format_length(mm, second)}"


# --- what is missing ---------------------------------------------------------


def gaps(draft: Draft) -> tuple[Gap, ...]:
    """All that keeps a draft from being checked, in the order of the steps."""
    return (*_reading_gaps(draft), *_dog_gaps(draft), *_photo_gaps(draft), *_mark_gaps(draft))


def _reading_gaps(draft: Draft) -> list[Gap]:
    if not draft.readings:
        return [Gap("readings", tr("No tape reading is given yet."))]
    unit = draft.bare_unit
    found = [
        _of(
            name,
            _unreadable("again" if number else "readings", parse_reading, name, take.typed, unit),
        )
        for name, told in draft.readings.items()
        if name in READINGS
        for number, take in enumerate(takes_of(told))
        if take.text or not reading_text(told).strip()
    ]
    if not draft.unit:
        found.append(Gap("readings", tr("Say whether the tape shows centimetres or inches.")))
    return [gap for gap in found if gap]


def _of(reading: str, gap: Gap | None) -> Gap | None:
    return gap and replace(gap, reading=reading)


def _dog_gaps(draft: Draft) -> list[Gap]:
    dog, unit = draft.dog, draft.bare_unit
    measured = {name: getattr(dog, name) for name in FACT_TITLES}
    found = [
        _unreadable("dog", parse_reading, name, typed, unit)
        for name, typed in measured.items()
        if typed is not None
    ]
    if dog.weight is not None:
        found.append(_unreadable("dog", parse_weight, dog.weight))
    if dog.coat_depth is not None:
        field = tr("coat depth")
        found.append(
            _unreadable("dog", parse_length, dog.coat_depth, unit, field=field, signed=True)
        )
    return [gap for gap in found if gap]


def _photo_gaps(draft: Draft) -> list[Gap]:
    if not draft.photos:
        return [Gap("photo", tr("No photo is there yet."))]
    found: list[Gap | None] = []
    if all(photo.from_front for photo in draft.photos):
        found.append(
            Gap("photo", tr("A photo from the side is needed beside that from the front."))
        )
    for number, photo in enumerate(draft.photos, start=1):
        told = photo.reference
        lengths = {
            "offset": told.offset,
            "bar": told.bar,
            "length": told.length,
            "diameter": told.diameter,
        }
        if not told.form:
            said = tr("Photo {number}: say what in it is of known size.", number=number)
            found.append(Gap("photo", said))
        if told.kind in SIZES and lengths[SIZES[told.kind]] is None:
            said = tr("Photo {number}: say how long or wide the thing is.", number=number)
            found.append(Gap("photo", said))
        title, unit = tr("Photo {number}", number=number), draft.bare_unit
        found += [
            _unreadable("photo", parse_length, typed, unit, field=title, signed=name == "offset")
            for name, typed in lengths.items()
            if typed is not None
        ]
    return [gap for gap in found if gap]


def _mark_gaps(draft: Draft) -> list[Gap]:
    found = []
    for number, photo in enumerate(draft.photos, start=1):
        if photo.unplaced:
            titles = ", ".join(tr(LANDMARK_TITLES[name]) for name in photo.unplaced)
            found.append(
                Gap(
                    "marks",
                    tr("Photo {number}: still to mark: {titles}.", number=number, titles=titles),
                )
            )
        if photo.reference.form and not photo.reference.located:
            title = tr(REFERENCES[photo.reference.kind].title)
            found.append(
                Gap(
                    "marks", tr("Photo {number}: point at the {title}.", number=number, title=title)
                )
            )
    return found


def _unreadable(step: str, parse: Callable[..., Any], *given: Any, **told: Any) -> Gap | None:
    try:
        parse(*given, **told)
    except CaseError as error:
        return Gap(step, str(error))
    return None
