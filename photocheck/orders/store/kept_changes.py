"""What happened to orders, in one numbered list, and what of it is still to be told to whom.

Checks and decisions are numbered when they are written, but on PostgreSQL the smaller number may
be seen the later.  Here each gets a number of its own by whoever looks, one at a time: who has seen
a number has seen all below it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from sqlalchemy import Connection, delete, func, insert, literal, select, text, update

from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.store.kept_clients import OWN, Client, end_subscriptions
from photocheck.orders.store.tables import (
    changes,
    checks,
    client_orders,
    clients,
    decisions,
    deliveries,
    orders,
    subscriptions,
)

KINDS: Final = ("begun", "checked", "decided")
"""What is told of."""

WHYS: Final = ("", "client", "no answer", "not wanted", "secret")
"""Why a subscription has ended: not at all, by its client or the shop, nobody answered for long,
who was called wants no more (410), the secret of the doors was changed."""

_SLACK: Final = 1000
"""How many numbers may be given to transactions that are still under way (judgement: far more than
there are connections)."""

_LOCK: Final = 7_468_614
"""Any number: PostgreSQL's advisory lock under which changes are numbered."""

TOLD_DAYS: Final = 30.0
"""How long it is kept that a change was told (judgement: as long as one asks why it was not)."""

_SOURCES: Final[tuple[tuple[str, Any, Any, Any], ...]] = (
    ("begun", orders.c.id, orders.c.id, orders.c.opened),
    ("checked", checks.c.number, checks.c.order_id, checks.c.at),
    ("decided", decisions.c.id, decisions.c.order_id, decisions.c.at),
)


@dataclass(frozen=True)
class Change:
    """Something that happened to an order.

    Attributes
    ----------
    number : int
        Larger than that of every change that could be seen before.
    kind : str
        One of `KINDS`.
    order : str
        The order's key.
    client_number : str or None
        The client's own number of it.
    at : datetime
        When, UTC.
    check : int or None
        The check that was made, or that the decision rests on.
    verdict, choice : str or None
        Of the check, and of the decision.
    """

    number: int
    kind: str
    order: str
    client_number: str | None
    at: datetime
    check: int | None
    verdict: str | None
    choice: str | None


@dataclass(frozen=True)
class Subscription:
    """Where a client is told of changes.

    Attributes
    ----------
    id : int
    client : int
    address : str
    nonce, secret_sha256 : str
        What its secret comes of, and the hash of that.
    at : datetime
    ended : datetime or None
        UTC.
    why : str
        One of `WHYS`.
    waiting : int
        How many changes are still to be told.
    said : str
        What was answered last, where the last try failed.
    """

    id: int
    client: int
    address: str
    nonce: str
    secret_sha256: str
    at: datetime
    ended: datetime | None
    why: str
    waiting: int
    said: str


@dataclass(frozen=True)
class Delivery:
    """One change that is to be told to one subscription now; `tries` counts this one."""

    id: int
    subscription: Subscription
    change: int
    tries: int


def number_changes(store: DatabaseStore) -> None:
    """Number what happened since it was looked at last, and note whom it is to be told to."""
    with store.writing() as connection:
        _number(connection)


def _number(connection: Connection) -> None:
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
    found = []
    for kind, ref, order_id, at in _SOURCES:
        newest = select(func.coalesce(func.max(changes.c.ref), 0)).where(changes.c.kind == kind)
        since = connection.execute(newest).scalar_one() - _SLACK
        known = select(changes.c.ref).where(changes.c.kind == kind, changes.c.ref > since)
        wanted = (
            select(literal(kind).label("kind"), ref.label("ref"), order_id.label("order_id"))
            .add_columns(at.label("at"))
            .where(ref > since, ref.not_in(known))
        )
        found += [dict(row) for row in connection.execute(wanted).mappings()]
    if not found:
        return
    before = connection.execute(select(func.coalesce(func.max(changes.c.number), 0))).scalar_one()
    for row in sorted(found, key=lambda row: (row["at"], KINDS.index(row["kind"]), row["ref"])):
        connection.execute(insert(changes).values(**row))
    now = datetime.now(UTC)
    visible = (clients.c.sees != OWN) | (client_orders.c.order_id.is_not(None))
    to_tell = (
        select(
            subscriptions.c.id, changes.c.number, literal(0), literal(now, deliveries.c.due.type)
        )
        .add_columns(literal(""))
        .select_from(subscriptions)
        .join(clients, clients.c.id == subscriptions.c.client_id)
        .join(changes, changes.c.number > subscriptions.c.after)
        .outerjoin(
            client_orders,
            (client_orders.c.order_id == changes.c.order_id)
            & (client_orders.c.client_id == clients.c.id),
        )
        .where(subscriptions.c.ended.is_(None), changes.c.number > before, visible)
        .order_by(changes.c.number)
    )
    columns = ["subscription_id", "change_number", "tries", "due", "said"]
    connection.execute(insert(deliveries).from_select(columns, to_tell))


