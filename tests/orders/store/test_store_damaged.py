"""A store altered by hand: who meets it is told what is damaged, and where."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from photocheck.cli.exits import FAILED
from photocheck.cli.main import run
from photocheck.orders.model import DamagedError, Heard, OrderError, Selection
from photocheck.orders.store import open_store
from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.store.privacy import Retention, tidy
from photocheck.words import EXIT_CODES
from tests.support.store_orders import checked

DEEP = f"'{'[' * 100_000}'"


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, str]:
    """A store of two orders, the first of them decided on and cut; and their keys."""
    file = tmp_path_factory.mktemp("whole") / "orders.sqlite3"
    with closing(open_store(str(file))) as store:
        key, check = checked(store)
        store.decide(key, "accepted", by="Ann", reason="fine", message="Thanks")
        store.note_cut(key, "cut", by="Ann", check=check.number, content={"lengths": {}})
        store.hear(key, _heard(check.number))
        other, _ = checked(store, name="Moss")
    return file, key, other


def _heard(check: int) -> Heard:
    now = datetime.now(UTC)
    return Heard(
        at=now,
        day=now.date(),
        by="Ann",
        from_owner=True,
        result="fitted",
        felt={},
        measured={},
        words="",
        check=check,
    )


def _altered(whole: Path, folder: Path, column: str, value: str) -> Path:
    """A copy in which a value of the first row is another, against the file's own rules."""
    file = folder / "orders.sqlite3"
    shutil.copy(whole, file)
    table, name = column.split(".")
    with closing(sqlite3.connect(file)) as altering:
        rules = altering.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        kept = rules.fetchall()
        for rule, _ in kept:
            altering.execute(f"DROP TRIGGER {rule}")
        first = f'(SELECT min(rowid) FROM "{table}")'
        altering.execute(f'UPDATE "{table}" SET "{name}" = {value} WHERE rowid = {first}')
        for _, rule in kept:
            altering.execute(rule)
        altering.commit()
    return file


def _read(store: DatabaseStore, key: str) -> object:
    return store.order(key)


def _all(store: DatabaseStore, _key: str) -> object:
    return list(store.whole())


def _list(store: DatabaseStore, _key: str) -> object:
    return store.listed(Selection())


def _tidy(store: DatabaseStore, _key: str) -> object:
    return tidy(store, Retention())


@pytest.mark.parametrize(
    ("column", "value", "act"),
    [
        ("orders.draft", "'{'", _read),
        ("orders.draft", "x'00ff'", _all),
        ("orders.draft", "'[]'", _read),
        ("orders.draft", "'{\"a\": NaN}'", _read),
        ("orders.draft", DEEP, _read),
        ("orders.opened", "'yesterday'", _read),
        ("orders.opened", "5", _all),
        ("orders.language", "x'00ff'", _read),
        ("orders.touched", "'9999-99-99 00:00:00.000000'", _tidy),
        ("forgotten.at", "x'00ff'", _tidy),
        ("checks.at", "'0000-00-00 00:00:00.000000'", _read),
        ("checks.by", "x'00ff'", _read),
        ("checks.case", "'null'", _read),
        ("checks.report", "'{}'", _read),
        ("checks.report", "'\"x\"'", _all),
        ("decisions.choice", "'odd'", _read),
        ("decisions.check_number", "x'00'", _read),
        ("outcomes.day", "'2026-01-01 00:00:00.000000'", _read),
        ("cuts.content", "'5'", _read),
        ("listed.state", "'odd'", _list),
        ("listed.verdict", "x'00ff'", _list),
        ("listed.name", "x'00ff'", _list),
        ("listed.sent", "'yesterday'", _list),
        ("photos.content", "'text'", lambda store, key: store.photo(key, "photo-1.jpg")),
    ],
)
def test_a_value_that_is_none_of_ours_is_told_with_its_place(
    whole: tuple[Path, str, str],
    tmp_path: Path,
    column: str,
    value: str,
    act: Callable[[DatabaseStore, str], object],
) -> None:
    file, key, _ = whole
    with closing(open_store(str(file))) as store:
        if column == "forgotten.at":
            store.forget(store.open())
    altered = _altered(file, tmp_path, column, value)
    with closing(open_store(str(altered))) as store:
        with pytest.raises(DamagedError) as told:
            act(store, key)
        assert told.value.where.startswith(f"{column}, row ")
        assert "damaged" in told.value.wrong
        assert "photocheck restore" in told.value.do


@pytest.mark.parametrize("column", ["orders.draft", "orders.opened", "checks.report", "checks.at"])
def test_the_others_stand_and_what_is_damaged_can_be_forgotten(
    whole: tuple[Path, str, str], tmp_path: Path, column: str
) -> None:
    file, key, other = whole
    with closing(open_store(str(_altered(file, tmp_path, column, "x'00ff'")))) as store:
        assert store.order(other).draft.title == "Moss"
        store.forget(key)
        assert [order.key for order in store.whole()] == [other]
        assert store.forgotten_of([key]) == (key,)
        with pytest.raises(OrderError, match="no such order"):
            store.forget(key)


@pytest.mark.slow
@pytest.mark.parametrize("command", ["export", "overtime"])
def test_no_command_calls_it_its_own_failure(
    whole: tuple[Path, str, str],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    command: str,
) -> None:
    altered = _altered(whole[0], tmp_path, "orders.touched", "5")
    words = {
        "export": ["export", "--json", "--out", str(tmp_path / "all.json")],
        "overtime": ["forget", "--over-time", "--yes"],
    }[command]
    code = run([*words, "--store", str(altered)])
    said = capsys.readouterr().err
    assert code == EXIT_CODES["bad_input"] != FAILED
    assert "the store is damaged" in said
    assert "orders.touched, row 1" in said
    assert not (tmp_path / "all.json").exists()


def test_a_fault_of_the_program_is_not_blamed_on_the_store(whole: tuple[Path, str, str]) -> None:
    with (
        closing(open_store(str(whole[0]))) as store,
        pytest.raises(KeyError, match="ours"),
        store.reading(),
    ):
        raise KeyError("ours")
