"""What a message may say: the facts of a case and its report as plain texts, nothing more.

Templates see only what `facts` gives, so that a message names no number but the order's own.
"""

from __future__ import annotations

import unicodedata
from typing import Any, Final

from photocheck.case.lengths import as_said, format_length
from photocheck.case.model import Case, Reading
from photocheck.fit.allowances import growing
from photocheck.fit.answer import MEASURE_TITLES, FitAnswer
from photocheck.judge.repeats import in_agreement
from photocheck.judge.tolerances import fits
from photocheck.judge.wording import CAUTIONS
from photocheck.orders.bounds import LONGEST_REASON
from photocheck.orders.harmless import one_line, plain
from photocheck.report.model import Explanation, Report
from photocheck.report.retelling import in_language
from photocheck.speech import LANGUAGES, speaking, spoken, tr
from photocheck.words import NECK_RING, READING_PATHS, READING_TITLES, READINGS, SPANS

LONGEST_NAME: Final = 60
MOST_REMARKS: Final = 4
TOLD_FROM: Final = 0.5
"""An explanation is told to the owner when it is likelier than all others together."""

NAMES: Final = (
    "dog",
    "reason",
    "verdict",
    "confirmed",
    "growing",
    "readings",
    "wanted",
    "flagged",
    "unsure",
    "sum",
    "ring",
    "explanation",
    "candidates",
    "stance",
    "photo_remarks",
    "next_step",
    "cut",
    "size",
)
"""What a template can use."""


def facts(
    case: Case, report: Report | None, reason: str, answer: FitAnswer | None = None
) -> dict[str, Any]:
    """Everything a template can use, said in the language spoken now.

    Returns
    -------
    dict with the keys `NAMES`
        Texts, truth values, and lists and dicts of texts.  ``readings``, ``flagged`` (to be
        taken again) and ``unsure`` (the photo leaves them open) hold dicts with ``name``,
        ``title``, ``said`` (as typed), ``path``, ``photo``, ``low`` and ``high``; ``wanted``
        the readings not given.  ``cut`` holds dicts with ``name``, ``title`` and ``said`` of the
        lengths that are cut, as `photocheck.fit` has them, none where nothing may be cut yet;
        ``size`` is the size of the shelf that fits, empty to cut to measure.  ``sum`` and ``ring``
        are None unless readings contradict each other.
    """
    rows = {name: _row(name, case, report) for name in READINGS if name in case.readings}
    told = _told(report)
    told_of = {name for name, _, _ in told.candidates} if told else set()
    flagged = [rows[n] for n in rows if _has_verdict(n, rows, report, "measure_again", told_of)]
    unsure = [
        rows[n]
        for n in rows
        if any(_has_verdict(n, rows, report, v, set()) for v in ("could_hide", "cannot_tell"))
    ]
    report = in_language(report, spoken()) if report else None
    same = report is not None and _language_of(report) == spoken()
    remarks = list(dict.fromkeys(r for p in report.photos for r in p.remarks)) if report else []
    stances = (
        [finding.name for photo in report.photos for finding in photo.stance] if report else []
    )
    return {
        "dog": one_line(case.dog.name, LONGEST_NAME),
        "reason": plain(reason, LONGEST_REASON),
        "verdict": report.verdict if report else "",
        "confirmed": report is not None and report.verdict == "agrees",
        "growing": bool(growing(case.dog)),
        "readings": list(rows.values()),
        "wanted": [_row(name, case, None) for name in SPANS if name not in rows],
        "flagged": flagged,
        "unsure": unsure,
        "sum": _sum(case),
        "ring": _ring(case),
        "explanation": told.name if told else "",
        "candidates": [
            {"title": tr(READING_TITLES[name]), "value": as_said(one_line(text, LONGEST_NAME))}
            for name, text, _ in (told.candidates if told else ())
        ],
        "stance": stances[0] if stances and report and report.verdict == "retake" else "",
        # Reports of before 0.3 were said in one language only, perhaps not in this.
        "photo_remarks": [_sentence(r) for r in remarks[:MOST_REMARKS]] if same else [],
        "next_step": _sentence(report.next_step) if report and same else "",
        "cut": _cut(answer),
        "size": one_line(answer.sizes[0].name, LONGEST_NAME)
        if answer is not None and answer.outcome == "size"
        else "",
    }


