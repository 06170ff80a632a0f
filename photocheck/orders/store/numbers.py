"""What the command line asks of all orders at once: their own numbers, the ratios in use."""

from __future__ import annotations

from sqlalchemy import select

from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.store.rows import draft_of
from photocheck.orders.store.tables import checks, client_orders, orders


def numbers_of(store: DatabaseStore) -> dict[str, str]:
    """Each order's own number, by its key; orders that have none are left out."""
    told = select(orders.c.id, orders.c.key, orders.c.draft).where(
        orders.c.draft.like('%"number"%')
    )
    given = select(orders.c.key, client_orders.c.number).join(
        client_orders, client_orders.c.order_id == orders.c.id
    )
    with store.reading() as connection:
        numbers = {row.key: row.number for row in connection.execute(given)}
        drafts = connection.execute(told).mappings().all()
    for row in drafts:
        if number := draft_of(row).owner.number:
            numbers[row["key"]] = number
    return numbers


def last_ratios(store: DatabaseStore) -> str | None:
    """Version of the ratios that the latest check of all used, empty for those shipped; None where
    nothing was checked yet."""
    latest = select(checks.c.ratios).order_by(checks.c.number.desc()).limit(1)
    with store.reading() as connection:
        found: str | None = connection.execute(latest).scalar()
    return found
