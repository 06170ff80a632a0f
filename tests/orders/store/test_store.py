"""The store: what goes in comes out, history stays, orders are apart; on every database."""

from __future__ import annotations

import json
import multiprocessing
import os
import stat
import zipfile
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import closing
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import pytest
from sqlalchemy import select, text, update
from sqlalchemy.exc import DBAPIError

import photocheck
from photocheck.orders.draft import DogTold, Draft
from photocheck.orders.model import OrderError
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.orders.store.privacy import (
    FEWEST,
    LONGEST_PAUSE,
    MOST_SHARE,
    SKEW,
    Retention,
    TidyError,
    over_time,
    tidy,
    write_held,
)
from photocheck.orders.store.tables import UNCHANGING, orders, readings
from photocheck.server.run import recompute, run_check
from photocheck.speech import speaking
from tests.support.heard_of import fitted
from tests.support.learnt import learnt
from tests.support.places import SAMPLES
from tests.support.store_orders import JPEG, case_of, checked, report_of

pytestmark = pytest.mark.every_journal

LENGTHS = ("half_neck", "front_length", "rear_length", "full_length")


def test_a_draft_comes_back_as_it_was_typed(store: DatabaseStore) -> None:
    key = store.open("de")
    draft = {
        "name": 'Bär "ß" \u0000 \ud800 🐕',
        "readings": {"half_neck": "14½", "front_length": " 36,8 cm ", "rear_length": 1e-7},
        "dog": {"name": None},
        "photos": [],
        "z": [0.1, 1e22, -0.0, 2**60],
    }
    before = datetime.now(UTC)
    store.save_draft(key, Draft.from_dict({"half": "way"}))
    store.save_draft(key, Draft.from_dict(draft))
    order = store.order(key)
    assert repr(order.draft.to_dict()) == repr(draft)
    assert store.draft(key) == order.draft
    assert (order.language, order.state, order.checks) == ("de", "being_filled_in", ())
    assert order.opened.utcoffset() == timedelta(0)
    assert abs(order.opened - before) < timedelta(seconds=5)
    assert store.lines()[0].name == 'Bär "ß" \ufffd \ufffd 🐕'


def test_two_pages_that_change_one_draft_lose_nothing_of_each_other(
    store: DatabaseStore, address: str
) -> None:
    key = store.open()
    store.save_draft(key, Draft(name="one"))
    meanwhile = [Draft.from_dict({"name": "two"})]
    with closing(open_store(address)) as other:

        def named(draft: Draft) -> Draft:
            while meanwhile:  # the other saves between this one's look and its own saving
                assert other.change_draft(key, lambda _: meanwhile.pop())
            return draft.but("unit", "in")

        assert store.change_draft(key, named)
    assert store.draft(key).to_dict() == {"name": "two", "unit": "in"}
    assert store.lines()[0].name == "two"
    touched = store.stamp()
    assert not store.change_draft(key, lambda draft: draft)
    assert store.stamp() == touched
    with pytest.raises(OrderError):
        store.change_draft("x" * 43, named)


def test_a_check_comes_back_whole(store: DatabaseStore, address: str) -> None:
    key = store.open()
    files = [store.keep_photo(key, JPEG + bytes([n])) for n in range(2)]
    case, report = case_of(*files), report_of()
    with speaking("de"):
        check = store.record_check(key, case, report, by="Ann")
    decision = store.decide(key, "accepted", by="Ann", reason="looks\0 right", message="Hello")
    again = open_store(address)  # as another process would see it
    order = again.order(key)
    again.close()
    assert order.checks == (check,)
    assert check.report == report
    assert check.case == case
    assert (check.by, check.program, check.ratios, check.language) == (
        "Ann",
        photocheck.__version__,
        "",
        "de",
    )
    assert order.decisions == (decision,)
    assert decision.check == check.number
    assert (decision.by, decision.reason, decision.message) == ("Ann", "looks\ufffd right", "Hello")
    assert check.at <= decision.at
    assert decision.at.utcoffset() == timedelta(0)
    with store.reading() as connection:
        kept = connection.execute(select(readings).order_by(readings.c.mm)).all()
        seen = connection.execute(text("SELECT name, sha256 FROM check_photos ORDER BY position"))
        assert [tuple(row) for row in seen] == [
            (file, sha256(JPEG + bytes([n])).hexdigest()) for n, file in enumerate(files)
        ]
    # the numbers are by hand: 14 1/2 in is 14.5 * 25.4 mm
    assert [(row.reading, row.typed, row.unit, row.mm) for row in kept] == [
        ("half_neck", "14 1/2", "in", 368.3),
        ("rear_length", "18", "in", 457.2),
        ("front_length", "20 1/2 in", "in", 520.7),
        ("full_length", "33 1/2", "in", 850.9),
    ]


