"""How often somebody did something lately, counted once for all servers on one store."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Final

from sqlalchemy import Connection, delete, select, update

from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.store.engines import insert_into
from photocheck.orders.store.tables import counts

_OVER_AT_ONCE: Final = 10
"""Rows that are over and go with each count: more than a count adds, so that none pile up."""


def take(
    store: DatabaseStore, whose: str, *, most: int, window_s: float, cost: int, now: float
) -> float:
    """Count, unless that were more than `most` in a moving window.

    Whoever else counts the same at that moment, at whatever server, waits for it.

    Parameters
    ----------
    whose : str
        At most 64 letters.
    now : float
        Seconds since 1970, UTC.

    Returns
    -------
    float
        0, or how long to wait, in seconds; nothing was counted then.
    """
    with store.writing() as connection:
        kept = _locked(connection, whose, now + window_s)
        times = _lately(kept, window_s, now)
        left_s = _wait_s(times, most, window_s, cost, now)
        if not left_s:
            written = json.dumps([*times, *[round(now, 3)] * cost])
            changed = update(counts).where(counts.c.whose == whose).values(times=written)
            connection.execute(changed)
        _drop_over(connection, now)
    return left_s


def wait_s(store: DatabaseStore, whose: str, *, most: int, window_s: float, now: float) -> float:
    """How long to wait until one more may be counted, in seconds; it counts nothing."""
    with store.reading() as connection:
        kept = connection.execute(select(counts.c.times).where(counts.c.whose == whose)).scalar()
    return _wait_s(_lately(kept or "[]", window_s, now), most, window_s, 1, now)


def _locked(connection: Connection, whose: str, over_s: float) -> str:
    """What is kept of it, in a row that nobody else changes until the transaction ends."""
    over = datetime.fromtimestamp(over_s, UTC)
    new = insert_into(connection, counts).values(whose=whose, times="[]", over=over)
    # Unlike "do nothing", this locks a row that is there.
    kept = new.on_conflict_do_update(index_elements=["whose"], set_={"over": over})
    return str(connection.execute(kept.returning(counts.c.times)).scalar_one())


def _lately(kept: str, window_s: float, now: float) -> list[float]:
    # What a clock noted that was far ahead counts as nothing.
    return [at for at in json.loads(kept) if now - window_s < at <= now + window_s]


def _wait_s(times: Sequence[float], most: int, window_s: float, cost: int, now: float) -> float:
    too_many = len(times) + cost - most
    return 0.0 if too_many <= 0 else sorted(times)[too_many - 1] + window_s - now


def _drop_over(connection: Connection, now: float) -> None:
    # Rows that another is at are left to it: two that wait for each other's would wait for ever.
    over = select(counts.c.whose).where(counts.c.over <= datetime.fromtimestamp(now, UTC))
    some = over.limit(_OVER_AT_ONCE).with_for_update(skip_locked=True)
    connection.execute(delete(counts).where(counts.c.whose.in_(some)))
