"""What stands above and below the photo: the verdict, and the lengths a row each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from photocheck.case.lengths import format_length
from photocheck.judge.wording import interval_text
from photocheck.report.model import Report, SpanResult
from photocheck.shown.colours import BANNER_COLOURS, DARK, RULE, WHITE
from photocheck.shown.lettering import font_for, line_height, wrapped
from photocheck.shown.strokes import stroke_span
from photocheck.speech import capital_first, tr
from photocheck.words import (
    SPAN_TITLES,
    VERDICT_TITLES,
)

if TYPE_CHECKING:
    from PIL import Image, ImageDraw, ImageFont


def is_flagged(span: SpanResult) -> bool:
    """Whether a length needs attention."""
    return span.verdict not in ("", "agrees")


def stacked_up(
    photo: Image.Image, report: Report, said: Sequence[str], size_px: float
) -> NDArray[np.uint8]:
    """The banner above the photo with what is said of it, the lengths below it."""
    from PIL import Image, ImageDraw

    said = [text for text in said if text]
    written = (report.headline, *said)
    font, large = font_for(size_px, written), font_for(size_px * 1.35, written)
    measure = ImageDraw.Draw(photo)
    pad = size_px * 0.5
    room = photo.width - 2 * pad
    title = tr(VERDICT_TITLES[report.verdict])
    first, _, rest = report.headline.partition(": ")
    if first.lower() != title:
        # Most headlines begin with the verdict; this one says it in other words.
        first, rest = capital_first(title), report.headline
    titles = wrapped(measure, first, large, room)
    texts = [
        line
        for text in (capital_first(rest), *said)
        if text
        for line in wrapped(measure, text, font, room)
    ]
    top = round(
        2 * pad + len(titles) * line_height(size_px * 1.35) + len(texts) * line_height(size_px)
    )
    strip = _strip(photo.width, report, font, size_px)
    whole = Image.new("RGB", (photo.width, top + photo.height + strip.height), DARK)
    draw = ImageDraw.Draw(whole)
    draw.rectangle((0, 0, photo.width, top - 1), fill=BANNER_COLOURS[report.verdict])
    y = pad * 0.8
    for line in titles:
        draw.text((pad, y), line, fill=WHITE, font=large)
        y += line_height(size_px * 1.35)
    for line in texts:
        draw.text((pad, y), line, fill=WHITE, font=font)
        y += line_height(size_px)
    whole.paste(photo, (0, top))
    whole.paste(strip, (0, top + photo.height))
    return np.asarray(whole)


@dataclass(frozen=True)
class _Row:
    """One length in the strip: its cells hold one text line each, or several."""

    span: str
    flagged: bool
    cells: tuple[tuple[str, ...], ...]

    @property
    def deep(self) -> int:
        return max(map(len, self.cells))


def _strip(
    width: int,
    report: Report,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    size_px: float,
) -> Image.Image:
    """The lengths below the photo, a row each; empty when there are none."""
    from PIL import Image, ImageDraw

    if not report.spans:
        return Image.new("RGB", (width, 0))
    measure = ImageDraw.Draw(Image.new("RGB", (1, 1)))
    pad = size_px * 0.5
    swatch = 2.4 * size_px
    room = width - 3 * pad - swatch
    head, rows, columns = _fitting(measure, report, font, room, size_px)
    lefts = [2 * pad + swatch + sum(columns[:k]) for k in range(len(columns))]

    line, air = line_height(size_px), size_px * 0.35
    height = line + 3 * air + sum(row.deep * line + 2 * air for row in rows)
    strip = Image.new("RGB", (width, ceil(height)), DARK)
    draw = ImageDraw.Draw(strip)
    for left, text in zip(lefts, head, strict=True):
        if text:
            draw.text((left, air * 0.7), text, fill=WHITE, font=font)
    y = line + 2 * air
    for row in rows:
        below = y + row.deep * line + 2 * air
        # What needs attention is dark on white among rows that are light on dark.
        ground, ink = (WHITE, DARK) if row.flagged else (DARK, WHITE)
        draw.rectangle((0, round(y), width, round(below) - 1), fill=ground)
        draw.line([(0, round(y)), (width, round(y))], fill=RULE, width=max(1, round(size_px / 20)))
        middle = y + air + line / 2
        ends = [(pad, middle), (pad + swatch, middle)]
        stroke_span(draw, ends, row.span, row.flagged, size_px / 6)
        for left, cell in zip(lefts, row.cells, strict=True):
            for number, text in enumerate(filter(None, cell)):
                draw.text((left, y + air * 0.7 + number * line), text, fill=ink, font=font)
        y = below
    return strip


def _fitting(
    measure: ImageDraw.ImageDraw,
    report: Report,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    room: float,
    size_px: float,
) -> tuple[tuple[str, ...], list[_Row], list[float]]:
    """Headings, rows and column widths: one line a row if that fits, else two, else more."""
    between = 0.8 * size_px

    def widths(head: tuple[str, ...], rows: list[_Row]) -> list[float]:
        texts = [
            [name, *(text for row in rows for text in row.cells[k])] for k, name in enumerate(head)
        ]
        return [max(measure.textlength(text, font=font) for text in cell) for cell in texts]

    def spread(columns: list[float]) -> list[float]:
        # Room left over goes between the columns, but not so much that the eye loses the row.
        left = (room - sum(columns)) / (len(columns) - 1)
        return [column + min(max(left, between), 3 * size_px) for column in columns]

    unit = report.case.unit
    said = [(span, _said(span, unit)) for span in report.spans]
    head: tuple[str, ...] = (
        tr("length"),
        tr("tape"),
        tr("photo"),
        tr("95 % interval"),
        "",
    )
    rows = [
        _Row(span.span, is_flagged(span), tuple((text,) for text in texts)) for span, texts in said
    ]
    columns = widths(head, rows)
    if not columns[-1]:
        head, columns = head[:-1], columns[:-1]
        rows = [replace(row, cells=row.cells[:-1]) for row in rows]
    if sum(columns) + between * (len(columns) - 1) <= room:
        return head, rows, spread(columns)

    def stacked(wrap: float) -> list[_Row]:
        return [
            _Row(
                span.span,
                is_flagged(span),
                (
                    (title, *(wrapped(measure, verdict, font, wrap) if verdict else ())),
                    (tape,),
                    (photo, interval),
                ),
            )
            for span, (title, tape, photo, interval, verdict) in said
        ]

    head = (tr("length"), tr("tape"), tr("photo, 95 % interval"))
    rows = stacked(room)
    columns = widths(head, rows)
    spare = room - 2 * between - columns[1] - columns[2]
    if columns[0] > spare:
        # The verdict's words make way for the numbers.
        rows = stacked(spare)
        columns = widths(head, rows)
    return head, rows, spread(columns)


def _said(span: SpanResult, unit: str) -> tuple[str, str, str, str, str]:
    """Title, tape, photo, interval, and the verdict when it is not "agrees"."""
    tape = tr("not given") if span.reading_mm is None else format_length(span.reading_mm, unit)
    return (
        tr(SPAN_TITLES[span.span]),
        tape,
        format_length(span.photo_mm, unit),
        interval_text(span.low_mm, span.high_mm, unit),
        tr(VERDICT_TITLES[span.verdict]) if is_flagged(span) else "",
    )
