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
from tests.support.waiting import until_in_loop


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
