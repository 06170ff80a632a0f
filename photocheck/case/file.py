"""Case files: JSON as people and programs write it, to a `Case` and back.

The format is published in ``case.schema.json``.  Lengths stay texts in the file
("14 1/2", "36,8 cm") so that it holds what the owner typed.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from math import isclose
from pathlib import Path
from typing import Any, Final

from photocheck.case.lengths import (
    MM_PER,
    POSSIBLE_MM,
    exact_text,
    parse_length,
    parse_reading,
    parse_weight,
)
from photocheck.case.model import Case, DogFacts, Marking, PhotoEntry, Point, Reference, Take
from photocheck.case.takes import reading_from_json, takes_to_json
from photocheck.errors import CaseError
from photocheck.schemas.complaints import complaint, format_in_words, refused
from photocheck.schemas.reading import read_json
from photocheck.speech import tr
from photocheck.words import FACT_TITLES, READING_TITLES

FORMAT: Final = "photocheck-case/1"


def read_case(path: str | os.PathLike[str]) -> Case:
    """Read a case file.

    Photo files named in it are looked for beside the case file.

    Raises
    ------
    CaseError
        When the file is missing, not JSON, not a case, or names a photo that is
        not there; the message says where and what to do.
    """
    source = Path(path)
    return case_from_dict(read_json(source), source.parent, where=str(path))


def case_from_dict(
    data: Any,
    base_dir: str | os.PathLike[str] = ".",
    *,
    where: str = "case",
    check_files: bool = True,
) -> Case:
    """Make a `Case` of the parsed JSON.

    Parameters
    ----------
    data : parsed JSON
    base_dir : path
        Relative photo files start here.
    where : str
        What to call the case in messages.
    check_files : bool
        Whether photo files must exist.

    Raises
    ------
    CaseError
    """
    _validate(data, where)
    unit = data["unit"]
    try:
        readings = {
            name: reading_from_json(name, value, unit)
            for name, value in data.get("readings", {}).items()
        }
        dog = _dog(data.get("dog", {}), unit)
        photos = tuple(
            _photo(entry, number, unit, Path(base_dir), check_files)
            for number, entry in enumerate(data["photos"], start=1)
        )
    except CaseError as error:
        if where == "case":
            raise
        raise CaseError(
            error.wrong, where=f"{where}, {error.where}" if error.where else where, do=error.do
        ) from error
    at_tags = data.get("measured_at_tags", False)
    return Case(photos, readings, unit, dog, data.get("name", ""), at_tags)


def _dog(data: Mapping[str, Any], unit: str) -> DogFacts:
    weight = data.get("weight")
    depth = data.get("coat_depth")
    depth_mm = None
    if depth is not None:
        depth_mm, _ = parse_length(depth, unit, field="coat depth", signed=True)
        if not 0 <= depth_mm <= 200:
            raise CaseError(
                tr("a coat cannot be {depth:g} cm deep", depth=depth_mm / 10),
                where="coat depth",
                do=tr("Type how deep the coat stands off the skin, 2 cm for example"),
            )
    return DogFacts(
        name=data.get("name", ""),
        breed=data.get("breed", ""),
        weight_kg=None if weight is None else parse_weight(weight),
        **{
            f"{name}_mm": None if name not in data else parse_reading(name, data[name], unit)[0]
            for name in FACT_TITLES
        },
        coat=data.get("coat", "unknown"),
        coat_depth_mm=depth_mm,
        build=data.get("build", "unknown"),
        age_months=_maybe_float(data.get("age_months")),
    )


def _photo(
    data: Mapping[str, Any], number: int, unit: str, base_dir: Path, check_files: bool
) -> PhotoEntry:
    where = f"photo {number}"
    path = base_dir / data["file"]
    try:
        missing = check_files and not path.is_file()
    except (OSError, ValueError):  # a name the system cannot even look up
        missing = True
    if missing:
        raise CaseError(
            tr("the photo file '{name}' is not there", name=data["file"]),
            where=where,
            do=tr("Put it beside the case file or correct the name"),
        )
    return PhotoEntry(
        path=str(path),
        reference=_reference(data["reference"], f"{where}, reference", unit),
        markings=tuple(_marking(m) for m in data.get("markings", ())),
        focal_35mm=_maybe_float(data.get("focal_35mm")),
        distortion=tuple(float(k) for k in data.get("distortion", ())),
        view=data.get("view", "side"),
        tags=data.get("tags", "usual"),
    )


def _reference(data: Mapping[str, Any], where: str, unit: str) -> Reference:
    def length(key: str, signed: bool = False) -> float | None:
        if key not in data:
            return None
        title = key.replace("_", " ")
        return parse_length(data[key], unit, field=f"{where}, {title}", signed=signed)[0]

    near = data.get("near")
    return Reference(
        kind=data["kind"],
        place=data.get("place", "unknown"),
        offset_mm=length("offset", signed=True),
        offset_spread_mm=length("offset_spread"),
        corners=_points(data.get("corners", ())),
        near=None if near is None else _point(near),
        ends=_points(data.get("ends", ())),
        length_mm=length("length"),
        diameter_mm=length("diameter"),
        outline=_points(data.get("outline", ())),
        bar_mm=length("bar"),
        corner_spread_px=_maybe_float(data.get("corner_spread_px")),
    )


def reference_from_dict(data: Any, unit: str, *, where: str = "reference") -> Reference:
    """Make a `Reference` of the ``reference`` part of a case file.

    Parameters
    ----------
    data : parsed JSON
    unit : str
        Of bare numbers, ``"cm"`` or ``"in"``.

    Raises
    ------
    CaseError
    """
    error = complaint(data, "case", part="reference")
    if error is not None:
        raise refused(error, where)
    return _reference(data, where, unit)


def _marking(data: Mapping[str, Any]) -> Marking:
    return Marking(
        marks={name: _point(xy) for name, xy in data["marks"].items()},
        bends={span: _points(line) for span, line in data.get("bends", {}).items()},
        by=data.get("by", "owner"),
        spread_mm=_maybe_float(data.get("spread_mm")),
        confirmed=tuple(data.get("confirmed", ())),
    )


def _point(xy: Any) -> Point:
    return float(xy[0]), float(xy[1])


def _points(line: Iterable[Any]) -> tuple[Point, ...]:
    return tuple(_point(xy) for xy in line)


def _maybe_float(value: Any) -> float | None:
    return None if value is None else float(value)


# --- back to JSON ----------------------------------------------------------


def case_to_dict(case: Case, base_dir: str | os.PathLike[str] | None = None) -> dict[str, Any]:
    """What `case_from_dict` reads back as an equal `Case`.

    Parameters
    ----------
    case : Case
    base_dir : path or None
        Photo files below it are written relative to it.

    Returns
    -------
    dict
        Ready for `json.dumps`; facts that are not known are left out.
    """
    dog = case.dog
    facts: dict[str, Any] = {
        "name": dog.name or None,
        "breed": dog.breed or None,
        "weight": dog.weight_kg,
        "coat": _unless(dog.coat, "unknown"),
        "coat_depth": _maybe_text(dog.coat_depth_mm),
        "build": _unless(dog.build, "unknown"),
        **{name: _maybe_text(getattr(dog, f"{name}_mm")) for name in FACT_TITLES},
        "age_months": dog.age_months,
    }
    data: dict[str, Any] = {"format": FORMAT}
    if case.name:
        data["name"] = case.name
    data["unit"] = case.unit
    if case.readings:
        data["readings"] = {
            name: takes_to_json(
                reading.takes, [_take_text(name, take, case.unit) for take in reading.takes]
            )
            for name, reading in case.readings.items()
        }
    if facts := _known(facts):
        data["dog"] = facts
    if case.measured_at_tags:
        data["measured_at_tags"] = True
    data["photos"] = [_photo_dict(photo, base_dir) for photo in case.photos]
    return data


def _photo_dict(photo: PhotoEntry, base_dir: str | os.PathLike[str] | None) -> dict[str, Any]:
    path = Path(photo.path)
    if base_dir is not None and path.is_relative_to(base_dir):
        path = path.relative_to(base_dir)
    ref = photo.reference
    reference = {
        "kind": ref.kind,
        "place": _unless(ref.place, "unknown"),
        "offset": _maybe_text(ref.offset_mm),
        "offset_spread": _maybe_text(ref.offset_spread_mm),
        "corners": points_to_lists(ref.corners) or None,
        "near": None if ref.near is None else list(ref.near),
        "ends": points_to_lists(ref.ends) or None,
        "length": _maybe_text(ref.length_mm),
        "diameter": _maybe_text(ref.diameter_mm),
        "outline": points_to_lists(ref.outline) or None,
        "bar": _maybe_text(ref.bar_mm),
        "corner_spread_px": ref.corner_spread_px,
    }
    return _known(
        {
            "file": path.as_posix(),
            "view": _unless(photo.view, "side"),
            "reference": _known(reference),
            "markings": [marking_to_dict(marking) for marking in photo.markings] or None,
            "focal_35mm": photo.focal_35mm,
            "distortion": list(photo.distortion) or None,
            "tags": _unless(photo.tags, "usual"),
        }
    )


def points_to_lists(points: Iterable[Point]) -> list[list[float]]:
    """Points as JSON has them: ``[[x, y], ...]``, px.

    >>> points_to_lists([(10.0, 20.5)])
    [[10.0, 20.5]]
    """
    return [list(xy) for xy in points]


def marks_to_lists(marks: Mapping[str, Point]) -> dict[str, list[float]]:
    """The ``marks`` part of a case file: ``[x, y]`` in px by landmark.

    >>> marks_to_lists({"last_rib": (10.0, 20.5)})
    {'last_rib': [10.0, 20.5]}
    """
    return {name: list(xy) for name, xy in marks.items()}


def bends_to_lists(bends: Mapping[str, Iterable[Point]]) -> dict[str, list[list[float]]]:
    """The ``bends`` part of a case file: the points by span, in order, px.

    >>> bends_to_lists({"half_neck": [(1.0, 2.0)]})
    {'half_neck': [[1.0, 2.0]]}
    """
    return {span: points_to_lists(line) for span, line in bends.items()}


def marking_to_dict(marking: Marking) -> dict[str, Any]:
    """One entry of ``markings`` of a case file; what is not known is left out.

    >>> marking_to_dict(Marking({"last_rib": (10.0, 20.5)}))
    {'by': 'owner', 'marks': {'last_rib': [10.0, 20.5]}}
    """
    return _known(
        {
            "by": marking.by,
            "marks": marks_to_lists(marking.marks),
            "bends": bends_to_lists(marking.bends) or None,
            "spread_mm": marking.spread_mm,
            "confirmed": list(marking.confirmed) or None,
        }
    )


def _take_text(name: str, take: Take, unit: str) -> str:
    """What was typed where that alone gives the length again, else a text that does."""
    for text in (take.typed, f"{take.typed} {take.unit}"):
        try:
            mm, own = parse_reading(name, text, unit)
        except CaseError:
            continue
        if own == take.unit and isclose(mm, take.mm, rel_tol=1e-12):
            return text
    if take.unit == "in":
        return f"{take.mm / float(MM_PER['in']):.10f}".rstrip("0").rstrip(".") + " in"
    return exact_text(take.mm)


def _known(data: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in data.items() if value is not None}


def _unless(value: str, default: str) -> str | None:
    return None if value == default else value


def _maybe_text(mm: float | None) -> str | None:
    return None if mm is None else exact_text(mm)


def _validate(data: Any, where: str) -> None:
    if isinstance(data, dict) and data.get("format") != FORMAT:
        raise CaseError(
            format_in_words(data.get("format"), given="format" in data),
            where=where,
            do=tr('Write "format": "{name}"', name=FORMAT),
        )
    error = complaint(data, "case")
    if error is not None:
        raise refused(error, where)
    parts = {f"{where}, photo {number}": part for number, part in enumerate(data["photos"], 1)}
    rest = {name: part for name, part in data.items() if name != "photos"}
    for place, part in {where: rest, **parts}.items():
        for value in _leaves(part):
            if isinstance(value, str):
                if not _writable(value):
                    raise CaseError(
                        tr("a text holds a character that cannot be written down"),
                        where=place,
                        do=tr("Type it again"),
                    )
            elif value != value or abs(value) > 1e9:
                raise CaseError(tr("a number is far too large"), where=place, do=tr("Correct it"))


def _leaves(value: Any) -> Iterable[str | float]:
    if isinstance(value, dict):
        value = [*value, *value.values()]
    if isinstance(value, list):
        for item in value:
            yield from _leaves(item)
    elif isinstance(value, (str, int, float)):
        yield value


def _writable(text: str) -> bool:
    """Whether files and databases take it: JSON's escapes allow half a character and a zero."""
    return "\0" not in text and not any("\ud800" <= c <= "\udfff" for c in text)


if set(READING_TITLES) - set(POSSIBLE_MM):
    raise AssertionError("every reading needs its limits")
