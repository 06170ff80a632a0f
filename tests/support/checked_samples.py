"""The reports of the samples as shipped, checked once for all tests that look at them."""

from __future__ import annotations

from functools import cache

import photocheck
from photocheck.report.model import Report
from photocheck.speech import speaking
from tests.support.places import SAMPLES


@cache
def checked(name: str) -> Report:
    """What an English check says of a sample, exactly as its file has it."""
    with speaking("en"):
        return photocheck.check(photocheck.read_case(SAMPLES / name / "case.json"))
