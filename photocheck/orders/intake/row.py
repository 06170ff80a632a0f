"""A row of a table as the draft of an order, in the words people use."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Final

from photocheck.case.lengths import MM_PER, parse_length, parse_reading, parse_weight
from photocheck.case.model import Point
from photocheck.case.takes import split_takes
from photocheck.errors import CaseError
from photocheck.orders.bounds import LONGEST_FIELD
from photocheck.orders.draft import DogTold, Draft, ReferenceTold
from photocheck.orders.filling import new_draft
from photocheck.orders.intake.headings import AGAIN, LENGTHS, Column, age_words, squeeze
from photocheck.scale.catalogue import REFERENCES
from photocheck.speech import LANGUAGES, speaking, tr
from photocheck.words import ALL_LANDMARKS, BUILDS, COATS, FACT_TITLES, PLACE_TITLES, READINGS

_WORDS: Final[Mapping[str, Mapping[str, str]]] = {
    "coat": {"short": "kurzhaarig", "medium": "mittellang", "long": "langhaarig"},
    "build": {"medium": "normal", "broad": "kräftig"},
    "reference": {
        "marker_sheet": "marker sheet, sheet, Markenbogen, Bogen",
        "id_card": "card, Karte",
        "a4": "A4, DIN A4",
        "letter": "letter, US letter",
        "disc": "Scheibe",
    },
    "place": {},
    "language": {"en": "englisch", "de": "german"},
}
"""How people write what a cell may hold, besides its name and titles."""

_HAS_UNIT: Final = re.compile(r"[^\W\d_]|[\"'\u2032\u2033\u2018\u2019\u201c\u201d]")


@dataclass(frozen=True)
class Told:
    """What a row tells of an order.

    Attributes
    ----------
    order, name, dog : str
        Its number, whose it is, the dog's name; may be empty.
    language : str
        Of the owner; empty when not told.
    draft : Draft
        Without photos.
    photo : str
        The cell that names the photos; may be empty.
    reference : ReferenceTold
        For each photo.
    marks : dict of landmark to Point
        In the one photo, px.
    problems : tuple of str
        All that is wrong with the row, each a sentence with what to do.
    """

    order: str
    name: str
    dog: str
    language: str
    draft: Draft
    photo: str
    reference: ReferenceTold
    marks: dict[str, Point]
    problems: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """What to call the order."""
        return ", ".join(part for part in (self.order, self.name or self.dog) if part)


def told_by(columns: Sequence[Column], cells: Sequence[str], unit: str) -> Told:
    """What a row tells.

    Parameters
    ----------
    columns : sequence of Column
    cells : sequence of str
        As many.
    unit : str
        Of bare numbers whose column and row tell none, "cm" or "in"; may be empty.
    """
    given = {c.field: cell for c, cell in zip(columns, cells, strict=True) if c.field and cell}
    units = {c.field: c.unit for c in columns if c.field}
    problems: list[str] = []

    def read(field: str, parse: Callable[..., Any], *more: Any) -> Any:
        try:
            return parse(given[field], *more)
        except CaseError as error:
            problems.append(str(error))
            return None

    def those(fields: Sequence[str], parse: Callable[..., Any]) -> dict[str, Any]:
        found = {f: read(f, parse, f) for f in fields if f in given}
        return {field: value for field, value in found.items() if value is not None}

    own = read("unit", _unit_word) if "unit" in given else ""
    system, bare = _system(given, units, own or unit)
    if bare:
        problems.append(
            tr(
                "No unit is told for {names}. Write it in the heading, in a column 'unit' or in "
                "the cells, or give --unit.",
                names=", ".join(bare),
            )
        )

    def length(typed: str, field: str) -> str:
        text = typed if _has_unit(typed) else _with_unit(typed, units[field], system)
        if _read_as(field) in READINGS or field in FACT_TITLES:
            parse_reading(_read_as(field), text, system)
        else:
            parse_length(text, system, field=field.replace("_", " "), signed=field == "coat_depth")
        return text

    def takes(typed: str, field: str) -> tuple[str, ...]:
        return tuple(length(one, field) for one in split_takes(_read_as(field), typed, system))

    every = those((*READINGS, *AGAIN.values()), takes)
    several = {name: (*every.get(name, ()), *every.get(AGAIN[name], ())) for name in READINGS}
    readings = {n: one[0] if len(one) == 1 else one for n, one in several.items() if one}
    about_dog = those((*FACT_TITLES, "coat_depth"), length)
    sizes = those(("bar", "diameter"), length)
    about_dog |= those(("coat", "build"), _choice)
    dog = DogTold(
        name=given.get("dog", ""),
        breed=given.get("breed", ""),
        weight=read("weight", _weight, units["weight"], system) if "weight" in given else None,
        age_months=read("age", _age_months, units["age"]) if "age" in given else None,
        **about_dog,
    )
    known = those(("reference", "place"), _choice)
    told = Told(
        order=given.get("order", ""),
        name=given.get("name", ""),
        dog=given.get("dog", ""),
        language=(read("language", _choice, "language") or "") if "language" in given else "",
        draft=new_draft(system).but("readings", readings).but("dog", dog),
        photo=given.get("photo", ""),
        reference=ReferenceTold(
            kind=known.get("reference", "marker_sheet"), place=known.get("place", ""), **sizes
        ),
        marks=those(ALL_LANDMARKS, _point),
    )
    if told.title:
        told = replace(told, draft=told.draft.but("name", told.title))
    else:
        problems.append(
            tr("Nothing says whose order this is. Fill in its number, its name or the dog's name.")
        )
    for text in (told.title, told.dog, given.get("breed", "")):
        if len(text) > LONGEST_FIELD:
            problems.append(tr("'{text}...' is too long. Shorten it.", text=text[:30]))
    return replace(told, problems=tuple(problems))


def _read_as(field: str) -> str:
    """The reading of which a column holds the second take; any other field as it is."""
    return next((name for name, again in AGAIN.items() if again == field), field)


def _has_unit(cell: str) -> bool:
    return bool(_HAS_UNIT.search(cell))


def _system(
    given: Mapping[str, str], units: Mapping[str, str], told: str
) -> tuple[str, tuple[str, ...]]:
    """The order's unit, and the lengths of which none can be known."""
    lengths = [f for f in LENGTHS if f in given]
    bare = tuple(f for f in lengths if not _has_unit(given[f]) and not units[f])
    if told:
        return told, ()
    for field in lengths:
        text = given[field] if _has_unit(given[field]) else f"1 {units[field]}"
        if field not in bare:
            try:
                return parse_length(text, "cm")[1], bare
            except CaseError:
                continue  # complained of where it is read
    return "cm", bare


