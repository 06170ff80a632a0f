"""The databases on which everything about the store is tested, and what tests leave behind."""

from __future__ import annotations

import gc
import os
import shutil
import sqlite3
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from sqlalchemy import event
from sqlalchemy.pool import Pool

from photocheck.orders.store import DatabaseStore, engines, open_store
from photocheck.server.access.door_secret import SECRET_VARIABLE
from photocheck.uploads import take
from tests.support import checked_samples
from tests.support.compiled_once import compiled_once
from tests.support.decoding import Here
from tests.support.seen_once import seen_once
from tests.support.store_database import drop_databases, new_database
from tests.support.tables_copied import tables_copied

# CI collects this folder alone for the tests marked "browser".
BROWSERS = Path(__file__).parent / "browser"

# The command line speaks the language of its environment; what tests read of it is English.
os.environ["LC_ALL"] = "C.UTF-8"

# No test holds a clock to anything: Hypothesis would, except where CI is said.
settings.register_profile("unhurried", settings(), deadline=None)
settings.load_profile("unhurried")

# While tests are collected next to nothing becomes garbage, and a third of that time went into
# looking for some (`pytest_collection_finish`).
gc.disable()


@pytest.fixture(autouse=True, scope="session")
def _own_door_secret(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No test makes or reads the secret of whoever runs it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(SECRET_VARIABLE, str(tmp_path_factory.mktemp("doors") / "secret"))
        yield


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--thorough",
        action="store_true",
        help="slow tests with as many kills, files, inputs and visitors as the published figures",
    )


@pytest.fixture(autouse=True, scope="session")
def _samples_are_checked_once(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[None]:
    """By one of the processes among which pytest-xdist parts the tests.

    The environment does not tell those: a run that a test starts has inherited it, and the
    folder above its own is that of every run on this machine.
    """
    own = tmp_path_factory.getbasetemp()
    folder = (own.parent if hasattr(request.config, "workerinput") else own) / "checked"
    folder.mkdir(exist_ok=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(checked_samples, "shared", folder)
        yield


@pytest.fixture
def thorough(request: pytest.FixtureRequest) -> bool:
    """Whether a slow test shall do all it can, instead of what CI has time for."""
    return bool(request.config.getoption("--thorough"))


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line(
        "markers",
        "every_journal: the store is tried with both of SQLite's journals, for this test is about "
        "what they keep, lose, copy, clear or lock",
    )


def pytest_collection_finish() -> None:
    """What is imported stays: the collector need not walk through it again in every test.

    And it need not come after every 700 things that were made: with these figures it takes a
    tenth of the time, and at the most some ten thousand small things wait for it.
    """
    gc.collect()
    gc.freeze()
    gc.enable()
    gc.set_threshold(20_000, 20, 20)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Every test of a store runs on SQLite and, among the slow tests, on PostgreSQL.

    SQLite's second journal is for tests that say so (`every_journal`): to all others a
    transaction is a transaction.
    """
    told = metafunc.definition.iter_markers("parametrize")
    if "address" in metafunc.fixturenames and not any("address" in mark.args[0] for mark in told):
        both = metafunc.definition.get_closest_marker("every_journal")
        databases = ["sqlite", *(["sqlite_wal"] if both else []), "postgresql"]
        metafunc.parametrize("address", databases, indirect=True)


def pytest_make_parametrize_id(val: object, argname: str) -> str | None:
    """A file's bytes name no test: they may hold the moment they were made at.

    pytest-xdist's processes must find the same names; newer pytests leave long ones out themselves.
    """
    return argname if isinstance(val, bytes) and len(val) > 100 else None


@pytest.hookimpl(tryfirst=True)  # before pytest leaves out what was not asked for
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        drawn = getattr(item, "callspec", None)  # of what a test is parametrized by
        if drawn is not None and drawn.params.get("address") == "postgresql":
            item.add_marker(pytest.mark.slow)
        if item.get_closest_marker("browser") and BROWSERS not in item.path.parents:
            raise pytest.UsageError(f"{item.nodeid} drives a browser outside {BROWSERS}")


@pytest.fixture
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


@pytest.fixture(autouse=True, scope="session")
def _files_are_not_synced() -> Iterator[None]:
    """Tests kill processes, never the machine: what was told to be kept need not reach a disk.

    Of the store's own setting of SQLite `synced` is for the test that reads it.
    """
    event.listen(Pool, "checkout", _unsynced)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda _handle: None)
        yield
    event.remove(Pool, "checkout", _unsynced)


def _unsynced(connection: Any, _record: Any, _proxy: Any) -> None:
    if isinstance(connection, sqlite3.Connection):
        connection.execute("PRAGMA synchronous = OFF")


@pytest.fixture
def synced(_files_are_not_synced: None) -> Iterator[None]:
    """The store's own setting of how SQLite reaches the disk holds for this test."""
    event.remove(Pool, "checkout", _unsynced)
    yield
    event.listen(Pool, "checkout", _unsynced)


@pytest.fixture(autouse=True, scope="session")
def _pictures_are_looked_at_once() -> Iterator[None]:
    with seen_once():
        yield


@pytest.fixture(autouse=True, scope="session")
def _no_database_is_left() -> Iterator[None]:
    yield
    drop_databases()


@pytest.fixture
def decoded_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Photos are decoded in this process (`tests.support.decoding`)."""
    monkeypatch.setattr(take, "subprocess", Here)


@pytest.fixture
def checked_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Commands check orders in threads of this process; `photocheck.batch.lanes` has its tests."""
    from photocheck.batch import lanes

    monkeypatch.setattr(lanes, "Lanes", ThreadPoolExecutor)


@pytest.fixture
def cheap_passwords(monkeypatch: pytest.MonkeyPatch) -> None:
    """Argon2 at the least cost it has, for tests in which nobody guesses passwords."""
    from argon2 import PasswordHasher

    from photocheck.server.access import staff

    hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(staff, "_hasher", lambda: hasher)
    monkeypatch.setattr(staff, "_nobodys", lambda: hasher.hash("nobody's password"))


@pytest.fixture(scope="session")
def empty_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A file of SQLite's with this version's tables, made once; making them is tested apart."""
    path = tmp_path_factory.mktemp("empty") / "orders.sqlite3"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(engines, "wal_is_safe", lambda: False)  # opened with the log, it gets one
        open_store(str(path)).close()
    return path


@pytest.fixture(autouse=True, scope="session")
def _new_tables_are_copied(empty_store: Path) -> Iterator[None]:
    with tables_copied(empty_store):
        yield


@pytest.fixture(autouse=True, scope="session")
def _statements_are_compiled_once() -> Iterator[None]:
    with compiled_once():
        yield


@pytest.fixture
def store(address: str, empty_store: Path) -> Iterator[DatabaseStore]:
    """An empty store."""
    if "://" not in address:
        shutil.copy(empty_store, address)  # with its permissions
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
