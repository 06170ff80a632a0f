"""Accepted orders whose report carries a cut."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from photocheck.orders.draft import Draft
from photocheck.orders.model import Check, CutNote, Decision, Order
from photocheck.report.model import Report
from tests.support.made_report import made_report

DAY = datetime(2026, 3, 29, 7, 5, tzinfo=UTC)


def carried(name: str = "Juno", coat: str = "medium", unit: str = "cm") -> Report:
    """A report that agrees, with all four readings near what the photo shows."""
    report = made_report(verdict="agrees", unit=unit)
    readings = {
        reading: replace(report.case.readings[reading], mm=span.photo_mm * 1.01)
        for reading, span in zip(
            ("half_neck", "front_length", "rear_length", "full_length"), report.spans, strict=True
        )
    }
    dog = replace(report.case.dog, name=name, coat=coat, coat_depth_mm=None, age_months=40.0)
    case = replace(report.case, name=f"Order of {name}", dog=dog, readings=readings, unit=unit)
    count = len(report.spans)
    covariance = tuple(
        tuple(0.045**2 if row == column else 0.0 for column in range(count)) for row in range(count)
    )
    return replace(report, case=case, covariance=covariance)


def accepted(
    number: int,
    *,
    name: str = "Juno",
    report: Report | None = None,
    at: datetime = DAY,
    cuts: tuple[CutNote, ...] = (),
) -> Order:
    """An order that stands accepted; `number` tells it and its check from others."""
    told = Draft.from_dict(
        {
            "name": f"Order of {name}",
            "dog": {"name": name},
            "owner": {"name": "Ada Invented", "number": f"2026-{number}"},
        }
    )
    made = carried(name) if report is None else report
    check = Check(number, at, "owner", told, made, "0.2.0", "")
    decision = Decision(at, "Bo", "accepted", "", "", number)
    return Order(f"key{number}", at, "en", told, (check,), (decision,), cuts)
