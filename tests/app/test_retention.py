"""What goes by itself goes by a clock that is believed, and is told."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from photocheck.orders.model import STORE_VARIABLE, StoreError
from photocheck.orders.store.privacy import Retention
from photocheck_app.doors import retention, settings
from photocheck_app.doors.retention import Clock, tidied
from tests.support.waiting import loop_turns, until_in_loop


@pytest.fixture
def tidies(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[list[object]]:
    calls: list[object] = []

    def tidy(store: object) -> tuple[int, int]:
        calls.append(store)
        return 1, 0

    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "orders.sqlite3"))
    monkeypatch.setattr(retention, "tidy", tidy)
    yield calls
    settings.close_stores()


@pytest.mark.parametrize("days", [800, -800, 8, -8])
def test_a_clock_that_was_set_while_the_server_runs_tidies_nothing(
    tidies: list[object], monkeypatch: pytest.MonkeyPatch, days: float
) -> None:
    clock, now = Clock(), time.time
    asyncio.run(tidied(clock))
    assert len(tidies) == 1
    monkeypatch.setattr(time, "time", lambda: now() + days * 86400)
    asyncio.run(tidied(clock))
    assert len(tidies) == 1
    monkeypatch.setattr(time, "time", lambda: now() + 3600)  # summer time by mistake
    asyncio.run(tidied(clock))
    assert len(tidies) == 2


def test_a_machine_that_sleeps_has_no_clock_that_jumps(monkeypatch: pytest.MonkeyPatch) -> None:
    clock, now, slept = Clock(), time.time, retention.since_start_s
    monkeypatch.setattr(time, "time", lambda: now() + 30 * 86400)
    monkeypatch.setattr(retention, "since_start_s", lambda: slept() + 30 * 86400)
    assert not clock.jumped()


def test_what_is_kept_for_how_long_is_this() -> None:
    kept = Retention()
    assert (kept.drafts_days, kept.decided_days, kept.copies_days) == (30.0, 730.0, 30.0)
    assert (retention.EVERY_S, retention.MOST_JUMP_S) == (86400.0, 604800.0)


def test_what_another_server_forgot_is_let_go_of_here_again_and_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "orders.sqlite3"))
    monkeypatch.setattr(retention, "FORGOTTEN_EVERY_S", 0.001)
    asked: list[object] = []

    def drop(store: object) -> None:
        asked.append(store)
        if len(asked) == 1:
            raise StoreError("away")

    monkeypatch.setattr(retention.bench, "drop_forgotten", drop)

    async def run() -> None:
        async with retention.forgetting():
            await until_in_loop(lambda: len(asked) > 2, "the next look")

    asyncio.run(run())
    assert asked[-1] is settings.the_store()
    settings.close_stores()


def test_how_often_is_looked_for_what_another_server_forgot() -> None:
    assert retention.FORGOTTEN_EVERY_S == 60.0


@pytest.mark.parametrize("error", [StoreError("away"), OSError("a folder"), KeyError("a slip")])
def test_tidying_goes_on_after_whatever_went_wrong_once(
    tidies: list[object],
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    error: Exception,
) -> None:
    """What ends the task would have nothing tidied until the server is started again."""
    monkeypatch.setattr(retention, "EVERY_S", 0.001)
    monkeypatch.delenv(retention.KEEP_VARIABLE, raising=False)
    once = retention.tidy

    def fails_first(store: object) -> object:
        tidied_before = len(tidies)
        found = once(store)  # type: ignore[arg-type]
        if not tidied_before:
            raise error
        return found

    monkeypatch.setattr(retention, "tidy", fails_first)

    async def run() -> None:
        async with retention.retention(None):
            await until_in_loop(lambda: len(tidies) > 1, "it is tidied again")

    asyncio.run(run())
    assert caplog.messages[0].startswith("nothing was tidied")


def test_what_was_forgotten_is_looked_for_after_whatever_went_wrong_once(
    tidies: list[object], monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(retention, "FORGOTTEN_EVERY_S", 0.001)
    asked: list[object] = []

    def drop(store: object) -> None:
        asked.append(store)
        raise KeyError("a slip")

    monkeypatch.setattr(retention.bench, "drop_forgotten", drop)

    async def run() -> None:
        async with retention.forgetting():
            await until_in_loop(lambda: len(asked) > 1, "the next look")

    asyncio.run(run())
    assert "could not be let go of" in caplog.messages[0]


@pytest.mark.parametrize(("told", "tidied_once"), [("yes", False), ("", True)])
def test_a_server_that_keeps_everything_tidies_nothing(
    tidies: list[object], monkeypatch: pytest.MonkeyPatch, told: str, tidied_once: bool
) -> None:
    monkeypatch.setenv(retention.KEEP_VARIABLE, told)

    async def run() -> None:
        async with retention.retention(None):
            if tidied_once:
                await until_in_loop(lambda: tidies, "it is tidied")
            await loop_turns(3)

    asyncio.run(run())
    assert len(tidies) == tidied_once


@pytest.mark.parametrize("went", [(2, 0), (0, 3), (2, 3), (0, 0)])
def test_what_went_is_told_and_orders_that_went_leave_the_memory(
    tidies: list[object],
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    went: tuple[int, int],
) -> None:
    dropped: list[bool] = []
    monkeypatch.setattr(retention, "tidy", lambda _: went)
    monkeypatch.setattr(retention.bench, "drop", lambda: dropped.append(True))
    asyncio.run(tidied(Clock()))
    orders, copies = went
    assert dropped == [True] * bool(orders)
    said = [f"kept long enough: {orders} orders and {copies} copies went"]
    assert caplog.messages == said * bool(orders or copies)


def test_a_clock_is_doubted_from_a_week_on_either_way(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(retention, "since_start_s", lambda: 100.0)
    monkeypatch.setattr(time, "time", lambda: 1_000_100.0)
    clock, week = Clock(), 7 * 86400.0
    for seconds, jumped in ((week, False), (-week, False), (week + 1, True), (-week - 1, True)):
        monkeypatch.setattr(time, "time", lambda seconds=seconds: 1_000_100.0 + seconds)
        assert clock.jumped() is jumped
