"""Tables as workbooks (Office Open XML, ISO/IEC 29500): numbers as numbers, no formula ever."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from photocheck.orders.export import guarded

LONGEST_CELL: Final = 32_767
"""Letters that a cell of a spreadsheet holds; from the makers' own tables of limits, by memory."""

WIDEST: Final = 60
NARROWEST: Final = 6
"""Of a column, in letters of the sheet's own font."""

_NOT_IN_XML: Final = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0, 2.2, has no place for."""


@dataclass(frozen=True)
class NumberCell:
    """A number and how a spreadsheet shows it, ``"0.0"`` for example."""

    value: float
    shown: str = "General"


Cell = str | int | float | date | NumberCell | None


def workbook(title: str, heads: Sequence[str], rows: Sequence[Sequence[Cell]]) -> bytes:
    """One sheet: the heads stay in sight and can be filtered by, and texts stay texts.

    A text that a spreadsheet might take for a formula is kept as a text and has an apostrophe
    before it besides (OWASP ASVS 5.0, 1.2.10), lest it become one when the sheet is saved as CSV.

    Parameters
    ----------
    title : str
        Of the sheet; what may not stand in one is left out.
    heads : sequence of str
    rows : sequence of sequences of Cell
        As long as `heads`; None for an empty cell.

    Returns
    -------
    bytes
        An ``.xlsx`` file.
    """
    from openpyxl import Workbook
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    book = Workbook()
    sheet = book.active
    named = _NOT_IN_XML.sub(" ", re.sub(r"[\[\]:*?/\\]", " ", title))
    sheet.title = named[:31].strip(" '") or "photocheck"
    book.properties.creator = "photocheck"
    for column, head in enumerate(heads, start=1):
        cell = sheet.cell(1, column)
        _put(cell, head)
        cell.font = Font(bold=True)
        cell.alignment = Alignment(vertical="top", wrap_text=True)
    for number, row in enumerate(rows, start=2):
        for column, value in enumerate(row, start=1):
            if value is not None and value != "":
                _put(sheet.cell(number, column), value)
    for column, head in enumerate(heads, start=1):
        longest = max((len(_text(row[column - 1])) for row in rows), default=0)
        # a head may break, a word of it not
        wide = max(longest, *(len(word) for word in head.split()), NARROWEST) + 2
        sheet.column_dimensions[get_column_letter(column)].width = min(wide, WIDEST)
    sheet.freeze_panes = "A2"
    sheet.auto_filter.ref = f"A1:{get_column_letter(len(heads))}{len(rows) + 1}"
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def _put(cell: object, value: Cell) -> None:
    from openpyxl.cell.cell import Cell as Place

    assert isinstance(cell, Place)
    if isinstance(value, str):
        cell.value = _held(value)
        # without it, whatever begins with "=" were a formula
        cell.data_type = "s"
    elif isinstance(value, NumberCell):
        cell.value = value.value
        cell.number_format = value.shown
    else:
        cell.value = value
        if isinstance(value, date):
            cell.number_format = "yyyy-mm-dd"


def _held(text: str) -> str:
    return _NOT_IN_XML.sub("\ufffd", guarded(text))[:LONGEST_CELL]


def _text(value: Cell) -> str:
    if isinstance(value, NumberCell):
        return f"{value.value:.1f}"
    return "" if value is None else max(str(value).splitlines() or [""], key=len)
