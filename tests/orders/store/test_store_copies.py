"""Copies of the store and the way back, rehearsed on every database and between them."""

from __future__ import annotations

import multiprocessing
import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from multiprocessing.synchronize import Event
from pathlib import Path

import pytest

from photocheck.cli.main import run
from photocheck.orders.draft import Draft
from photocheck.orders.model import Order, OrderError, StoreError
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.orders.store.brought import Brought, find_brought, put_order
from photocheck.orders.store.copies import back_up, restore, side_copies
from photocheck.orders.store.privacy import Retention, tidy
from tests.support.store_database import new_database
from tests.support.store_orders import case_of, checked, report_of

pytestmark = pytest.mark.every_journal


def everything(store: DatabaseStore) -> dict[str, tuple[Order, dict[str, bytes]]]:
    return {
        line.key: (
            store.order(line.key),
            {p.name: store.photo(line.key, p.name) for p in store.photos(line.key)},
        )
        for line in store.lines()
    }


@pytest.fixture(autouse=True)
def _own_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def _write_on(address: str, key: str, stop: Event) -> None:
    """Drafts that tell how many checks there are, each followed by one check more."""
    with closing(open_store(address)) as store:
        while not stop.is_set():
            order = store.order(key)
            store.save_draft(key, Draft(name=str(len(order.checks))))
            store.record_check(key, order.checks[-1].case, report_of(), by="owner")


@contextmanager
def writing_on(address: str, key: str) -> Iterator[None]:
    """Another process writes meanwhile, and is never told that it could not."""
    fork = multiprocessing.get_context("fork")
    stop = fork.Event()
    process = fork.Process(target=_write_on, args=(address, key, stop))
    process.start()
    try:
        yield
    finally:
        stop.set()
        process.join(60)
    assert process.exitcode == 0


@pytest.mark.slow
def test_copies_while_another_process_writes(address: str, tmp_path: Path) -> None:
    with closing(open_store(address)) as store:
        key, _ = checked(store)
        still = [checked(store, name=str(n))[0] for n in range(3)]
    copies = [tmp_path / f"copy-{n}" for n in range(4)]
    with writing_on(address, key), closing(open_store(address)) as store:
        for path in copies:
            back_up(store, path)
            before = len(store.order(key).checks)
            while len(store.order(key).checks) == before:
                pass
        _, aside = restore(address, copies[0])
        while len(store.order(key).checks) < 5:
            pass
        here = store.order(key)
    assert aside is not None
    last = 0
    for path in (*copies, aside):
        assert path.stat().st_mode & 0o077 == 0
        with closing(open_store(str(path))) as copy:
            assert set(still) < {line.key for line in copy.lines()}
            order = copy.order(key)
            if order.draft.to_dict()["name"] != "Juno":  # one moment: the draft counts the checks
                assert int(str(order.draft.to_dict()["name"])) in (
                    len(order.checks) - 1,
                    len(order.checks),
                )
            assert len(order.checks) >= last
            last = len(order.checks)
            if path == copies[0]:
                assert here.checks[: len(order.checks)] == order.checks
    assert list(tmp_path.glob(".*")) == []


@pytest.mark.slow
def test_back_again_after_a_mishap(store: DatabaseStore, address: str, tmp_path: Path) -> None:
    kept, check = checked(store)
    store.decide(kept, "accepted", by="Ann", reason="fine", message="Thanks")
    gone, _ = checked(store, name="to forget")
    store.keep_photo(kept, b"unused" * 100_000)
    before = everything(store)
    held = back_up(store, tmp_path / "copy")
    assert (held.orders, held.photos) == (2, 3)
    store.forget(gone)
    later, _ = checked(store, name="later")
    store.save_draft(kept, Draft(name="changed by mishap"))
    mishap = everything(store)

    # the store stays open meanwhile, as a running desk's would
    held, aside = restore(address, tmp_path / "copy")
    assert held.orders == 1  # what was forgotten does not come back
    before.pop(gone)
    assert everything(store) == before
    assert aside is not None
    with closing(open_store(str(aside))) as copy:
        assert everything(copy) == mishap
    # numbers go on after those of the orders that the restore took away
    assert store.record_check(kept, check.case, report_of(), by="x").number > 3
    with pytest.raises(OrderError):
        store.order(later)
    # and once more: a forgotten order stays forgotten through copies of copies
    held, again = restore(address, aside)
    assert {line.key for line in store.lines()} == {kept, later}
    assert again is not None
    assert side_copies(store) == (aside, again)
    now = datetime.now(UTC)
    assert tidy(store, Retention(copies_days=1), now=now + timedelta(hours=23)) == (0, 0)
    assert tidy(store, Retention(copies_days=1), now=now + timedelta(hours=25)) == (0, 2)
    assert side_copies(store) == ()


@pytest.mark.slow
def test_a_shop_can_move_from_one_database_to_the_other(
    store: DatabaseStore, tmp_path: Path
) -> None:
    key, check = checked(store)
    store.keep_photo(key, bytes(range(256)))
    before = everything(store)
    back_up(store, tmp_path / "copy")
    moves = new_database() if store.engine.dialect.name == "sqlite" else None
    there = next(moves) if moves else str(tmp_path / "moved.sqlite3")
    assert restore(there, tmp_path / "copy")[1] is None
    with closing(open_store(there)) as moved:
        assert everything(moved) == before
        assert moved.record_check(key, check.case, report_of(), by="x").number == check.number + 1
        assert moved.keep_photo(key, b"more") == "photo-3"
        checked(moved)
    if moves:
        next(moves, None)