def test_a_photo_is_reached_only_through_its_own_order(store: DatabaseStore) -> None:
    mine, other = store.open(), store.open()
    content = JPEG + bytes(range(256)) * 4000
    name = store.keep_photo(mine, content)
    second = store.keep_photo(mine, b"\x89PNG" + b"\0" * 10)
    assert store.photo(mine, name) == content
    assert store.keep_photo(mine, content) == name
    assert second != name
    assert store.keep_photo(other, b"RIFF0000WEBP") == "photo-1.webp"
    for key, wrong in [
        (other, name),
        (mine, "photo-9.jpg"),
        (mine, "1"),
        (mine, "../" + name),
        (mine, name + "\0"),
        (mine, "%"),
        (mine, ""),
    ]:
        with pytest.raises(OrderError, match="no photo"):
            store.photo(key, wrong)
    with pytest.raises(OrderError, match="no photo"):
        store.record_check(other, case_of(name), report_of(), by="owner")
    assert store.order(other).checks == ()


@pytest.mark.parametrize("address", ["sqlite", "postgresql"], indirect=True)
def test_no_key_but_the_own_opens_an_order(store: DatabaseStore) -> None:
    key = store.open()
    assert len({store.open() for _ in range(50)} | {key}) == 51
    swapped = key[:-1] + ("A" if key[-1] != "A" else "B")
    for wrong in ("", "1", "0", "%", key[:-1], key + " ", swapped, key.upper() + "\0", "' OR 1=1"):
        for use in (
            store.order,
            store.draft,
            store.photos,
            store.forget,
            lambda k: store.save_draft(k, Draft()),
            lambda k: store.keep_photo(k, b"x"),
            lambda k: store.photo(k, "photo-1.jpg"),
            lambda k: store.record_check(k, Draft(), report_of(), by="x"),
            lambda k: store.decide(k, "accepted", by="x", reason=""),
            lambda k: store.note_cut(k, "cut", by="x", check=1),
            lambda k: store.hear(k, fitted()),
        ):
            with pytest.raises(OrderError, match="no such order"):
                use(wrong)
    assert store.order(key).key == key


def test_history_is_never_changed_and_goes_only_with_its_order(store: DatabaseStore) -> None:
    key, check = checked(store)
    store.decide(key, "accepted", by="Ann", reason="no")
    assert store.note_cut(key, "cut", by="Ann", check=check.number, content={"size": "small"})
    store.hear(key, fitted(check.number))
    other, _ = checked(store, name="Flint")
    before = store.order(key), store.photos(key)
    for table in UNCHANGING:
        for change in (
            f"UPDATE {table} SET order_id = order_id",
            f"DELETE FROM {table}",
            f"DELETE FROM {table} WHERE order_id = 1",
        ):
            with (
                pytest.raises(DBAPIError, match=r"never changed|only with their"),
                store.engine.begin() as connection,
            ):
                connection.execute(text(change))
    assert (store.order(key), store.photos(key)) == before
    store.forget(key)
    with store.reading() as connection:
        left = {
            table: connection.execute(text(f"SELECT DISTINCT order_id FROM {table}")).all()
            for table in UNCHANGING
        }
    bare = ("decisions", "cuts", "outcomes")
    assert left == {table: [(2,)] if table not in bare else [] for table in UNCHANGING}
    assert [line.key for line in store.lines()] == [other]


