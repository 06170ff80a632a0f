"""The cutting list as files: to print, for spreadsheets, for programs."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from datetime import UTC, datetime, tzinfo
from typing import Any, Final

from photocheck.fit.answer import MEASURE_TITLES
from photocheck.fit.cut_lengths import MEASURES
from photocheck.letters import FONT
from photocheck.orders.export import guarded
from photocheck.shown.cutting_list import COAT_TITLES, TITLES, CutRow, day_of
from photocheck.shown.workbook import Cell, NumberCell, workbook
from photocheck.speech import later, tr

PAPERS: Final = {"a4": later("A4"), "letter": later("Letter (North America)")}


def heads() -> list[str]:
    """What stands above the columns of the files, in the language spoken now."""
    return [
        *(tr(title) for name, title in TITLES.items() if name != "cut"),
        *(tr("{measure}, mm", measure=tr(MEASURE_TITLES[name])) for name in MEASURES),
        tr("cut on"),
        tr("cut by"),
        tr("why nothing may be cut"),
        tr("key"),
    ]


def _cells(row: CutRow, zone: tzinfo) -> list[Cell]:
    """Under `heads`; lengths as they are said, and to the last digit in mm."""
    return [
        row.number,
        row.name,
        row.dog,
        row.owner,
        *(row.length(name) for name in MEASURES),
        row.made,
        tr(COAT_TITLES[row.coat]) if row.coat else "",
        row.notes,
        day_of(row.decided, zone),
        *(NumberCell(row.lengths[name], "0.0") if row.lengths else None for name in MEASURES),
        day_of(row.cut.at, zone) if row.cut else None,
        row.cut.by if row.cut else "",
        row.problem,
        row.key,
    ]


def cutting_csv(rows: Sequence[CutRow], *, delimiter: str = ",", zone: tzinfo = UTC) -> str:
    """The list as `photocheck.orders.export.orders_csv` writes tables; mm to every digit."""
    file = io.StringIO(newline="")
    writer = csv.writer(file, delimiter=delimiter, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow(heads())
    for row in rows:
        writer.writerow([_plain(cell) for cell in _cells(row, zone)])
    return file.getvalue()


def _plain(cell: Cell) -> str:
    if isinstance(cell, NumberCell):
        return repr(cell.value)
    return "" if cell is None else guarded(str(cell))


def cutting_workbook(rows: Sequence[CutRow], *, zone: tzinfo = UTC) -> bytes:
    """The list as a workbook (``.xlsx``)."""
    return workbook(tr("Cutting list"), heads(), [_cells(row, zone) for row in rows])


def cutting_pdf(
    rows: Sequence[CutRow], *, shop: str = "", paper: str = "a4", zone: tzinfo = UTC
) -> bytes:
    """The list to print: one line an order, with a box to tick.

    Parameters
    ----------
    rows : sequence of CutRow
    shop : str
        What the workshop calls itself; may be empty.
    paper : str
        One of `PAPERS`; across.
    zone : tzinfo
        Whose days are meant.
    """
    from reportlab.lib.pagesizes import A4, landscape, letter

    from photocheck.shown.pdf_pages import MARGIN_MM, paragraph, pdf, style, table_of

    page = landscape(letter if paper == "letter" else A4)
    room = page[0] - 2 * MARGIN_MM * 72 / 25.4
    small, strong, right = style(), style(bold=True), style(9.6, bold=True, alignment=2)
    head, head_right = style(7.4, bold=True), style(7.4, bold=True, alignment=2)
    # the shares of the width: number, dog, owner, four lengths, size, coat and notes, day, box
    shares = (9.5, 14, 13, 8.7, 8.7, 8.7, 8.7, 9.5, 10.2, 9)
    titles = [tr(TITLES[name]) for name in ("number", "dog", "owner")]
    table: list[list[Any]] = [
        [
            *(paragraph(title, head) for title in titles),
            *(paragraph(tr(TITLES[name]), head_right) for name in MEASURES),
            paragraph(tr(TITLES["size"]), head),
            paragraph(tr("coat, notes"), head),
            paragraph(tr("accepted on, cut"), head),
        ]
    ]
    spans = []
    for row in rows:
        coat = tr(COAT_TITLES[row.coat]) if row.coat else ""
        dog = row.dog if row.name in ("", row.dog) else f"{row.dog}\n{row.name}".strip()
        cut = "\n" + tr("cut {day}", day=day_of(row.cut.at, zone)) if row.cut else ""
        lengths: list[Any] = [paragraph(row.length(name), right) for name in MEASURES]
        made: Any = paragraph(row.made, strong)
        if row.problem:
            lengths = [paragraph(row.problem, small), "", "", ""]
            made = ""
            spans.append(("SPAN", (3, len(table)), (7, len(table))))
        table.append(
            [
                paragraph(row.number or "-", strong),
                paragraph(dog, small),
                paragraph(row.owner, small),
                *lengths,
                made,
                paragraph("\n".join(filter(None, (coat, row.notes))), small),
                _day_and_box(f"{day_of(row.decided, zone)}{cut}", ticked=bool(row.cut)),
            ]
        )
    title = tr("Cutting list")
    story = [
        paragraph(" · ".join(filter(None, (shop, title))), style(13, bold=True, spaceAfter=4)),
        paragraph(_said(rows), style(spaceAfter=6)),
        table_of(table, [share / 100 * room for share in shares], more=spans),
    ]
    at = datetime.now(zone).strftime("%Y-%m-%d %H:%M")
    foot = tr("Written {at}. The pattern's own ease is not in these lengths.", at=at)
    return pdf(story, title=title, foot=foot, paper=page, author=shop)


def _said(rows: Sequence[CutRow]) -> str:
    done = sum(row.cut is not None for row in rows)
    held = sum(bool(row.problem) for row in rows)
    said = [tr("{count} accepted orders, {done} of them cut.", count=len(rows), done=done)]
    if held:
        said.append(tr("For {count} no length can be given: they say why.", count=held))
    return " ".join(said)


def _day_and_box(text: str, *, ticked: bool) -> Any:
    """A day, and a box to tick with a pen."""
    from reportlab.platypus import Table

    from photocheck.shown.pdf_pages import paragraph, style

    look = [
        ("FONT", (0, 0), (-1, -1), FONT, 8),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 0),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
    ]
    box = Table([["x" if ticked else ""]], colWidths=[9], rowHeights=[9])
    box.setStyle(
        [
            ("BOX", (0, 0), (-1, -1), 0.8, "black"),
            *look,
        ]
    )
    beside = Table([[paragraph(text, style(7.4)), box]], colWidths=[52, 12])
    beside.setStyle(look)
    return beside
