"""The desk's page over a store with three checked samples, and what is pressed on it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.element_tree import TextArea

from photocheck.case.samples import samples_folder
from photocheck.orders.intake.bring_in import File, bring_in
from photocheck.orders.model import STORE_VARIABLE, Store
from photocheck.orders.store import open_store
from photocheck.server.run import run_check
from photocheck.server.serving import DESK_VARIABLE
from photocheck.uploads import take
from tests.support.decoding import Here

SAMPLES = samples_folder()

HELD = ("flint", "sorrel", "tarn")
DESK = "from photocheck_app import desk, kept\nkept.keep_all()\ndesk.page()\n"
"""The desk alone, as `photocheck_app.main` runs it."""
GERMAN_DESK = (
    "from photocheck.speech import speaking\n"
    "from photocheck_app import desk, kept\n"
    "with speaking('de'):\n"
    "    kept.keep_all()\n"
    "    desk.page()\n"
)


@pytest.fixture(scope="session")
def held(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with three checked samples, made once."""
    folder = tmp_path_factory.mktemp("held")
    store = open_store(str(folder / "orders.db"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(take, "subprocess", Here)
        for name in HELD:
            run_check(store, brought(store, name), by="owner")
    store.close()
    return folder


@pytest.fixture
def store(held: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    """A copy of it, which the app opens as well."""
    shutil.copytree(held, tmp_path / "store")
    address = str(tmp_path / "store" / "orders.db")
    monkeypatch.setenv(STORE_VARIABLE, address)
    monkeypatch.setenv(DESK_VARIABLE, "open")  # signing in: test_doors.py
    st.cache_data.clear()
    st.cache_resource.clear()
    return open_store(address)


def brought(store: Store, name: str) -> str:
    return bring_in(store, *sample_files(name)).key


def sample_files(name: str) -> tuple[File, list[File]]:
    folder = SAMPLES / name
    photos = [(p.name, p.read_bytes()) for p in sorted(folder.glob("*.jpg"))]
    return ("case.json", (folder / "case.json").read_bytes()), photos


def key_of(store: Store, dog: str) -> str:
    (line,) = [line for line in store.lines() if dog in line.name.casefold()]
    return line.key


def opened(script: str = DESK, **query: str) -> AppTest:
    page = AppTest.from_string(script, default_timeout=60)
    for name, value in query.items():
        page.query_params[name] = value
    page.run()
    assert not page.exception
    return page


def html(page: AppTest) -> str:
    return "\n".join(element.proto.body for element in page.get("html"))


def pressed(page: AppTest, key: str) -> AppTest:
    page.button(key=key).click().run()
    assert not page.exception
    return page


def written(page: AppTest, label: str) -> TextArea:
    """The text area of that label; keys hold the order's secret name."""
    (area,) = [a for a in page.text_area if a.label.startswith(label)]
    return area


def shown(page: AppTest) -> list[str]:
    """Names in the list, as they stand."""
    buttons = [b for b in page.button if (b.key or "").startswith("desk_open_")]
    return [b.label.rpartition(": ")[2].rpartition(" ")[2] or b.label for b in buttons]


def decide(page: AppTest, choice: str) -> AppTest:
    (radio,) = [r for r in page.radio if r.label == "Decision"]
    radio.set_value(choice).run()
    assert not page.exception
    return page
