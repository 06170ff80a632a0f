"""What was heard of harnesses, for tests; and whole histories of orders, by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from photocheck.case.model import Reading, Take
from photocheck.orders.draft import Draft
from photocheck.orders.model import Check, Decision, Heard, Order
from photocheck.report.model import Report
from tests.support.made_report import made_report

BEGUN = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def fitted(check: int = 1) -> Heard:
    now = datetime.now(UTC)
    return Heard(now, now.date(), "Ann", False, "fitted", check=check)


def tight(check: int = 1, **told: Any) -> Heard:
    """Tight at the neck opening, as the owner says by telephone."""
    one = replace(
        fitted(check), from_owner=True, result="tight_or_loose", felt={"neck_opening": "tight"}
    )
    return replace(one, **told)


def report_with(
    verdict: str = "agrees",
    flagged: Sequence[str] = (),
    takes: Mapping[str, Sequence[float]] | None = None,
    hands: Sequence[str] = (),
) -> Report:
    """A report whose spans in `flagged` are to be measured again; other takes, mm, may be given."""
    report = made_report(verdict=verdict)
    readings = dict(report.case.readings)
    for name, values in (takes or {}).items():
        by = hands or [""] * len(values)
        readings[name] = Reading.of(
            [Take(mm, f"{mm / 10:g}", "cm", "", who) for mm, who in zip(values, by, strict=True)]
        )
    spans = tuple(
        replace(span, verdict="measure_again" if span.span in flagged else "agrees")
        for span in report.spans
    )
    return replace(
        report, verdict=verdict, spans=spans, case=replace(report.case, readings=readings)
    )


def history(
    *reports: Report,
    choice: str = "",
    hours: Sequence[float] = (),
    by: str = "owner",
    heard: Sequence[Heard] = (),
    key: str = "k",
) -> Order:
    """An order checked once for each report, an hour apart, and decided on at the end."""
    after = list(hours) or list(range(len(reports)))
    checks = tuple(
        Check(k + 1, BEGUN + timedelta(hours=after[k]), by, Draft(name=key), report, "0.2", "")
        for k, report in enumerate(reports)
    )
    decisions: tuple[Decision, ...] = ()
    if choice:
        at = checks[-1].at + timedelta(hours=2)
        decisions = (Decision(at, "Ann", choice, "", "", checks[-1].number),)
    return Order(key, BEGUN, "en", Draft(name=key), checks, decisions, heard=tuple(heard))
