"""Versions of the tables, the way from one to the next, and how the databases are set."""

from __future__ import annotations

import shutil
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text

from photocheck.orders.model import StoreError
from photocheck.orders.store import DatabaseStore, open_store, schema
from photocheck.orders.store.copies import back_up, check_copy, restore, side_copies
from photocheck.orders.store.engines import url_of, wal_is_safe
from photocheck.orders.store.tables import metadata
from tests.support.store_orders import checked

pytestmark = pytest.mark.every_journal

NOW = schema.SCHEMA
LATER = f"{int(NOW) + 1:04d}"
NEXT = f"""
import sqlalchemy as sa
from alembic import op

revision = "{LATER}"
down_revision = "{NOW}"


def upgrade():
    op.add_column("orders", sa.Column("shelf", sa.Text, nullable=False, server_default="top"))
    if FAILS:
        op.execute("INSERT INTO orders (id) VALUES (1)")
"""


@pytest.fixture
def next_schema(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The tables as some later version may have them; gives the new migration's file."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    scripts = tmp_path / "migrations"
    shutil.copytree(schema.MIGRATIONS, scripts)
    new = scripts / "versions" / f"v{LATER}_next.py"
    new.write_text("FAILS = False\n" + NEXT)
    monkeypatch.setattr(schema, "MIGRATIONS", scripts)
    return new


def test_the_migrations_make_the_tables_that_the_code_uses(store: DatabaseStore) -> None:
    assert ScriptDirectory(str(schema.MIGRATIONS)).get_heads() == [schema.SCHEMA]
    with store.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []


def test_an_older_store_is_upgraded_after_a_copy(
    address: str, next_schema: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with closing(open_store(address)) as old:
        key, _ = checked(old)
        order = old.order(key)
        assert side_copies(old) == ()
    monkeypatch.setattr(schema, "SCHEMA", LATER)
    for _ in range(2):  # the second time there is nothing to do
        with closing(open_store(address)) as new:
            assert new.order(key) == order
            with new.reading() as connection:
                assert connection.execute(text("SELECT shelf FROM orders")).scalars().all() == [
                    "top"
                ]
            (copy,) = side_copies(new)
    assert check_copy(copy).version == NOW
    # the way back needs the older program: it reads the copy, and refuses the newer store
    monkeypatch.setattr(schema, "SCHEMA", NOW)
    with closing(open_store(str(copy))) as old:
        assert old.order(key) == order
    with pytest.raises(StoreError, match="newer photocheck"):
        open_store(address)
    with pytest.raises(StoreError, match="newer photocheck"):
        restore(address, copy)


@pytest.mark.parametrize("address", ["sqlite", "postgresql"], indirect=True)
def test_an_upgrade_that_fails_leaves_all_as_it_was(
    address: str, next_schema: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with closing(open_store(address)) as old:
        key, _ = checked(old)
        order = old.order(key)
    next_schema.write_text("FAILS = True\n" + NEXT)
    monkeypatch.setattr(schema, "SCHEMA", LATER)
    with pytest.raises(StoreError):
        open_store(address)
    monkeypatch.setattr(schema, "SCHEMA", NOW)
    with closing(open_store(address)) as old:
        assert old.order(key) == order


@pytest.mark.parametrize("address", ["sqlite", "postgresql"], indirect=True)
def test_an_older_copy_comes_back_into_newer_tables(
    address: str, tmp_path: Path, next_schema: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with closing(open_store(address)) as old:
        key, _ = checked(old)
        order = old.order(key)
        back_up(old, tmp_path / "copy")
    content = (tmp_path / "copy").read_bytes()
    monkeypatch.setattr(schema, "SCHEMA", LATER)
    with closing(open_store(address)) as new:
        checked(new)
        restore(address, tmp_path / "copy")
        assert new.order(key) == order
        assert len(new.lines()) == 1
    assert (tmp_path / "copy").read_bytes() == content


def test_what_is_not_ours_is_left_alone(address: str, tmp_path: Path) -> None:
    with closing(open_store(address)) as store, store.engine.begin() as connection:
        connection.execute(text("DROP TABLE alembic_version"))
    with pytest.raises(StoreError, match="something other"):
        open_store(address)
    (tmp_path / "letter.txt").write_text("Dear all, " * 1000)
    with pytest.raises(StoreError, match="not a database"):
        open_store(str(tmp_path / "letter.txt"))
    assert (tmp_path / "letter.txt").read_text() == "Dear all, " * 1000


@pytest.mark.parametrize(
    "wrong", ["", "mysql://x/y", "sqlite://", "http://secret@nowhere", "sqlite:///:memory:"]
)
def test_addresses_that_keep_nothing_are_refused(wrong: str) -> None:
    with pytest.raises(StoreError) as caught:
        url_of(wrong)
    assert "secret" not in str(caught.value)


def test_an_unreachable_database_is_told_without_its_password(tmp_path: Path) -> None:
    with pytest.raises(StoreError) as caught:
        open_store(f"postgresql+psycopg://me:secret@/none?host={tmp_path}")
    assert "secret" not in str(caught.value)
    folder = tmp_path / "file" / "orders"
    folder.parent.write_text("")
    with pytest.raises(StoreError):
        open_store(str(folder))


@pytest.mark.usefixtures("synced")
@pytest.mark.parametrize("address", ["sqlite", "sqlite_wal"], indirect=True)
def test_sqlite_is_set_to_keep_what_it_acknowledges(
    store: DatabaseStore, address: str, request: pytest.FixtureRequest
) -> None:
    # https://sqlite.org/pragma.html#pragma_synchronous: FULL is 2, EXTRA is 3
    wal = "sqlite_wal" in request.node.name
    with store.reading() as one, store.reading() as two:
        for connection in (one, two):
            found = [
                connection.exec_driver_sql(f"PRAGMA {name}").scalar()
                for name in ("journal_mode", "synchronous", "foreign_keys", "secure_delete")
            ]
            assert found == ["wal" if wal else "delete", 2 if wal else 3, 1, 1]
            assert connection.exec_driver_sql("PRAGMA busy_timeout").scalar() == 30_000
    assert Path(address).stat().st_mode & 0o077 == 0


def test_only_corrected_versions_of_sqlite_use_the_log() -> None:
    # https://sqlite.org/wal.html#walresetbug
    safe = [(3, 44, 6), (3, 44, 9), (3, 50, 7), (3, 51, 3), (3, 52, 0), (3, 53, 0), (4, 0, 0)]
    not_safe = [(3, 40, 1), (3, 44, 5), (3, 45, 3), (3, 49, 2), (3, 50, 6), (3, 51, 2)]
    assert [v for v in safe + not_safe if wal_is_safe(v)] == safe
