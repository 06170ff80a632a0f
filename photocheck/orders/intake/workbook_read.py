"""A workbook of a spreadsheet (.xlsx, ISO/IEC 29500) as rows of words, whatever bytes it is.

What a person sees in a cell is what is read: a number without the digits that only computers
see, with the unit or the leading zeros that its format writes; a date as 2026-11-25; of a formula
the value that the spreadsheet worked out when it was saved.
"""

from __future__ import annotations

import io
import lzma
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any, Final

from photocheck.errors import CaseError
from photocheck.orders.intake.headings import is_known
from photocheck.speech import tr

if TYPE_CHECKING:
    from openpyxl.workbook import Workbook

MAGIC: Final = b"PK\x03\x04"
"""How a zip file begins, which a workbook is (ISO/IEC 29500-2)."""
OLD_MAGIC: Final = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
"""How workbooks of before 2007 begin, and those that are locked with a password."""

MOST_BYTES: Final = 20_000_000
MOST_UNPACKED: Final = 60_000_000
"""Bytes of all parts together; a table of 5,000 orders has some 10 million (judgement)."""
MOST_PARTS: Final = 1000
MOST_ROWS: Final = 20_000
MOST_COLUMNS: Final = 256
MOST_LETTERS: Final = 32_767
"""Of one cell, as spreadsheets have it."""
MOST_LETTERS_TOGETHER: Final = 50_000_000
"""Of all cells of a sheet, as many as a table in plain text has bytes: a workbook holds a text once
for all the cells that have it, and each row tells it anew."""
LONGEST_FORMAT: Final = 255
"""Letters of a number's format that are looked at, as many as spreadsheets let one type (from
memory)."""
MOST_SHEETS: Final = 50

_HEAD_WITHIN: Final = 10
"""Filled rows among which the headings are looked for: a title may stand above them."""

_UNPACKING: Final = (
    *(zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, lzma.LZMAError, EOFError, OSError),
    # a password, an unknown way of packing, a name or number that cannot be meant
    *(RuntimeError, ValueError, OverflowError, struct.error),
)
"""What unpacking a broken zip file ends in (Python's zipfile, by its documentation and source)."""

_DTD: Final = re.compile(rb"<\0?!\0?D\0?O\0?C\0?T\0?Y\0?P\0?E", re.IGNORECASE)
_PIECE: Final = 1 << 20

_ZEROS: Final = re.compile(r"0{2,30}")
_BRACKETS: Final = re.compile(r"\[[^\]]*\]")
_BEHIND: Final = re.compile(r"[0#?](?:\\?\s)*(?:\"([^\"]*)\"|((?:\\.)+))\s*$")
"""A text that a format writes behind the number: ``0.0" cm"``, or ``0.0\\ \\c\\m``."""


@dataclass(frozen=True)
class Sheet:
    """The sheet that holds the table.

    Attributes
    ----------
    name : str
    others : tuple of str
        The other sheets, which are not read.
    rows : tuple of (int, tuple of str)
        Its filled rows from the headings on, each with its number as spreadsheets count.
    """

    name: str
    others: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]


def read_here(content: bytes, *, where: str) -> Sheet:
    """Read the first sheet that has headings which are known, else the first with anything.

    Parameters
    ----------
    content : bytes
        Of a file that `refuse_hostile` let pass.
    where : str
        The file's name, for messages.

    Raises
    ------
    CaseError
        When it is no workbook, or larger than the bounds of this module.
    """
    try:
        return _read(content, where)
    except CaseError:
        raise
    except MemoryError as error:
        raise too_large(where) from error
    except Exception as error:
        # Whatever the library stumbles over: it was written for honest files, and this one is a
        # stranger's.
        raise broken(where) from error


def _read(content: bytes, where: str) -> Sheet:
    import warnings

    import openpyxl

    with warnings.catch_warnings():
        # What the library does not know of a workbook (a style, a rule for input) is no row.
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(
            io.BytesIO(content), read_only=True, data_only=True, keep_links=False
        )
        try:
            return _found(book, where)
        finally:
            book.close()


def _found(book: Workbook, where: str) -> Sheet:
    sheets = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"][:MOST_SHEETS]
    names = [str(sheet.title) for sheet in sheets]
    first: Sheet | None = None
    for number, sheet in enumerate(sheets):
        rows, at, worth = _rows(sheet, where), 0, 0
        top: list[tuple[int, tuple[str, ...]]] = []
        for row in rows:
            top.append(row)
            heads = sum(map(is_known, row[1]))
            if heads > worth:
                at, worth = len(top) - 1, heads
            if len(top) == _HEAD_WITHIN:
                break
        if not top or (not worth and first is not None):
            continue
        others = (*names[:number], *names[number + 1 :])
        found = Sheet(names[number], others, (*top[at:], *rows))
        if worth:
            return found
        first = first or found
    if first is None:
        raise CaseError(
            tr("the table is empty"), where=where, do=tr("Check that it is the right file")
        )
    return first


