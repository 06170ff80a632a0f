"""No copy that a killed process left half made stays, and none that is being made goes."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from photocheck.orders.store import DatabaseStore, open_store, unfinished
from photocheck.orders.store.copies import back_up, check_copy, restore, side_copy
from photocheck.orders.store.privacy import tidy
from photocheck.orders.store.unfinished import part_of, sweep
from tests.support.store_orders import checked

KILLED = """
import os, sys
from pathlib import Path
from sqlalchemy import create_engine
from photocheck.orders.store.unfinished import part_of
engine = create_engine("sqlite:///" + sys.argv[1])
with part_of(Path(sys.argv[2]), engine) as part:
    part.write_bytes(b"SQLite format 3\\0 and somebody's order")
    Path(f"{part}-journal").write_bytes(b"more of it")
    os._exit(9)
"""


@pytest.fixture
def file_store(tmp_path: Path, empty_store: Path) -> Iterator[DatabaseStore]:
    (tmp_path / "orders").mkdir()
    (tmp_path / "backups").mkdir()
    path = tmp_path / "orders" / "orders.sqlite3"
    path.write_bytes(empty_store.read_bytes())
    store = open_store(str(path))
    yield store
    store.close()


def left(folder: Path) -> set[str]:
    """Everything that is not a store or a copy by its own name."""
    return {file.name for file in folder.rglob("*") if file.is_file() and file.suffix != ".sqlite3"}


def kill_one(store: DatabaseStore, goal: Path) -> None:
    database = str(store.engine.url.database)
    done = subprocess.run([sys.executable, "-c", KILLED, database, str(goal)], check=False)
    assert done.returncode == 9


@pytest.mark.slow
def test_what_a_killed_copy_left_goes_by_every_way(
    file_store: DatabaseStore, tmp_path: Path
) -> None:
    backups = tmp_path / "backups"
    # one process for all: what differs is only who sweeps
    kill_one(file_store, backups / "monday.sqlite3")
    kept = {
        file.relative_to(tmp_path): file.read_bytes()
        for file in tmp_path.rglob("*")
        if file.is_file() and file.suffix != ".sqlite3"
    }
    assert len(kept) == 4  # the part, SQLite's own beside it, the note and its lock
    key, _ = checked(file_store)
    spare, _ = checked(file_store, name="another")
    back_up(file_store, tmp_path / "copy.sqlite3")
    ways = {
        "start": lambda: open_store(str(file_store.engine.url.database)).close(),
        "forget": lambda: file_store.forget(key),
        "tidy": lambda: tidy(file_store),
        "backup": lambda: back_up(file_store, tmp_path / "copy.sqlite3"),
        "upgrade": lambda: side_copy(file_store, "before-schema-9"),
        "restore": lambda: restore(str(file_store.engine.url.database), tmp_path / "copy.sqlite3"),
    }
    for name, act in ways.items():
        for file, content in kept.items():
            (tmp_path / file).write_bytes(content)
        act()
        assert left(tmp_path) == set(), name
    assert spare in {line.key for line in file_store.lines()}


def test_all_that_was_left_goes_at_once(file_store: DatabaseStore, tmp_path: Path) -> None:
    """Also where a folder names a lock after the note that it went with."""
    orders, backups = tmp_path / "orders", tmp_path / "backups"
    parts = [backups / f".monday.{number}.part" for number in range(40)]
    for number, part in enumerate(parts):
        part.write_bytes(b"SQLite format 3\0 and somebody's order")
        note = orders / f"orders.sqlite3.unfinished-{number:02}"
        note.write_text(str(part))
        Path(f"{note}.lock").touch()
    # one that cannot be taken keeps no other
    (orders / "orders.sqlite3.unfinished-first").mkdir()
    assert sweep(file_store.engine) == len(parts)
    assert {name for name in left(tmp_path) if "first" not in name} == set()


def test_what_is_being_made_stays(file_store: DatabaseStore, tmp_path: Path) -> None:
    goal = tmp_path / "backups" / "monday.sqlite3"
    with part_of(goal, file_store.engine) as part:
        part.write_bytes(b"SQLite format 3\0")
        assert part.stat().st_mode & 0o777 == 0o600
        assert sweep(file_store.engine, goal.parent) == 0
        assert part.exists()
    assert left(tmp_path) == set()


def test_an_empty_lock_goes_once_nobody_can_be_about_to_use_it(
    file_store: DatabaseStore, tmp_path: Path
) -> None:
    lock = tmp_path / "orders" / "orders.sqlite3.unfinished-00.lock"
    lock.touch()
    sweep(file_store.engine)
    assert lock.exists()
    os.utime(lock, (0, lock.stat().st_mtime - unfinished.LOCK_OLD_S - 1))
    sweep(file_store.engine)
    assert not lock.exists()


@pytest.mark.parametrize("named", ["orders.sqlite3", "relative/.a.part", "/etc/hosts", ""])
def test_a_note_in_other_hands_removes_nothing(
    file_store: DatabaseStore, tmp_path: Path, named: str
) -> None:
    note = tmp_path / "orders" / "orders.sqlite3.unfinished-00"
    note.write_text(str(tmp_path / "orders" / named) if named == "orders.sqlite3" else named)
    assert sweep(file_store.engine) == 0
    assert check_copy(tmp_path / "orders" / "orders.sqlite3").version
    assert not note.exists()


def test_parts_of_older_versions_go_once_nobody_makes_them(
    file_store: DatabaseStore, tmp_path: Path
) -> None:
    backups, orders = tmp_path / "backups", tmp_path / "orders"
    parts = [backups / ".monday.abc.part", orders / ".monday.def.part"]
    other = orders / ".download.part"
    for part in parts:
        part.write_bytes(unfinished._SQLITE)
    other.write_bytes(b"somebody else's")
    os.utime(other, (0, 0))
    back_up(file_store, backups / "monday.sqlite3")
    assert all(part.exists() for part in parts)
    for part in parts:
        os.utime(part, (0, part.stat().st_mtime - unfinished.OLD_S - 60))
    back_up(file_store, backups / "monday.sqlite3")
    assert not [part for part in parts if part.exists()]
    assert other.exists()


def test_a_copy_that_cannot_be_written_leaves_nothing(
    file_store: DatabaseStore, tmp_path: Path
) -> None:
    from photocheck.orders.model import StoreError

    with pytest.raises(StoreError, match="cannot be written"):
        back_up(file_store, tmp_path / "nowhere" / "copy.sqlite3")
    assert left(tmp_path) == set()
    with closing(open_store(str(file_store.engine.url.database))) as again:
        back_up(again, tmp_path / "backups" / "copy.sqlite3")
    assert left(tmp_path) == set()


def test_a_store_of_any_name_finds_its_own_files_and_no_others(tmp_path: Path) -> None:
    name = "a[1]*?.sqlite3"
    for file in (name, "a1xy.sqlite3"):
        (tmp_path / f"{file}.kept").touch()
    assert [found.name for found in tmp_path.glob(f"{unfinished.literal(name)}.*")] == [
        f"{name}.kept"
    ]