def changes_of(
    store: DatabaseStore, client: Client, *, after: int = 0, limit: int = 100, only: int = 0
) -> tuple[Change, ...]:
    """Changes of the orders that a client sees, in their order.

    Parameters
    ----------
    after : int
        Only those with a larger number.
    limit : int
    only : int
        Only the one of this number.
    """
    mine = client_orders.alias("mine")
    wanted = (
        select(
            changes.c.number,
            changes.c.kind,
            orders.c.key.label("order"),
            mine.c.number.label("client_number"),
            changes.c.at,
            func.coalesce(checks.c.number, decisions.c.check_number).label("check"),
            checks.c.verdict,
            decisions.c.choice,
        )
        .join(orders, orders.c.id == changes.c.order_id)
        .outerjoin(mine, (mine.c.order_id == orders.c.id) & (mine.c.client_id == client.id))
        .outerjoin(checks, (changes.c.kind == "checked") & (checks.c.number == changes.c.ref))
        .outerjoin(decisions, (changes.c.kind == "decided") & (decisions.c.id == changes.c.ref))
        .where(changes.c.number > after)
        .order_by(changes.c.number)
        .limit(limit)
    )
    if client.sees == OWN:
        wanted = wanted.where(mine.c.order_id.is_not(None))
    if only:
        wanted = wanted.where(changes.c.number == only)
    with store.reading() as connection:
        return tuple(Change(**row) for row in connection.execute(wanted).mappings())


# --- subscriptions --------------------------------------------------------------


def put_subscription(
    store: DatabaseStore, client: Client, address: str, *, nonce: str, secret_sha256: str, most: int
) -> Subscription | None:
    """Keep a subscription to all that happens from now on; None where the client has `most`."""
    with store.writing() as connection:
        _number(connection)
        live = (subscriptions.c.client_id == client.id) & subscriptions.c.ended.is_(None)
        count = select(func.count()).select_from(subscriptions).where(live)
        if connection.execute(count).scalar_one() >= most:
            return None
        newest = select(func.coalesce(func.max(changes.c.number), 0))
        new = insert(subscriptions).values(
            client_id=client.id,
            address=address,
            nonce=nonce,
            secret_sha256=secret_sha256,
            after=connection.execute(newest).scalar_one(),
            at=datetime.now(UTC),
            why="",
        )
        made = connection.execute(new.returning(subscriptions.c.id)).scalar_one()
    return subscriptions_of(store, client, only=made)[0]


def subscriptions_of(
    store: DatabaseStore, client: Client | None = None, *, only: int = 0
) -> tuple[Subscription, ...]:
    """Subscriptions of a client, or of all, oldest first."""
    left = (deliveries.c.subscription_id == subscriptions.c.id) & deliveries.c.done.is_(None)
    waiting = select(func.count()).select_from(deliveries).where(left).scalar_subquery()
    said = select(deliveries.c.said).where(left).order_by(deliveries.c.id).limit(1)
    wanted = select(
        subscriptions,
        waiting.label("waiting"),
        func.coalesce(said.scalar_subquery(), "").label("last_said"),
    ).order_by(subscriptions.c.id)
    if client is not None:
        wanted = wanted.where(subscriptions.c.client_id == client.id)
    if only:
        wanted = wanted.where(subscriptions.c.id == only)
    with store.reading() as connection:
        return tuple(_subscription(row) for row in connection.execute(wanted).mappings())


