"""An order's case with something put right by staff: marks, the reference, a reading.

Cases here are plain JSON in the format of ``case.schema.json``, as the store keeps them.
None of these functions changes the case it is given.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import deepcopy
from typing import Any, Final

from photocheck.case.lengths import parse_reading
from photocheck.case.model import Point
from photocheck.errors import CaseError
from photocheck.scale.catalogue import REFERENCES
from photocheck.speech import tr
from photocheck.words import LANDMARK_TITLES, LANDMARKS, READING_TITLES, READINGS

REFERENCE_FIELDS: Final = ("corners", "ends", "near", "outline")


def with_readings(case: Mapping[str, Any], typed: Mapping[str, str]) -> dict[str, Any]:
    """The case with readings as now told, kept as typed; an empty one is taken out.

    Parameters
    ----------
    case : mapping
    typed : mapping of reading name to str

    Raises
    ------
    CaseError
        When a reading cannot be understood, or no dog could have it.
    """
    changed = deepcopy(dict(case))
    readings = dict(changed.get("readings", {}))
    for name in READINGS:
        if name not in typed:
            continue
        text = typed[name].strip()
        if text:
            parse_reading(name, text, changed["unit"])
            readings[name] = text
        else:
            readings.pop(name, None)
    changed["readings"] = readings
    return changed


def with_marking(
    case: Mapping[str, Any],
    photo: int,
    *,
    by: str,
    marks: Mapping[str, Point],
    bends: Mapping[str, Sequence[Point]],
    beside: bool,
) -> dict[str, Any]:
    """The case with one person's marks on one photo.

    Parameters
    ----------
    case : mapping
    photo : int
        Which of the case's photos, from 0.
    by : str
        Who placed the marks; earlier marks of theirs on this photo are replaced.
    marks, bends : mapping
        Px of the upright photo.
    beside : bool
        Whether the marks of others stay and count as well.

    Raises
    ------
    CaseError
        When one of the four marks is missing.
    """
    missing = [tr(LANDMARK_TITLES[name]) for name in LANDMARKS if name not in marks]
    if missing:
        raise CaseError(
            tr("not marked yet: {titles}", titles=", ".join(missing)),
            do=tr("Place these marks as well, then check again"),
        )
    changed = deepcopy(dict(case))
    entry = changed["photos"][photo]
    others = [m for m in entry.get("markings", []) if m.get("by", "owner") != by]
    own: dict[str, Any] = {"by": by, "marks": {name: list(xy) for name, xy in marks.items()}}
    lines = {span: [list(xy) for xy in line] for span, line in bends.items() if line}
    if lines:
        own["bends"] = lines
    entry["markings"] = [*(others if beside else []), own]
    return changed


def with_reference_points(
    case: Mapping[str, Any], photo: int, shape: str, points: Sequence[Point]
) -> dict[str, Any]:
    """The case with the reference's points as placed by hand.

    Parameters
    ----------
    case : mapping
    photo : int
        Which of the case's photos, from 0.
    shape : str
        One of `REFERENCE_FIELDS`.
    points : sequence of Point
        Px of the upright photo; exactly one for ``near``.
    """
    changed = deepcopy(dict(case))
    reference = changed["photos"][photo]["reference"]
    for name in REFERENCE_FIELDS:
        reference.pop(name, None)
    listed = [list(xy) for xy in points]
    reference[shape] = listed[0] if shape == "near" else listed
    return changed


def shape_of(reference: Mapping[str, Any]) -> str:
    """How the points of a case's reference are placed by hand: a reference field or "none"."""
    form = REFERENCES[reference["kind"]].form
    if form == "markers":
        return "none"
    if form in ("disc", "ball"):
        return "outline" if "outline" in reference else "near"
    return {"rectangle": "corners", "points": "ends"}[form]


def reference_points(reference: Mapping[str, Any]) -> tuple[Point, ...]:
    """The points placed by hand so far, px; none when the reference finds itself."""
    shape = shape_of(reference)
    found = reference.get(shape, ())
    points = [found] if shape == "near" and found else found
    return tuple((float(x), float(y)) for x, y in points)


def changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[str, ...]:
    """What differs between two cases, as short texts for the history."""
    found = []
    old, new = before.get("readings", {}), after.get("readings", {})
    for name in READINGS:
        if old.get(name) != new.get(name):
            found.append(
                tr(
                    "{reading}: {before}, now {after}",
                    reading=tr(READING_TITLES[name]),
                    before=old.get(name, tr("not given")),
                    after=new.get(name, tr("not given")),
                )
            )
    if before.get("unit") != after.get("unit"):
        found.append(tr("another unit"))
    if before.get("dog") != after.get("dog"):
        found.append(tr("facts about the dog"))
    photos = {p["file"]: p for p in before.get("photos", ())}
    for number, photo in enumerate(after.get("photos", ()), start=1):
        earlier = photos.get(photo["file"])
        if earlier is None:
            found.append(tr("photo {number}: new", number=number))
            continue
        if earlier.get("markings") != photo.get("markings"):
            found.append(tr("photo {number}: marks", number=number))
        if earlier.get("reference") != photo.get("reference"):
            found.append(tr("photo {number}: reference", number=number))
    if len(after.get("photos", ())) < len(photos):
        found.append(tr("a photo taken out"))
    return tuple(found)
