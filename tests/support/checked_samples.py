"""The reports of the samples as shipped, checked once for all tests that look at them."""

from __future__ import annotations

import os
import pickle
from functools import cache
from pathlib import Path

import photocheck
from photocheck.report.model import Report
from photocheck.speech import speaking
from tests.support.places import SAMPLES

shared: Path | None = None
"""A folder of this run's that all its processes know (`conftest.py` makes it)."""


@cache
def checked(name: str) -> Report:
    """What an English check says of a sample, exactly as its file has it."""
    kept = None if shared is None else shared / f"{name}.pickle"
    if kept is not None and kept.exists():
        report: Report = pickle.loads(kept.read_bytes())
        return report
    with speaking("en"):
        report = photocheck.check(photocheck.read_case(SAMPLES / name / "case.json"))
    if kept is not None:
        # whole or not at all: another process may look for it now
        beside = kept.with_name(f"{name}.{os.getpid()}")
        beside.write_bytes(pickle.dumps(report))
        beside.replace(kept)
    return report