@pytest.mark.parametrize("address", ["sqlite", "postgresql"], indirect=True)
def test_a_bad_copy_changes_nothing(store: DatabaseStore, address: str, tmp_path: Path) -> None:
    checked(store)
    before = everything(store)
    good = tmp_path / "good"
    back_up(store, good)
    content = good.read_bytes()
    bad = tmp_path / "bad"
    half = len(content) // 2
    for wrong in (
        b"",
        b"no database at all",
        content[:half],
        content[:half] + os.urandom(4096) + content[half + 4096 :],
    ):
        bad.write_bytes(wrong)
        with pytest.raises(StoreError, match="not a whole copy"):
            restore(address, bad)
    shutil.copy(good, bad)
    with closing(sqlite3.connect(bad)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    with pytest.raises(StoreError, match="newer photocheck"):
        restore(address, bad)
    with pytest.raises(StoreError, match="no such file"):
        restore(address, tmp_path / "missing")
    assert everything(store) == before
    assert side_copies(store) == ()


@pytest.mark.slow
@pytest.mark.parametrize("address", ["sqlite", "sqlite_wal"], indirect=True)
def test_a_damaged_store_is_kept_aside_as_it_is(address: str, tmp_path: Path) -> None:
    with closing(open_store(address)) as store:
        checked(store)
        before = everything(store)
        back_up(store, tmp_path / "copy")
    file = Path(address)
    damaged = b"SQLite format 3\0" + os.urandom(file.stat().st_size)
    file.write_bytes(damaged)
    with pytest.raises(StoreError):
        open_store(address)
    _, aside = restore(address, tmp_path / "copy")
    with closing(open_store(address)) as store:
        assert everything(store) == before
    assert aside is not None
    assert aside.read_bytes() == damaged


@pytest.mark.parametrize("address", ["sqlite", "postgresql"], indirect=True)
def test_the_commands(
    store: DatabaseStore,
    address: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("PHOTOCHECK_STORE", address)
    monkeypatch.chdir(tmp_path)
    key, _ = checked(store)
    stays, _ = checked(store)
    assert run(["backup", "copy"]) == 0
    assert "2 orders with 2 photos" in capsys.readouterr().out
    assert run(["held", key, "-o", "owner.zip"]) == 0
    assert Path("owner.zip").stat().st_size > 1000
    assert run(["forget", key, "--yes"]) == 0
    assert run(["restore", "copy", "--yes"]) == 0
    assert "1 order with 1 photo" in capsys.readouterr().out
    assert [line.key for line in store.lines()] == [stays]
    assert run(["forget", "--over-time", "--decided-days", "0", "--yes"]) == 0
    assert "0 orders" in capsys.readouterr().out
    for bad in (
        ["forget", key, "--yes"],
        ["forget"],
        ["forget", stays, "--over-time", "--yes"],
        ["forget", stays, "--drafts-days", "3", "--yes"],
        ["held", key],
        ["backup", "owner.zip"],
        ["backup", "missing/copy"],
        ["restore", "owner.zip", "--yes"],
    ):
        assert run(bad) == 2, bad
        said = capsys.readouterr()
        assert said.err.startswith("photocheck: ") or "Usage" in said.err
        assert "Traceback" not in said.err
    assert not Path("held.zip").exists()
    assert [line.key for line in store.lines()] == [stays]
    if store.engine.dialect.name == "sqlite":
        assert run(["backup", address]) == 2  # never over itself
        assert run(["backup", "copy", "--store", str(tmp_path / "mistyped")]) == 2
        assert not Path("mistyped").exists()


def test_case_files_of_a_copy_keep_what_was_typed(store: DatabaseStore, tmp_path: Path) -> None:
    key = store.open()
    file = store.keep_photo(key, b"x")
    more = {"readings": {"half_neck": "14½ \u0000"}, "n": 0.1 + 0.2}
    case = Draft.from_dict({**case_of(file).to_dict(), **more})
    store.record_check(key, case, report_of(), by="\ud800")
    back_up(store, tmp_path / "copy")
    with closing(open_store(str(tmp_path / "copy"))) as copy:
        assert copy.order(key) == store.order(key)
        assert copy.order(key).checks[0].case == case
        assert copy.order(key).checks[0].case.to_dict() == case.to_dict()


def test_what_was_imported_comes_back_with_its_origin(address: str, tmp_path: Path) -> None:
    with closing(open_store(address)) as store:
        kept, _ = put_order(store, Draft(), {}, origin="a" * 64, content="c" * 64, language="en")
        back_up(store, tmp_path / "copy")
        gone, _ = put_order(store, Draft(), {}, origin="b" * 64, content="c" * 64, language="en")
    restore(address, tmp_path / "copy")
    with closing(open_store(address)) as store:
        assert find_brought(store, "a" * 64) == Brought(kept, "c" * 64)
        assert find_brought(store, "b" * 64) is None
        with pytest.raises(OrderError):
            store.order(gone)
