"""The databases on which everything about the store is tested."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import URL, create_engine, make_url

from photocheck.desk.store import DatabaseStore, engines, open_store

POSTGRESQL = "PHOTOCHECK_TEST_POSTGRESQL"


@pytest.fixture(params=["sqlite", "sqlite_wal", "postgresql"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """An empty place for a store, on each kind of database.

    This machine's SQLite may be too old to be let use its write-ahead log, or use it always;
    "sqlite" is the rollback journal and "sqlite_wal" the log, whatever the version.
    """
    if request.param == "postgresql":
        yield from new_database()
        return
    patch = request.getfixturevalue("monkeypatch")
    patch.setattr(engines, "wal_is_safe", lambda: request.param == "sqlite_wal")
    yield str(tmp_path / "orders.sqlite3")  # noqa: PT022


@pytest.fixture
def store(address: str) -> Iterator[DatabaseStore]:
    """An empty store."""
    opened = open_store(address)
    yield opened
    opened.close()


def new_database() -> Iterator[str]:
    """A database of its own in the PostgreSQL for tests; never left out in CI."""
    server = os.environ.get(POSTGRESQL)
    if not server:
        if os.environ.get("CI"):
            pytest.fail(f"{POSTGRESQL} is not set")
        pytest.skip('no PostgreSQL; start one with: eval "$(bash .ci/postgresql start)"')
    name = f"test_{secrets.token_hex(8)}"
    engine = create_engine(make_url(server), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    url: URL = make_url(server).set(database=name)
    yield url.render_as_string(hide_password=False)
    with engine.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    engine.dispose()