def _cut(answer: FitAnswer | None) -> list[dict[str, str]]:
    if answer is None:
        return []
    return [
        {
            "name": one.name,
            "title": tr(MEASURE_TITLES[one.name]),
            "said": format_length(one.mm, answer.unit),
        }
        for one in answer.measures
    ]


def _row(name: str, case: Case, report: Report | None) -> dict[str, str]:
    row = {
        "name": name,
        "title": tr(READING_TITLES[name]),
        "path": tr(READING_PATHS[name]),
        "said": _said(case.readings[name]) if name in case.readings else "",
        "photo": "",
        "low": "",
        "high": "",
    }
    if report is not None:
        times = 2.0 if name == NECK_RING else 1.0
        span = report.spans[SPANS.index("half_neck" if name == NECK_RING else name)]
        for key, mm in (("photo", span.photo_mm), ("low", span.low_mm), ("high", span.high_mm)):
            row[key] = format_length(times * mm, case.unit)
    return row


def _said(reading: Reading) -> str:
    """As the owner typed it, with the unit when it was left away."""
    typed = one_line(reading.typed, LONGEST_NAME)
    if not typed:
        return format_length(reading.mm, reading.unit)
    bare = all(c.isdigit() or c in " .,/-" or unicodedata.numeric(c, None) for c in typed)
    return f"{typed} {reading.unit}" if bare else typed


def _has_verdict(
    name: str, rows: dict[str, Any], report: Report | None, verdict: str, told_of: set[str]
) -> bool:
    if report is None:
        return False
    if name != NECK_RING:
        half = name == "half_neck" and NECK_RING in told_of and name not in told_of
        return report.spans[SPANS.index(name)].verdict == verdict and not half
    # The report has one verdict for the neck, whichever of its two readings is meant.
    if report.spans[0].verdict != verdict:
        return False
    return "half_neck" not in rows or name in told_of or _ring(report.case) is not None


def _told(report: Report | None) -> Explanation | None:
    best = next(iter(report.explanations), None) if report else None
    return best if best is not None and best.probability > TOLD_FROM else None


def _sum(case: Case) -> dict[str, str] | None:
    """Front, rear and full length when they contradict each other."""
    names = ("front_length", "rear_length", "full_length")
    readings = in_agreement(case.readings)
    if any(name not in readings for name in names):
        return None
    front, rear, full = (readings[name].mm for name in names)
    if fits((front, rear), full):
        return None
    return {
        "parts": format_length(front + rear, case.unit),
        "full": format_length(full, case.unit),
    }


def _ring(case: Case) -> dict[str, str] | None:
    """Half neck and neck ring when they contradict each other."""
    readings = in_agreement(case.readings)
    if not {"half_neck", NECK_RING} <= set(readings):
        return None
    half, ring = readings["half_neck"].mm, readings[NECK_RING].mm
    if fits((half, half), ring):
        return None
    return {
        "doubled": format_length(2.0 * half, case.unit),
        "ring": format_length(ring, case.unit),
    }


def _language_of(report: Report) -> str:
    """The language a report is in, of an old one by its first caution; empty when it cannot be
    told."""
    if report.language:
        return report.language
    for language in LANGUAGES:
        with speaking(language):
            if report.cautions and report.cautions[0] == tr(CAUTIONS[0]):
                return language
    return ""


def _sentence(text: str) -> str:
    text = one_line(text, LONGEST_REASON)
    return text if not text or text.endswith((".", "?", "!")) else f"{text}."
