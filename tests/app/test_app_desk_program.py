"""A check that another photocheck made is known as such, and made again only when asked."""

from __future__ import annotations

import pytest

from photocheck.orders import model
from photocheck.orders.model import Store
from photocheck.shown.record import record_html
from photocheck.version import program
from tests.support import desk_pages
from tests.support.desk_pages import html, key_of, opened, pressed

store = desk_pages.store


def test_a_check_of_today_is_not_remarked_on(store: Store) -> None:
    page = opened(case=key_of(store, "flint"))
    assert "was made by photocheck" not in html(page)
    assert not [button for button in page.button if button.key == "check_by_this_program"]


@pytest.mark.slow
def test_another_programs_check_is_told_and_made_again_when_asked(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = key_of(store, "flint")
    (before,) = store.order(key).checks
    monkeypatch.setattr(model, "program", lambda: "0.9.9+another")
    page = opened(case=key)
    assert f"made by photocheck {program()}; here runs" in html(page)
    assert len(store.order(key).checks) == 1, "nothing is checked anew unasked"
    pressed(page, "check_by_this_program")
    old, new = store.order(key).checks
    assert old == before
    assert new.case == old.case
    assert new.by != "owner"


def test_a_record_says_which_program_checked_and_which_wrote(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    (check,) = store.order(key_of(store, "flint")).checks
    assert "(written by" not in record_html(check, {}, order="k")
    monkeypatch.setattr(model, "program", lambda: "0.9.9+another")
    assert f"photocheck {program()} (written by {program()})" in record_html(check, {}, order="k")
