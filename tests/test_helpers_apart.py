"""What several tests use lies in `tests.support`: no module of tests imports another."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

TESTS = Path(__file__).parent


MAY_NAME_ONE = re.compile(r"(?:import|from|[.,(\\])\s*(?:#.*\s+)*(?:test_|conftest)")
"""Stands wherever a module of tests is imported, and seldom elsewhere: reading all is dear."""


def imported(source: str, package: str) -> Iterator[str]:
    """The full name of everything that a module of a package imports."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        if isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) - node.level + 1]
            base = ".".join([*(above if node.level else []), *filter(None, [node.module])])
            yield from (f"{base}.{alias.name}" for alias in node.names)


def of_tests(names: Iterator[str]) -> list[str]:
    """Those that lie in a module of tests or in a conftest."""
    return [
        name
        for name in names
        if name.startswith("tests.")
        and any(part.startswith("test_") or part == "conftest" for part in name.split("."))
    ]


@pytest.mark.parametrize(
    "module", sorted(path.relative_to(TESTS).as_posix() for path in TESTS.rglob("*.py"))
)
def test_no_module_of_tests_is_imported(module: str) -> None:
    package = ".".join(["tests", *Path(module).parts[:-1]])
    source = (TESTS / module).read_text(encoding="utf-8")
    if MAY_NAME_ONE.search(source):
        assert of_tests(imported(source, package)) == []


def test_every_way_of_importing_one_would_be_found() -> None:
    source = (
        "import tests.app.test_app\nfrom tests.app import test_app\n"
        "from tests.app.test_app import at\nfrom .test_app import press\n"
        "from ..fuzz.test_fuzz import few\nfrom . import conftest as c\n"
        "from tests.support import x\nfrom x import (  # so long\n    # and so\n    test_y,\n)\n"
    )
    for line in re.split(r"\n(?=import|from)", source)[:-2]:
        assert MAY_NAME_ONE.search(line)
    assert MAY_NAME_ONE.search(source.rpartition("from")[2])
    assert of_tests(imported(source, "tests.app")) == [
        "tests.app.test_app",
        "tests.app.test_app",
        "tests.app.test_app.at",
        "tests.app.test_app.press",
        "tests.fuzz.test_fuzz.few",
        "tests.app.conftest",
    ]
