"""One meaning, one name: modules and classes are called the same only where they mean the same."""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

from tests.support.places import ROOT

SAME_MEANING = {
    "file": "how the room's thing is read from a file and written to one",
    "model": "the room's thing itself, as frozen dataclasses",
    "page": "what the room shows first in the app",
    "main": "what starts the room's program",
}
"""Module names that every room may have, with what they mean in each."""

NOT_IMPORTED = ("languages", "migrations")
"""Folders whose files are named by what reads them: catalogues, and Alembic."""


def _modules() -> Iterator[Path]:
    for top in ("photocheck", "app"):
        for path in sorted((ROOT / top).rglob("*.py")):
            if path.name != "__main__.py" and not set(NOT_IMPORTED) & set(path.parts):
                yield path


def _twice(places: dict[str, list[str]]) -> list[str]:
    return [f"{name}: {', '.join(found)}" for name, found in places.items() if len(found) > 1]


def test_a_module_or_room_has_a_name_of_its_own() -> None:
    places: dict[str, list[str]] = defaultdict(list)
    for path in _modules():
        name = path.parent.name if path.name == "__init__.py" else path.stem
        of_its_room = path.stem == path.parent.name  # the very thing that the room is named after
        if name not in SAME_MEANING and not of_its_room:
            places[name].append(str(path.relative_to(ROOT)))
    assert not _twice(places), "\n".join(_twice(places))


def test_a_class_has_a_name_of_its_own() -> None:
    places: dict[str, list[str]] = defaultdict(list)
    may_be: dict[str, list[Path]] = defaultdict(list)
    for path in _modules():
        for name in re.findall(r"\bclass\s+(\w+)", path.read_text(encoding="utf-8")):
            may_be[name].append(path)
    # only where a text has a name twice is it read by its syntax
    twice = {path for paths in may_be.values() if len(paths) > 1 for path in paths}
    for path in sorted(twice):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                places[node.name].append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert len(may_be) > 200
    assert not _twice(places), "\n".join(_twice(places))


def test_every_name_that_may_repeat_does() -> None:
    names = [path.stem for path in _modules()]
    assert [name for name in SAME_MEANING if names.count(name) < 2] == []
