"""A table as a spreadsheet or a shop saves it: bytes to rows with their line numbers."""

from __future__ import annotations

import csv
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from photocheck.errors import CaseError, reason_of
from photocheck.files import read_at_most
from photocheck.orders.intake.workbook_apart import read_sheet
from photocheck.orders.intake.workbook_read import (
    MAGIC,
    MOST_COLUMNS,
    MOST_ROWS,
    OLD_MAGIC,
    Sheet,
)
from photocheck.speech import tr

DELIMITERS: Final = (";", ",", "\t", "|")
MAX_BYTES: Final = 50_000_000
"""Largest table read: some hundred thousand orders."""
MOST_CELLS: Final = MOST_ROWS * MOST_COLUMNS
"""Of a table, as many as of a workbook: each short row is made as long as the head, and of 64 kB
with a wide head and rows of one cell 60 million were made."""
MOST_OF_ALL_LINES: Final = 2_000_000
"""As they stand in the file: no honest one has fewer than 25 letters a line."""
MOST_LINES: Final = 50
"""Lines that one row may run over, by line breaks inside quotes; a quote that is not closed by
then is a mistake."""

_FEWEST_CELLS: Final = 16
"""So many a row counts for at least, however narrow: it takes room by itself."""


@dataclass(frozen=True)
class Row:
    """A row below the head of the table.

    Attributes
    ----------
    line : int
        Where it begins, counted from 1 as an editor does.
    cells : tuple of str
        As many as the head has, without blanks at their ends; empty when `problem` is told.
    problem : str
        Why it cannot be read, a sentence; empty when it can.
    """

    line: int
    cells: tuple[str, ...]
    problem: str = ""


@dataclass(frozen=True)
class Table:
    """A whole table.

    Attributes
    ----------
    name : str
        Of the file, for messages.
    head : tuple of str
    rows : tuple of Row
        Those that are not empty.
    encoding, delimiter : str
        How it was read; empty for a workbook.
    sheet : str
        Of a workbook, the one that was read.
    others : tuple of str
        Its other sheets.
    """

    name: str
    head: tuple[str, ...]
    rows: tuple[Row, ...]
    encoding: str
    delimiter: str
    sheet: str = ""
    others: tuple[str, ...] = ()


def read_table(path: str | os.PathLike[str], known: Callable[[str], bool]) -> Table:
    """Read a file that holds a table.

    Parameters
    ----------
    path : path
    known : callable
        As for `table_of`.

    Raises
    ------
    CaseError
        When there is no such file, or it is no table.
    """
    return table_of(table_bytes(path), known, name=Path(path).name, where=str(path))


def table_bytes(path: str | os.PathLike[str]) -> bytes:
    """What is in a file, if it is not larger than a table may be.

    Raises
    ------
    CaseError
    """
    source = Path(path)
    where = str(path)
    try:
        if source.stat().st_size > MAX_BYTES:
            raise _too_large(where)
        return read_at_most(source, MAX_BYTES)
    except (OSError, ValueError) as error:
        raise CaseError(
            tr("the table cannot be opened ({reason})", reason=reason_of(error)),
            where=where,
            do=tr("Check the file name and the folder"),
        ) from error


