"""Who else has an order open at the desk, whichever of the servers on one store they are at."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Final

from sqlalchemy import Connection, delete, select

from photocheck.orders.bounds import LONGEST_BY, refuse_long
from photocheck.orders.store import rows
from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.store.engines import insert_into
from photocheck.orders.store.tables import looking
from photocheck.speech import tr

GONE_AFTER_S: Final = 30.0
"""A page that was not heard of for so long, s, shows the order no more (judgement: three times as
long as one stays silent, `AGAIN_AFTER_S`)."""

AGAIN_AFTER_S: Final = 10.0
"""How often a page says that it still shows the order, s (judgement: each costs a write)."""

_GONE_AT_ONCE: Final = 10
"""Rows that go with each that comes: more than one, so that none pile up."""


def look(store: DatabaseStore, key: str, *, page: str, by: str) -> None:
    """Note that a page shows an order now.

    Parameters
    ----------
    key : str
    page : str
        What tells it from all other pages, at most 64 letters; it shows one order at a time.
    by : str
        Who is at it.

    Raises
    ------
    OrderError
        When there is no such order, or the name is too long.
    """
    refuse_long(by, LONGEST_BY, what=tr("the name"))
    now = datetime.now(UTC)
    with store.writing() as connection:
        order_id = rows.head_of(connection, key)["id"]
        new = insert_into(connection, looking).values(page=page, order_id=order_id, by=by, at=now)
        told = {"order_id": order_id, "by": by, "at": now}
        connection.execute(new.on_conflict_do_update(index_elements=["page"], set_=told))
        _drop_gone(connection, now)


def others(store: DatabaseStore, key: str, *, page: str, by: str) -> tuple[str, ...]:
    """Who else has an order open, by name, each once; nobody under the own name.

    Parameters
    ----------
    key, page, by : str
        As for `look`.
    """
    since = datetime.now(UTC) - timedelta(seconds=GONE_AFTER_S)
    with store.reading() as connection:
        order_id = rows.head_of(connection, key)["id"]
        found = select(looking.c.by).where(
            looking.c.order_id == order_id, looking.c.page != page, looking.c.at > since
        )
        names = set(connection.execute(found).scalars())
    return tuple(sorted(names - {by}))


def _drop_gone(connection: Connection, now: datetime) -> None:
    # Rows that another is at are left to it: two that wait for each other's would wait for ever.
    gone = select(looking.c.page).where(looking.c.at <= now - timedelta(seconds=GONE_AFTER_S))
    some = gone.limit(_GONE_AT_ONCE).with_for_update(skip_locked=True)
    connection.execute(delete(looking).where(looking.c.page.in_(some)))