def test_numbers_of_forgotten_orders_do_not_come_again(store: DatabaseStore) -> None:
    key, first = checked(store)
    store.forget(key)
    _, second = checked(store)
    assert second.number > first.number
    with pytest.raises(OrderError):
        store.order(key)


def test_the_list_has_the_worst_of_those_that_wait_first(store: DatabaseStore) -> None:
    mild, _ = checked(store, name="mild", worst=1.5)
    done, _ = checked(store, name="done", worst=9.0)
    store.decide(done, "accepted", by="Ann", reason="")
    bad, worst = checked(store, name="bad", worst=-4.0)
    draft = store.open()
    again, last = checked(store, name="again", worst=2.0)
    store.decide(again, "asked_again", by="Ann", reason="")
    store.record_check(again, last.case, report_of("agrees", 2.5), by="owner")
    lines = store.lines()
    assert [line.key for line in lines[:3]] == [bad, mild, again]  # which agrees
    assert {line.key: line.state for line in lines} == {
        mild: "waiting",
        bad: "waiting",
        again: "waiting",
        done: "accepted",
        draft: "being_filled_in",
    }
    assert [line.worst for line in lines] == [4.0, 1.5, 2.5, 9.0, 0.0]
    for line in lines:
        order = store.order(line.key)
        assert (line.state, line.name) == (order.state, order.name)
    with pytest.raises(OrderError, match="not a decision"):
        store.decide(bad, "maybe", by="Ann", reason="")
    with pytest.raises(OrderError, match="checked again"):
        store.decide(again, "accepted", by="Ann", reason="", check=last.number)
    store.decide(bad, "accepted", by="Ann", reason="", check=worst.number)
    with pytest.raises(OrderError, match="not been checked"):
        store.decide(draft, "accepted", by="Ann", reason="")


@pytest.mark.slow
def test_many_threads_and_two_processes_share_one_store(address: str) -> None:
    shared = _open_one(address)
    with (
        ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("fork")) as others,
        ThreadPoolExecutor(8) as threads,
    ):
        far = [others.submit(_work, address, shared, n) for n in range(2)]
        store = open_store(address)
        near = [threads.submit(_steps, store, shared, n) for n in range(2, 10)]
        keys = [key for job in (*far, *near) for key in job.result(timeout=120)]
    assert len(set(keys)) == 10 * 2
    order = store.order(shared)
    assert len(order.checks) == 10 * 2
    assert len({check.number for check in order.checks}) == 20
    assert len(store.photos(shared)) == 10
    for key in keys:
        assert [check.case.to_dict()["name"] for check in store.order(key).checks] == [key]
    store.close()


def _work(address: str, shared: str, number: int) -> list[str]:
    return _steps(open_store(address), shared, number)


def _steps(store: DatabaseStore, shared: str, number: int) -> list[str]:
    keys = []
    for _ in range(2):
        key = store.open()
        file = store.keep_photo(key, JPEG * 1000)
        store.save_draft(key, case_of(file, name=key))
        store.record_check(key, case_of(file, name=key), report_of(), by=str(number))
        name = store.keep_photo(shared, JPEG + str(number).encode())
        store.record_check(shared, case_of(name), report_of(), by=str(number))
        keys.append(key)
    return keys


@pytest.mark.slow
def test_processes_may_all_be_the_first_to_open(address: str) -> None:
    with ProcessPoolExecutor(4, mp_context=multiprocessing.get_context("fork")) as others:
        keys = list(others.map(_open_one, [address] * 8, timeout=120))
    store = open_store(address)
    assert {line.key for line in store.lines()} == set(keys)
    store.close()


def _open_one(address: str) -> str:
    with closing(open_store(address)) as store:
        return store.open()


# --- the same digits again --------------------------------------------------------


