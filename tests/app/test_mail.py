"""The message to the owner opens as an e-mail at the desk; nothing is sent."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from urllib.parse import unquote

import pytest
from streamlit.testing.v1 import AppTest

from photocheck.orders.draft import Draft
from photocheck.orders.model import STORE_VARIABLE
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.server.access.passes import links_of
from photocheck.server.serving import DESK_VARIABLE
from photocheck_app.doors import settings


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[DatabaseStore]:
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "orders.sqlite3"))
    monkeypatch.setenv(DESK_VARIABLE, "open")
    with closing(open_store(str(tmp_path / "orders.sqlite3"))) as store:
        yield store
    settings.close_stores()


def at_desk(key: str, message: str) -> AppTest:
    def page(key: str, message: str) -> None:
        from photocheck_app.desk import mail
        from photocheck_app.shared import store

        mail.show(store().order(key), message)

    return AppTest.from_function(page, kwargs={"key": key, "message": message}, default_timeout=30)


def address(desk: AppTest) -> str:
    (found,) = re.findall(
        r'href="(mailto:[^"]*)"',
        "".join(str(getattr(each, "body", "")) for each in desk.get("html")),
    )
    return html.unescape(found)


def said(desk: AppTest) -> str:
    return " ".join(each.value for each in desk.caption)


def test_it_opens_with_the_message_and_then_with_a_link_to_the_order(store: DatabaseStore) -> None:
    key = store.open("de")
    told = {"name": "Juno", "owner": {"name": "Ann", "reach": "ann&co@mail.example"}}
    store.save_draft(key, Draft.from_dict(told))
    desk = at_desk(key, "Guten Tag,\n\nvielen Dank.").run()
    assert not desk.exception
    assert address(desk).startswith("mailto:ann%26co@mail.example?subject=")
    assert unquote(address(desk)).endswith("Guten Tag Ann,\r\n\r\nvielen Dank.")
    assert "nothing is sent" in said(desk)
    assert links_of(store, key) == ()
    desk.button(key="link_for_mail").click().run()
    assert not desk.exception
    assert len(links_of(store, key)) == 1
    assert "order=" in unquote(address(desk))
    assert "link" in said(desk)


def test_what_is_missing_or_too_long_is_said(store: DatabaseStore) -> None:
    key = store.open()
    desk = at_desk(key, "x" * 5000).run()
    assert not desk.exception
    assert address(desk).startswith("mailto:?")
    assert "fill it in there" in said(desk)
    assert "copy it" in said(desk)
