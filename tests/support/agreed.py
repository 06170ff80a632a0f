"""A report that agrees, of a dog as told: something may be cut by it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from photocheck.case.model import Reading
from photocheck.report.model import Report
from tests.support.made_report import made_report


def agreed(**dog: Any) -> Report:
    report = made_report(verdict="agrees")
    readings = {
        "half_neck": Reading(361.0, "361 mm", "cm"),
        "front_length": Reading(528.0, "528 mm", "cm"),
        "rear_length": Reading(338.0, "338 mm", "cm"),
    }
    case = replace(report.case, readings=readings, dog=replace(report.case.dog, **dog), unit="cm")
    return replace(report, case=case)
