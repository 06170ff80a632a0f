"""Orders brought in whole: an order, its photos and where it came from in one transaction."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any, Final

from sqlalchemy import Connection, Select, select, update

from photocheck.orders.draft import Draft
from photocheck.orders.filling import renamed
from photocheck.orders.model import OrderError
from photocheck.orders.store import rows
from photocheck.orders.store.database import (
    DatabaseStore,
    add_photo,
    begun,
    insert_unless_there,
    touch,
)
from photocheck.orders.store.engines import reached
from photocheck.orders.store.tables import brought, orders, photos
from photocheck.speech import tr

_ASKED_AT_ONCE: Final = 500
"""Origins in one question (judgement): SQLite takes 999 even where it is old
(sqlite.org/limits.html, 9)."""


@dataclass(frozen=True)
class Brought:
    """An order that was brought in before.

    Attributes
    ----------
    key : str
        Empty when the order was forgotten since.
    content : str
        SHA-256 of what it said then.
    """

    key: str
    content: str


def find_brought(store: DatabaseStore, origin: str) -> Brought | None:
    """What came in from `origin`, if anything did."""
    with store.reading() as connection:
        return _found(connection, origin)


def all_brought(store: DatabaseStore, origins: Iterable[str]) -> dict[str, Brought]:
    """What came in from many, by these: one look at the store for hundreds of them."""
    wanted = list(dict.fromkeys(origins))
    found: dict[str, Brought] = {}
    for start in range(0, len(wanted), _ASKED_AT_ONCE):
        some = _with_key().where(brought.c.origin.in_(wanted[start : start + _ASKED_AT_ONCE]))
        with store.reading() as connection:
            for row in connection.execute(some):
                found[row.origin] = Brought(row.key or "", row.content)
    return found


def put_order(
    store: DatabaseStore,
    draft: Draft,
    given: Mapping[str, bytes],
    *,
    origin: str,
    content: str,
    language: str,
    also: Callable[[Connection, int], None] = lambda _connection, _order_id: None,
) -> tuple[str, bool]:
    """Begin an order with its photos and draft, all of it or nothing, once for each `origin`.

    Parameters
    ----------
    store : DatabaseStore
    draft : Draft
        Its photos are called as in `given`; they are kept under the store's own names.
    given : mapping of name to bytes
    origin, content : str
        SHA-256 of what the order is known by where it comes from, and of what that said.
    language : str
    also : function of a connection and the order's row
        What else is kept of it in the same transaction.

    Returns
    -------
    (str, bool)
        The order's key (empty when it came in before and was forgotten), and whether it is
        new.
    """
    while True:
        with reached(), store.engine.connect() as connection, connection.begin() as transaction:
            before = _found(connection, origin)
            if before is not None:
                return before.key, False
            order_id, key = begun(connection, language)
            if _claimed(connection, origin, content, order_id):
                kept = _kept(connection, order_id, given, given_before=0)
                _write(connection, order_id, renamed(draft, kept))
                also(connection, order_id)
                return key, True
            transaction.rollback()  # another desk was quicker by a moment; see what it brought


def fill_in(
    store: DatabaseStore,
    key: str,
    draft: Draft,
    given: Mapping[str, bytes],
    *,
    origin: str,
    content: str,
    values: bool,
) -> None:
    """Complete an order that was brought in before and has not been checked.

    Parameters
    ----------
    store : DatabaseStore
    key : str
    draft, given, origin, content
        As for `put_order`.  The photos come in only when the order has none yet.
    values : bool
        Whether all else in its draft is replaced too.

    Raises
    ------
    OrderError
        When it has been checked; nothing is changed then.
    """
    with store.writing() as connection:
        head = rows.head_of(connection, key, lock=True)
        order = rows.order_of(connection, head)
        if order.checks:
            raise OrderError(
                tr("the order has been checked already"), do=tr("Correct it at the desk")
            )
        photos_told = order.draft.photos
        if not photos_told:
            kept = _kept(connection, head["id"], given, given_before=head["photos_given"])
            photos_told = renamed(draft, kept).photos
        new = draft if values else order.draft
        _write(connection, head["id"], new.but("photos", photos_told))
        if values:
            connection.execute(
                update(brought).where(brought.c.origin == origin).values(content=content)
            )


def _found(connection: Connection, origin: str) -> Brought | None:
    row = connection.execute(_with_key().where(brought.c.origin == origin)).one_or_none()
    return None if row is None else Brought(row.key or "", row.content)


def _with_key() -> Select[Any]:
    return select(brought.c.origin, brought.c.content, orders.c.key).outerjoin(
        orders, orders.c.id == brought.c.order_id
    )


def _claimed(connection: Connection, origin: str, content: str, order_id: int) -> bool:
    now = datetime.now(UTC)
    return insert_unless_there(
        connection, brought, "origin", origin=origin, content=content, at=now, order_id=order_id
    )


def _kept(
    connection: Connection, order_id: int, given: Mapping[str, bytes], *, given_before: int
) -> dict[str, str]:
    """What the photos are called in an order, which may hold some that its draft left out."""
    rows_kept = connection.execute(
        select(photos.c.sha256, photos.c.name).where(photos.c.order_id == order_id)
    )
    by_digest: dict[str, str] = {row.sha256: row.name for row in rows_kept}
    names: dict[str, str] = {}
    number = given_before
    for name, content in given.items():
        digest = sha256(content).hexdigest()
        if digest not in by_digest:
            number += 1
            by_digest[digest] = add_photo(connection, order_id, number, content, digest)
        names[name] = by_digest[digest]
    return names


def _write(connection: Connection, order_id: int, draft: Draft) -> None:
    touch(connection, order_id, draft=rows.draft_as_json(draft), name=draft.title)