def _with_unit(cell: str, column_unit: str, unit: str) -> str:
    """The cell as typed, with its column's unit where that is another than the order's."""
    if not column_unit:
        return cell
    same = parse_length(f"1 {column_unit}", unit) == parse_length("1", unit)
    return cell if same else f"{cell} {column_unit}"


def _unit_word(cell: str) -> str:
    try:
        mm, system = parse_length(f"1 {cell}", "cm")
    except CaseError:
        mm, system = 0.0, ""
    if mm not in (float(MM_PER["cm"]), float(MM_PER["in"])):
        raise CaseError(
            tr("the unit '{unit}' is not known", unit=cell[:40]), do=tr("Write cm or in")
        )
    return system


def _weight(cell: str, column_unit: str, unit: str) -> str:
    if not _has_unit(cell):
        if not column_unit and unit == "in":
            raise CaseError(
                tr("'{weight}' may be kilograms or pounds", weight=cell[:40]),
                where=tr("weight"),
                do=tr("Write the unit in the heading or the cell, kg or lb"),
            )
        cell = f"{cell} {column_unit}".strip()
    parse_weight(cell)
    return cell


def _age_months(cell: str, unit: str) -> float:
    match = re.fullmatch(r"(\d{1,3}(?:[.,]\d+)?)\s*([^\W\d_]*)\.?", cell)
    word = match[2].casefold() if match else ""
    for told in ("months", "years"):
        if match and (word in age_words(told) if word else told == unit):
            age = float(match[1].replace(",", ".")) * (12 if told == "years" else 1)
            if age <= 360:
                return age
    raise CaseError(
        tr("'{age}' is no age with its unit", age=cell[:40]),
        where=tr("age"),
        do=tr("Write 8 months or 3 years, or the unit in the heading"),
    )


def _point(cell: str, field: str) -> Point:
    parts = [part.strip(",") for part in re.split(r"[;\s]+", cell.strip("()[] "))]
    if len(parts) == 1:
        parts = parts[0].split(",")
    try:
        x, y = (float(part.replace(",", ".")) for part in parts)
        if max(abs(x), abs(y)) <= 1e6:  # not for "nan"
            return x, y
    except ValueError:
        pass
    raise CaseError(
        tr("'{text}' is not a point", text=cell[:40]),
        where=field,
        do=tr("Write x and y in pixels of the upright photo, 812 340 for example"),
    )


def _choice(cell: str, field: str) -> str:
    words = _choices(field)
    found = words.get(squeeze(cell))
    if found is None:
        raise CaseError(
            tr("'{text}' is not known here", text=cell[:40]),
            where=field,
            do=tr("Use one of {names}", names=", ".join(dict.fromkeys(words.values()))),
        )
    return found


@cache
def _choices(field: str) -> dict[str, str]:
    titles: Mapping[str, str] = {
        "coat": {word: word for word in COATS},
        "build": {word: word for word in BUILDS},
        "reference": {kind: item.title for kind, item in REFERENCES.items()},
        "place": PLACE_TITLES,
        "language": LANGUAGES,
    }[field]
    words: dict[str, str] = {}
    for key, title in titles.items():
        said = [key, *_WORDS[field].get(key, "").split(", ")]
        for language in LANGUAGES:
            with speaking(language):
                said.append(tr(title))
        words |= {squeeze(text): key for text in said if text}
    return words
