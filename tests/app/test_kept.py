"""What is typed is kept whatever becomes of a run, and a late address undoes no step."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from photocheck.case.samples import samples_folder
from photocheck.orders.draft import Draft
from photocheck.orders.filling import new_draft
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.model import Order
from photocheck.orders.store import open_store
from photocheck.server.access.linked import LinkedStore
from photocheck.server.access.passes import link_for
from photocheck.server.serving import DESK_VARIABLE, STORE_VARIABLE
from photocheck_app import shared
from photocheck_app.doors import settings

DESK = "from photocheck_app import desk, kept\nkept.keep_all()\ndesk.page()\n"


def page() -> None:
    import streamlit as st

    from photocheck_app import kept

    kept.keep_all()
    said = st.session_state.setdefault("said", [])

    def keep(value: object) -> bool:
        said.append(value)
        return value != "the same"

    if st.session_state.get("break", False):
        st.session_state["break"] = False
        st.stop()  # as when the next change arrives before the widgets' turn
    if st.checkbox("shown", value=True):
        kept.watch("name", "Juno", keep)
        st.text_input("Name", "Juno", key="name")
    if st.button("by hand"):
        st.session_state["changed"] = [
            kept.keep("name", text) for text in ("Pip", "Pip", "the same")
        ]
    st.write(kept.keep("nobody watches this", 1))


def typed(app: AppTest, text: str) -> AppTest:
    app.text_input(key="name").set_value(text).run()
    assert not app.exception
    return app


def test_what_is_typed_is_kept_once_and_only_when_it_is_another() -> None:
    app = AppTest.from_function(page, default_timeout=60).run()
    app.run()
    assert app.session_state["said"] == []
    typed(app, "Rex").run()
    assert app.session_state["said"] == ["Rex"]
    typed(app, "Juno")
    assert app.session_state["said"] == ["Rex", "Juno"]


def test_a_run_that_was_broken_off_loses_nothing() -> None:
    app = AppTest.from_function(page, default_timeout=60).run()
    app.session_state["break"] = True
    typed(app, "Rex")
    assert app.session_state["said"] == ["Rex"]


def test_what_the_page_no_longer_shows_is_no_longer_watched() -> None:
    app = AppTest.from_function(page, default_timeout=60).run()
    app.text_input(key="name").set_value("Rex")
    app.checkbox[0].uncheck().run()
    assert app.session_state["said"] == ["Rex"]  # it was on its way when the field went
    app.run()
    assert app.session_state["photocheck watched"] == {}


def test_what_is_kept_at_once_is_not_kept_again() -> None:
    app = AppTest.from_function(page, default_timeout=60).run()
    app.button[0].click().run()
    assert app.session_state["changed"] == [True, False, False]
    assert app.session_state["said"][:2] == ["Pip", "the same"]


def ways() -> None:
    import streamlit as st

    from photocheck_app.address import Address

    way = Address(("case", "do"))
    way.arrive()
    st.button("on", key="on", on_click=way.go, kwargs={"case": "k1", "do": ""})
    st.button("further", key="further", on_click=way.go, kwargs={"case": "k1", "do": "marks"})
    st.button("away", key="away", on_click=way.leave)
    st.write(dict(st.query_params.to_dict()))


def address_of(app: AppTest) -> dict[str, str]:
    """The address's parts; what a run set comes as a text, what we set as a list."""
    found = app.query_params.items()
    return {name: part if isinstance(part, str) else part[0] for name, part in found}


def test_a_run_with_the_old_address_does_not_undo_a_step() -> None:
    app = AppTest.from_function(ways, default_timeout=60)
    app.query_params["language"] = "de"
    app.run()
    app.button(key="on").click().run()
    assert address_of(app) == {"language": "de", "case": "k1"}
    del app.query_params["case"]
    app.run()  # asked for before the browser learned of the step
    assert address_of(app) == {"language": "de", "case": "k1"}
    app.button(key="away").click().run()
    assert address_of(app) == {"language": "de"}
    app.run()
    assert address_of(app) == {"language": "de"}


