"""Which quick test reaches which line: a plugin of pytest, run under coverage, and its reading.

Coverage has contexts per test function of its own (`dynamic_context`); these are per test with its
parameters and fixtures, so that a fault is tried with the few that count.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import coverage
import pytest

SECONDS_FILE: Final = "PLANTED_SECONDS"
"""The environment variable that names the file for how long each test that passed took."""

_took: dict[str, float] = {}
_failed: set[str] = set()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[Any]:
    running = coverage.Coverage.current()
    if running is not None:
        running.switch_context(item.nodeid)
    try:
        return (yield)
    finally:
        if running is not None:
            running.switch_context("")


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    _took[report.nodeid] = _took.get(report.nodeid, 0.0) + report.duration
    if report.failed:
        _failed.add(report.nodeid)


def pytest_sessionfinish() -> None:
    if SECONDS_FILE in os.environ:
        passed = {name: took for name, took in _took.items() if name not in _failed}
        Path(os.environ[SECONDS_FILE]).write_text(json.dumps(passed), encoding="utf-8")
