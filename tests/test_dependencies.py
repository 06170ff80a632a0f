"""What is imported is declared, what is declared is used, and a minimum is a version."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.metadata import packages_distributions
from typing import Any

import pytest

from tests.support.places import ROOT

NOT_IMPORTED = {
    "manifold3d": "trimesh cuts bodies with it (trimesh.boolean)",
    "python-multipart": "Starlette reads forms with it",
    "uvloop": "uvicorn runs its loop where it is told to (start.py, LOOP)",
    "psycopg": "SQLAlchemy loads it for addresses that begin with postgresql+psycopg",
}
"""Declared dependencies that no file of ours imports, each with what does."""

OURS = ("photocheck", "photocheck_app")

LIBRARY_WITH_INSIDES_USED = ("streamlit",)
"""Those that are capped at the minor version their insides were read in."""


@cache
def _project() -> dict[str, Any]:
    project: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    return project


def _runtime() -> list[str]:
    """Of the program and its extras, not of its tests; never itself."""
    extras = _project()["optional-dependencies"]
    lists = [_project()["dependencies"], *(extras[name] for name in extras if name != "dev")]
    return [each for told in lists for each in told if _name(each) != "photocheck"]


def _name(requirement: str) -> str:
    """As PyPI compares names (PEP 503)."""
    told = re.match(r"[A-Za-z0-9._-]+", requirement)
    assert told is not None, requirement
    return re.sub(r"[-_.]+", "-", told[0]).lower()


def imported(source: str) -> set[str]:
    """Top-level names of the modules that are imported, wherever in the file."""
    names = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and not node.level:
            names.add(node.module or "")
        elif isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
            called = getattr(node.func, "attr", getattr(node.func, "id", ""))
            if called in ("import_module", "find_spec") and isinstance(node.args[0].value, str):
                names.add(node.args[0].value)
    return {name.partition(".")[0] for name in names}


@cache
def _imports() -> dict[str, str]:
    """Each third-party module with a file that imports it."""
    found = {}
    for folder in ("photocheck", "app"):
        files = sorted((ROOT / folder).rglob("*.py"))
        assert files, folder
        for file in files:
            for name in imported(file.read_text(encoding="utf-8")):
                found[name] = str(file.relative_to(ROOT))
    return {
        name: file
        for name, file in found.items()
        if name and name not in sys.stdlib_module_names and name not in OURS
    }


@cache
def _installed() -> Mapping[str, list[str]]:
    """Which distributions bring a module; every file of each is looked at for that."""
    return packages_distributions()


def _distributions(module: str) -> set[str]:
    there = {_name(each) for each in _installed().get(module, ())}
    return there or {_name(module)} & _teaching()


@cache
def _teaching() -> set[str]:
    """What teaching needs, which no test installs: there a module is named as its distribution."""
    return {_name(each) for each in _project()["optional-dependencies"]["train"]}


def test_imports_are_found_wherever_they_stand() -> None:
    source = (
        "import a.b, c\nfrom d.e import f\nfrom . import g\n"
        "def h():\n    from i import j\n    find_spec('k.l')\n    import_module(name)\n"
        "if TYPE_CHECKING:\n    import m\n"
    )
    assert imported(source) == {"a", "c", "d", "i", "k", "m"}


@pytest.mark.slow
def test_whatever_is_imported_is_declared() -> None:
    declared = {_name(each) for each in _runtime()}
    # streamlit[auth] brings these, in the versions that Streamlit wants
    declared |= {"authlib", "protobuf"}
    missing = {
        module: file for module, file in _imports().items() if not _distributions(module) & declared
    }
    assert not missing


@pytest.mark.slow
def test_whatever_is_declared_is_used() -> None:
    used = {name for module in _imports() for name in _distributions(module)}
    idle = {_name(each) for each in _runtime()} - used
    assert idle == set(NOT_IMPORTED)


@pytest.mark.parametrize("requirement", _runtime())
def test_each_dependency_states_its_minimum(requirement: str) -> None:
    assert re.search(r">=\d", requirement)


def test_a_library_whose_insides_are_used_is_capped_at_one_minor_version() -> None:
    for name in LIBRARY_WITH_INSIDES_USED:
        told = [each for each in _runtime() if _name(each) == name]
        assert told
        for requirement in told:
            bounds = re.search(r">=(\d+)\.(\d+)[^,]*,<(\d+)\.(\d+)$", requirement)
            assert bounds, requirement
            least, below = [(int(bounds[n]), int(bounds[n + 1])) for n in (1, 3)]
            assert below == (least[0], least[1] + 1), requirement
