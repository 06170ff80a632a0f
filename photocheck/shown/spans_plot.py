"""What the desk draws of a report's lengths: the photos' intervals beside the readings.

Only figures and texts, as shares of the drawing's width; the page turns them into shapes.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor
from typing import Final

from photocheck.case.lengths import format_length
from photocheck.judge.wording import interval_text, percent_off
from photocheck.numerics import round_step
from photocheck.report.model import PhotoResult, Report, SpanResult
from photocheck.scale.catalogue import MM_PER_INCH, REFERENCES
from photocheck.shown.colours import SPAN_COLOURS
from photocheck.speech import tr
from photocheck.words import SPAN_TITLES, VERDICT_TITLES

MOST_TICKS: Final = 6
"""Numbers along the axis; more run into each other at the width of a third of a screen."""

MARGIN: Final = 0.03
"""Room left at both ends of the axis, as a share of what it must hold."""

WIDEST: Final = 2.0
"""An interval is drawn at most from the estimate over this to the estimate times this."""

NEAR: Final = 1.4
"""A reading stretches the axis by at most this factor beyond the intervals; one that lies
farther off is drawn at the end, as going on."""


@dataclass(frozen=True)
class SpanRow:
    """One span, as texts and as shares of the axis (0 at its left end, 1 at its right).

    Attributes
    ----------
    span, title, verdict, verdict_title : str
        Verdict and its title are empty when no reading was given.
    tape, photo, interval, off : str
        The reading, the estimate, its 95 % interval in the order's unit, and how far the
        reading is off; tape and off are empty when no reading was given.
    colour : (int, int, int)
        That of the span's line in the annotated picture.
    low, middle, high : float
        The 95 % interval and the estimate.
    reading : float or None
        0 or 1 when it lies beyond that end.
    beyond : str
        "left" or "right" when the reading lies off the axis, else empty.
    open_left, open_right : bool
        Whether the interval goes on beyond what is drawn.
    takes : str
        As typed, every time it was measured; empty for a reading taken once.
    """

    span: str
    title: str
    verdict: str
    verdict_title: str
    tape: str
    photo: str
    interval: str
    off: str
    colour: tuple[int, int, int]
    low: float
    middle: float
    high: float
    reading: float | None
    beyond: str
    open_left: bool
    open_right: bool
    takes: str = ""


@dataclass(frozen=True)
class SpansPlot:
    """All spans on one axis.

    Attributes
    ----------
    unit : str
    ticks : tuple of (float, str)
        Share of the axis, and the number written there, in `unit`.
    rows : tuple of SpanRow
    """

    unit: str
    ticks: tuple[tuple[float, str], ...]
    rows: tuple[SpanRow, ...]


def spans_plot(report: Report) -> SpansPlot:
    """Readings as points and the photos' 95 % intervals as bars, in the order's unit."""
    unit = report.case.unit
    low, high = _axis(report.spans)

    def share(mm: float) -> float:
        return min(max((mm - low) / (high - low), 0.0), 1.0)

    rows = []
    for span in report.spans:
        tape, off, where, beyond = "", "", None, ""
        if span.reading_mm is not None:
            tape = format_length(span.reading_mm, unit)
            off = percent_off(span.reading_mm, span.photo_mm)
            where = share(span.reading_mm)
            beyond = "left" if span.reading_mm < low else "right" if span.reading_mm > high else ""
        first, last = _drawn(span)
        given = report.case.readings.get(span.span)
        rows.append(
            SpanRow(
                span=span.span,
                title=tr(SPAN_TITLES[span.span]),
                verdict=span.verdict,
                verdict_title=tr(VERDICT_TITLES[span.verdict]) if span.verdict else "",
                tape=tape,
                photo=format_length(span.photo_mm, unit),
                interval=interval_text(span.low_mm, span.high_mm, unit),
                off=off,
                colour=SPAN_COLOURS[span.span],
                low=share(first),
                middle=share(span.photo_mm),
                high=share(last),
                reading=where,
                beyond=beyond,
                open_left=first > span.low_mm,
                open_right=last < span.high_mm,
                takes=given.typed if given and len(given.takes) > 1 else "",
            )
        )
    ticks = tuple((share(mm), text) for mm, text in _ticks(low, high, unit))
    return SpansPlot(unit, ticks, tuple(rows))


def _drawn(span: SpanResult) -> tuple[float, float]:
    low = max(span.low_mm, span.photo_mm / WIDEST)
    return low, min(span.high_mm, span.photo_mm * WIDEST)


def _axis(spans: tuple[SpanResult, ...]) -> tuple[float, float]:
    ends = [_drawn(span) for span in spans]
    low, high = min(a for a, _ in ends), max(b for _, b in ends)
    readings = [s.reading_mm for s in spans if s.reading_mm is not None]
    near = [mm for mm in readings if low / NEAR <= mm <= high * NEAR]
    low, high = min([low, *near]), max([high, *near])
    room = MARGIN * (high - low)
    return low - room, high + room


def _ticks(low: float, high: float, unit: str) -> list[tuple[float, str]]:
    """Round numbers of the unit between two ends, mm, with their texts."""
    one = MM_PER_INCH if unit == "in" else 10.0
    first, last = low / one, high / one
    step = round_step((last - first) / MOST_TICKS)
    numbers = [k * step for k in range(ceil(first / step), floor(last / step) + 1)]
    return [(number * one, f"{number:g}") for number in numbers]


def seen_from(photo: PhotoResult) -> str:
    """How a photo was taken, as far as the check could tell, in one line."""
    return tr(
        "{reference}, {distance:.1f} m away; camera turned {yaw:.0f}° sideways, "
        "{pitch:.0f}° up or down; {scale:.0f} px per cm on the dog.",
        reference=tr(REFERENCES[photo.reference].title),
        distance=photo.distance_mm / 1000,
        yaw=abs(photo.yaw_deg),
        pitch=abs(photo.pitch_deg),
        scale=10 * photo.px_per_mm,
    )