def end_subscription(store: DatabaseStore, client: Client, subscription: int) -> bool:
    """Tell nothing more; False when the client has no such subscription."""
    mine = (subscriptions.c.id == subscription) & (subscriptions.c.client_id == client.id)
    with store.writing() as connection:
        found = connection.execute(select(subscriptions.c.id).where(mine)).first()
        if found is not None:
            end_subscriptions(connection, mine, datetime.now(UTC), "client")
    return found is not None


def any_subscription(store: DatabaseStore) -> bool:
    """Whether anybody is to be told anything; cheap to ask for."""
    wanted = select(subscriptions.c.id).where(subscriptions.c.ended.is_(None)).limit(1)
    with store.reading() as connection:
        return connection.execute(wanted).first() is not None


# --- deliveries -----------------------------------------------------------------


def take_due(
    store: DatabaseStore, *, now: datetime, lease_s: float, but: Collection[int] = ()
) -> Delivery | None:
    """Take what is to be told next; for `lease_s` no other server takes it, nor what follows it.

    Of each subscription only the oldest change that was not told is ever taken, and none of the
    clients in `but`.
    """
    earlier = deliveries.alias("earlier")
    first = ~(
        select(earlier.c.id)
        .where(
            earlier.c.subscription_id == deliveries.c.subscription_id,
            earlier.c.done.is_(None),
            earlier.c.id < deliveries.c.id,
        )
        .exists()
    )
    wanted = (
        select(deliveries)
        .join(subscriptions, subscriptions.c.id == deliveries.c.subscription_id)
        .where(deliveries.c.done.is_(None), deliveries.c.due <= now, first)
        .where(subscriptions.c.ended.is_(None), subscriptions.c.client_id.not_in(but))
        .order_by(deliveries.c.due, deliveries.c.id)
        .limit(1)
    )
    with store.reading() as connection:
        if connection.execute(wanted).first() is None:
            return None
    with store.writing() as connection:
        locked = wanted.with_for_update(of=deliveries, skip_locked=True)
        row = connection.execute(locked).mappings().one_or_none()
        if row is None:
            return None
        taken = update(deliveries).where(deliveries.c.id == row["id"])
        until = now + timedelta(seconds=lease_s)
        connection.execute(taken.values(due=until, tries=row["tries"] + 1))
    found: Sequence[Subscription] = subscriptions_of(store, only=row["subscription_id"])
    return Delivery(row["id"], found[0], row["change_number"], row["tries"] + 1)


def told(store: DatabaseStore, delivery: Delivery, *, now: datetime, said: str) -> None:
    """Note that it was told, and drop what was noted long ago."""
    old = deliveries.c.done < now - timedelta(days=TOLD_DAYS)
    with store.writing() as connection:
        _settle(connection, delivery, done=now, said=said)
        connection.execute(delete(deliveries).where(old))


def not_told(store: DatabaseStore, delivery: Delivery, *, due: datetime, said: str) -> None:
    """Note that it could not be told, and when it is tried again."""
    with store.writing() as connection:
        _settle(connection, delivery, due=due, said=said)


def give_up(store: DatabaseStore, delivery: Delivery, *, why: str) -> None:
    """End the subscription of a change that cannot be told; `why` is one of `WHYS`."""
    with store.writing() as connection:
        told_no_more = subscriptions.c.id == delivery.subscription.id
        end_subscriptions(connection, told_no_more, datetime.now(UTC), why)


def _settle(connection: Connection, delivery: Delivery, **values: Any) -> None:
    values["said"] = values["said"][:80]
    changed = update(deliveries).where(deliveries.c.id == delivery.id)
    connection.execute(changed.values(**values))


def _subscription(row: Any) -> Subscription:
    names = ("id", "address", "nonce", "secret_sha256", "at", "ended", "why", "waiting")
    known = {name: row[name] for name in names}
    return Subscription(**known, client=row["client_id"], said=row["last_said"])
