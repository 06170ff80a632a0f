"""The desk with proposals: for a second marking, and a sentence where marks lie elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import streamlit as st

from photocheck.orders.model import Store
from photocheck.propose.network import WeightsError
from photocheck.propose.proposal import Proposal, ProposedMark
from photocheck.server import bench
from photocheck_app.desk import staff_marks
from photocheck_app.marking.surface import Placed
from tests.support import desk_pages
from tests.support.desk_pages import html, key_of, opened, pressed

store = desk_pages.store

pytestmark = pytest.mark.usefixtures("decoded_here")

VARIANCE = ((400.0, 0.0), (0.0, 400.0))


@pytest.fixture(autouse=True)
def _nothing_held() -> Iterator[None]:
    st.cache_data.clear()
    yield
    st.cache_data.clear()


def propose(monkeypatch: pytest.MonkeyPatch, at: dict[str, tuple[float, float]]) -> None:
    marks = {name: ProposedMark(xy, VARIANCE, 0.9) for name, xy in at.items()}
    proposal = Proposal(marks, frame=(600.0, 400.0, 1500.0, 1200.0), facing="left", kind="side_on")
    monkeypatch.setattr(bench, "proposed", lambda *_: proposal)


def owners_marks(store: Store, key: str) -> dict[str, tuple[float, float]]:
    return dict(store.order(key).told.photos[0].markings[0].marks)


def test_marks_that_lie_elsewhere_are_told(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    key = key_of(store, "flint")
    marks = owners_marks(store, key)
    x, y = marks["last_rib"]
    propose(monkeypatch, {**marks, "last_rib": (x + 120.0, y)})
    page = opened(case=key)
    assert "The last rib as marked by owner lies" in html(page)
    assert "The tail base as marked" not in html(page)
    monkeypatch.setattr(staff_marks, "marking_surface", lambda *_, **__: Placed())
    page = opened(case=key, do="marks", by="Ines")
    assert any("last rib as marked" in str(each.value) for each in page.warning)


def test_marks_that_agree_and_a_missing_network_tell_nothing(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = key_of(store, "flint")
    propose(monkeypatch, owners_marks(store, key))
    assert "expected" not in html(opened(case=key))
    st.cache_data.clear()

    def missing(*_: Any) -> Proposal:
        raise WeightsError("no marks can be proposed")

    monkeypatch.setattr(bench, "proposed", missing)
    page = opened(case=key)
    assert "expected" not in html(page)
    assert "proposed" not in html(page)


@pytest.mark.slow
def test_a_second_marking_is_proposed_and_the_first_is_not(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = key_of(store, "flint")
    at = owners_marks(store, key)
    propose(monkeypatch, at)
    given: list[dict[str, Any]] = []

    def surface(*_: Any, **told: Any) -> Placed:
        given.append(told)
        x, y = at["tail_base"]
        return Placed({**at, "tail_base": (x + 2.0, y)})

    monkeypatch.setattr(staff_marks, "marking_surface", surface)
    page = opened(case=key, do="marks", by="Ines")
    assert given[-1]["proposed"] == {}
    (how,) = page.radio
    how.set_value("beside").run()
    assert given[-1]["proposed"] == at
    assert given[-1]["frame"] == (600.0, 400.0, 1500.0, 1200.0)
    before = store.order(key).checks[-1].report
    pressed(page, "check_marks")
    owners, mine = store.order(key).checks[-1].case.photos[0].markings
    assert set(mine.confirmed) == set(at) - {"tail_base"}
    assert owners.confirmed == ()
    assert store.order(key).checks[-1].report != before
