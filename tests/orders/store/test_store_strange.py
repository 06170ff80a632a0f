"""Copies that somebody made up: refused before anything in them is run, or their values are kept.

What SQLite runs of a file's own schema is told by its page "Defense Against The Dark Arts"
(sqlite.org/security.html); how a journal names another file by its page on the file format, 3.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from photocheck.orders.model import StoreError
from photocheck.orders.store import open_store
from photocheck.orders.store.copies import back_up, check_copy, restore, side_copy
from photocheck.orders.store.strange import MOST_PARTS
from tests.support.store_orders import checked

pytestmark = pytest.mark.slow

ENDLESS = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i FROM n"
OPEN_PHOTOS = "DROP TRIGGER photos_never_change"
SHUT_PHOTOS = (
    "CREATE TRIGGER photos_never_change BEFORE UPDATE ON photos "
    "BEGIN SELECT RAISE(ABORT, 'photos are never changed'); END"
)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of one order with photos, a check and a decision."""
    folder = tmp_path_factory.mktemp("whole")
    with closing(open_store(str(folder / "orders.sqlite3"))) as store:
        key, _ = checked(store)
        store.decide(key, "accepted", by="Ann", reason="fine", message="Thanks")
        back_up(store, folder / "copy.sqlite3")
    return folder / "copy.sqlite3"


def _planted(whole: Path, folder: Path, *statements: str) -> Path:
    copy = folder / "planted.sqlite3"
    shutil.copy(whole, copy)
    with closing(sqlite3.connect(copy)) as planting:
        for statement in statements:
            planting.execute(statement)
        planting.commit()
    return copy


def test_what_a_shop_added_to_look_at_its_orders_keeps_no_copy_from_being_made(
    tmp_path: Path,
) -> None:
    """Views, triggers and indexes stay in the store; a copy of it has none, and is restored."""
    address = tmp_path / "orders.sqlite3"
    copy, copied = tmp_path / "copy.sqlite3", []
    with closing(open_store(str(address))) as store:
        key, _ = checked(store)
        with closing(sqlite3.connect(address)) as adding:
            adding.execute('CREATE VIEW "our ""own"" view" AS SELECT * FROM orders')
            adding.execute("CREATE INDEX by_half ON photos (id) WHERE id > 1")
            adding.execute(
                "CREATE TRIGGER noted AFTER INSERT ON orders BEGIN SELECT 'one more'; END"
            )
            adding.commit()
        back_up(store, copy)
        kept = side_copy(store, "before-upgrade")
    for file in (copy, kept, address):
        with closing(sqlite3.connect(file)) as looking:
            names = looking.execute("SELECT name FROM sqlite_master").fetchall()
            copied.append({'our "own" view', "by_half", "noted"} & {name for (name,) in names})
    assert copied == [set(), set(), {'our "own" view', "by_half", "noted"}]
    held, _ = restore(str(tmp_path / "other.sqlite3"), copy)
    assert held.orders == 1
    with closing(open_store(str(tmp_path / "other.sqlite3"))) as other:
        assert other.order(key).checks


@pytest.mark.parametrize(
    ("planted", "said"),
    [
        (("DROP TABLE ratios", f"CREATE VIEW ratios AS {ENDLESS}"), "view ratios"),
        (
            ("DROP TABLE alembic_version", f"CREATE VIEW alembic_version AS {ENDLESS}"),
            "view alembic_version",
        ),
        (
            (
                "CREATE TRIGGER planted AFTER UPDATE ON alembic_version "
                "BEGIN DELETE FROM alembic_version; END",
            ),
            "trigger planted",
        ),
        (
            (
                "CREATE TRIGGER more BEFORE UPDATE ON orders BEGIN DELETE FROM staff; "
                "SELECT RAISE(ABORT, 'no'); END",
            ),
            "trigger more",
        ),
        (("CREATE VIRTUAL TABLE found USING fts5(words)",), "table found"),
        (("CREATE TABLE t (a CHECK/**/(length(hex(zeroblob(200000000))) > 0))",), "table t"),
        (("CREATE TABLE t (a, b AS (hex(zeroblob(200000000))))",), "table t"),
        (("CREATE TABLE t (a DEFAULT (hex(zeroblob(200000000))))",), "table t"),
        (("CREATE INDEX i ON orders (length(hex(zeroblob(200000000))))",), "index i"),
        (("CREATE INDEX i ON orders (name) WHERE length(name) > 1",), "index i"),
        (tuple(f"CREATE TABLE t{n} (a)" for n in range(MOST_PARTS)), "too many parts"),
        (("UPDATE alembic_version SET version_num = '0000'",), "which version"),
        (("UPDATE alembic_version SET version_num = '\u0663'",), "which version"),
        ((f"UPDATE alembic_version SET version_num = '{'9' * 5000}'",), "which version"),
        (("UPDATE alembic_version SET version_num = x'ff'",), "which version"),
        (("DELETE FROM alembic_version",), "which version"),
        (("UPDATE orders SET draft = x'00'",), "orders.draft"),
        (("UPDATE orders SET touched = 5",), "orders.touched"),
        (("UPDATE orders SET touched = 'yesterday'",), "orders.touched"),
        ((OPEN_PHOTOS, "UPDATE photos SET content = 'text'", SHUT_PHOTOS), "photos.content"),
        (("UPDATE orders SET photos_given = 'many'",), "orders.photos_given"),
    ],
)
def test_a_strange_copy_is_refused_and_nothing_of_it_is_run(
    planted: tuple[str, ...], said: str, whole: Path, tmp_path: Path
) -> None:
    copy = _planted(whole, tmp_path, *planted)
    address = tmp_path / "orders.sqlite3"
    with closing(open_store(str(address))) as store:
        key, _ = checked(store, name="here")
        before = store.order(key)
        with pytest.raises(StoreError, match="not a whole copy") as refused:
            restore(str(address), copy)
        assert said in str(refused.value)
        assert str(copy) in str(refused.value)
        assert "nothing has been changed" in str(refused.value)
        assert (store.order(key), len(store.lines())) == (before, 1)
    left = {path.name for path in tmp_path.iterdir()} - {
        f"orders.sqlite3{e}" for e in ("-wal", "-shm")
    }
    assert left == {"orders.sqlite3", "planted.sqlite3"}


