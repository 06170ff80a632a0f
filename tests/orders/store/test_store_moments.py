"""Bounds of the store, at the very moment, byte and number they stand for."""

from __future__ import annotations

import logging
import os
import sqlite3
import stat
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, ClassVar

import pytest
from sqlalchemy import URL, select, update
from sqlalchemy.exc import DBAPIError

from photocheck.orders.model import Heard, Order, OrderError, StoreError
from photocheck.orders.store import (
    DatabaseStore,
    database,
    engines,
    kept_counts,
    kept_looks,
    numbers,
    open_store,
    opening,
    privacy,
    rows,
    schema,
    unfinished,
)
from photocheck.orders.store import kept_changes as changes
from photocheck.orders.store.copies import back_up, side_copies, side_copy
from photocheck.orders.store.kept_clients import Calls, Client, every_client
from photocheck.orders.store.privacy import Retention, over_time, tidy, write_held
from photocheck.orders.store.tables import deliveries, looking, orders
from photocheck.server.access import door_secret
from photocheck.server.access.clients import make_client
from tests.support.store_orders import JPEG, case_of, checked, report_of

NOW = datetime(2026, 5, 1, 12, tzinfo=UTC)
MOMENT = timedelta(microseconds=1)


class Frozen(datetime):
    at: ClassVar[datetime] = NOW

    @classmethod
    def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
        return cls.at


