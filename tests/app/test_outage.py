"""The store goes away under a page: one plain page, nothing typed is lost, and on by itself."""

from __future__ import annotations

import logging
import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import photocheck_app
from photocheck.orders.filling import new_draft
from photocheck.orders.model import STORE_VARIABLE, StoreError
from photocheck.orders.store import open_store
from photocheck.server.access.addresses import LINK
from photocheck.server.access.linked import LinkedStore
from photocheck.server.serving import INVITED_VARIABLE
from photocheck_app import outage
from photocheck_app.doors import settings
from photocheck_app.doors.trouble import SURE_S, Trouble

MAIN = str(Path(photocheck_app.__file__).parent / "main.py")


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    file = tmp_path / "orders.sqlite3"
    monkeypatch.setenv(STORE_VARIABLE, str(file))
    yield file
    settings.close_stores()


@pytest.fixture
def link(file: Path) -> str:
    owners = LinkedStore(open_store(str(file)))
    link = owners.open("en")
    owners.save_draft(link, new_draft("cm"))
    return link


@pytest.fixture
def app(link: str) -> AppTest:
    app = AppTest.from_file(MAIN, default_timeout=60)
    app.query_params.update({LINK: link, "step": "readings"})
    return shown(app)


def shown(app: AppTest) -> AppTest:
    app.run()
    assert not app.exception
    return app


def field(app: AppTest, link: str) -> str:
    return f"{link}/readings/half_neck"


def kept_now(file: Path, link: str) -> str:
    draft = LinkedStore(open_store(str(file))).draft(link)
    return draft.to_dict()["readings"]["half_neck"][0]["typed"]


def _full(*_: object) -> None:
    raise StoreError("the disk is full")


def test_what_is_typed_while_the_store_is_away_is_stored_when_it_is_back(
    app: AppTest, file: Path, link: str
) -> None:
    away = file.with_name("away")
    os.replace(file, away)
    app.text_input(key=field(app, link)).set_value("41,5")
    shown(app)
    said = [one.value for one in app.header]
    assert said == ["The orders cannot be reached just now"]
    assert "Traceback" not in str(app.main)
    shown(app)  # as the page does by itself: the field is no longer there
    os.replace(away, file)
    shown(app)
    assert kept_now(file, link) == "41,5"
    assert app.text_input(key=field(app, link)).value == "41,5"
    assert [one.value for one in app.header] == ["What does the tape say?"]


