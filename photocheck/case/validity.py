"""What a case needs before any photo is looked at, and marks before they are measured with."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from math import hypot, isfinite
from typing import Final

from photocheck.case.model import Case, Marking, PhotoEntry, Point
from photocheck.errors import CaseError
from photocheck.speech import tr
from photocheck.words import (
    ALL_LANDMARKS,
    BENDABLE_SPANS,
    BUILDS,
    COATS,
    FRONT_HELPERS,
    FRONT_LANDMARKS,
    LANDMARK_TITLES,
    LANDMARKS,
    SPAN_TITLES,
    TAG_SETS,
    TAGS_UNUSED,
    UNITS,
    VIEWS,
)

MARKS_APART_PX: Final = 3.0
"""Two landmarks nearer than this are one mark set twice."""
MOST_PHOTOS: Final = 12
"""More photos than this bring nothing and only take time (judgement)."""


def check_marks(marking: Marking, path: str, size: tuple[int, int]) -> None:
    """Refuse marks outside a picture of `size`, width and height in px, or on the same spot.

    Raises
    ------
    CaseError
    """
    named: list[tuple[str, Point]] = [
        (tr(LANDMARK_TITLES[name]), xy) for name, xy in marking.marks.items()
    ]
    bends = [
        (tr("a bend point of the {span}", span=tr(SPAN_TITLES[span])), xy)
        for span, line in marking.bends.items()
        for xy in line
    ]
    for title, (x, y) in named + bends:
        if not (isfinite(x) and isfinite(y)):
            raise CaseError(tr("the mark of the {title} is not a number", title=title), where=path)
        if not (-0.5 <= x <= size[0] - 0.5 and -0.5 <= y <= size[1] - 0.5):
            raise CaseError(
                tr(
                    "the mark of the {title} at ({x:.0f}, {y:.0f}) lies outside the picture "
                    "of {size} x {size2} px",
                    title=title,
                    x=x,
                    y=y,
                    size=size[0],
                    size2=size[1],
                ),
                where=path,
                do=tr("Place it on the dog, in pixels of the upright picture"),
            )
    for i, (title, one) in enumerate(named):
        for other_title, other in named[:i]:
            if hypot(one[0] - other[0], one[1] - other[1]) < MARKS_APART_PX:
                raise CaseError(
                    tr(
                        "the marks of the {other_title} and the {title} lie on the same spot",
                        other_title=other_title,
                        title=title,
                    ),
                    where=path,
                    do=tr("Place each on its own point"),
                )


def validate(case: Case) -> None:
    """Refuse a case that no photo could make good.

    Which marks a photo needs is seen when its tags are known (`require_marks`), at once where
    they are not used.

    Raises
    ------
    CaseError
    """
    if not case.photos:
        raise CaseError(
            tr("there is no photo"), do=tr("Add at least one side photo with its marks")
        )
    if len(case.photos) > MOST_PHOTOS:
        raise CaseError(
            tr("there are {count} photos", count=len(case.photos)),
            do=tr("Choose the best {MOST_PHOTOS} or fewer", MOST_PHOTOS=MOST_PHOTOS),
        )
    if case.unit not in UNITS:
        raise _unknown(tr("the unit {unit!r} is not known", unit=case.unit), UNITS)
    if case.dog.coat not in COATS:
        raise _unknown(tr("the coat {coat!r} is not known", coat=case.dog.coat), COATS)
    if case.dog.build not in BUILDS:
        raise _unknown(tr("the build {build!r} is not known", build=case.dog.build), BUILDS)
    for name, reading in case.readings.items():
        if not (isfinite(reading.mm) and reading.mm > 0):
            raise CaseError(
                tr("the reading must be above zero, not {typed!r}", typed=reading.typed), where=name
            )
    for entry in case.photos:
        _validate_photo(entry)
    if all(entry.view == "front" for entry in case.photos):
        raise CaseError(
            tr("there is no photo from the side"),
            do=tr("Add at least one side photo with its marks"),
        )


def _validate_photo(entry: PhotoEntry) -> None:
    if entry.tags not in TAG_SETS:
        raise _unknown(tr("the size of tags {tags!r} is not known", tags=entry.tags), TAG_SETS)
    if entry.view not in VIEWS:
        raise _unknown(tr("the view {view!r} is not known", view=entry.view), VIEWS)
    for marking in entry.markings:
        if entry.view == "front":
            _validate_front(marking, entry.path)
            continue
        for name in marking.marks:
            if name not in ALL_LANDMARKS:
                wrong = tr("the landmark {name!r} is not known", name=name)
                raise _unknown(wrong, ALL_LANDMARKS)
        for name in marking.bends:
            if name not in BENDABLE_SPANS:
                wrong = tr("the span with bend points {name!r} is not known", name=name)
                raise _unknown(wrong, BENDABLE_SPANS)
        _validate_spread(marking, entry.path)
    if entry.tags == TAGS_UNUSED:  # nothing that is seen in the photo could add to them
        require_marks(entry)


def _validate_spread(marking: Marking, path: str) -> None:
    if marking.spread_mm is not None and not 0.1 <= marking.spread_mm <= 100.0:
        raise CaseError(
            tr(
                "a mark spread of {spread_mm:g} mm is outside 0.1 to 100 mm",
                spread_mm=marking.spread_mm,
            ),
            where=path,
        )


def require_marks(entry: PhotoEntry, tagged: Collection[str] = ()) -> None:
    """Refuse a photo in which a needed landmark has neither a mark nor a tag.

    Parameters
    ----------
    entry : PhotoEntry
        As handed in.
    tagged : collection of str
        Landmarks whose tags were found in the photo.

    Raises
    ------
    CaseError
        It says which are missing.
    """
    front = entry.view == "front"
    always: tuple[str, ...] = FRONT_LANDMARKS if front else LANDMARKS
    do = (
        tr("Mark both sides: {names}", names=_titles(always))
        if front
        else tr("Mark all four: {names}", names=_titles(always))
    )
    if not entry.markings and not set(tagged) & set(always):
        raise CaseError(
            tr("nobody has marked this photo, and no tag on the dog was found"),
            where=entry.path,
            do=tr("Mark {names}", names=_titles(always)) if front else do,
        )
    for marking in entry.markings or (Marking({}),):
        needed = list(always)
        if any(name in marking.marks for name in FRONT_HELPERS):
            needed += FRONT_HELPERS
            do = tr("Mark both sides: {names}", names=_titles(needed))
        missing = [name for name in needed if name not in marking.marks and name not in tagged]
        if missing and tagged:
            raise CaseError(
                tr("neither marked nor with a tag that was found: {names}", names=_titles(missing)),
                where=entry.path,
                do=tr("Mark {names}", names=_titles(missing)),
            )
        if missing:
            raise CaseError(
                tr("not marked: {names}", names=_titles(missing)), where=entry.path, do=do
            )


def _validate_front(marking: Marking, path: str) -> None:
    """None from another view."""
    for name in (*marking.marks, *(span for span, line in marking.bends.items() if line)):
        if name not in (*FRONT_LANDMARKS, *FRONT_HELPERS):
            raise CaseError(
                tr("'{name}' cannot be marked in a photo from the front", name=name),
                where=path,
                do=tr("Mark {names}", names=_titles((*FRONT_LANDMARKS, *FRONT_HELPERS))),
            )
    _validate_spread(marking, path)


def _titles(names: Sequence[str]) -> str:
    return ", ".join(tr(LANDMARK_TITLES[name]) for name in names)


def _unknown(wrong: str, words: tuple[str, ...]) -> CaseError:
    return CaseError(wrong, do=tr("Use one of {names}", names=", ".join(words)))
