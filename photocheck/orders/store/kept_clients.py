"""Other programs that may come to the orders, as the store keeps them: never what they carry."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, Select, delete, func, insert, select, update

from photocheck.orders.model import OrderError, OrderLine
from photocheck.orders.store.database import DatabaseStore, insert_unless_there
from photocheck.orders.store.listed import line_of
from photocheck.orders.store.tables import (
    checks,
    client_orders,
    client_tokens,
    clients,
    deliveries,
    listed,
    orders,
    subscriptions,
)
from photocheck.speech import tr

SHOP: Final = "shop"
OWN: Final = "own"
SEES: Final = (SHOP, OWN)
"""All orders of the shop, or those that the client began itself."""


class UnseenError(OrderError):
    """There is no such order, as far as this client may know."""


@dataclass(frozen=True)
class Calls:
    """Whom a client may have called back.

    Attributes
    ----------
    hosts : tuple of str
        As they stand in an address, "hooks.example" or "127.0.0.1:9000"; none for nobody.
    private : bool
        Whether they may lie in a network that is not everybody's.
    """

    hosts: tuple[str, ...] = ()
    private: bool = False


@dataclass(frozen=True)
class Client:
    """Another program that may come to the orders.

    Attributes
    ----------
    id : int
    known_as, name : str
        As names are compared, and as the history shows it.
    sees : str
        One of `SEES`.
    calls : Calls
    at : datetime
        UTC.
    open : bool
        Whether it has a token that opens something.
    """

    id: int
    known_as: str
    name: str
    sees: str
    calls: Calls
    at: datetime
    open: bool


def put_client(
    store: DatabaseStore, known_as: str, name: str, *, sees: str, calls: Calls, digest: str
) -> bool:
    """Keep a new client with the hash of its token; False when the name is taken."""
    now = datetime.now(UTC)
    with store.writing() as connection:
        new = insert_unless_there(
            connection,
            clients,
            "known_as",
            known_as=known_as,
            name=name,
            sees=sees,
            calls=_calls_json(calls),
            at=now,
        )
        if new:
            wanted = select(clients.c.id).where(clients.c.known_as == known_as)
            _put_token(connection, connection.execute(wanted).scalar_one(), digest, now)
    return new


def renew_client(
    store: DatabaseStore, known_as: str, digest: str, *, calls: Calls | None = None
) -> bool:
    """Give a client another token, and end those it had; False when there is no such client.

    Parameters
    ----------
    calls : Calls or None
        Whom it may have called back from now on; None for whom it might before.
    """
    now = datetime.now(UTC)
    with store.writing() as connection:
        found = _id_of(connection, known_as)
        if found is None:
            return False
        _end_tokens(connection, found, now)
        _put_token(connection, found, digest, now)
        if calls is not None:
            changed = update(clients).where(clients.c.id == found)
            connection.execute(changed.values(calls=_calls_json(calls)))
    return True


def end_subscriptions(
    connection: Connection, which: ColumnElement[bool], now: datetime, why: str
) -> None:
    """End those that have not ended, and drop what was still to be told: it would wait for ever."""
    live = which & subscriptions.c.ended.is_(None)
    connection.execute(update(subscriptions).where(live).values(ended=now, why=why))
    of_these = deliveries.c.subscription_id.in_(select(subscriptions.c.id).where(which))
    connection.execute(delete(deliveries).where(of_these & deliveries.c.done.is_(None)))


def end_client(store: DatabaseStore, known_as: str) -> bool:
    """Let a client in no more, and tell it nothing more; False when there is none of this name."""
    now = datetime.now(UTC)
    with store.writing() as connection:
        found = _id_of(connection, known_as)
        if found is None:
            return False
        _end_tokens(connection, found, now)
        end_subscriptions(connection, subscriptions.c.client_id == found, now, "client")
    return True


def every_client(store: DatabaseStore) -> tuple[Client, ...]:
    """All clients ever added, by name."""
    with store.reading() as connection:
        found = connection.execute(_clients().order_by(clients.c.known_as)).mappings()
        return tuple(_client(row) for row in found)


def client_of(store: DatabaseStore, digest: str) -> tuple[Client, str] | None:
    """The client whose open token has this hash, and the hash as it is kept."""
    token = client_tokens.alias("asked")
    wanted = (
        _clients()
        .add_columns(token.c.sha256)
        .join(token, token.c.client_id == clients.c.id)
        .where(token.c.sha256 == digest, token.c.ended.is_(None))
    )
    with store.reading() as connection:
        row = connection.execute(wanted).mappings().one_or_none()
    return None if row is None else (_client(row), str(row["sha256"]))


def any_client(store: DatabaseStore) -> bool:
    """Whether any client can come in."""
    wanted = select(client_tokens.c.sha256).where(client_tokens.c.ended.is_(None)).limit(1)
    with store.reading() as connection:
        return connection.execute(wanted).first() is not None


# --- its orders ----------------------------------------------------------------


def own(connection: Connection, order_id: int, client_id: int, number: str) -> None:
    """Note inside a transaction which client began an order."""
    new = insert(client_orders)
    connection.execute(new.values(order_id=order_id, client_id=client_id, number=number))


@dataclass(frozen=True)
class SeenOrder:
    """An order as a client finds it.

    Attributes
    ----------
    place : int
        Orders begun later have larger ones.
    number : str or None
        The client's own number of it; None where it did not begin it.
    line : OrderLine
    opened : datetime
        UTC.
    check : int or None
        The latest.
    """

    place: int
    number: str | None
    line: OrderLine
    opened: datetime
    check: int | None


def orders_of(
    store: DatabaseStore,
    client: Client,
    *,
    after: int = 0,
    limit: int = 100,
    number: str | None = None,
    keys: Collection[str] | None = None,
) -> tuple[SeenOrder, ...]:
    """Orders that a client sees, oldest first.

    Parameters
    ----------
    after : int
        Only those with a larger `SeenOrder.place`.
    limit : int
    number : str or None
        Only that of this number of the client's own.
    keys : collection of str or None
        Only those of these keys.
    """
    mine = client_orders.alias("mine")
    latest = (
        select(func.max(checks.c.number))
        .where(checks.c.order_id == orders.c.id)
        .correlate(orders)
        .scalar_subquery()
    )
    wanted = (
        select(
            listed,
            orders.c.key,
            orders.c.id.label("place"),
            mine.c.number.label("own_number"),
            latest.label("check_number"),
        )
        .join(orders, orders.c.id == listed.c.order_id)
        .outerjoin(mine, (mine.c.order_id == orders.c.id) & (mine.c.client_id == client.id))
        .where(orders.c.id > after)
        .order_by(orders.c.id)
        .limit(limit)
    )
    if client.sees == OWN:
        wanted = wanted.where(mine.c.order_id.is_not(None))
    if number is not None:
        wanted = wanted.where(mine.c.number == number)
    if keys is not None:
        wanted = wanted.where(orders.c.key.in_(list(keys)))
    with store.reading() as connection:
        found = connection.execute(wanted).mappings().all()
    return tuple(
        SeenOrder(row["place"], row["own_number"], line_of(row), row["opened"], row["check_number"])
        for row in found
    )


def order_of_client(store: DatabaseStore, client: Client, key: str) -> SeenOrder:
    """One order, if the client sees it.

    Raises
    ------
    UnseenError
        When there is none, or it is none of the client's: nobody learns which.
    """
    found = orders_of(store, client, keys=[key], limit=1)
    if not found:
        raise UnseenError(tr("there is no such order"), do=tr("Look at the list of orders"))
    return found[0]


# --- rows ------------------------------------------------------------------------


def _clients() -> Select[Any]:
    live = (
        select(client_tokens.c.sha256)
        .where(client_tokens.c.client_id == clients.c.id, client_tokens.c.ended.is_(None))
        .correlate(clients)
        .exists()
    )
    return select(clients, live.label("open"))


def _client(row: Any) -> Client:
    told = json.loads(row["calls"])
    calls = Calls(tuple(told["hosts"]), bool(told["private"]))
    known = ("id", "known_as", "name", "sees", "at")
    return Client(**{name: row[name] for name in known}, calls=calls, open=bool(row["open"]))


def _calls_json(calls: Calls) -> str:
    return json.dumps({"hosts": list(calls.hosts), "private": calls.private})


def _id_of(connection: Connection, known_as: str) -> int | None:
    wanted = select(clients.c.id).where(clients.c.known_as == known_as).with_for_update()
    found: int | None = connection.execute(wanted).scalar()
    return found


def _end_tokens(connection: Connection, client_id: int, now: datetime) -> None:
    live = (client_tokens.c.client_id == client_id) & client_tokens.c.ended.is_(None)
    connection.execute(update(client_tokens).where(live).values(ended=now))


def _put_token(connection: Connection, client_id: int, digest: str, now: datetime) -> None:
    new = insert(client_tokens).values(sha256=digest, client_id=client_id, at=now)
    connection.execute(new)