def test_where_the_page_can_be_shown_it_stays_and_says_what_is_not_stored_yet(
    app: AppTest, file: Path, link: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(LinkedStore, "change_draft", _full)
        app.text_input(key=field(app, link)).set_value("41,5")
        shown(app)
        assert "could not be stored yet" in app.warning[0].value
        assert app.text_input(key=field(app, link)).value == "41,5"
        app.text_input(key=field(app, link)).set_value("42,5")
        shown(app)
    shown(app)
    assert kept_now(file, link) == "42,5"
    assert not app.warning


def test_what_a_page_brings_to_a_server_that_does_not_know_it_is_stored_at_once(
    file: Path, link: str
) -> None:
    app = AppTest.from_file(MAIN, default_timeout=60)
    app.query_params.update({LINK: link, "step": "readings"})
    # As a browser sends its fields with the first run where the server before has died.
    app.session_state[field(app, link)] = "41,5"
    shown(app)
    assert kept_now(file, link) == "41,5"
    assert app.text_input(key=field(app, link)).value == "41,5"


def test_what_a_browser_brings_back_after_a_reload_is_stored(
    app: AppTest, file: Path, link: str
) -> None:
    app.session_state["photocheck brought back"] = {
        field(app, link): "43,5",
        f"{link}/dog/name": "Juno",  # on another page: not yet
    }
    shown(app)
    assert kept_now(file, link) == "43,5"
    assert app.text_input(key=field(app, link)).value == "43,5"
    assert app.session_state["photocheck brought back"] == {f"{link}/dog/name": "Juno"}


def test_a_browser_holds_what_is_not_stored_yet_and_lets_go_once_all_of_it_is(
    app: AppTest, file: Path, link: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[dict[str, object]] = []
    monkeypatch.setattr(outage, "_browser", lambda *, data, **_: told.append(data))
    shown(app)
    assert told.pop() == {"texts": {}, "stored": False}  # it may hold what another server took not
    with monkeypatch.context() as patch:
        patch.setattr(LinkedStore, "change_draft", _full)
        app.text_input(key=field(app, link)).set_value("41,5")
        shown(app)
    assert told.pop() == {"texts": {field(app, link): "41,5"}, "stored": False}
    shown(app)
    assert told.pop() == {"texts": {}, "stored": True}
    app.session_state["photocheck brought back"] = {f"{link}/dog/name": "Juno"}
    shown(app)
    assert told.pop() == {"texts": {}, "stored": False}
    del app.session_state["photocheck brought back"]
    shown(app)
    assert told.pop() == {"texts": {}, "stored": True}


def test_a_reloaded_page_has_its_browser_let_go_once_what_it_brought_is_stored() -> None:
    def page() -> None:
        import streamlit as st

        from photocheck_app import outage

        outage._came_back()
        st.write(st.session_state.get("photocheck texts held", False))

    for sent, held in (({"back": {"field": "41"}}, True), ({}, False), ("odd", False)):
        app = AppTest.from_function(page, default_timeout=60)
        app.session_state["unstored"] = sent
        assert shown(app).markdown[0].value.strip("`") == str(held)


@pytest.mark.parametrize("sent", [None, "text", 7, [], {"a": 1}, {"a": ["b"]}, {}])
def test_what_no_browser_of_ours_brings_back_is_left_alone(sent: object) -> None:
    def page() -> None:
        import streamlit as st

        from photocheck_app import kept

        st.write(kept.bring_back(st.session_state["sent"]))

    app = AppTest.from_function(page, default_timeout=60)
    app.session_state["sent"] = sent
    assert shown(app).markdown[0].value.strip("`") == "False"


def test_beginning_an_order_that_cannot_be_kept_is_told(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise StoreError("the disk is full")

    monkeypatch.setattr(LinkedStore, "open", full)
    app = shown(AppTest.from_file(MAIN, default_timeout=60))
    app.button(key="begin").click()
    shown(app)
    assert "could not be done just now" in app.warning[0].value


def test_a_page_at_which_the_program_fails_is_told_in_plain_words(
    app: AppTest, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def failing(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(LinkedStore, "draft", failing)
    assert [one.value for one in shown(app).header] == ["This should not have happened"]
    assert "ZeroDivisionError" in caplog.text


def test_the_log_tells_of_it_seldom(caplog: pytest.LogCaptureFixture) -> None:
    now = [0.0]
    trouble = Trouble(lambda: now[0])
    caplog.set_level(logging.WARNING)
    for second in range(217):
        now[0] = float(second)
        trouble.away(StoreError("the disk is full"))
        trouble.there()  # another visitor, who reads
    assert [record.getMessage() for record in caplog.records] == [
        "the orders cannot be reached: the disk is full"
    ] * 4
    caplog.clear()
    now[0] += SURE_S + 1
    for _ in range(3):
        trouble.there()
    (only,) = caplog.records
    assert only.getMessage() == "the orders are there again, after 216 s"
    trouble.away(StoreError("again"))
    assert "again" in caplog.text


@pytest.mark.parametrize(("invited", "keys"), [("", {"back", "begin"}), ("yes", {"back"})])
def test_the_sample_offers_a_beginning_only_where_one_may_begin(
    monkeypatch: pytest.MonkeyPatch, invited: str, keys: set[str]
) -> None:
    def page() -> None:
        from photocheck_app.owner import sample

        sample._ways_on()

    monkeypatch.setenv(INVITED_VARIABLE, invited)
    app = shown(AppTest.from_function(page, default_timeout=60))
    assert {button.key for button in app.button} == keys


def test_what_fails_outside_of_a_page_is_told_as_plainly() -> None:
    """Also where two things fail in one run; the framework then shows nothing of its own."""

    def page() -> None:
        from photocheck_app import outage as shown_instead

        assert shown_instead.in_place_of_error(ValueError("of the program"))
        assert shown_instead.in_place_of_error(ValueError("another"))

    failed = AppTest.from_function(page).run()
    assert not failed.exception
    assert [one.value for one in failed.header] == ["This should not have happened"] * 2
    failed.button[1].click().run()
    assert not failed.exception
