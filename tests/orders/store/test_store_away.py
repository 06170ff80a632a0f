"""The store goes away under a program that runs: told as that, nothing lost, and on by itself."""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from photocheck.orders.draft import Draft
from photocheck.orders.model import StoreError
from photocheck.orders.store import DatabaseStore, engines, open_store, rows
from tests.support.store_orders import checked


@pytest.fixture
def file(empty_store: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(empty_store, tmp_path / "orders.sqlite3"))


def test_a_file_that_is_gone_takes_nothing_and_goes_on_when_it_is_back(file: Path) -> None:
    with closing(open_store(str(file))) as store:
        key, _ = checked(store)
        away = file.with_name("elsewhere")
        os.replace(file, away)
        for act in (
            lambda: store.save_draft(key, Draft(name="to nowhere")),
            lambda: store.order(key),
            store.prove_writing,
        ):
            with pytest.raises(StoreError):
                act()
        assert not file.exists()  # nor is an empty one made in its place
        os.replace(away, file)
        store.save_draft(key, Draft(name="back"))
        store.prove_writing()
        assert store.draft(key).name == "back"


def test_a_file_put_in_its_place_is_the_one_that_is_used(file: Path, tmp_path: Path) -> None:
    with closing(open_store(str(file))) as store:
        key, _ = checked(store)
        other = Path(shutil.copy(file, tmp_path / "another"))
        with closing(open_store(str(other))) as elsewhere:
            elsewhere.save_draft(key, Draft(name="the other"))
        os.replace(other, file)
        assert store.draft(key).name == "the other"
        store.save_draft(key, Draft(name="kept there"))
    with closing(open_store(str(file))) as again:
        assert again.draft(key).name == "kept there"


def test_a_store_that_is_locked_is_told_and_goes_on(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engines, "BUSY_SECONDS", 0.01)
    with closing(open_store(str(file))) as store, closing(sqlite3.connect(file)) as other:
        key, _ = checked(store)
        other.execute("BEGIN EXCLUSIVE")
        for act in (lambda: store.save_draft(key, Draft()), store.prove_writing):
            with pytest.raises(StoreError, match="cannot be read or written"):
                act()
        other.rollback()
        store.save_draft(key, Draft(name="after"))
        assert store.draft(key).name == "after"


@pytest.mark.parametrize("address", ["postgresql"], indirect=True)
def test_an_order_that_another_server_holds_for_ever_is_told_and_goes_on(
    address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engines, "BUSY_SECONDS", 0.02)
    with closing(open_store(address)) as store, closing(open_store(address)) as other:
        key, _ = checked(store)
        with other.writing() as connection:
            rows.head_of(connection, key, lock=True)
            with pytest.raises(StoreError, match="lock timeout"):
                store.save_draft(key, Draft(name="meanwhile"))
            store.prove_writing()
        store.save_draft(key, Draft(name="after"))
        assert store.draft(key).name == "after"


def test_a_database_whose_machine_is_gone_is_noticed_from_either_side() -> None:
    told = engines.postgresql_settings()
    # libpq's and the server's names for it; seconds, and milliseconds for the user timeout
    assert told["connect_timeout"] == 30
    assert told["tcp_user_timeout"] == 30_000
    idle, interval, count = (told[f"keepalives_{name}"] for name in ("idle", "interval", "count"))
    assert idle + interval * count <= 60
    for name, seconds in (("idle", idle), ("interval", interval), ("count", count)):
        assert f"-c tcp_keepalives_{name}={seconds} " in f"{told['options']} "


def test_a_disk_that_is_full_is_told_and_nothing_is_torn(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with closing(open_store(str(file))) as store:
        key, _ = checked(store)
        with store.reading() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        # SQLite's own bound on a file says the same as a disk does (SQLITE_FULL)
        limited(store, pages)
        with pytest.raises(StoreError, match="full"):
            store.keep_photo(key, os.urandom(200_000))
        assert len(store.photos(key)) == 1
        limited(store, 1_000_000)
        store.keep_photo(key, os.urandom(200_000))
        assert len(store.photos(key)) == 2


def limited(store: DatabaseStore, pages: int) -> None:
    with store.reading() as connection:
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")
