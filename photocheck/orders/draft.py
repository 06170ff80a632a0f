"""An order while it is being filled in: the case format with parts still missing.

A draft holds texts as typed, right or wrong; what is empty is not in it, so that a whole draft
is a case as it stands.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from typing import Any, Final

from photocheck.case.file import FORMAT
from photocheck.case.lengths import KG_PER, format_length, parse_length, parse_reading, parse_weight
from photocheck.case.model import Point
from photocheck.errors import CaseError
from photocheck.scale.catalogue import REFERENCES
from photocheck.speech import tr
from photocheck.words import LANDMARK_TITLES, LANDMARKS

Path = tuple[str | int, ...]
"""Where a value stands in a draft: ``("photos", 0, "reference", "kind")``."""

BEHIND: Final = ("far_feet", "wall_close", "wall")
"""Places behind the dog's middle, where a measured distance counts as negative."""

SIZES: Final = {"two_points": "length", "disc": "diameter", "ball": "diameter"}
"""What must be told of a reference whose size no standard fixes."""


@dataclass(frozen=True)
class Gap:
    """Something that a draft still lacks before it can be checked.

    Attributes
    ----------
    step : str
        "readings", "dog", "photo" or "marks": where it is filled in.
    sentence : str
        What is missing or wrong, and what to do.
    """

    step: str
    sentence: str


def new_draft(unit: str) -> dict[str, Any]:
    """A draft in which nothing is filled in but the unit."""
    return {"format": FORMAT, "unit": unit, "readings": {}, "dog": {}, "photos": []}


def value_at(draft: Mapping[str, Any], path: Path) -> Any:
    """What stands at `path`; None when nothing does."""
    value: Any = draft
    for step in path:
        try:
            value = value[step]
        except (KeyError, IndexError, TypeError):
            return None
    return value


def with_value(draft: Mapping[str, Any], path: Path, value: Any) -> dict[str, Any]:
    """A copy of the draft with `value` at `path`; None or an empty text takes it out."""
    copy: dict[str, Any] = deepcopy(dict(draft))
    place: Any = copy
    for step in path[:-1]:
        place = place.setdefault(step, {}) if isinstance(place, dict) else place[step]
    last = path[-1]
    if value is None or (isinstance(value, str) and not value.strip()):
        if isinstance(place, dict):
            place.pop(last, None)
        else:
            del place[last]
    else:
        place[last] = deepcopy(value)
    return copy


def with_photo(draft: Mapping[str, Any], name: str) -> dict[str, Any]:
    """A copy of the draft with one more photo, its reference told as for the last one.

    The same photo is not taken twice.
    """
    photos = list(draft.get("photos", ()))
    if any(photo["file"] == name for photo in photos):
        return deepcopy(dict(draft))
    kept = ("kind", "place", "offset", "bar", "length", "diameter")
    last = photos[-1]["reference"] if photos else {"kind": "marker_sheet"}
    reference = {key: last[key] for key in kept if key in last}
    entry = {"file": name, "reference": reference, "markings": []}
    return with_value(draft, ("photos",), [*photos, entry])


_FITS: Final = {
    "markers": ("bar",),
    "rectangle": ("near", "corners"),
    "points": ("ends", "length"),
    "disc": ("near", "outline", "diameter"),
    "ball": ("near", "outline", "diameter"),
}
"""What besides kind, place and offset may be told of each form of reference."""


def settled(draft: Mapping[str, Any]) -> dict[str, Any]:
    """A copy of the draft in which no reference holds what its kind or place has no use for.

    A distance behind the dog is written as negative there, however it was typed.
    """
    copy: dict[str, Any] = deepcopy(dict(draft))
    for photo in copy.get("photos", ()):
        told = photo["reference"]
        place = told.get("place", "unknown")
        fits = {*_FITS[REFERENCES[told["kind"]].form], "kind", "place", "corner_spread_px"}
        if place not in ("middle", "unknown"):
            fits |= {"offset", "offset_spread"}
        photo["reference"] = {key: value for key, value in told.items() if key in fits}
        offset = photo["reference"].get("offset")
        if isinstance(offset, str):
            size = offset.strip().lstrip("-").strip()
            photo["reference"]["offset"] = f"-{size}" if place in BEHIND else size
    return copy


def with_marks(
    draft: Mapping[str, Any],
    number: int,
    marks: Mapping[str, Point],
    bends: Mapping[str, Sequence[Point]],
) -> dict[str, Any]:
    """A copy of the draft with the owner's marks on photo `number` (from 0), px."""
    copy: dict[str, Any] = deepcopy(dict(draft))
    photo = copy["photos"][number]
    kept = {**photo["markings"][0]} if photo["markings"] else {"by": "owner"}
    kept["marks"] = {name: list(xy) for name, xy in marks.items()}
    kept.pop("bends", None)
    if any(bends.values()):
        kept["bends"] = {span: [list(xy) for xy in line] for span, line in bends.items() if line}
    others = photo["markings"][1:]
    photo["markings"] = [kept, *others] if marks or others else []
    return copy