def sample(store: DatabaseStore) -> str:
    folder = SAMPLES / "moss"
    data = json.loads((folder / "case.json").read_text(encoding="utf-8"))
    key = store.open()
    for photo in data["photos"]:
        photo["file"] = store.keep_photo(key, (folder / photo["file"]).read_bytes())
    store.save_draft(key, Draft.from_dict(data))
    return key


@pytest.mark.slow
@pytest.mark.parametrize("address", ["sqlite", "postgresql"], indirect=True)
def test_a_check_is_made_again_to_the_same_digits(store: DatabaseStore) -> None:
    key = sample(store)
    plain = run_check(store, key, by="owner")
    with speaking("de"):
        own = run_check(store, key, by="Ann", ratios=learnt())
    assert own.ratios == learnt().current
    assert own.report.spans != plain.report.spans
    for check in store.order(key).checks:
        assert recompute(store, key, check) == check.report
    with pytest.raises(OrderError, match="not kept"):
        store.ratios("2-0")


# --- privacy ----------------------------------------------------------------------

MARKER = "Zyxwvut-Qponmlk-marker"
PHOTO_MARKER = sha256(b"photo").digest() * 64


@pytest.mark.slow
@pytest.mark.parametrize("address", ["sqlite", "sqlite_wal"], indirect=True)
def test_nothing_of_a_forgotten_order_is_left_in_any_byte(
    store: DatabaseStore, tmp_path: Path
) -> None:
    reader = open_store(str(store.engine.url.database))  # a second desk, with a look now and then
    others = [checked(store, name=f"dog {n}")[0] for n in range(5)]
    victims = []
    for n in range(12):
        key = store.open()
        victims.append(key)
        file = store.keep_photo(key, JPEG + PHOTO_MARKER * (1 + n * 7))
        for length in range(1, 60, 4):  # drafts that grow, shrink and split pages
            dog = DogTold(breed=MARKER * (length * 3 % 41))
            store.save_draft(key, Draft(name=MARKER, dog=dog))
        case = case_of(file, name=MARKER)
        store.record_check(key, case, report_of(), by=MARKER)
        store.decide(key, "refused", by=MARKER, reason=MARKER, message=MARKER * 50)
        others.append(checked(store, name=f"between {n}")[0])
        reader.lines()
    assert _holding(tmp_path, MARKER.encode())
    for key in victims:
        store.forget(key)
    for trace in (MARKER.encode(), PHOTO_MARKER[:32], *(key.encode() for key in victims)):
        assert not _holding(tmp_path, trace)
    assert {line.key for line in store.lines()} == set(others)
    reader.close()


def _holding(folder: Path, trace: bytes) -> list[str]:
    return [str(file) for file in folder.rglob("*") if trace in file.read_bytes()]


def test_what_is_over_its_time_goes_and_what_waits_stays(store: DatabaseStore) -> None:
    draft = store.open()
    waiting, _ = checked(store)
    done, _ = checked(store)
    store.decide(done, "accepted", by="Ann", reason="")
    now = datetime.now(UTC)
    keep = Retention(drafts_days=10, decided_days=100)

    def gone_in(days: float) -> set[str]:
        return set(over_time(store, keep, now=now + timedelta(days=days)))

    assert gone_in(9.9) == set()
    assert gone_in(10.1) == {draft}
    assert gone_in(99.9) == {draft}
    assert gone_in(100.1) == gone_in(1e5) == {draft, done}
    assert tidy(store, keep, now=now + timedelta(days=101), unasked=False) == (2, 0)
    assert [line.key for line in store.lines()] == [waiting]


def aged(store: DatabaseStore, days: float, *keys: str) -> None:
    """Have orders been touched that long ago."""
    then = datetime.now(UTC) - timedelta(days=days)
    with store.writing() as connection:
        connection.execute(update(orders).where(orders.c.key.in_(keys)).values(touched=then))


