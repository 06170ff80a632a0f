"""The shop's shelf: its sizes and the dogs' lengths each fits, read from a table it edits.

A table is a CSV file.  A line that begins with ``#`` is a remark.  The header names the
columns: ``size`` (a plain name), ``unit`` (``cm`` or ``in`` for bare numbers; optional), and
for any of the measures the shortest and longest that the size fits: ``neck_opening_from``,
``neck_opening_to``, ``front_length_from`` and so on.  Cells are parted by commas,
semicolons or tabs; with semicolons and tabs decimal commas are read.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Final

from photocheck.case.lengths import parse_length
from photocheck.errors import CaseError, PhotocheckError, reason_of
from photocheck.fit.cut_lengths import MEASURES
from photocheck.speech import tr
from photocheck.words import UNITS

MAX_BYTES: Final = 1_000_000
LONGEST_NAME: Final = 40


class ShelfError(PhotocheckError):
    """The table of shelf sizes cannot be used as it stands."""


@dataclass(frozen=True)
class Size:
    """One size on the shelf.

    Attributes
    ----------
    name : str
    limits : mapping of measure to (float, float)
        The shortest and longest it fits, mm, for any of `photocheck.fit.cut_lengths.MEASURES`.
    """

    name: str
    limits: Mapping[str, tuple[float, float]]


def demo_table() -> str:
    """The text of the table that comes along; its sizes are invented."""
    path = files("photocheck.fit").joinpath("demo_shelf.csv")
    return path.read_text(encoding="utf-8")


def read_shelf(path: str | os.PathLike[str]) -> tuple[Size, ...]:
    """Read a table of sizes.

    Raises
    ------
    ShelfError
        When it cannot be used: which line, what is wrong with it, what to do.
    """
    try:
        content = Path(path).read_bytes()
    except OSError as error:
        raise ShelfError(
            tr("the table cannot be read ({why})", why=reason_of(error)),
            where=str(path),
        ) from error
    if len(content) > MAX_BYTES:
        raise ShelfError(tr("the file is too large for a table of sizes"), where=str(path))
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ShelfError(
            tr("this is not a text file in UTF-8"),
            where=str(path),
            do=tr('Save the table as "CSV UTF-8"'),
        ) from error
    return sizes_of(text, where=str(path))


def sizes_of(text: str, *, where: str = "shelf") -> tuple[Size, ...]:
    """The sizes of a table given as text.

    Raises
    ------
    ShelfError
    """
    lines = text.splitlines()
    numbered = [
        (number, line)
        for number, line in enumerate(lines, start=1)
        if line.strip(" ;,\t") and not line.lstrip(' "').startswith("#")
    ]
    if not numbered:
        raise ShelfError(
            tr("the table is empty"), where=where, do=tr("Begin with a header that names columns")
        )
    delimiter = max(";\t,", key=numbered[0][1].count)
    rows = [(_place(where, number), _cells(line, delimiter)) for number, line in numbered]
    columns = _columns(*rows[0])
    sizes: list[Size] = []
    for place, cells in rows[1:]:
        if len(cells) != len(columns):
            raise ShelfError(
                tr(
                    "there are {count} cells under {wanted} column names",
                    count=len(cells),
                    wanted=len(columns),
                ),
                where=place,
                do=tr("If numbers have decimal commas, part the cells with semicolons"),
            )
        size = _size(dict(zip(columns, cells, strict=True)), place)
        if size.name.casefold() in (other.name.casefold() for other in sizes):
            raise ShelfError(
                tr("the size '{name}' is there twice", name=size.name),
                where=place,
                do=tr("Give each size its own name"),
            )
        sizes.append(size)
    if not sizes:
        raise ShelfError(
            tr("there is no size below the header"),
            where=where,
            do=tr("Add a line for each size"),
        )
    return tuple(sizes)


def _place(where: str, number: int) -> str:
    line = tr("line {number}", number=number)
    return f"{where}, {line}"


def _cells(line: str, delimiter: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter))]


def _columns(place: str, cells: list[str]) -> list[str]:
    known = ["size", "unit", *(f"{m}_{end}" for m in MEASURES for end in ("from", "to"))]
    columns = [cell.casefold().replace(" ", "_") for cell in cells]
    for column in columns:
        if column not in known:
            raise ShelfError(
                tr("the column '{column}' is not known", column=column[:60]),
                where=place,
                do=tr("Use only {columns}", columns=", ".join(known)),
            )
        if columns.count(column) > 1:
            raise ShelfError(tr("the column '{column}' is there twice", column=column), where=place)
    if "size" not in columns:
        raise ShelfError(
            tr("the column '{column}' is missing", column="size"),
            where=place,
            do=tr("Begin the header with size"),
        )
    for measure in MEASURES:
        if (f"{measure}_from" in columns) != (f"{measure}_to" in columns):
            raise ShelfError(
                tr("{measure} has only one of its two limits", measure=measure),
                where=place,
                do=tr("Give both {measure}_from and {measure}_to", measure=measure),
            )
    if not any(f"{measure}_from" in columns for measure in MEASURES):
        raise ShelfError(
            tr("no limits are given"),
            where=place,
            do=tr("Add neck_opening_from and neck_opening_to, for example"),
        )
    return columns


def _size(row: dict[str, str], place: str) -> Size:
    name = row["size"]
    if not any(c.isalpha() for c in name) or len(name) > LONGEST_NAME or not name.isprintable():
        raise ShelfError(
            tr("'{name}' is not a plain name for a size", name=name[:LONGEST_NAME]),
            where=place,
            do=tr(
                "Use words, such as 'middle, long', of at most {most} letters", most=LONGEST_NAME
            ),
        )
    unit = row.get("unit") or "cm"
    if unit not in UNITS:
        raise ShelfError(
            tr("the unit '{unit}' is not known", unit=unit[:20]),
            where=place,
            do=tr("Use cm or in"),
        )
    limits: dict[str, tuple[float, float]] = {}
    for measure in MEASURES:
        if f"{measure}_from" not in row:
            continue
        ends = [row[f"{measure}_{end}"] for end in ("from", "to")]
        if not any(ends):
            continue  # this size does not care
        low, high = (
            _length(text, unit, f"{place}, {measure}_{end}")
            for text, end in zip(ends, ("from", "to"), strict=True)
        )
        if low >= high:
            raise ShelfError(
                tr(
                    "{measure} runs from {low} to {high}, which is not a range",
                    measure=measure,
                    low=ends[0],
                    high=ends[1],
                ),
                where=place,
                do=tr("Give the shortest and the longest that this size fits"),
            )
        limits[measure] = (low, high)
    if not limits:
        raise ShelfError(
            tr("the size '{name}' has no limits", name=name),
            where=place,
            do=tr("Give the shortest and the longest that this size fits"),
        )
    return Size(name, limits)


def _length(text: str, unit: str, place: str) -> float:
    try:
        return parse_length(text, unit, field=place)[0]
    except CaseError as error:
        raise ShelfError(error.wrong, where=place, do=error.do) from error
