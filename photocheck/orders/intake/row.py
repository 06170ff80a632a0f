"""A row of a table as the draft of an order, in the words people use."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from photocheck.case.lengths import parse_length, parse_reading
from photocheck.case.model import Point
from photocheck.case.takes import split_takes
from photocheck.errors import CaseError
from photocheck.orders.bounds import LONGEST_FIELD, LONGEST_TOLD
from photocheck.orders.draft import DogTold, Draft, OwnerTold, ReferenceTold
from photocheck.orders.filling import new_draft
from photocheck.orders.intake.cells import (
    age_months,
    choice,
    email,
    has_unit,
    point,
    telephone,
    unit_word,
    weight,
)
from photocheck.orders.intake.columns import Column
from photocheck.orders.intake.headings import AGAIN, LENGTHS, field_title
from photocheck.speech import tr
from photocheck.words import ALL_LANDMARKS, FACT_TITLES, READINGS


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
        Without photos.  What stood in cells that could not be read is in its notes.
    photo : str
        The cell that names the photos; may be empty.
    reference : ReferenceTold
        For each photo.
    marks : dict of landmark to Point
        In the one photo, px.
    problems : tuple of str
        Why the row is no order, and then all else that is wrong with it, each a sentence with
        what to do; empty when it is one.
    remarks : tuple of str
        For a row that is an order: the cells it came in without, each a sentence.
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
    remarks: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """What to call the order."""
        parts = [part for part in (self.order, self.name or self.dog) if part]
        whole = ", ".join(parts)
        return whole if len(whole) <= LONGEST_FIELD else parts[0]


_TAKES: Final = (*READINGS, *AGAIN.values())


class _Cells:
    """The cells of a row, and what is wrong with those that cannot be read."""

    def __init__(self, columns: Sequence[Column], cells: Sequence[str]) -> None:
        told = [(c, cell) for c, cell in zip(columns, cells, strict=True) if c.field and cell]
        self.given = {column.field: cell for column, cell in told}
        self.units = {column.field: column.unit for column in columns if column.field}
        self.heading = {column.field: column.heading for column, _ in told}
        self.wrong: dict[str, str] = {}

    def text(self, field: str, most: int = LONGEST_FIELD) -> str:
        """A cell of words; empty when it is too long."""
        text = self.given.get(field, "")
        if len(text) > most:
            self.wrong[field] = tr("'{text}...' is too long. Shorten it.", text=text[:30])
        return "" if field in self.wrong else text

    def read(self, field: str, parse: Callable[..., Any], *more: Any) -> Any:
        """What a cell says; None when it is empty or cannot be read."""
        if field not in self.given or field in self.wrong:
            return None
        try:
            return parse(self.given[field], *more)
        except CaseError as error:
            # Its column says where it stands.
            self.wrong[field] = str(CaseError(error.wrong, do=error.do))
            return None

    def those(self, fields: Sequence[str], parse: Callable[..., Any]) -> dict[str, Any]:
        """What several cells say, without those that say nothing."""
        found = {field: self.read(field, parse, field) for field in fields}
        return {field: value for field, value in found.items() if value is not None}

    def left(self) -> str:
        """The cells that could not be read, as they stood, each with its heading."""
        lines = [f"{self.heading[field]}: {self.given[field]}" for field in self.wrong]
        return "\n".join(lines)


def told_by(columns: Sequence[Column], cells: Sequence[str], unit: str) -> Told:
    """What a row tells.

    A cell that cannot be read costs that cell: its text goes to the order's notes.  A row is no
    order where nothing says whose it is, or where not one of the readings it gives can be read,
    for then its unit or its columns are likely mistaken.

    Parameters
    ----------
    columns : sequence of Column
    cells : sequence of str
        As many.
    unit : str
        Of bare numbers whose column and row tell none, "cm" or "in"; may be empty.
    """
    row = _Cells(columns, cells)
    order, name, dog_name, breed = map(row.text, ("order", "name", "dog", "breed"))
    own = row.read("unit", unit_word) or ""
    # A unit that nobody knows is not the one that was said for the whole table.
    system, bare = _system(row, own or ("" if "unit" in row.wrong else unit))
    for field in bare:
        row.wrong[field] = tr("No unit is told.")

    def length(typed: str, field: str) -> str:
        text = typed if has_unit(typed) else _with_unit(typed, row.units[field], system)
        if _read_as(field) in READINGS or field in FACT_TITLES:
            parse_reading(_read_as(field), text, system)
        else:
            parse_length(text, system, field=field.replace("_", " "), signed=field == "coat_depth")
        return text

    def takes(typed: str, field: str) -> tuple[str, ...]:
        return tuple(length(one, field) for one in split_takes(_read_as(field), typed, system))

    every = row.those(_TAKES, takes)
    several = {name: (*every.get(name, ()), *every.get(AGAIN[name], ())) for name in READINGS}
    readings = {n: one[0] if len(one) == 1 else one for n, one in several.items() if one}
    about_dog = row.those((*FACT_TITLES, "coat_depth"), length)
    sizes = row.those(("bar", "diameter"), length)
    about_dog |= row.those(("coat", "build"), choice)
    dog = DogTold(
        name=dog_name,
        breed=breed,
        weight=row.read("weight", weight, row.units.get("weight", ""), system),
        age_months=row.read("age", age_months, row.units.get("age", "")),
        **about_dog,
    )
    known = row.those(("reference", "place"), choice)
    # A thing that nobody knows is not the sheet that is meant where nothing is said.
    kind = known.get("reference", "" if "reference" in row.wrong else "marker_sheet")
    told = Told(
        order=order,
        name=name,
        dog=dog_name,
        language=row.read("language", choice, "language") or "",
        draft=new_draft(system).but("readings", readings).but("dog", dog),
        photo=row.given.get("photo", ""),
        reference=ReferenceTold(kind=kind, place=known.get("place", ""), **sizes),
        marks=row.those(ALL_LANDMARKS, point),
    )
    owner = OwnerTold(
        name=name,
        number=order,
        email=row.read("email", email) or "",
        telephone=row.read("telephone", telephone) or "",
    )
    notes = "\n".join(filter(None, (row.given.get("notes", ""), row.left())))
    fits = len(notes) <= LONGEST_TOLD
    owner = owner.but("notes", notes if fits else None)
    told = replace(told, draft=told.draft.but("name", told.title).but("owner", owner))
    problems = _no_order(row, told, bare)
    if not fits:
        problems.append(tr("'{text}...' is too long. Shorten it.", text=notes[:30]))
    if not problems:
        kept = tr("What stood there is in the notes.")
        remarks = [f"{_said(row, field)} {kept}" for field in row.wrong]
        return replace(told, remarks=tuple(remarks))
    rest = [_said(row, field) for field in row.wrong if field not in bare]
    return replace(told, problems=(*problems, *rest))


def _said(row: _Cells, field: str) -> str:
    return tr("Column '{heading}': {wrong}", heading=row.heading[field], wrong=row.wrong[field])


def _no_order(row: _Cells, told: Told, bare: Sequence[str]) -> list[str]:
    """Why the row cannot be an order; nothing when it can."""
    problems = []
    if not told.title:
        problems.append(
            tr("Nothing says whose order this is. Fill in its number, its name or the dog's name.")
        )
    if told.draft.readings or not any(field in row.given for field in _TAKES):
        return problems
    if bare:
        problems.append(
            tr(
                "No unit is told for {names}. Write it in the heading, in a column 'unit' or in "
                "the cells, or tell it for the whole table (--unit).",
                names=", ".join(field_title(field) for field in bare),
            )
        )
    elif not problems:
        problems.append(tr("Not one of the readings can be read."))
    return problems


def _read_as(field: str) -> str:
    """The reading of which a column holds the second take; any other field as it is."""
    return next((name for name, again in AGAIN.items() if again == field), field)


def _system(row: _Cells, told: str) -> tuple[str, tuple[str, ...]]:
    """The order's unit, and the lengths of which none can be known."""
    lengths = [f for f in LENGTHS if f in row.given]
    bare = tuple(f for f in lengths if not has_unit(row.given[f]) and not row.units[f])
    if told:
        return told, ()
    for field in lengths:
        cell = row.given[field]
        text = cell if has_unit(cell) else f"1 {row.units[field]}"
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