def renamed(draft: Mapping[str, Any], kept: Mapping[str, str]) -> dict[str, Any]:
    """A copy of a draft that calls its photos what the store calls them."""
    copy = deepcopy(dict(draft))
    for entry in copy.get("photos", ()):
        entry["file"] = kept[entry["file"]]
    return copy


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
    return f"{kg:.1f} kg = {kg / float(KG_PER['lb']):.1f} lb"


def _both(mm: float, own: str) -> str:
    first, second = ("in", "cm") if own in ("in", "ft") else ("cm", "in")
    return f"{format_length(mm, first)} = {format_length(mm, second)}"


# --- what is missing ---------------------------------------------------------


def gaps(draft: Mapping[str, Any]) -> tuple[Gap, ...]:
    """All that keeps a draft from being checked, in the order of the steps."""
    return (*_reading_gaps(draft), *_dog_gaps(draft), *_photo_gaps(draft), *_mark_gaps(draft))


def _reading_gaps(draft: Mapping[str, Any]) -> list[Gap]:
    readings = draft.get("readings", {})
    if not readings:
        return [Gap("readings", tr("No tape reading is given yet."))]
    unreadable = (
        _unreadable("readings", parse_reading, name, typed, draft["unit"])
        for name, typed in readings.items()
    )
    return [gap for gap in unreadable if gap]


def _dog_gaps(draft: Mapping[str, Any]) -> list[Gap]:
    dog, unit = draft.get("dog", {}), draft["unit"]
    found = []
    if "girth" in dog:
        found.append(_unreadable("dog", parse_reading, "girth", dog["girth"], unit))
    if "weight" in dog:
        found.append(_unreadable("dog", parse_weight, dog["weight"]))
    if "coat_depth" in dog:
        field = tr("coat depth")
        found.append(
            _unreadable("dog", parse_length, dog["coat_depth"], unit, field=field, signed=True)
        )
    return [gap for gap in found if gap]


def _photo_gaps(draft: Mapping[str, Any]) -> list[Gap]:
    photos = draft.get("photos", ())
    if not photos:
        return [Gap("photo", tr("No photo is there yet."))]
    found: list[Gap | None] = []
    for number, photo in enumerate(photos, start=1):
        reference = photo["reference"]
        size = SIZES.get(reference.get("kind", ""))
        if size and size not in reference:
            found.append(
                Gap(
                    "photo", tr("Photo {number}: say how long or wide the thing is.", number=number)
                )
            )
        for name in ("offset", "bar", "length", "diameter"):
            if name in reference:
                title = tr("Photo {number}", number=number)
                found.append(
                    _unreadable(
                        "photo",
                        parse_length,
                        reference[name],
                        draft["unit"],
                        field=title,
                        signed=name == "offset",
                    )
                )
    return [gap for gap in found if gap]


def _mark_gaps(draft: Mapping[str, Any]) -> list[Gap]:
    found = []
    for number, photo in enumerate(draft.get("photos", ()), start=1):
        missing = unplaced(photo)
        if missing:
            titles = ", ".join(tr(LANDMARK_TITLES[name]) for name in missing)
            found.append(
                Gap(
                    "marks",
                    tr("Photo {number}: still to mark: {titles}.", number=number, titles=titles),
                )
            )
        if not reference_told(photo["reference"]):
            title = tr(REFERENCES[photo["reference"]["kind"]].title)
            found.append(
                Gap(
                    "marks", tr("Photo {number}: point at the {title}.", number=number, title=title)
                )
            )
    return found


def unplaced(photo: Mapping[str, Any]) -> tuple[str, ...]:
    """Landmarks that are not marked yet in one photo of a draft."""
    markings: Sequence[Mapping[str, Any]] = photo.get("markings", ())
    marks = markings[0]["marks"] if markings else {}
    return tuple(name for name in LANDMARKS if name not in marks)


def reference_told(reference: Mapping[str, Any]) -> bool:
    """Whether the reference can be looked for: pointed at, or found by itself."""
    form = REFERENCES[reference["kind"]].form
    if form == "markers":
        return True
    if form == "points":
        return "ends" in reference
    return any(key in reference for key in ("near", "corners", "outline"))


def _unreadable(step: str, parse: Any, *given: Any, **told: Any) -> Gap | None:
    try:
        parse(*given, **told)
    except CaseError as error:
        return Gap(step, str(error))
    return None