def table_of(content: bytes, known: Callable[[str], bool], *, name: str, where: str = "") -> Table:
    """Read a table: CSV in any dialect, or a workbook; told by its content.

    Parameters
    ----------
    content : bytes
    known : callable
        Whether a column's heading is known; the separator of a CSV file is the one that gives most
        of these, then most columns.
    name : str
        Of the file.
    where : str
        What to call it in messages; its name unless told.

    Raises
    ------
    CaseError
        When it is no table.
    """
    where = where or name
    if len(content) > MAX_BYTES:
        raise _too_large(where)
    if content.startswith(MAGIC):
        return _of_sheet(read_sheet(content, where=where), name)
    if content.startswith(OLD_MAGIC):
        raise CaseError(
            tr("this is an older kind of workbook, or one with a password"),
            where=where,
            do=tr("Save it as .xlsx without a password, or as CSV"),
        )
    text, encoding = decoded(content, where)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if text.count("\n") > MOST_OF_ALL_LINES:
        raise _too_large(where)
    # Not splitlines: it also parts at separators that stand inside cells.
    lines = [line + "\n" for line in text.split("\n")]
    start = 0
    given = ""
    if len(lines[0].strip()) == 5 and lines[0].lower().startswith("sep="):
        given = lines[0].strip()[4]  # spreadsheets' own way of telling the separator
        start = 1
    while start < len(lines) and not lines[start].strip(" \t\n;,|"):
        start += 1
    if start == len(lines):
        raise CaseError(
            tr("the table is empty"), where=where, do=tr("Check that it is the right file")
        )
    delimiter = given or _delimiter(lines[start:], known)
    rows = _rows(lines, start, delimiter)
    first = next(rows)
    if first.problem:
        raise CaseError(first.problem.rstrip("."), where=where, do=tr("Correct the first line"))
    head = list(first.cells)
    while head and not head[-1]:
        head.pop()
    if len(head) > MOST_COLUMNS:
        raise _too_large(where)
    fitted: list[Row] = []
    for row in rows:
        if row.problem or any(row.cells):
            fitted.append(_fitted(row, len(head)))
            if len(fitted) * max(len(head), _FEWEST_CELLS) > MOST_CELLS:
                raise _too_large(where)
    return Table(name, tuple(head), tuple(fitted), encoding, delimiter)


def _of_sheet(sheet: Sheet, name: str) -> Table:
    # Columns that nobody headed are nobody's; in a workbook no cell slips into another's place.
    width = max(len(cells) for _, cells in sheet.rows)
    (_, head), *rest = ((line, cells + ("",) * (width - len(cells))) for line, cells in sheet.rows)
    rows = tuple(Row(line, cells) for line, cells in rest)
    return Table(name, head, rows, "", "", sheet.name, sheet.others)


def _too_large(where: str) -> CaseError:
    return CaseError(
        tr("the table is too large"), where=where, do=tr("Split it into several files")
    )


def decoded(data: bytes, where: str) -> tuple[str, str]:
    """The text of a file, and the encoding it turned out to be in.

    By its byte order mark; else UTF-16 by its zero bytes, as every second byte of Latin
    letters is one; else UTF-8; else Windows-1252, which older spreadsheets write.

    Raises
    ------
    CaseError
    """
    encoding = "utf-8-sig"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding = "utf-16"
    elif data[:200].count(0) > len(data[:200]) // 4:
        encoding = "utf-16-le" if data[1:200:2].count(0) > data[:200:2].count(0) else "utf-16-be"
    for tried in (encoding, "cp1252"):
        try:
            text = data.decode(tried)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text, tried.removesuffix("-sig")
    raise CaseError(
        tr("this is not a table in plain text"),
        where=where,
        do=tr("Save it from the spreadsheet as CSV, best in UTF-8"),
    )


def _delimiter(lines: Sequence[str], known: Callable[[str], bool]) -> str:
    def worth(delimiter: str) -> tuple[int, int]:
        cells = next(_rows(lines, 0, delimiter)).cells
        return sum(map(known, cells)), len(cells)

    return max(DELIMITERS, key=worth)


def _rows(lines: Sequence[str], start: int, delimiter: str) -> Iterator[Row]:
    """Each row by itself, so that a quote left open spoils its own line and no other."""
    at = start
    while at < len(lines):
        # a slice, for to step to where it begins takes the longer the further down that is
        reader = csv.reader(lines[at : at + MOST_LINES], delimiter=delimiter, strict=True)
        try:
            cells = next(reader)
        except csv.Error:
            yield Row(
                at + 1,
                (),
                tr(
                    "A quotation mark is not closed or stands in a wrong place. Inside quotation "
                    "marks, write each of them twice."
                ),
            )
            at += 1
            continue
        yield Row(at + 1, tuple(cell.strip() for cell in cells))
        at += reader.line_num


def _fitted(row: Row, width: int) -> Row:
    if row.problem:
        return row
    if any(row.cells[width:]):
        problem = tr(
            "There are {count} cells, and the head of the table has {width}. A cell that holds "
            "the separator needs quotation marks around it.",
            count=len(row.cells),
            width=width,
        )
        return Row(row.line, (), problem)
    cells = row.cells[:width]
    return Row(row.line, cells + ("",) * (width - len(cells)))
