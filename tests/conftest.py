"""The databases on which everything about the store is tested, and what tests leave behind."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from photocheck.orders.store import DatabaseStore, engines, open_store
from tests.support.store_database import new_database

# The command line speaks the language of its environment; what tests read of it is English.
os.environ["LC_ALL"] = "C.UTF-8"


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--thorough",
        action="store_true",
        help="slow tests with as many kills, files, inputs and visitors as the published figures",
    )


@pytest.fixture
def thorough(request: pytest.FixtureRequest) -> bool:
    """Whether a slow test shall do all it can, instead of what CI has time for."""
    return bool(request.config.getoption("--thorough"))


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


@pytest.fixture(autouse=True)
def _own_main_module() -> Iterator[None]:
    """Streamlit's tests put the page in the main module's place, which every new process of
    `multiprocessing` then runs.
    """
    kept = sys.modules["__main__"]
    yield
    sys.modules["__main__"] = kept
