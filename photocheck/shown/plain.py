"""A report as plain text, for a terminal or a printout."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from math import exp, isfinite, sqrt
from typing import TYPE_CHECKING, Final

from photocheck.case.lengths import format_length
from photocheck.judge.wording import (
    doubted_sentences,
    explanation_sentences,
    interval_text,
    one_more_photo_sentence,
)
from photocheck.report.model import PhotoResult, Report, SpanResult
from photocheck.scale.catalogue import REFERENCES
from photocheck.shown.lines import joined, parted
from photocheck.speech import listed, tr
from photocheck.words import (
    FOCAL_SOURCE_TITLES,
    LANDMARK_TITLES,
    READING_TITLES,
    REFERENCE_HOW_TITLES,
    SPAN_TITLES,
    SPANS,
    VERDICT_TITLES,
)

if TYPE_CHECKING:
    from photocheck.locating import Located
    from photocheck.scale.tags_seen import TagsSeen

WIDTH: Final = 92
"""Columns that text is wrapped to."""

BUDGET_LINES: Final = 5
"""Sources of doubt shown; the machine report holds all."""


_width: Final[ContextVar[int]] = ContextVar("columns", default=WIDTH)


@contextmanager
def wrapped_to(columns: int) -> Iterator[None]:
    """Wrap everything inside this block to so many columns."""
    before = _width.set(columns)
    try:
        yield
    finally:
        _width.reset(before)


def plain_headline(report: Report) -> str:
    """The headline as it stands in `plain_report`."""
    return wrapped(report.headline)


def seen_from(report: Report) -> str:
    """How large an error would nearly always have been seen, for the owner; empty where in doubt.

    ``Report.promise`` has the same for the maker, with how often.
    """
    if not report.promise:
        return ""
    sizes = [
        tr(
            "{reading} {size}",
            reading=tr(READING_TITLES[span.span]),
            size=format_length(span.catches * span.reading_mm, report.case.unit),
        )
        for span in report.spans
        if span.reading_mm is not None and isfinite(span.catches)
    ]
    return tr("Nearly every error as large as this would be seen: {sizes}.", sizes=listed(sizes))


def plain_report(report: Report) -> str:
    """The whole answer as text: the headline first, then the figures, then what to do.

    Returns
    -------
    str
        Lines without a final line break.
    """
    blocks = [plain_headline(report), _span_table(report)]
    if report.promise:
        blocks.insert(1, wrapped(report.promise))
    if why := (
        *doubted_sentences(report),
        *explanation_sentences(report.explanations),
        *report.outliers,
    ):
        blocks.append(tr("Why") + "\n" + _listed(why))
    if report.redundancy:
        blocks.append(tr("The readings among themselves") + "\n" + _listed(report.redundancy))
    if report.certainty:
        sure = [one.sentence for one in report.certainty]
        blocks.append(tr("How sure tape and photo are, in 95 of 100") + "\n" + _listed(sure))
    steps = [_sentence(report.next_step)] if report.next_step else []
    if report.one_more_photo:
        steps.append(one_more_photo_sentence(report.one_more_photo))
    if steps:
        blocks.append(tr("Next step") + "\n" + _listed(steps))
    if report.budget:
        title = tr("Where the doubt comes from (share of the variance)")
        blocks.append(f"{title}\n{_budget(report)}")
    blocks.append(tr("Photos") + "\n" + "\n".join(_photo(photo) for photo in report.photos))
    if report.cautions:
        blocks.append(tr("Mind") + "\n" + _listed(report.cautions))
    if report.case.name:
        blocks.insert(0, report.case.name)
    return "\n\n".join(blocks)


def _span_table(report: Report) -> str:
    unit = report.case.unit
    head = (
        tr("span"),
        tr("tape"),
        tr("photo"),
        tr("95 % interval"),
        tr("tape is"),
        tr("verdict"),
    )
    return fitting([head, *(_span_row(span, unit) for span in report.spans)])


def _span_row(span: SpanResult, unit: str) -> tuple[str, ...]:
    tape = tr("not given") if span.reading_mm is None else format_length(span.reading_mm, unit)
    off = ""
    if span.difference is not None:
        per_cent = 100 * (exp(span.difference) - 1)
        longer = tr("{percent:.1f} % longer", percent=abs(per_cent))
        off = longer if per_cent > 0 else tr("{percent:.1f} % shorter", percent=abs(per_cent))
    return (
        tr(SPAN_TITLES[span.span]),
        tape,
        format_length(span.photo_mm, unit),
        interval_text(span.low_mm, span.high_mm, unit),
        off,
        tr(VERDICT_TITLES.get(span.verdict, "")),
    )


def _budget(report: Report) -> str:
    short = [tr(SPAN_TITLES[span]) for span in SPANS]
    rows = [("", *short)]
    for source in report.budget[:BUDGET_LINES]:
        shares = [source.shares.get(span) for span in SPANS]
        rows.append((source.title, *("" if s is None else f"{100 * s:.0f} %" for s in shares)))
    return textwrap.indent(table(rows, right=range(1, 5)), "  ")


def _photo(photo: PhotoResult) -> str:
    lines = [
        tr(
            "{path}: {reference} ({how}), {distance:.2f} m away, {turned}, {scale:.1f} px/cm on "
            "the dog, focal length {focal:.0f} mm ({source})",
            path=photo.path,
            reference=tr(REFERENCES[photo.reference].title),
            how=_how_seen(photo.reference_how),
            distance=photo.distance_mm / 1000,
            turned=_turned(photo),
            scale=10 * photo.px_per_mm,
            focal=photo.focal_35mm,
            source=_focal_source(photo),
        ),
        *photo.remarks,
        *(f"{finding.sentence} {_sentence(finding.instruction)}" for finding in photo.stance),
    ]
    return _listed(lines[:1]) + "".join("\n" + wrapped(line, "    ") for line in lines[1:])


def plain_located(found: Located) -> str:
    """What was seen of a reference, as text."""
    rows = [
        (
            tr("reference"),
            f"{tr(REFERENCES[found.reference].title)} ({_how_seen(found.how)})",
        ),
        (tr("distance"), tr("{distance:.2f} m", distance=found.distance_mm / 1000)),
        (tr("camera"), _turned(found)),
        (tr("scale"), tr("{scale:.1f} px/cm at the reference", scale=10 * found.px_per_mm)),
        (
            tr("focal length"),
            tr(
                "{focal:.0f} mm in 35 mm terms ({source})",
                focal=found.focal_35mm,
                source=_focal_source(found),
            ),
        ),
        (
            tr("photo"),
            tr("{width} x {height} px, upright", width=found.size_px[0], height=found.size_px[1]),
        ),
    ]
    # With points in every language: a comma parts x from y, and options take them so.
    points = "\n".join(f"  {x:.1f},{y:.1f}" for x, y in found.points_px)
    text = table(rows) + "\n" + tr("points (x,y px)") + "\n" + points
    return text + "".join("\n" + wrapped(remark) for remark in found.remarks)


def plain_tags(seen: TagsSeen) -> str:
    """The tags on the dog as text; nothing where there is none to tell of."""
    lines = []
    for tag in seen.tags:
        x, y = tag.tip_px
        spread = sqrt((tag.tip_covariance[0, 0] + tag.tip_covariance[1, 1]) / 2.0)
        said = "".join(f"; {remark}" for remark in tag.remarks)
        title = tr(LANDMARK_TITLES[tag.landmark])
        # a point in every language, as among the reference's
        lines.append(f"  {x:.1f},{y:.1f} ±{spread:.1f}  {title}{said}")
    head = [tr("tips of the tags on the dog (x,y px, standard deviation)")] if lines else []
    return "\n".join([*head, *lines, *map(wrapped, seen.remarks)])


def _turned(seen: PhotoResult | Located) -> str:
    return tr(
        "yaw {yaw:+.1f}, pitch {pitch:+.1f}, roll {roll:+.1f} degrees",
        yaw=seen.yaw_deg,
        pitch=seen.pitch_deg,
        roll=seen.roll_deg,
    )


def _how_seen(how: str) -> str:
    return tr(REFERENCE_HOW_TITLES.get(how, how))


def _focal_source(seen: PhotoResult | Located) -> str:
    return tr(FOCAL_SOURCE_TITLES.get(seen.focal_source, seen.focal_source))


def table(rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> str:
    """Aligned columns, two spaces apart; columns named in `right` end flush."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [
            cell.rjust(width) if k in right else cell.ljust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return "\n".join(lines)


def fitting(rows: Sequence[Sequence[str]]) -> str:
    """A table with a line of titles; where it is too wide, each of its rows as a list."""
    whole = table(rows)
    # Where nothing narrower is asked for, a table that is a little too wide is read more easily.
    if _width.get() >= WIDTH or max(map(len, whole.splitlines())) <= _width.get():
        return whole
    titles, *others = rows
    said = []
    for first, *cells in others:
        said.append(first)
        said += [
            wrapped(f"{title}: {cell}", "    ", "  ")
            for title, cell in zip(titles[1:], cells, strict=True)
            if cell
        ]
    return "\n".join(said)


def wrapped(text: str, indent: str = "", first: str | None = None) -> str:
    """A text in lines as wide as `wrapped_to` says, the first perhaps indented otherwise."""
    filled = textwrap.fill(
        joined(text),
        _width.get(),
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return parted(filled)


def _listed(items: Sequence[str]) -> str:
    return "\n".join(wrapped(item, "    ", "  - ") for item in items)


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?", "!")) else f"{text}."