@pytest.fixture(autouse=True)
def _own_data(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


# --- who looks at what --------------------------------------------------------------


def test_a_page_shows_an_order_until_it_was_silent_for_so_long(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kept_looks, "datetime", Frozen)
    key, other = store.open(), store.open()

    def seen() -> tuple[str, ...]:
        return kept_looks.others(store, key, page="mine", by="Olga")

    def kept() -> set[str]:
        with store.reading() as connection:
            return set(connection.execute(select(looking.c.page)).scalars())

    Frozen.at = NOW
    for page, by in (("a", "Ines"), ("b", "Ada"), ("c", "Ada"), ("mine", "Ben"), ("d", "Olga")):
        kept_looks.look(store, key, page=page, by=by)
    assert seen() == ("Ada", "Ines")
    Frozen.at = NOW + timedelta(seconds=30) - MOMENT
    assert seen() == ("Ada", "Ines")
    kept_looks.look(store, key, page="a", by="Ines")
    Frozen.at = NOW + timedelta(seconds=30)
    assert seen() == ("Ines",)
    assert kept() == {"a", "b", "c", "d", "mine"}
    kept_looks.look(store, other, page="e", by="Eve")
    assert kept() == {"a", "e"}
    assert seen() == ("Ines",)
    for by, right in (("x" * 60, True), ("x" * 61, False)):
        if right:
            kept_looks.look(store, key, page="f", by=by)
        else:
            with pytest.raises(OrderError):
                kept_looks.look(store, key, page="f", by=by)


def test_a_window_holds_what_lies_within_it(store: DatabaseStore) -> None:
    def wait(now: float, most: int = 1) -> float:
        return kept_counts.wait_s(store, "x", most=most, window_s=100, now=now)

    def take(now: float, cost: int = 1, most: int = 3) -> float:
        return kept_counts.take(store, "x", most=most, window_s=100, cost=cost, now=now)

    assert wait(1000.0) == 0
    assert take(1000.0, 3) == 0
    assert take(1000.0) == 100
    assert (wait(1000.0, 4), wait(1000.0, 3)) == (0, 100)
    assert wait(1099.9, 3) == pytest.approx(0.1)
    assert wait(1100.0, 3) == 0
    # a clock that was ahead by no more than a window counts; by more, it does not
    assert (wait(900.0, 3), wait(899.9, 3)) == (200, 0)
    assert take(1050.0, 0) == 0


# --- what is told -------------------------------------------------------------------


def subscribed(store: DatabaseStore) -> Client:
    make_client(store, "Printer", calls=Calls(("hooks.example",)))
    (client,) = every_client(store)
    made = changes.put_subscription(
        store, client, "https://hooks.example/", nonce="n", secret_sha256="s", most=1
    )
    assert made is not None
    assert (made.client, made.waiting, made.said, made.ended) == (client.id, 0, "", None)
    return client


def due(store: DatabaseStore, now: datetime) -> Any:
    return changes.take_due(store, now=now, lease_s=30)


def test_what_is_due_is_taken_from_its_moment_on_and_again_after_the_lease(
    store: DatabaseStore,
) -> None:
    client = subscribed(store)
    assert (
        changes.put_subscription(
            store, client, "https://hooks.example/", nonce="m", secret_sha256="s", most=1
        )
        is None
    )
    assert not due(store, NOW)
    store.open()
    changes.number_changes(store)
    with store.writing() as connection:
        connection.execute(deliveries.update().values(due=NOW))
    assert due(store, NOW - MOMENT) is None
    first = due(store, NOW)
    assert (first.tries, first.subscription.client) == (1, client.id)
    assert due(store, NOW + timedelta(seconds=30) - MOMENT) is None
    assert due(store, NOW + timedelta(seconds=30)).tries == 2
    changes.not_told(store, first, due=NOW + timedelta(hours=1), said="x" * 81)
    (one,) = changes.subscriptions_of(store, client)
    assert (one.said, one.waiting) == ("x" * 80, 1)
    assert due(store, NOW + timedelta(hours=1) - MOMENT) is None
    last = due(store, NOW + timedelta(hours=1))
    changes.give_up(store, last, why="no answer")
    (one,) = changes.subscriptions_of(store, client)
    assert (one.why, one.waiting, one.ended is None) == ("no answer", 0, False)
    assert not changes.any_subscription(store)
    ended = one.ended
    assert changes.end_subscription(store, client, one.id)  # what has ended stays as it was
    assert changes.subscriptions_of(store, client)[0] == one
    assert ended == changes.subscriptions_of(store, client)[0].ended


def test_that_something_was_told_is_kept_for_thirty_days(store: DatabaseStore) -> None:
    subscribed(store)
    store.open()
    store.open()
    changes.number_changes(store)
    later = datetime.now(UTC) + timedelta(minutes=1)

    def kept() -> int:
        with store.reading() as connection:
            return len(connection.execute(select(deliveries.c.id)).all())

    changes.told(store, due(store, later), now=NOW, said="")
    second = due(store, later)
    changes.told(store, second, now=NOW + timedelta(days=30), said="")
    assert kept() == 2
    changes.told(store, second, now=NOW + timedelta(days=30) + MOMENT, said="")
    assert kept() == 1


def test_a_change_tells_the_check_it_is_about(store: DatabaseStore) -> None:
    client = subscribed(store)
    key, check = checked(store)
    store.decide(key, "refused", by="Ada", reason="x")
    changes.number_changes(store)
    begun, seen, decided = changes.changes_of(store, client)
    assert (begun.check, begun.verdict, begun.choice) == (None, None, None)
    assert (seen.check, seen.verdict, seen.choice) == (check.number, check.report.verdict, None)
    assert (decided.check, decided.verdict, decided.choice) == (check.number, None, "refused")
    assert changes.changes_of(store, client, limit=2) == (begun, seen)
    assert changes.changes_of(store, client, after=begun.number) == (seen, decided)
    assert changes.changes_of(store, client, only=seen.number) == (seen,)


def test_what_a_late_transaction_brings_is_numbered_too(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Numbers are given when a transaction begins, and seen when it ends: the smaller one later."""
    client = subscribed(store)
    keys = [store.open() for _ in range(3)]
    changes.number_changes(store)
    for slack, found in ((1, 1), (2, 2), (3, 3)):
        with store.writing() as connection:
            connection.execute(changes.changes.delete())
            row = {"kind": "begun", "order_id": 3, "at": NOW, "ref": 3}
            connection.execute(changes.changes.insert().values(**row))
        monkeypatch.setattr(changes, "_SLACK", slack)
        changes.number_changes(store)
        assert [one.order for one in changes.changes_of(store, client)] == [
            keys[2],
            *keys[3 - found : 2],
        ]


# --- where it lies ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("told", "meant"),
    [
        ("postgresql://u@h/d", "postgresql+psycopg://u@h/d"),
        ("postgresql+psycopg://u@h/d", "postgresql+psycopg://u@h/d"),
        ("sqlite:////a/b", "sqlite:////a/b"),
        ("/a/b", "sqlite:////a/b"),
        ("postgresql+asyncpg://u@h/d", ""),
        ("sqlite+aiosqlite:////a/b", ""),
        ("sqlite://", ""),
        (" ", ""),
        ("a\0b", ""),
    ],
)
def test_an_address_means_one_place_or_none(told: str, meant: str) -> None:
    if meant:
        assert str(engines.url_of(told)) == meant
    else:
        with pytest.raises(StoreError):
            engines.url_of(told)


def test_without_an_address_it_is_the_users_own_file(tmp_path: Path) -> None:
    assert engines.url_of(None).database == str(tmp_path / "data/photocheck/orders.sqlite3")
    assert str(engines.url_of("~/x").database).endswith("/x")
    assert not str(engines.url_of("~/x").database).startswith("~")


def test_a_connection_to_postgresql_gives_up_in_time() -> None:
    """https://www.postgresql.org/docs/current/libpq-connect.html"""
    told = engines.postgresql_settings()
    assert {name: value for name, value in told.items() if name != "options"} == {
        "connect_timeout": 30,
        "tcp_user_timeout": 30_000,
        "keepalives_idle": 20,
        "keepalives_interval": 10,
        "keepalives_count": 3,
    }
    assert told["options"].split(" -c ") == [
        "-c timezone=UTC",
        "synchronous_commit=on",
        "lock_timeout=30000",
        "tcp_keepalives_idle=20",
        "tcp_keepalives_interval=10",
        "tcp_keepalives_count=3",
    ]


def test_two_that_change_the_journal_at_once_wait_for_each_other(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class Busy:
        def __init__(self, fails: int) -> None:
            self.fails, self.mode, self.asked = fails, "delete", 0

        def execute(self, said: str) -> Busy:
            if "=" in said:
                self.asked += 1
                if self.asked <= self.fails:
                    raise sqlite3.OperationalError("database is locked")
                self.mode = said.rpartition(" ")[2]
            return self

        def fetchone(self) -> tuple[str]:
            return (self.mode,)

    now = [0.0]

    def sleep(seconds: float) -> None:
        now[0] += seconds

    monkeypatch.setattr(engines.time, "monotonic", lambda: now[0])
    monkeypatch.setattr(engines.time, "sleep", sleep)
    for wanted, fails, asked in (("delete", 0, 0), ("wal", 0, 1), ("wal", 5, 6)):
        busy = Busy(fails)
        engines._set_journal(busy, wanted)
        assert (busy.mode, busy.asked) == (wanted, asked)
    now[0] = 0.0
    with pytest.raises(sqlite3.OperationalError):
        engines._set_journal(Busy(10**9), "wal")
    assert now[0] == pytest.approx(engines.BUSY_SECONDS, abs=0.1)


@pytest.mark.parametrize("address", ["sqlite_wal"], indirect=True)
def test_what_cannot_be_wiped_now_is_told(
    store: DatabaseStore, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    engines.wipe(store.engine)
    assert caplog.messages == []
    monkeypatch.setattr(engines, "BUSY_SECONDS", 0.0)
    impatient = open_store(str(store.engine.url.database))
    with store.reading() as reader:
        reader.exec_driver_sql("SELECT count(*) FROM orders").scalar()
        impatient.open()
        engines.wipe(impatient.engine)
    assert "somebody was reading" in caplog.messages[0]
    engines.wipe(impatient.engine)
    impatient.close()
    assert len(caplog.messages) == 1


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        (sqlite3.OperationalError("a  b\n" + "x" * 300), "a b " + "x" * 196 + ")"),
        (sqlite3.OperationalError("database or disk is full"), "is full"),
    ],
)
def test_what_the_database_says_is_told_in_short(said: Exception, shown: str) -> None:
    with pytest.raises(StoreError) as told, engines.reached("here"):
        raise DBAPIError("a statement with somebody's name", None, said) from said
    assert shown in str(told.value)
    assert "somebody" not in str(told.value)
    assert told.value.where == "here"


def test_versions_that_are_known_are_no_newer_ones() -> None:
    for known in (None, "0001", schema.SCHEMA):
        schema.refuse_newer(known)
    for newer in (f"{int(schema.SCHEMA) + 1:04}", "abc", ""):
        with pytest.raises(StoreError, match="newer photocheck"):
            schema.refuse_newer(newer)


def test_a_store_that_is_not_there_is_made_only_where_that_is_meant(tmp_path: Path) -> None:
    file = tmp_path / "orders.sqlite3"
    with pytest.raises(StoreError, match="no orders yet"):
        open_store(str(file), new=False)
    assert not file.exists()
    open_store(str(file)).close()
    open_store(str(file), new=False).close()


@pytest.mark.parametrize("address", ["sqlite"], indirect=True)
@pytest.mark.parametrize("where", ["refuse_newer", "upgrade"])
def test_a_store_that_cannot_be_opened_keeps_no_connection(
    address: str, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    """Who asks for it with every page would hold ever more of them."""
    made: list[Any] = []

    def noted(url: URL) -> Any:
        made.append(engines.engine_for(url))
        return made[-1]

    def refuses(*_: object) -> None:
        raise StoreError("not this one")

    monkeypatch.setattr(opening, "engine_for", noted)
    monkeypatch.setattr(opening.schema, where, refuses)
    with pytest.raises(StoreError, match="not this one"):
        open_store(address)
    assert made[0].pool.checkedin() == 0


def test_beside_a_database_elsewhere_is_the_users_own_folder(tmp_path: Path) -> None:
    class Elsewhere:
        url = URL.create("postgresql+psycopg", database="shop/1")
        dialect = type("Dialect", (), {"name": "postgresql"})

    assert unfinished.beside(Elsewhere()) == tmp_path / "data/photocheck/postgresql-shop-1"  # type: ignore[arg-type]


# --- copies -------------------------------------------------------------------------


@pytest.mark.parametrize("address", ["sqlite"], indirect=True)
def test_a_copy_that_another_server_takes_away_meanwhile_keeps_nothing(
    store: DatabaseStore, address: str
) -> None:
    store.open()
    copy = side_copy(store, "test")
    gone = Path(f"{address}.kept-test-0.sqlite3")
    gone.symlink_to("nowhere")  # listed, and not there when it is looked at
    assert side_copies(store) == (copy,)
    made = copy.stat().st_mtime
    assert side_copies(store, before=made) == ()
    assert side_copies(store, before=made + 1) == (copy,)
    assert tidy(store, Retention(copies_days=-1)) == (0, 1)
    assert not copy.exists()


# --- orders -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "of_check", "choice", "state"),
    [
        (None, None, None, "being_filled_in"),
        (1, None, None, "waiting"),
        (1, 1, "accepted", "accepted"),
        (2, 1, "accepted", "waiting"),
        (1, 1, "taken_back", "waiting"),
        (2, 2, "refused", "refused"),
    ],
)
def test_where_an_order_stands(
    number: int | None, of_check: int | None, choice: str | None, state: str
) -> None:
    assert rows.state_of(number, of_check, choice) == state


@pytest.mark.parametrize(
    ("content", "suffix"),
    [
        (b"\xff\xd8\xff\xe0", ".jpg"),
        (b"\xff\xd8\xfe", ""),
        (b"\x89PNG\r\n", ".png"),
        (b"RIFF\0\0\0\0WEBPVP8 ", ".webp"),
        (b"RIFF\0\0\0\0WAVEfmt ", ""),
        (b"\0\0\0\0\0\0\0\0WEBP", ""),
        (b"\0\0\0\x18ftypheic", ".heic"),
        (b"ftypheic", ""),
        (b"", ""),
    ],
)
def test_a_photo_is_called_by_what_it_is(content: bytes, suffix: str) -> None:
    assert database._suffix(content) == suffix


def test_no_key_looks_like_an_option_of_a_command(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = iter(["-" * 43, "-" + "x" * 42, "x" * 43])
    monkeypatch.setattr(database.secrets, "token_urlsafe", lambda _: next(made))
    assert store.open() == "x" * 43


def test_the_last_thing_done_to_anything_is_known(store: DatabaseStore) -> None:
    assert store.last_written() is None
    key = store.open()

    def grows(act: Callable[[], object]) -> None:
        before = store.last_written()
        act()
        after = store.last_written()
        assert before is not None
        assert after is not None
        assert after > before

    file = store.keep_photo(key, JPEG)
    for act in (
        lambda: store.save_draft(key, case_of(file)),
        lambda: store.record_check(key, case_of(file), report_of(), by="Ada"),
        lambda: store.decide(key, "accepted", by="Ada", reason=""),
        lambda: store.note_cut(key, "cut", by="Ada", check=_last(store, key)),
        lambda: store.forget(key),
    ):
        grows(act)


def _last(store: DatabaseStore, key: str) -> int:
    order: Order = store.order(key)
    return order.checks[-1].number


def test_all_orders_are_read_a_few_at_a_time(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "_AT_ONCE", 2)
    asked: list[int] = []
    of = rows.orders_of

    def noted(connection: Any, ids: Any) -> Any:
        asked.append(len(ids))
        return of(connection, ids)

    monkeypatch.setattr(database.rows, "orders_of", noted)
    keys = [store.open() for _ in range(5)]
    assert [order.key for order in store.whole()] == keys
    assert asked == [2, 2, 1]


def test_a_photo_has_one_spelling(store: DatabaseStore) -> None:
    key = store.open()
    name = store.keep_photo(key, JPEG)
    assert (name, store.photo(key, name)) == ("photo-1.jpg", JPEG)
    assert store.keep_photo(key, JPEG) == name
    assert store.keep_photo(key, JPEG + b"2") == "photo-2.jpg"
    for other in ("photo-1", "photo-01.jpg", "photo-1.JPG", "photo-1.jpg ", "../photo-1.jpg"):
        with pytest.raises(OrderError, match="no photo called"):
            store.photo(key, other)


def test_a_decision_is_about_the_check_that_was_looked_at(store: DatabaseStore) -> None:
    key, first = checked(store)
    store.decide(key, "refused", by="Ada", reason="", check=first.number)
    second = store.record_check(key, first.case, report_of(), by="Ada")
    with pytest.raises(OrderError, match="again meanwhile"):
        store.decide(key, "accepted", by="Ada", reason="", check=first.number)
    assert store.decide(key, "accepted", by="Ada", reason="").check == second.number
    with pytest.raises(OrderError, match="not been checked"):
        store.decide(store.open(), "accepted", by="Ada", reason="")
    with pytest.raises(OrderError, match="not a decision"):
        store.decide(key, "waiting", by="Ada", reason="")


def test_what_is_heard_is_of_a_harness_that_was_accepted(store: DatabaseStore) -> None:
    key, first = checked(store)

    def heard(check: int) -> Heard:
        today = datetime.now(UTC)
        return Heard(today, today.date(), "Ada", False, "fitted", {}, {}, "well", check)

    for choice in ("refused", "accepted", "taken_back"):
        accepted = choice != "refused"
        store.decide(key, choice, by="Ada", reason="x")
        if accepted:
            assert store.hear(key, heard(first.number)).words == "well"
        else:
            with pytest.raises(OrderError, match="not accepted"):
                store.hear(key, heard(first.number))
    second = store.record_check(key, first.case, report_of(), by="Ada")
    with pytest.raises(OrderError, match="not accepted"):
        store.hear(key, heard(second.number))
    assert len(store.order(key).heard) == 2


def test_what_commands_ask_of_all_orders(store: DatabaseStore) -> None:
    assert numbers.last_ratios(store) is None
    assert numbers.numbers_of(store) == {}
    key, _ = checked(store)
    store.open()
    assert numbers.last_ratios(store) == ""
    draft = store.draft(key)
    store.save_draft(key, draft.but("owner", draft.owner.but("number", "A-1")))
    assert numbers.numbers_of(store) == {key: "A-1"}


def test_the_log_is_left_alone_by_what_is_in_order(
    store: DatabaseStore, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.WARNING):
        store.forget(checked(store)[0])
        open_store(str(store.engine.url.render_as_string(hide_password=False))).close()
    assert caplog.messages == []


def test_an_order_goes_by_the_last_thing_done_to_it(store: DatabaseStore) -> None:
    """Whether that was a decision, or a photo or draft after it."""
    keep, now = Retention(decided_days=100), datetime.now(UTC)
    early, late = checked(store)[0], checked(store)[0]
    for key, days in ((early, -80), (late, 80)):
        store.decide(key, "accepted", by="Ada", reason="")
        then = now + timedelta(days=days)
        with store.writing() as connection:
            connection.execute(orders.update().where(orders.c.key == key).values(touched=then))

    def over(days: float) -> set[str]:
        return set(over_time(store, keep, now=now + timedelta(days=days)))

    assert (over(99.9), over(100.1)) == (set(), {early})
    assert (over(179.9), over(180.1)) == ({early}, {early, late})


@pytest.mark.parametrize("address", ["sqlite"], indirect=True)
def test_whatever_is_written_is_its_owners_alone(
    store: DatabaseStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Photos of people's homes, and what opens doors: whatever rights new files get elsewhere."""
    made = tmp_path / "made"
    made.mkdir(mode=0o700)
    key, _ = checked(store)
    monkeypatch.setenv("XDG_DATA_HOME", str(made / "data"))
    monkeypatch.setenv(door_secret.SECRET_VARIABLE, str(made / "doors" / "own" / "secret"))
    before = os.umask(0)
    try:
        door_secret.door_secret()
        door_secret.rotate()
        open_store(str(made / "new" / "orders.sqlite3")).close()
        open_store(None).close()
        back_up(store, made / "copy.sqlite3")
        write_held(store, key, made / "held.zip")
        # as beside a database elsewhere: in a folder that is not there yet
        elsewhere = made / "elsewhere" / "orders.sqlite3"
        monkeypatch.setattr(unfinished, "beside", lambda _: elsewhere)
        side_copy(store, "test")
        with unfinished.part_of(made / "x", store.engine) as part:
            assert stat.S_IMODE(part.stat().st_mode) == 0o600
    finally:
        os.umask(before)
    rights = {path.relative_to(made): stat.S_IMODE(path.stat().st_mode) for path in made.rglob("*")}
    files = {path: mode for path, mode in rights.items() if (made / path).is_file()}
    assert len(files) >= 6
    assert set(files.values()) == {0o600}
    nearest = {path: rights[path] for path in {file.parent for file in files} if path != Path()}
    assert set(nearest.values()) == {0o700}


def test_a_check_without_any_score_is_the_calmest(store: DatabaseStore) -> None:
    key, check = checked(store)
    for score in (None, -3.0):
        spans = tuple(replace(span, score=score) for span in check.report.spans)
        store.record_check(key, check.case, replace(check.report, spans=spans), by="Ada")
        assert store.lines()[0].worst == (0.0 if score is None else 3.0)


@pytest.mark.parametrize("came", ["touched", "checked"])
def test_who_comes_back_while_it_is_tidied_keeps_the_order(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch, came: str
) -> None:
    """Between the look for what is over its time and its end lies all the rest that goes."""
    late, gone = store.open(), store.open()
    later = datetime.now(UTC) + timedelta(days=31)
    looked = privacy.over_time

    def meanwhile(*of: Any, **how: Any) -> tuple[str, ...]:
        keys = looked(*of, **how)
        if came == "checked":
            file = store.keep_photo(late, JPEG)
            store.record_check(late, case_of(file), report_of(), by="owner")
        else:
            with store.writing() as connection:
                back = update(orders).where(orders.c.key == late).values(touched=later)
                connection.execute(back)
        return keys

    monkeypatch.setattr(privacy, "over_time", meanwhile)
    assert tidy(store, Retention(), now=later, unasked=False)[0] == 1
    assert [line.key for line in store.lines()] == [late]
    assert store.forgotten_of([late, gone]) == (gone,)
