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
from photocheck.scale.catalogue import REFERENCES
from photocheck.shown.colours import SPAN_COLOURS
from photocheck.speech import tr
from photocheck.words import SPAN_TITLES, VERDICT_TITLES

MOST_TICKS: Final = 6
"""Numbers along the axis; more run into each other at the width of a third of a screen."""

MARGIN: Final = 0.03
"""Room left at both ends of the axis, as a share of what it must hold."""

WIDEST: Final = 2.0
"""An interval is drawn at most from the estimate over this to the estimate times this."""

NEAR: Final = 1.25
"""A reading stretches the axis by at most this factor beyond the intervals; one that lies
farther off is drawn at the end, as going on, lest it squeezes all the others."""


@dataclass(frozen=True)
class SpanRow:
    """One span, as texts and as shares of the axis (0 at its left end, 1 at its right).

    Each row has its own zero, what the photo shows, and all the same per cents.

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
    beside : bool
        Whether the reading lies beside its bar and is not doubted all the same.
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
    beside: bool = False
    takes: str = ""


@dataclass(frozen=True)
class SpansPlot:
    """All spans on one axis of per cents off what the photo shows.

    Attributes
    ----------
    unit : str
        Of the lengths that are written.
    ticks : tuple of (float, str)
        Share of the axis, and the per cent written there.
    rows : tuple of SpanRow
    key : str
        What is drawn, in words.
    """

    unit: str
    ticks: tuple[tuple[float, str], ...]
    rows: tuple[SpanRow, ...]
    key: str


def spans_plot(report: Report) -> SpansPlot:
    """Readings as points and the photos' 95 % intervals as bars, as ratios to the estimates.

    Lengths of 30 and of 80 cm on one axis of centimetres would leave each bar a few pixels.
    """
    unit = report.case.unit
    low, high = _axis(report.spans)

    def share(ratio: float) -> float:
        return min(max((ratio - low) / (high - low), 0.0), 1.0)

    rows = []
    for span in report.spans:
        tape, off, where, beyond, beside = "", "", None, "", False
        if span.reading_mm is not None:
            ratio = span.reading_mm / span.photo_mm
            tape = format_length(span.reading_mm, unit)
            off = percent_off(span.reading_mm, span.photo_mm)
            where = share(ratio)
            beyond = "left" if ratio < low else "right" if ratio > high else ""
            inside = span.low_mm <= span.reading_mm <= span.high_mm
            beside = span.verdict in ("agrees", "could_hide") and not inside
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
                middle=share(1.0),
                high=share(last),
                reading=where,
                beyond=beyond,
                open_left=first > span.low_mm / span.photo_mm,
                open_right=last < span.high_mm / span.photo_mm,
                beside=beside,
                takes=given.typed if given and len(given.takes) > 1 else "",
            )
        )
    ticks = tuple((share(ratio), text) for ratio, text in _ticks(low, high))
    return SpansPlot(unit, ticks, tuple(rows), _key(report, rows))


def _key(report: Report, rows: list[SpanRow]) -> str:
    key = tr("Per cent off the photo. Bar: its 95 % interval; circle: tape; diamond: in doubt.")
    if not any(row.beside for row in rows):
        return key
    why = tr(
        "A circle beside its bar is not in doubt yet: the bar is the photo's own. The verdict "
        "also allows for the tape, and for flagging only {share:g} % of good orders.",
        share=100 * report.false_alarm_budget,
    )
    return f"{key} {why}"


def _drawn(span: SpanResult) -> tuple[float, float]:
    """The ends of the bar over the estimate."""
    low = max(span.low_mm / span.photo_mm, 1.0 / WIDEST)
    return low, min(span.high_mm / span.photo_mm, WIDEST)


def _axis(spans: tuple[SpanResult, ...]) -> tuple[float, float]:
    ends = [_drawn(span) for span in spans]
    low, high = min(a for a, _ in ends), max(b for _, b in ends)
    readings = [s.reading_mm / s.photo_mm for s in spans if s.reading_mm is not None]
    near = [ratio for ratio in readings if low / NEAR <= ratio <= high * NEAR]
    low, high = min([low, *near]), max([high, *near])
    room = MARGIN * (high - low)
    return low - room, high + room


def _ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Round per cents between two ratios, each as a ratio with its text."""
    first, last = 100 * (low - 1.0), 100 * (high - 1.0)
    step = round_step((last - first) / MOST_TICKS)
    numbers = [k * step for k in range(ceil(first / step), floor(last / step) + 1)]
    return [(1.0 + number / 100, _signed(number)) for number in numbers]


def _signed(per_cent: float) -> str:
    r"""With a true minus sign and no plus at nought.

    >>> _signed(-10.0) == "\N{MINUS SIGN}10", _signed(0.0), _signed(5.0)
    (True, '0', '+5')
    """
    return f"{per_cent:+g}".replace("-", "\N{MINUS SIGN}") if per_cent else "0"


def seen_from(photo: PhotoResult) -> str:
    """How a photo was taken, as far as the check could tell, in one line."""
    side = tr("to its left") if photo.yaw_deg > 0 else tr("to its right")
    height = tr("down") if photo.pitch_deg > 0 else tr("up")
    return tr(
        "{reference}, {distance:.1f} m away; camera turned {yaw:.0f}° {side}, "
        "{pitch:.0f}° {height}; {scale:.0f} px per cm on the dog.",
        reference=tr(REFERENCES[photo.reference].title),
        distance=photo.distance_mm / 1000,
        yaw=abs(photo.yaw_deg),
        side=side,
        pitch=abs(photo.pitch_deg),
        height=height,
        scale=10 * photo.px_per_mm,
    )
