"""Pages to print: letters embedded in the file, heads that repeat, pages that are counted."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from typing import Any, Final
from xml.sax.saxutils import escape

from photocheck.letters import BOLD, FONT, fonts, written
from photocheck.speech import spoken, tr

MARGIN_MM: Final = 12.0


def style(size: float = 8.4, *, bold: bool = False, **more: Any) -> Any:
    """Of a paragraph."""
    from reportlab.lib.styles import ParagraphStyle

    fonts()
    return ParagraphStyle(
        f"{size}{bold}{sorted(more.items())}",
        fontName=BOLD if bold else FONT,
        fontSize=size,
        leading=1.24 * size,
        splitLongWords=1,
        **more,
    )


def paragraph(text: str, look: Any) -> Any:
    """A text of people as a paragraph; nothing in it is taken for markup."""
    from reportlab.platypus import Paragraph

    return Paragraph(escape(written(text)).replace("\n", "<br/>"), look)


def pdf(
    story: Sequence[Any],
    *,
    title: str,
    foot: str,
    paper: tuple[float, float],
    author: str = "",
) -> bytes:
    """A whole PDF of such paragraphs and tables.

    Parameters
    ----------
    story : sequence of ReportLab's flowables
    title, author : str
        Of the file.
    foot : str
        Below every page, beside its number.
    paper : (float, float)
        Width and height, points.
    """
    from reportlab.lib.units import mm
    from reportlab.platypus import SimpleDocTemplate

    fonts()
    file = io.BytesIO()
    document = SimpleDocTemplate(
        file,
        pagesize=paper,
        # a frame has 6 points of its own on every side
        leftMargin=MARGIN_MM * mm - 6,
        rightMargin=MARGIN_MM * mm - 6,
        topMargin=MARGIN_MM * mm,
        bottomMargin=(MARGIN_MM + 6) * mm,
        title=title,
        author=author or "photocheck",
        lang=spoken(),
        initialFontName=FONT,
    )
    document.build(list(story), canvasmaker=_counted(written(foot)))
    return file.getvalue()


def _counted(foot: str) -> Callable[..., Any]:
    """A canvas that knows, when it is written, how many pages there are."""
    from reportlab.lib.units import mm
    from reportlab.pdfgen.canvas import Canvas

    class Counted(Canvas):  # type: ignore[misc]  # ReportLab brings no types
        """Keeps each page until the last one is known."""

        def __init__(self, *given: Any, **more: Any) -> None:
            # otherwise a font that is not in the file is named in it
            super().__init__(*given, **{**more, "initialFontName": FONT})
            self._kept: list[dict[str, Any]] = []

        def showPage(self) -> None:
            """Keep the page."""
            self._kept.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            """Write every page with its number."""
            for number, page in enumerate(self._kept, start=1):
                self.__dict__.update(page)
                self.setFont(FONT, 6.8)
                low, width = (MARGIN_MM - 3) * mm, self._pagesize[0]
                self.drawString(MARGIN_MM * mm, low, foot)
                said = tr("page {number} of {pages}", number=number, pages=len(self._kept))
                self.drawRightString(width - MARGIN_MM * mm, low, written(said))
                super().showPage()
            super().save()

    return Counted


def table_of(
    rows: Sequence[Sequence[Any]],
    widths: Sequence[float | None],
    *,
    head: int = 1,
    more: Sequence[tuple[Any, ...]] = (),
) -> Any:
    """A table with thin lines between its rows and a head that repeats on every page.

    Parameters
    ----------
    rows : sequence of rows
        Of texts or flowables.
    widths : sequence of float or None
        Points.
    head : int
        How many rows are the head.
    more : sequence of commands
        As ReportLab's ``TableStyle`` takes them.
    """
    from reportlab.lib import colors
    from reportlab.platypus import LongTable, TableStyle

    table = LongTable(list(map(list, rows)), colWidths=list(widths), repeatRows=head)
    table.setStyle(
        TableStyle(
            [
                ("FONT", (0, 0), (-1, -1), FONT),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.HexColor("#999999")),
                ("LINEBELOW", (0, head - 1), (-1, head - 1), 1.0, colors.black),
                ("TOPPADDING", (0, 0), (-1, -1), 1.6),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2.2),
                ("LEFTPADDING", (0, 0), (-1, -1), 2.5),
                ("RIGHTPADDING", (0, 0), (-1, -1), 2.5),
                *more,
            ]
        )
    )
    return table