def _left_in_the_middle(whole: Path, copy: Path, others: Path) -> bytes:
    """Make a copy that a writer left half written; its journal, which names another file."""
    shutil.copy(whole, copy)
    with closing(sqlite3.connect(copy, isolation_level=None)) as writing:
        writing.execute("PRAGMA cache_size = 1")
        writing.execute("BEGIN IMMEDIATE")
        writing.execute("CREATE TABLE more (a)")
        for _ in range(100):
            writing.execute("INSERT INTO more VALUES (zeroblob(3000))")
        journal = Path(f"{copy}-journal").read_bytes()
        changed = copy.read_bytes()
        writing.execute("ROLLBACK")
    page = int.from_bytes(changed[16:18], "big")
    name = str(others).encode()
    named = [2**30 // page + 1, *name, len(name), sum(name)]
    tail = named[0].to_bytes(4, "big") + name + b"".join(n.to_bytes(4, "big") for n in named[-2:])
    copy.write_bytes(changed)
    Path(f"{copy}-journal").write_bytes(journal + tail + journal[:8])
    return journal


def test_a_journal_beside_a_copy_takes_no_other_file_with_it(whole: Path, tmp_path: Path) -> None:
    """SQLite deletes what a journal names as the file of all that were changed together."""
    copy, others = tmp_path / "planted.sqlite3", tmp_path / "letter.txt"
    others.write_text("a letter")
    journal = _left_in_the_middle(whole, copy, others)
    beside = Path(f"{copy}-journal")
    (linked := tmp_path / "linked.sqlite3").symlink_to(copy)
    for path in (copy, linked):
        with pytest.raises(StoreError, match="names another file"):
            check_copy(path)
    assert others.read_text() == "a letter"
    # A journal that a power cut left is gone back by, as ever.
    beside.write_bytes(journal)
    assert check_copy(copy).orders == 1
    assert not beside.exists()


def test_nor_does_one_beside_a_file_that_is_opened_as_the_store(
    whole: Path, tmp_path: Path
) -> None:
    copy, others = tmp_path / "planted.sqlite3", tmp_path / "letter.txt"
    others.write_text("a letter")
    journal = _left_in_the_middle(whole, copy, others)
    (linked := tmp_path / "linked.sqlite3").symlink_to(copy)
    for path in (copy, linked):
        with pytest.raises(StoreError, match="names another file"):
            open_store(str(path))
    # As the place of today's, it counts as damaged, and is put aside as it is.
    _, aside = restore(str(copy), whole)
    assert aside is not None
    assert "damaged" in aside.name
    assert others.read_text() == "a letter"
    # What a power cut left is gone back by, as ever.
    copy.write_bytes(aside.read_bytes())
    Path(f"{copy}-journal").write_bytes(journal)
    with closing(open_store(str(copy))) as store:
        assert len(store.lines()) == 1


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes that are files here")
def test_a_pipe_in_a_journals_place_keeps_nobody_waiting(whole: Path, tmp_path: Path) -> None:
    """SQLite waits at it for somebody who writes; a limit on the test would be one on a clock, so
    it is seen that nothing was opened."""
    copy = tmp_path / "planted.sqlite3"
    shutil.copy(whole, copy)
    os.mkfifo(f"{copy}-journal")
    for opening in (lambda: open_store(str(copy)), lambda: check_copy(copy)):
        with pytest.raises(StoreError, match="its journal is no ordinary file"):
            opening()


@pytest.mark.parametrize(
    ("planted", "said"),
    [
        (
            ("ALTER TABLE orders RENAME TO others", f"CREATE VIEW orders AS {ENDLESS}"),
            "something other",
        ),
        ((f"UPDATE alembic_version SET version_num = '{'9' * 5000}'",), "newer photocheck"),
        (("UPDATE alembic_version SET version_num = '\u0663'",), "newer photocheck"),
    ],
)
def test_what_poses_as_the_store_is_refused_before_it_is_read(
    planted: tuple[str, ...], said: str, whole: Path, tmp_path: Path
) -> None:
    with pytest.raises(StoreError, match=said) as refused:
        open_store(str(_planted(whole, tmp_path, *planted)))
    assert len(str(refused.value)) < 300
    assert [path.name for path in tmp_path.iterdir()] == ["planted.sqlite3"]


def test_a_view_of_the_shops_own_keeps_no_store_shut(whole: Path, tmp_path: Path) -> None:
    copy = _planted(whole, tmp_path, "CREATE VIEW ours AS SELECT * FROM orders")
    with closing(open_store(str(copy))) as store:
        assert len(store.lines()) == 1
