"""Whoever changes something holds the row that it hangs on, so that two that come at once wait.

On SQLite every writer holds the whole file from its first word on; on PostgreSQL it holds what it
asks for.  Here it is read from the statements themselves what is asked for, on either.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import Connection, event

from photocheck.orders.draft import Draft
from photocheck.orders.model import Heard
from photocheck.orders.store import DatabaseStore, kept_clients, kept_counts, kept_looks
from photocheck.orders.store import kept_changes as changes
from photocheck.orders.store.brought import fill_in, put_order
from photocheck.server.access import passes
from photocheck.server.access.clients import end_client, make_client, renew_client
from tests.support.store_orders import JPEG, case_of, checked, report_of

Act = Callable[[DatabaseStore, str], object]


@contextmanager
def noted(store: DatabaseStore) -> Iterator[list[str]]:
    """Every query and change meanwhile: what is locked by it, what is passed over, and others."""
    said: list[str] = []

    def note(_connection: Connection, statement: Any, *_: Any) -> None:
        asked = getattr(statement, "_for_update_arg", None)
        kind = "reads" if statement.is_select else "changes"
        passing = asked is not None and asked.skip_locked
        said.append("passes over" if passing else "locks" if asked is not None else kind)

    event.listen(store.engine, "before_execute", note)
    try:
        yield said
    finally:
        event.remove(store.engine, "before_execute", note)


def heard(store: DatabaseStore, key: str) -> object:
    number = store.order(key).checks[-1].number
    return store.hear(
        key,
        Heard(
            at=datetime.now(UTC),
            day=date.today(),
            by="Ada",
            from_owner=False,
            result="fitted",
            felt={},
            measured={},
            words="",
            check=number,
        ),
    )


ON_AN_ORDER: dict[str, Act] = {
    "save_draft": lambda store, key: store.save_draft(key, Draft(name="another")),
    "change_draft": lambda store, key: store.change_draft(key, lambda _: Draft(name="another")),
    "keep_photo": lambda store, key: store.keep_photo(key, JPEG + b"another"),
    "record_check": lambda store, key: store.record_check(
        key, case_of("photo-1.jpg"), report_of(), by="Ada"
    ),
    "decide": lambda store, key: store.decide(key, "refused", by="Ada", reason="x"),
    "hear": heard,
    "note_cut": lambda store, key: store.note_cut(
        key, "cut", by="Ada", check=store.order(key).checks[-1].number
    ),
    "forget": lambda store, key: store.forget(key),
    "link": lambda store, key: passes.link_for(store, key, by="Ada"),
}


@pytest.mark.parametrize("act", ON_AN_ORDER.values(), ids=ON_AN_ORDER.keys())
def test_an_orders_row_is_held_before_anything_of_it_is_changed(
    store: DatabaseStore, act: Act
) -> None:
    key, _ = checked(store)
    store.decide(key, "accepted", by="Ann", reason="")
    with noted(store) as said:
        act(store, key)
    assert said.index("locks") < said.index("changes")
    assert said.count("locks") == 1


def test_an_order_that_is_completed_is_held(store: DatabaseStore) -> None:
    given: dict[str, Any] = {"origin": "a" * 64, "content": "b" * 64}
    key, new = put_order(store, Draft(), {}, language="en", **given)
    with noted(store) as said:
        fill_in(store, key, Draft(name="x"), {}, values=True, **given)
    assert new
    assert said.index("locks") < said.index("changes")


@pytest.mark.parametrize("act", [end_client, renew_client])
def test_a_clients_row_is_held_while_its_tokens_change(
    store: DatabaseStore, act: Callable[[DatabaseStore, str], object]
) -> None:
    make_client(store, "Printer")
    with noted(store) as said:
        act(store, "Printer")
    assert said[0] == "locks"


def test_a_pass_is_held_while_it_is_ended(store: DatabaseStore) -> None:
    key = store.open()
    passes.link_for(store, key, by="Ada")
    (link,) = passes.links_of(store, key)
    with noted(store) as said:
        passes.kept.end_pass(store, link.sha256)
    assert said[0] == "locks"


def test_what_others_are_at_is_passed_over_and_not_waited_for(store: DatabaseStore) -> None:
    """Two that tidy or take what is due at the same moment never wait for each other."""
    key = store.open()
    now = datetime.now(UTC)
    make_client(store, "Printer", calls=kept_clients.Calls(("hooks.example",)))
    (client,) = kept_clients.every_client(store)
    changes.put_subscription(
        store, client, "https://hooks.example/", nonce="n", secret_sha256="s", most=1
    )
    store.open()
    changes.number_changes(store)
    acts: tuple[Callable[[], object], ...] = (
        lambda: changes.take_due(store, now=now + timedelta(1), lease_s=1),
        lambda: kept_looks.look(store, key, page="p", by="Ada"),
        lambda: kept_counts.take(store, "x", most=1, window_s=1, cost=1, now=now.timestamp()),
    )
    for number, act in enumerate(acts):
        with _rendered(store) as statements:
            act()
        assert any("FOR UPDATE" in one and "SKIP LOCKED" in one for one in statements), number


@contextmanager
def _rendered(store: DatabaseStore) -> Iterator[list[str]]:
    """What is looked for and deleted meanwhile, as PostgreSQL would be told it."""
    from sqlalchemy.dialects import postgresql

    said: list[str] = []

    def note(_connection: Connection, statement: Any, *_: Any) -> None:
        if statement.is_select or statement.is_delete:
            said.append(str(statement.compile(dialect=postgresql.dialect())))

    event.listen(store.engine, "before_execute", note)
    try:
        yield said
    finally:
        event.remove(store.engine, "before_execute", note)
