"""The pages and the doors of a server share one store."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.testclient import TestClient
from streamlit.testing.v1 import AppTest

from photocheck.orders.model import STORE_VARIABLE
from photocheck.orders.store import DatabaseStore
from photocheck_app import shared
from photocheck_app.doors import settings, sign_in
from photocheck_app.doors.middleware import Guard
from tests.support.places import APP


@pytest.fixture
def opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str | None]]:
    """The addresses of the stores that are opened from now on."""
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "orders.sqlite3"))
    addresses: list[str | None] = []
    really = settings.open_store

    def open_store(address: str | None) -> DatabaseStore:
        addresses.append(address)
        return really(address)

    settings.close_stores()
    monkeypatch.setattr(settings, "open_store", open_store)
    yield addresses
    settings.close_stores()


def test_pages_and_doors_use_one_engine(opened: list[str | None], tmp_path: Path) -> None:
    doors = Starlette(routes=sign_in.ROUTES, middleware=[Middleware(Guard, self_test=lambda _: ())])
    assert TestClient(doors, "http://shop.example").get("/staff").status_code == 200
    for page in ("photocheck_app.desk", "photocheck_app.owner"):
        run = AppTest.from_string(f"import {page} as way\nway.page()\n", default_timeout=60).run()
        assert not run.exception
    assert AppTest.from_file(str(APP / "main.py"), default_timeout=60).run().title
    assert opened == [str(tmp_path / "orders.sqlite3")]
    assert shared.store().engine is settings.the_store().engine
    owners: Any = shared.owners_store()
    assert owners.store is settings.the_store()


def test_many_at_once_open_it_once(opened: list[str | None]) -> None:
    with ThreadPoolExecutor(8) as pool:
        stores = list(pool.map(lambda _: settings.the_store(), range(32)))
    assert len(opened) == 1
    assert len({id(store) for store in stores}) == 1


def test_no_other_module_of_the_app_opens_a_store() -> None:
    for path in APP.rglob("*.py"):
        if path.name != "settings.py":
            assert "open_store" not in path.read_text(encoding="utf-8"), path
