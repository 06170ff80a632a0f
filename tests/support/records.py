"""What a record is made of: a check, a decision, and a report that is fuller than any."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np

from photocheck.orders.draft import Draft
from photocheck.orders.model import Check, Decision
from photocheck.report.model import Report
from tests.support.made_report import made_report

AT = datetime(2026, 3, 29, 7, 5, tzinfo=UTC)


def check_of(report: Report, made_by: str = "0.1.0") -> Check:
    return Check(17, AT, "owner", Draft(), report, made_by, "")


def photo() -> np.ndarray:
    y, x = np.mgrid[0:3024:3, 0:4032:3]
    return np.repeat(np.repeat(np.stack([x % 256, y % 256, x // 16], -1), 3, 0), 3, 1).astype(
        np.uint8
    )


def decision(reason: str = "The rear length is to be measured once more.") -> Decision:
    return Decision(AT, "Ada at the desk", "asked_again", reason, "", 17)


def crowded() -> Report:
    """Twelve photos, and more and longer texts than any report has."""
    report = made_report(photos=12)
    long = "A sentence about this order that goes on and on without an end in sight, " * 6
    case = replace(
        report.case,
        name="W" * 200,
        dog=replace(report.case.dog, name="M" * 200, breed="long haired working cross " * 20),
    )
    result = replace(report.photos[0], remarks=tuple(f"{k} {long}" for k in range(6)))
    return replace(
        report,
        headline=long,
        case=case,
        photos=(result,) * 12,
        outliers=tuple(f"{k} {long}" for k in range(9)),
        redundancy=(long, long + "!"),
        next_step=long,
        cautions=(long, long),
        budget=tuple(replace(report.budget[0], title=long) for _ in range(20)),
    )