def test_a_clock_that_jumped_has_nothing_deleted_unasked(store: DatabaseStore) -> None:
    keys = [checked(store, name=str(n))[0] for n in range(3)]
    for key in keys:
        store.decide(key, "accepted", by="Ann", reason="")
    now = datetime.now(UTC)
    for days, said in ((800, "clock has jumped"), (61, "clock has jumped"), (-1, "stands before")):
        with pytest.raises(TidyError, match=said):
            tidy(store, now=now + timedelta(days=days))
    assert tidy(store, now=now + timedelta(days=59)) == (0, 0)
    assert tidy(store, now=now - timedelta(seconds=200)) == (0, 0)  # another machine's clock
    assert len(store.lines()) == 3
    assert tidy(store, now=now + timedelta(days=800), unasked=False) == (3, 0)


@pytest.mark.parametrize("address", ["sqlite"], indirect=True)
def test_a_clock_is_doubted_from_its_bounds_on_and_not_before(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    last, moment = datetime(2026, 5, 1, tzinfo=UTC), timedelta(microseconds=1)
    monkeypatch.setattr(DatabaseStore, "last_written", lambda _: last)
    for now in (last - SKEW, last + LONGEST_PAUSE):
        assert tidy(store, now=now) == (0, 0)
    for now in (last - SKEW - moment, last + LONGEST_PAUSE + moment):
        with pytest.raises(TidyError):
            tidy(store, now=now)


def test_no_more_than_a_share_of_all_orders_goes_unasked(store: DatabaseStore) -> None:
    keys = [store.open() for _ in range(FEWEST + 1)]
    aged(store, 31, *keys[1:])
    assert len(over_time(store, Retention())) == FEWEST
    aged(store, 31, *keys)
    with pytest.raises(TidyError, match="21 of 21 orders"):
        tidy(store)
    assert len(store.lines()) == FEWEST + 1
    fresh = [store.open() for _ in range(4 * (FEWEST + 1))]
    assert tidy(store) == (FEWEST + 1, 0)
    assert {line.key for line in store.lines()} == set(fresh)
    assert (MOST_SHARE, FEWEST, LONGEST_PAUSE.days) == (0.2, 20, 60)


def test_what_is_over_its_time_by_the_days_of_shipped_goes_then_and_not_before(
    store: DatabaseStore,
) -> None:
    draft, done, busy = store.open(), checked(store)[0], store.open()
    store.decide(done, "accepted", by="Ann", reason="")
    now = datetime.now(UTC)

    def going(days: float) -> set[str]:
        return set(over_time(store, Retention(), now=now + timedelta(days=days))) - {busy}

    assert (going(29.9), going(30.1)) == (set(), {draft})
    assert (going(729.9), going(730.1)) == ({draft}, {draft, done})
    assert going(-40) == set()


def test_everything_held_about_one_owner_is_in_one_file(
    store: DatabaseStore, tmp_path: Path
) -> None:
    key, check = checked(store)
    unused = store.keep_photo(key, b"\x89PNG unused")
    store.decide(key, "refused", by="Ann", reason="too odd", message="Sorry")
    other, _ = checked(store, name="Somebody else's")
    write_held(store, key, tmp_path / "held.zip")
    with zipfile.ZipFile(tmp_path / "held.zip") as archive:
        told = json.loads(archive.read("order.json"))
        files = {name: archive.read(name) for name in archive.namelist()}
    assert files.pop("order.json").find(other.encode()) == -1
    assert files == {
        f"photos/{photo.name}": store.photo(key, photo.name) for photo in store.photos(key)
    }
    assert f"photos/{unused}" in files
    assert told["checks"][0]["case"] == check.case.to_dict()
    assert told["decisions"][0]["reason"] == "too odd"
    assert told["photos"][0]["sha256"] == sha256(JPEG + b"Juno").hexdigest()
    assert photocheck.__version__ == told["checks"][0]["program"]


def test_a_new_store_is_its_owners_alone(tmp_path: Path) -> None:
    """Whatever rights new files and folders get elsewhere."""
    before = os.umask(0)
    try:
        open_store(str(tmp_path / "shop" / "orders" / "orders.sqlite3")).close()
    finally:
        os.umask(before)
    folder = tmp_path / "shop" / "orders"
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert stat.S_IMODE((folder / "orders.sqlite3").stat().st_mode) == 0o600
