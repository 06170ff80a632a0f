"""What became of a harness, entered at the desk and by the owner's link; what was learnt of it."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from photocheck.judge.ratios import read_ratios
from photocheck.orders import heard as heard_module
from photocheck.orders.model import Order, Store
from photocheck.orders.store import DatabaseStore
from photocheck.orders.taught import begin_ratios
from photocheck.server.access.addresses import LINK
from photocheck.server.access.passes import link_for
from photocheck.server.shop import RATIOS_VARIABLE
from tests.support import desk_pages
from tests.support.desk_pages import html, key_of, opened, pressed
from tests.support.heard_of import fitted, tight
from tests.support.places import APP

pytestmark = pytest.mark.usefixtures("decoded_here")

store = desk_pages.store


@pytest.fixture
def accepted(store: DatabaseStore) -> str:
    key = key_of(store, "sorrel")
    store.decide(key, "accepted", by="Ann", reason="", message="We cut it.")
    return key


def radio(page: AppTest, label: str, value: str) -> None:
    (found,) = [one for one in page.radio if one.label == label]
    found.set_value(value).run()
    assert not page.exception


@pytest.mark.slow
def test_staff_enter_where_it_was_tight_with_a_tape_laid_anew(
    accepted: str,
    store: Store,
) -> None:
    page = opened(case=accepted)
    assert "Nothing was heard of it yet" in html(page)
    radio(page, "How does it fit?", "tight_or_loose")
    radio(page, "Neck opening", "tight")
    (again,) = [one for one in page.text_input if one.label == "Half neck, measured again"]
    again.set_value("41 elephants").run()
    (words,) = [one for one in page.text_area if one.label.startswith("In their own words")]
    words.set_value("rubs <b>here</b>").run()
    pressed(page, "hear")
    # nothing is kept of what cannot be read, and nothing typed is lost
    assert any("half neck" in one.value for one in page.error)
    assert store.order(accepted).heard == ()
    (again,) = [one for one in page.text_input if one.label == "Half neck, measured again"]
    assert again.value == "41 elephants"
    again.set_value("41").run()
    pressed(page, "hear")
    (told,) = store.order(accepted).heard
    assert told.felt == {"neck_opening": "tight"}
    assert told.measured["half_neck"].mm == 410.0
    assert told.words == "rubs <b>here</b>"
    assert told.from_owner
    assert "neck opening too tight; half neck measured again: 41" in html(page)
    assert "<b>here" not in html(page)
    # the fields begin anew for the next word
    assert [one.value for one in page.radio if one.label == "How does it fit?"] == [None]


def test_tight_without_saying_where_is_asked_for(
    accepted: str,
    store: Store,
) -> None:
    page = opened(case=accepted)
    radio(page, "How does it fit?", "tight_or_loose")
    pressed(page, "hear")
    assert any("is not said" in one.value for one in page.error)
    assert store.order(accepted).heard == ()


def test_nothing_is_asked_of_an_order_that_was_not_accepted(store: Store) -> None:
    page = opened(case=key_of(store, "flint"))
    assert not [one for one in page.radio if one.label == "How does it fit?"]


# -- by the owner's link -----------------------------------------------------------


def visit(link: str, **more: str) -> AppTest:
    page = AppTest.from_file(str(APP / "main.py"), default_timeout=60)
    page.query_params.update({LINK: link, **more})
    page.run()
    assert not page.exception
    return page


@pytest.fixture
def link(accepted: str, store: DatabaseStore) -> str:
    return link_for(store, accepted, by="Ann")


@pytest.fixture
def weeks_later(monkeypatch: pytest.MonkeyPatch) -> None:
    honest = heard_module.asks_owner

    def later(order: Order, now: datetime) -> bool:
        return honest(order, now + timedelta(days=21))

    from photocheck_app.owner import fitting

    monkeypatch.setattr(fitting, "asks_owner", later)


@pytest.mark.slow
@pytest.mark.usefixtures("weeks_later")
def test_an_owner_says_by_one_press_that_it_fits(
    accepted: str,
    link: str,
    store: Store,
) -> None:
    page = visit(link)
    assert "How does the harness fit your dog?" in [one.value for one in page.subheader]
    pressed(page, "fitting_fitted")
    (told,) = store.order(accepted).heard
    assert (told.result, told.by, told.from_owner) == ("fitted", "owner", True)
    assert any("You told us: It fits" in one.value for one in page.success)
    assert "How does the harness fit your dog?" not in html(page)


@pytest.mark.slow
@pytest.mark.usefixtures("weeks_later")
def test_an_owner_says_where_and_in_what_words(
    accepted: str,
    link: str,
    store: Store,
) -> None:
    page = visit(link)
    pressed(page, "fitting_tight_or_loose")
    pressed(page, "fitting_send")
    assert any("is not said" in one.value for one in page.error)
    radio(page, "Rear length", "loose")
    (words,) = [one for one in page.text_area if one.label.startswith("In your own words")]
    words.set_value("slips back")  # and the press comes with it
    pressed(page, "fitting_send")
    (told,) = store.order(accepted).heard
    assert (told.felt, told.words, told.measured) == ({"rear_length": "loose"}, "slips back", {})
    said = html(page) + "".join(one.value for one in page.markdown)
    assert "let a dog slip loose" in said
    page = visit(link)
    assert any("rear length too loose" in one.value for one in page.success)


def test_before_its_time_the_question_waits_to_be_opened(link: str) -> None:
    page = visit(link)
    assert "Is the harness with you already? Tell us how it fits" in [
        one.label for one in page.expander
    ]


@pytest.mark.usefixtures("weeks_later")
def test_no_other_page_of_the_order_asks(link: str) -> None:
    page = visit(link, step="readings")
    assert "How does the harness fit your dog?" not in [one.value for one in page.subheader]


# -- what was learnt, and how well it is checked -----------------------------------


def test_without_a_ratios_file_nothing_is_learnt_and_the_way_is_told(
    store: Store,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv(RATIOS_VARIABLE, raising=False)
    page = opened(do="learnt")
    assert any("no ratios file" in one.value for one in page.info)
    assert "--begin" in page.info[0].value
    assert not [one for one in page.button if one.key == "learn_anew"]


def test_a_press_learns_and_says_what_was_refused(
    accepted: str,
    store: Store,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    file = tmp_path / "ratios.json"
    begin_ratios(file)
    monkeypatch.setenv(RATIOS_VARIABLE, str(file))
    check = store.order(accepted).checks[-1].number
    store.hear(accepted, tight(check))
    page = opened(do="learnt")
    assert "shipped ratios are in use" in html(page)
    pressed(page, "learn_anew")
    assert "Only 0 orders can teach" in html(page)
    assert "says no number" in html(page)
    assert read_ratios(file).current == "shipped"
    store.hear(accepted, fitted(check))
    pressed(page, "learn_look")
    assert "Only 1 orders can teach" in html(page)


def test_a_broken_ratios_file_is_told(
    store: Store,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    (tmp_path / "ratios.json").write_text("{}")
    monkeypatch.setenv(RATIOS_VARIABLE, str(tmp_path / "ratios.json"))
    page = opened(do="learnt")
    assert page.error
    assert not [one for one in page.button if one.key == "learn_anew"]


def test_the_figures_count_and_follow_the_store(
    accepted: str,
    store: Store,
) -> None:
    page = opened(do="figures")
    assert "3 orders were checked." in html(page)
    assert "too few to say" in html(page)
    store.hear(accepted, fitted(store.order(accepted).checks[-1].number))
    page.run()
    assert not page.exception
    assert "1 of 1: too few to say" in html(page)


def test_an_empty_shop_has_no_figures(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from photocheck.orders.model import STORE_VARIABLE
    from photocheck.server.serving import DESK_VARIABLE
    from photocheck_app.doors import settings

    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "none.db"))
    monkeypatch.setenv(DESK_VARIABLE, "open")
    settings.close_stores()
    st.cache_resource.clear()
    page = opened(do="figures")
    assert any("nothing to count yet" in one.value for one in page.info)
