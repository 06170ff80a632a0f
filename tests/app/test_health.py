"""Whoever watches over the server learns within seconds whether orders can be kept."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Iterator
from pathlib import Path
from threading import Event
from types import SimpleNamespace

import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.testclient import TestClient

from photocheck.errors import PhotocheckError
from photocheck.orders.model import STORE_VARIABLE, StoreError
from photocheck_app.doors import health, settings
from photocheck_app.doors.health import Health
from photocheck_app.doors.middleware import Guard


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    file = tmp_path / "orders.sqlite3"
    monkeypatch.setenv(STORE_VARIABLE, str(file))
    monkeypatch.setattr(health, "HELD_S", 0.0)
    monkeypatch.setattr(health, "NOW", Health())
    yield file
    settings.close_stores()


@pytest.fixture
def server() -> TestClient:
    app = Starlette(routes=health.ROUTES, middleware=[Middleware(Guard, self_test=lambda _: ())])
    return TestClient(app, "http://shop.example")


def test_health_says_when_the_orders_are_away_and_when_they_are_back(
    file: Path, server: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert (server.get("/health").status_code, server.get("/health").text) == (200, "ok")
    os.replace(file, file.with_name("away"))
    german = server.get("/health", headers={"Accept-Language": "de"})
    assert (german.status_code, german.headers["cache-control"]) == (503, "no-store")
    assert server.get("/health").text == "The orders cannot be read or written."
    assert german.text != server.get("/health").text
    os.replace(file.with_name("away"), file)
    assert server.get("/health").status_code == 200
    monkeypatch.setattr(health, "LEAST_FREE_BYTES", 10**18)
    full = server.get("/health")
    assert (full.status_code, "almost full" in full.text) == (503, True)


def test_health_does_not_wait_for_a_store_that_does_not_answer(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    go_on, tries = Event(), list[int]()

    def stuck() -> str:
        tries.append(1)
        go_on.wait(30)
        return ""

    async def asked() -> list[str]:
        now = Health()
        said = [await now.trouble() for _ in range(3)]
        go_on.set()
        while now._trying is not None:
            await asyncio.wait({now._trying})
        return [*said, await now.trouble()]

    monkeypatch.setattr(health, "_trouble", stuck)
    monkeypatch.setattr(health, "WITHIN_S", 0.01)
    assert asyncio.run(asked()) == [health.SLOW] * 3 + [""]
    assert tries == [1]  # however often it is asked


def test_what_health_promises_is_this() -> None:
    assert (health.WITHIN_S, health.HELD_S, health.LEAST_FREE_BYTES) == (3.0, 5.0, 200_000_000)


@pytest.mark.parametrize("fails", [True, False])
def test_an_answer_is_good_for_a_while_and_a_slip_is_a_failure(
    monkeypatch: pytest.MonkeyPatch, fails: bool
) -> None:
    tries: list[int] = []

    def trouble() -> str:
        tries.append(1)
        if fails:
            raise KeyError("a slip")
        return ""

    async def asked() -> list[str]:
        now = Health()
        said = [await now.trouble() for _ in range(3)]
        monkeypatch.setattr(health, "HELD_S", 0.0)
        return [*said, await now.trouble()]

    monkeypatch.setattr(health, "_trouble", trouble)
    monkeypatch.setattr(health, "HELD_S", 1000.0)
    assert asyncio.run(asked()) == [health.FAILED if fails else ""] * 4
    assert len(tries) == 2


@pytest.mark.parametrize(
    ("free", "in_a_file", "said"),
    [
        (200_000_000, True, ""),
        (199_999_999, True, health.FULL),
        (0, False, ""),  # the database's own disk is elsewhere
        (None, True, health.FAILED),
    ],
)
def test_a_disk_is_full_below_its_bound(
    file: Path, monkeypatch: pytest.MonkeyPatch, free: int | None, in_a_file: bool, said: str
) -> None:
    def usage(_: object) -> object:
        if free is None:
            raise OSError("no such folder")
        return SimpleNamespace(free=free)

    monkeypatch.setattr(health.shutil, "disk_usage", usage)
    store = SimpleNamespace(prove_writing=lambda: None, in_a_file=in_a_file)
    monkeypatch.setattr(health, "the_store", lambda: store)
    monkeypatch.setattr(health, "beside", lambda _: file)
    assert health._trouble() == said


def test_a_store_that_is_away_is_in_the_log_and_others_errors_are_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    told: list[object] = []
    monkeypatch.setattr(health.TROUBLE, "away", told.append)
    for error in (StoreError("away"), PhotocheckError("else")):

        def failing(error: PhotocheckError = error) -> None:
            raise error

        monkeypatch.setattr(health, "the_store", failing)
        assert health._trouble() == health.FAILED
    assert [type(one) for one in told] == [StoreError]
