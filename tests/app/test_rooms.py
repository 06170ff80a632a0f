"""The app's rooms import what stands before them, as their opening sentences say."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.support.places import APP

BEFORE = (
    ("framework",),
    ("kept", "address"),
    ("proofs",),
    ("doors",),
    ("shared", "held_uploads", "held_pictures"),
    ("outage",),
    ("marking",),
    ("report_parts", "sheet_page", "proposals", "worn"),
    ("practise", "desk"),
    ("owner",),
    ("main", "served", "start"),
)
"""Rooms and modules in the order in which they may know each other."""

ROOMS = {room: place for place, rooms in enumerate(BEFORE) for room in rooms}


def imported(source: str) -> set[str]:
    """The rooms a module's text imports of the app."""
    rooms = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            rooms |= {name.name.split(".")[1] for name in node.names if _of_app(name.name)}
        elif isinstance(node, ast.ImportFrom) and node.module:
            if node.module == "photocheck_app":
                rooms |= {name.name for name in node.names}
            elif _of_app(node.module):
                rooms.add(node.module.split(".")[1])
    return rooms


def _of_app(name: str) -> bool:
    return name.startswith("photocheck_app.")


def room_of(path: Path) -> str:
    return path.relative_to(APP).parts[0].removesuffix(".py")


@pytest.mark.parametrize(
    "path", sorted(APP.rglob("*.py")), ids=lambda path: path.relative_to(APP).as_posix()
)
def test_a_room_imports_what_stands_before_it(path: Path) -> None:
    room = room_of(path)
    if room == "__init__":
        assert not imported(path.read_text(encoding="utf-8"))
        return
    assert room in ROOMS, "say where the new room stands"
    for other in imported(path.read_text(encoding="utf-8")) - {room}:
        assert ROOMS[other] < ROOMS[room], (room, other)


def test_an_import_the_other_way_is_seen() -> None:
    assert imported("from photocheck_app import desk, shared") == {"desk", "shared"}
    assert imported("import photocheck_app.desk.page as p") == {"desk"}
    assert imported("def f():\n    from photocheck_app.owner.way import go") == {"owner"}
    assert ROOMS["desk"] > ROOMS["doors"]
