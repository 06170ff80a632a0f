"""The record to print and to sign: A4 or letter, as many pages as it needs, nothing shortened."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.fit.answer import FitAnswer
from photocheck.letters import FONT
from photocheck.orders.harmless import one_line
from photocheck.orders.model import Check, Decision, Order
from photocheck.report.model import Report
from photocheck.shown.colours import BANNER_COLOURS
from photocheck.shown.picture import annotate
from photocheck.shown.plain_fit import cut_rows, more_sizes, size_rows
from photocheck.shown.record_facts import (
    about,
    checked_pictures,
    decision_said,
    doubt_table,
    latest_check,
    made_sentence,
    sections_of,
    spans_table,
)
from photocheck.speech import later, tr

PICTURE_PX: Final = 1300
"""Widest picture: 110 mm of paper at 300 dots an inch."""
QUALITY: Final = 84
PICTURE_HIGH_MM: Final = 78.0

LONGEST: Final = 4000
"""Letters of one text: more than any that a check gives or staff may write."""
NAME: Final = 120

SIZES: Final = 3
"""Sizes of the shelf shown: the one to take, its runner-up and one more."""

SIGNERS: Final = (later("Checked by"), later("Cut by"))
"""Whose names are put below it by hand."""


def order_record_pdf(
    order: Order,
    photo: Callable[[str], bytes],
    *,
    fit: FitAnswer | None = None,
    shop: str = "",
    paper: str = "a4",
) -> bytes:
    """The record of an order's latest check and of the decision on it, as a PDF.

    Parameters
    ----------
    order : Order
    photo : callable
        Gives a photo's bytes by the name it has in the order.
    fit : FitAnswer, optional
    shop : str
        What the workshop calls itself; may be empty.
    paper : str
        One of `photocheck.shown.cutting_files.PAPERS`.

    Raises
    ------
    OrderError
        When the order was not checked yet, or a photo is not the one that was checked.
    PhotoError
        When a photo cannot be read.
    """
    check = latest_check(order)
    return record_pdf(
        check,
        checked_pictures(check.report, photo),
        order=order.key,
        decision=order.decision,
        fit=fit,
        shop=shop,
        paper=paper,
    )


def record_pdf(
    check: Check,
    pictures: Mapping[str, NDArray[np.uint8]],
    *,
    order: str = "",
    decision: Decision | None = None,
    fit: FitAnswer | None = None,
    shop: str = "",
    paper: str = "a4",
) -> bytes:
    """One check to print, said in the language spoken now; its letters are in the file.

    Parameters
    ----------
    check : Check
    pictures : mapping of photo path to (H, W, 3) uint8
        The upright photos; those that are missing are only named.
    order : str
        The order's key.
    decision : Decision, optional
    fit : FitAnswer, optional
    shop : str
    paper : str
        "a4" or "letter".
    """
    from reportlab.lib.pagesizes import A4, letter
    from reportlab.platypus import Spacer

    from photocheck.shown.pdf_pages import MARGIN_MM, paragraph, pdf, style

    page = letter if paper == "letter" else A4
    room = page[0] - 2 * MARGIN_MM * 72 / 25.4
    report = check.told
    name = one_line(report.case.name or report.case.dog.name, NAME)
    number = one_line(check.case.owner.number, NAME)
    title = " · ".join(filter(None, (number, name))) or tr("Order without a name")
    text = style(spaceAfter=2)
    story: list[Any] = [
        _head(one_line(shop, NAME), title, room),
        _banner(report, room),
        Spacer(0, 6),
        _seen(check, pictures, order, room),
        _heading(tr("Decision")),
        paragraph(decision_said(decision, longest=LONGEST), text),
        *_cut(fit, room),
        *_figures(report, room),
    ]
    for heading, texts in sections_of(report, None):
        if not texts:
            continue
        first, *more = dict.fromkeys(one_line(one, LONGEST) for one in texts)
        story.append(_together(_heading(heading), paragraph(first, text)))
        story += [paragraph(one, text) for one in more]
    for caution in report.cautions:
        story.append(paragraph(one_line(caution, LONGEST), style(7.4, spaceBefore=3)))
    story.append(_to_sign(room))
    story.append(_checksums(report))
    made = made_sentence(check)
    return pdf(story, title=title, foot=made, paper=page, author=one_line(shop, NAME))


def _heading(text: str) -> Any:
    from photocheck.shown.pdf_pages import paragraph, style

    return paragraph(text, style(9.2, bold=True, spaceBefore=6, spaceAfter=2, keepWithNext=1))


def _together(*parts: Any) -> Any:
    from reportlab.platypus import KeepTogether

    return KeepTogether(list(parts))


def _head(shop: str, title: str, room: float) -> Any:
    from reportlab.platypus import Table

    from photocheck.shown.pdf_pages import paragraph, style

    right = style(alignment=2)
    above = [paragraph(shop, style(10, bold=True)), paragraph(tr("Record of one check"), right)]
    head = Table(
        [above, [paragraph(title, style(13, bold=True)), ""]],
        colWidths=[0.7 * room, 0.3 * room],
    )
    head.setStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("SPAN", (0, 1), (1, 1)),
            *_padding(0),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
        ]
    )
    return head


def _padding(points: float) -> list[tuple[Any, ...]]:
    sides = ("LEFTPADDING", "RIGHTPADDING", "TOPPADDING", "BOTTOMPADDING")
    around = [(side, (0, 0), (-1, -1), points) for side in sides]
    return [("FONT", (0, 0), (-1, -1), FONT), *around]


def _banner(report: Report, room: float) -> Any:
    from reportlab.lib.colors import Color, white
    from reportlab.platypus import Table

    from photocheck.shown.pdf_pages import paragraph, style

    look = style(11, bold=True, textColor=white)
    banner = Table([[paragraph(one_line(report.headline, LONGEST), look)]], colWidths=[room])
    ground = Color(*(part / 255 for part in BANNER_COLOURS[report.verdict]))
    banner.setStyle([("BACKGROUND", (0, 0), (-1, -1), ground), *_padding(5)])
    return banner


def _seen(
    check: Check,
    pictures: Mapping[str, NDArray[np.uint8]],
    order: str,
    room: float,
) -> Any:
    """The pictures, and beside them what the order is."""
    from reportlab.platypus import Table

    from photocheck.shown.pdf_pages import paragraph, style

    wide = 0.58 * room if pictures else 0.0
    told = Table(
        [
            [paragraph(term, style(textColor="#444444")), paragraph(text, style())]
            for term, text in about(check, order)
        ],
        colWidths=[0.34 * (room - wide - 8), 0.66 * (room - wide - 8)],
    )
    told.setStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), *_padding(0.8)])
    if not wide:
        seen = Table([[told]], colWidths=[room])
    else:
        shown = _pictures(check.told, pictures, wide - 8)
        seen = Table([[shown, told]], colWidths=[wide, room - wide])
    seen.setStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), *_padding(0)])
    return seen


def _pictures(report: Report, pictures: Mapping[str, NDArray[np.uint8]], wide: float) -> Any:
    """Side by side."""
    from PIL import Image as Pillow
    from reportlab.platypus import Image, Table

    made: list[Any] = []
    shown = [(k, e) for k, e in enumerate(report.case.photos) if e.path in pictures]
    for index, entry in shown:
        picture = Pillow.fromarray(annotate(pictures[entry.path], report, index, bare=True))
        picture.thumbnail((PICTURE_PX, 4 * PICTURE_PX), Pillow.Resampling.LANCZOS)
        file = io.BytesIO()
        picture.save(file, "JPEG", quality=QUALITY, optimize=True)
        file.seek(0)
        made.append((file, picture.width / picture.height))
    # all as high as each other, so that together they are as wide as there is room
    gap = 4.0
    high = (wide - gap * len(made)) / sum(shape for _, shape in made)
    high = min(high, PICTURE_HIGH_MM * 72 / 25.4)
    row = [Image(file, shape * high, high) for file, shape in made]
    side = Table([row], colWidths=[shape * high + gap for _, shape in made], hAlign="LEFT")
    side.setStyle(_padding(0))
    return side


def _cut(fit: FitAnswer | None, room: float) -> list[Any]:
    """What to cut: the lengths as a table, or why none can be given."""
    if fit is None:
        return []
    from reportlab.platypus import Spacer

    from photocheck.shown.pdf_pages import paragraph, style

    story = [
        _together(
            _heading(tr("What to cut")),
            paragraph(one_line(fit.headline, LONGEST), style(bold=True, spaceAfter=3)),
            *(paragraph(one_line(reason, LONGEST), style()) for reason in fit.reasons),
            *([_table(cut_rows(fit), room, strong=1)] if fit.measures else []),
        )
    ]
    if fit.sizes:
        story += [Spacer(0, 4), _table(size_rows(fit, SIZES), room, shares=(0.22, 0.16, 0.62))]
        if more := more_sizes(fit, SIZES):
            story.append(paragraph(more, style()))
    story += [paragraph(one_line(remark, LONGEST), style(spaceBefore=1)) for remark in fit.remarks]
    return story


def _figures(report: Report, room: float) -> list[Any]:
    spans = spans_table(report)
    rows = [tuple(spans["heads"]), *((row["title"], *row["cells"]) for row in spans["rows"])]
    shares = (0.19, 0.13, 0.13, 0.24, 0.16, 0.15)
    story = [_together(_heading(spans["caption"]), _table(rows, room, shares=shares))]
    if report.budget:
        doubt = doubt_table(report)
        rows = [tuple(doubt["heads"]), *map(tuple, doubt["rows"])]
        each = 0.6 / (len(rows[0]) - 1)
        table = _table(rows, room, shares=(0.4, *(each for _ in rows[0][1:])))
        story.append(_together(_heading(doubt["caption"]), table))
    return story


def _table(
    rows: list[tuple[str, ...]],
    room: float,
    *,
    shares: tuple[float, ...] = (),
    strong: int | None = None,
) -> Any:
    """A table whose first column names; `strong` is one to be read from afar."""
    from photocheck.shown.pdf_pages import paragraph, style, table_of

    head, plain, bold = style(7.4, bold=True), style(), style(10, bold=True)
    count = len(rows[0])
    shares = shares or (0.24, *(0.76 / (count - 1) for _ in range(count - 1)))
    return table_of(
        [
            [paragraph(cell, head) for cell in rows[0]],
            *(
                [paragraph(cell, bold if k == strong else plain) for k, cell in enumerate(row)]
                for row in rows[1:]
            ),
        ],
        [share * room for share in shares],
    )


def _to_sign(room: float) -> Any:
    """Lines for names, days and hands."""
    from reportlab.platypus import Table

    from photocheck.shown.pdf_pages import paragraph, style

    small = style(7.4)
    heads = [paragraph(tr(signer), style(bold=True)) for signer in SIGNERS]
    below = [paragraph(tr("name, date, signature"), small) for _ in SIGNERS]
    gap = 18
    wide = (room - gap) / 2
    lines = Table(
        [[heads[0], "", heads[1]], ["", "", ""], [below[0], "", below[1]]],
        colWidths=[wide, gap, wide],
        rowHeights=[None, 24, None],
        spaceBefore=12,
    )
    lines.setStyle(
        [
            ("LINEBELOW", (0, 1), (0, 1), 0.8, "black"),
            ("LINEBELOW", (2, 1), (2, 1), 0.8, "black"),
            *_padding(0),
        ]
    )
    return _together(lines)


def _checksums(report: Report) -> Any:
    from photocheck.shown.pdf_pages import paragraph, style

    look = style(6.4)
    return _together(
        paragraph(tr("Photos, each with its SHA-256 checksum:"), style(6.8, spaceBefore=8)),
        *(
            paragraph(f"{one_line(photo.path, 40)} {one_line(photo.sha256, 64)}", look)
            for photo in report.photos
        ),
    )