def test_of_steps_one_after_another_the_last_counts() -> None:
    app = AppTest.from_function(ways, default_timeout=60).run()
    app.button(key="on").click().run()
    app.button(key="further").click().run()
    for late in ({}, {"case": "k1"}):
        app.query_params.clear()
        for name, place in late.items():
            app.query_params[name] = place
        app.run()
        assert address_of(app) == {"case": "k1", "do": "marks"}


def test_an_address_that_was_not_before_a_step_counts() -> None:
    app = AppTest.from_function(ways, default_timeout=60).run()
    app.button(key="on").click().run()
    app.query_params["case"] = "k2"
    app.run()
    assert address_of(app) == {"case": "k2"}


def test_the_browsers_back_button_is_heeded_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    app = AppTest.from_function(ways, default_timeout=60).run()
    app.button(key="on").click().run()
    monkeypatch.setattr("photocheck_app.address.went_through_history", lambda: True)
    del app.query_params["case"]
    app.run()
    monkeypatch.undo()
    assert address_of(app) == {}
    app.run()  # and what comes after it stays there
    assert address_of(app) == {}


def test_later_on_the_address_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("photocheck_app.address.LATE_S", 0.0)
    app = AppTest.from_function(ways, default_timeout=60).run()
    app.button(key="on").click().run()
    del app.query_params["case"]
    app.run()
    assert address_of(app) == {}


@pytest.mark.usefixtures("decoded_here")
@pytest.mark.parametrize("step", ["readings", "dog", "photo", "marks"])
def test_the_steps_read_the_draft_and_no_report(
    step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = str(tmp_path / "orders.sqlite3")
    monkeypatch.setenv(STORE_VARIABLE, address)
    settings.close_stores()
    store = open_store(address)
    folder = samples_folder() / "flint"
    case = ("case.json", (folder / "case.json").read_bytes())
    key = bring_in(store, case, [("side.jpg", (folder / "side.jpg").read_bytes())]).key
    link = link_for(store, key, by="Ada")

    def whole(_: LinkedStore, key: str) -> Order:
        raise AssertionError(f"the whole order {key} was read")

    monkeypatch.setattr(LinkedStore, "order", whole)
    main = Path(str(shared.__file__)).with_name("main.py")
    app = AppTest.from_file(str(main), default_timeout=60)
    app.query_params["order"], app.query_params["step"] = link, step
    app.run()
    assert not app.exception
    assert not app.error
    assert LinkedStore(store).draft(link) == store.draft(key) != Draft()


@pytest.mark.parametrize(
    "stored",
    [
        {},
        {"unit": 3, "readings": ["36"], "dog": "Juno", "photos": "none"},
        {"dog": {"coat": "curly", "age_months": 1e9, "weight": 28}, "readings": {"half_neck": 41}},
        {"photos": [{"file": "photo-9.jpg", "reference": {"kind": "lamp", "place": "moon"}}]},
        {"photos": [{"reference": {"corners": [[1, "x"]]}, "markings": [{"marks": {"paw": [1]}}]}]},
    ],
)
def test_a_draft_that_nobody_here_wrote_is_shown_all_the_same(
    stored: dict[str, object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = str(tmp_path / "orders.sqlite3")
    monkeypatch.setenv(STORE_VARIABLE, address)
    settings.close_stores()
    store = open_store(address)
    key = store.open()
    draft = Draft.from_dict({**new_draft("cm").to_dict(), **stored} if stored else {})
    store.save_draft(key, draft)
    link = link_for(store, key, by="Ada")
    main = Path(str(shared.__file__)).with_name("main.py")
    for step in ("readings", "dog", "photo", "marks", "result"):
        app = AppTest.from_file(str(main), default_timeout=60)
        app.query_params["order"], app.query_params["step"] = link, step
        app.run()
        assert not app.exception, step
    monkeypatch.setenv(DESK_VARIABLE, "open")
    for do in ("", "marks"):
        app = AppTest.from_string(DESK, default_timeout=60)
        app.query_params["case"], app.query_params["do"] = key, do
        app.run()
        assert not app.exception
        assert not [e for e in app.error if "should not have happened" in e.value], do
    assert store.draft(key).to_dict() == draft.to_dict()