def _rows(sheet: Any, where: str) -> Iterator[tuple[int, tuple[str, ...]]]:
    """The filled rows, each with its number."""
    # What a file says of its own size may be wrong, and keeps rows from being read.
    sheet.reset_dimensions()
    count = letters = 0
    # A row far below the others has all those between given, as one and the same: what was looked
    # at once is not looked at a million times.
    nothing: Any = None
    for number, cells in enumerate(sheet.iter_rows(max_col=MOST_COLUMNS), start=1):
        if number > 50 * MOST_ROWS:
            raise too_large(where)
        if cells is nothing:
            continue
        texts = [_seen(cell, where) for cell in cells]
        while texts and not texts[-1]:
            texts.pop()
        if not texts:
            nothing = cells
            continue
        count += 1
        letters += sum(map(len, texts))
        if count > MOST_ROWS or letters > MOST_LETTERS_TOGETHER:
            raise too_large(where)
        yield number, tuple(texts)


def _seen(cell: Any, where: str) -> str:
    """What a person sees in a cell, nearly: all digits that a number has."""
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, int | float):
        return _number(value, str(cell.number_format or ""))
    if isinstance(value, datetime):
        at_midnight = value.time() == time(0)
        return value.date().isoformat() if at_midnight else value.isoformat(" ", "minutes")
    if isinstance(value, date | time):
        return value.isoformat()
    text = str(value) if isinstance(value, timedelta) else str(value).strip()
    if len(text) > MOST_LETTERS:
        raise too_large(where)
    return text


def _number(value: float, written: str) -> str:
    """A number as spreadsheets show it: 15 digits at most, no exponent, its format's unit."""
    if abs(value) < 1e15 and value == int(value):
        text = str(int(value))
    else:
        text = f"{value:.15g}"
    first = _BRACKETS.sub("", written[:LONGEST_FORMAT].split(";")[0])
    if _ZEROS.fullmatch(first) and text.isdigit():
        return text.zfill(len(first))  # an order's or a telephone number: 00417
    behind = _BEHIND.search(first)
    unit = "" if behind is None else (behind[1] or (behind[2] or "").replace("\\", "")).strip()
    return f"{text} {unit}" if unit else text


def refuse_hostile(content: bytes, where: str) -> int:
    """Look at the parts before the library unpacks any: their number, their size, their kind.

    A part is never unpacked beyond the size that the file's own list gives for it.

    Returns
    -------
    int
        How much there is to read: signs of XML that begin an element, end it or give it something.

    Raises
    ------
    CaseError
    """
    if len(content) > MOST_BYTES:
        raise too_large(where)
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as parts:
            listed = parts.infolist()
            names = {part.filename for part in listed}
            if len(listed) > MOST_PARTS or sum(part.file_size for part in listed) > MOST_UNPACKED:
                raise too_large(where)
            if "[Content_Types].xml" not in names:
                raise CaseError(
                    tr("this is no workbook that can be read here"),
                    where=where,
                    do=tr("Save it as .xlsx or as CSV"),
                )
            return sum(_looked_through(parts, part, where) for part in listed)
    except _UNPACKING as error:
        raise broken(where) from error


def _looked_through(parts: zipfile.ZipFile, part: zipfile.ZipInfo, where: str) -> int:
    """How many signs a part has, whatever it is called; pictures have some as well.

    "<" and "=" are the same bytes in whatever letters the part may be (expat, "xmltok.c", refuses
    others; from memory).

    No honest workbook declares a DTD (ISO/IEC 29500-2, 7.3.4, forbids it); bombs do.
    """
    with parts.open(part) as file:
        before, signs = b"", 0
        while piece := file.read(_PIECE):
            if part.filename.endswith((".xml", ".rels")) and _DTD.search(before + piece):
                raise broken(where)
            before = piece[-40:]
            signs += piece.count(b"<") + piece.count(b"=")
    return signs


def broken(where: str) -> CaseError:
    """What to say of one that cannot be read."""
    return CaseError(
        tr("the workbook cannot be read"),
        where=where,
        do=tr("Open it in a spreadsheet and save it anew as .xlsx, or as CSV"),
    )


def too_large(where: str) -> CaseError:
    """What to say of one beyond the bounds."""
    return CaseError(
        tr("the table is too large"), where=where, do=tr("Split it into several files")
    )
