"""Seeing cheaply that something changed, on every database."""

from __future__ import annotations

import pytest
from sqlalchemy import event

from photocheck.orders.draft import Draft
from photocheck.orders.model import OrderError
from photocheck.orders.store import DatabaseStore
from tests.support.store_orders import case_of, checked, report_of

pytestmark = pytest.mark.every_journal


def test_the_stamp_is_another_after_every_change_of_the_list(store: DatabaseStore) -> None:
    stamps = [store.stamp()]

    def changed() -> bool:
        stamps.append(store.stamp())
        return len(set(stamps)) == len(stamps)

    key = store.open()
    assert changed()
    store.save_draft(key, Draft(name="Juno"))
    assert changed()
    other, _ = checked(store, name="Rex")
    assert changed()
    store.decide(other, "accepted", by="Ann", reason="")
    assert changed()
    store.record_check(other, case_of(name="Rex"), report_of(), by="owner")
    assert changed()
    store.forget(key)
    assert changed()
    assert store.stamp() == stamps[-1]


def test_how_far_an_order_has_come(store: DatabaseStore) -> None:
    key = store.open()
    assert store.latest(key) == (0, 0)
    other, _ = checked(store)
    store.decide(other, "accepted", by="Ann", reason="")
    store.record_check(other, case_of(), report_of(), by="owner")
    assert store.latest(other) == (2, 1)
    assert store.latest(key) == (0, 0)
    store.forget(other)
    for unknown in (other, "", "no such order", "x" * 43):
        with pytest.raises(OrderError, match="no such order"):
            store.latest(unknown)


def test_both_are_asked_for_in_one_query_without_the_orders_contents(store: DatabaseStore) -> None:
    key, _ = checked(store)
    asked: list[str] = []
    event.listen(store.engine, "before_cursor_execute", lambda *a: asked.append(a[2]), named=False)
    store.stamp()
    store.latest(key)
    queries = [query for query in asked if query.lstrip().upper().startswith("SELECT")]
    assert len(queries) == 2
    assert not any(word in query for query in queries for word in ("draft", "report", "content"))
