"""A report as plain text, for a terminal or a printout."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from math import exp
from typing import TYPE_CHECKING, Final

from photocheck.case.lengths import format_length
from photocheck.judge.wording import (
    explanation_sentences,
    interval_text,
    one_more_photo_sentence,
)
from photocheck.report.model import PhotoResult, Report, SpanResult
from photocheck.scale.catalogue import REFERENCES
from photocheck.shown.lines import joined, parted
from photocheck.words import SPAN_TITLES, SPANS, VERDICT_TITLES

if TYPE_CHECKING:
    from photocheck.locating import Located

WIDTH: Final = 92
"""Columns that text is wrapped to."""

BUDGET_LINES: Final = 5
"""Sources of doubt shown; the machine report holds all."""


def plain_report(report: Report) -> str:
    """The whole answer as text: the headline first, then the figures, then what to do.

    Returns
    -------
    str
        Lines without a final line break.
    """
    blocks = [_wrapped(report.headline), _span_table(report)]
    doubted = [s.sentence for s in report.spans if s.verdict not in ("", "agrees")]
    if why := (*doubted, *explanation_sentences(report.explanations), *report.outliers):
        blocks.append("Why\n" + _listed(why))
    if report.redundancy:
        blocks.append("The readings among themselves\n" + _listed(report.redundancy))
    steps = [_sentence(report.next_step)] if report.next_step else []
    if report.one_more_photo:
        steps.append(one_more_photo_sentence(report.one_more_photo))
    if steps:
        blocks.append("Next step\n" + _listed(steps))
    if report.budget:
        blocks.append("Where the doubt comes from (share of the variance)\n" + _budget(report))
    blocks.append("Photos\n" + "\n".join(_photo(photo) for photo in report.photos))
    if report.cautions:
        blocks.append("Mind\n" + _listed(report.cautions))
    if report.case.name:
        blocks.insert(0, report.case.name)
    return "\n\n".join(blocks)


def _span_table(report: Report) -> str:
    unit = report.case.unit
    head = ("span", "tape", "photo", "95 % interval", "tape is", "verdict")
    return table([head, *(_span_row(span, unit) for span in report.spans)])


def _span_row(span: SpanResult, unit: str) -> tuple[str, ...]:
    tape = "not given" if span.reading_mm is None else format_length(span.reading_mm, unit)
    off = ""
    if span.difference is not None:
        per_cent = 100 * (exp(span.difference) - 1)
        off = f"{abs(per_cent):.1f} % {'longer' if per_cent > 0 else 'shorter'}"
    return (
        SPAN_TITLES[span.span],
        tape,
        format_length(span.photo_mm, unit),
        interval_text(span.low_mm, span.high_mm, unit),
        off,
        VERDICT_TITLES.get(span.verdict, ""),
    )


def _budget(report: Report) -> str:
    short = [SPAN_TITLES[span] for span in SPANS]
    rows = [("", *short)]
    for source in report.budget[:BUDGET_LINES]:
        shares = [source.shares.get(span) for span in SPANS]
        rows.append((source.title, *("" if s is None else f"{100 * s:.0f} %" for s in shares)))
    return textwrap.indent(table(rows, right=range(1, 5)), "  ")


def _photo(photo: PhotoResult) -> str:
    lines = [
        f"{photo.path}: {REFERENCES[photo.reference].title} ({photo.reference_how}), "
        f"{photo.distance_mm / 1000:.2f} m away, {_turned(photo)}, "
        f"{10 * photo.px_per_mm:.1f} px/cm on the dog, "
        f"focal length {photo.focal_35mm:.0f} mm ({photo.focal_source})",
        *photo.remarks,
        *(f"{finding.sentence} {_sentence(finding.instruction)}" for finding in photo.stance),
    ]
    return _listed(lines[:1]) + "".join("\n" + _wrapped(line, "    ") for line in lines[1:])


def plain_located(found: Located) -> str:
    """What was seen of a reference, as text."""
    rows = [
        ("reference", f"{REFERENCES[found.reference].title} ({found.how})"),
        ("distance", f"{found.distance_mm / 1000:.2f} m"),
        ("camera", _turned(found)),
        ("scale", f"{10 * found.px_per_mm:.1f} px/cm at the reference"),
        ("focal length", f"{found.focal_35mm:.0f} mm in 35 mm terms ({found.focal_source})"),
        ("photo", f"{found.size_px[0]} x {found.size_px[1]} px, upright"),
    ]
    points = "\n".join(f"  {x:.1f},{y:.1f}" for x, y in found.points_px)
    text = table(rows) + "\npoints (x,y px)\n" + points
    return text + "".join("\n" + _wrapped(remark) for remark in found.remarks)


def _turned(seen: PhotoResult | Located) -> str:
    return (
        f"yaw {seen.yaw_deg:+.1f}, pitch {seen.pitch_deg:+.1f}, roll {seen.roll_deg:+.1f} degrees"
    )


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


def _wrapped(text: str, indent: str = "", first: str | None = None) -> str:
    filled = textwrap.fill(
        joined(text),
        WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return parted(filled)


def _listed(items: Sequence[str]) -> str:
    return "\n".join(_wrapped(item, "    ", "  - ") for item in items)


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?", "!")) else f"{text}."
