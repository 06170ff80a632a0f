"""Owners' links and signed-in staff, as the store keeps them: never what they carry themselves."""

from __future__ import annotations

import secrets as randomness
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from sqlalchemy import Select, delete, func, insert, select, update

from photocheck.orders.bounds import LONGEST_BY, MOST_LINKS, refuse_long, refuse_more
from photocheck.orders.model import OrderError
from photocheck.orders.store import rows
from photocheck.orders.store.database import DatabaseStore, begun, insert_unless_there
from photocheck.orders.store.tables import orders, passes, secrets, staff
from photocheck.speech import tr

_SIGNING: Final = "signing"


@dataclass(frozen=True)
class Pass:
    """A link of an order, or somebody signed in at the desk.

    Attributes
    ----------
    sha256 : str
        Of what it carries; names it, and opens nothing.
    purpose : str
        A key of `photocheck.server.access.passes.LONGEST`.
    holder : str
        The order's key, or the name of who signed in.
    by : str
        Who made it.
    at, expires : datetime
        UTC.
    ended : datetime or None
        When it was taken back, UTC.
    """

    sha256: str
    purpose: str
    holder: str
    by: str
    at: datetime
    expires: datetime
    ended: datetime | None = None

    def open_at(self, now: datetime) -> bool:
        """Whether it opens anything at that moment."""
        return self.ended is None and now < self.expires


def signing_secret(store: DatabaseStore) -> str:
    """What links and cookies are signed with; made at the first need, 256 random bits."""
    wanted = select(secrets.c.value).where(secrets.c.name == _SIGNING)
    with store.reading() as connection:
        found = connection.execute(wanted).scalar()
    if found is None:
        with store.writing() as connection:
            made = randomness.token_urlsafe(32)
            insert_unless_there(connection, secrets, "name", name=_SIGNING, value=made)
            found = connection.execute(wanted).scalar_one()
    return str(found)


def put_order_pass(
    store: DatabaseStore,
    digest: str,
    *,
    purpose: str,
    by: str,
    expires: datetime,
    key: str | None = None,
    language: str = "en",
) -> str:
    """Keep a pass to an order, begun in the same transaction unless its key is given.

    Returns
    -------
    str
        The order's key.

    Raises
    ------
    OrderError
        When there is no such order.
    """
    refuse_long(by, LONGEST_BY, what=tr("the name"))
    with store.writing() as connection:
        if key is None:
            order_id, key = begun(connection, language)
        else:
            order_id = rows.head_of(connection, key, lock=True)["id"]
            made = select(func.count()).select_from(passes).where(passes.c.order_id == order_id)
            refuse_more(connection.execute(made).scalar_one(), MOST_LINKS)
        values = {"sha256": digest, "purpose": purpose, "order_id": order_id, "by": by}
        connection.execute(insert(passes).values(**values, at=datetime.now(UTC), expires=expires))
    return key


def put_staff_pass(
    store: DatabaseStore, digest: str, *, purpose: str, known_as: str, expires: datetime
) -> None:
    """Keep that somebody is signed in."""
    with store.writing() as connection:
        connection.execute(
            insert(passes).values(
                sha256=digest,
                purpose=purpose,
                known_as=known_as,
                by=known_as,
                at=datetime.now(UTC),
                expires=expires,
            )
        )


def find_pass(store: DatabaseStore, digest: str, *, purpose: str) -> Pass | None:
    """The pass made for this purpose, also when it has run out or was taken back."""
    wanted = _all().where(passes.c.sha256 == digest, passes.c.purpose == purpose)
    with store.reading() as connection:
        row = connection.execute(wanted).mappings().one_or_none()
    return None if row is None else _pass(row)


def passes_of(store: DatabaseStore, key: str) -> tuple[Pass, ...]:
    """All passes ever made to an order, oldest first."""
    with store.reading() as connection:
        head = rows.head_of(connection, key)
        wanted = _all().where(passes.c.order_id == head["id"]).order_by(passes.c.at)
        return tuple(_pass(row) for row in connection.execute(wanted).mappings())


def end_pass(store: DatabaseStore, digest: str) -> None:
    """Take a pass back; it stays in the list.  One that has ended stays as it is.

    Raises
    ------
    OrderError
        When there is none.
    """
    with store.writing() as connection:
        found = connection.execute(
            select(passes.c.ended).where(passes.c.sha256 == digest).with_for_update()
        ).one_or_none()
        if found is None:
            raise OrderError(tr("there is no such link"), do=tr("Look at the order again"))
        if found.ended is None:
            changed = update(passes).where(passes.c.sha256 == digest)
            connection.execute(changed.values(ended=datetime.now(UTC)))


def end_every_pass(store: DatabaseStore, now: datetime, *, links: bool) -> int:
    """End whoever is signed in; with `links` also every link, and what they were signed with.

    Returns
    -------
    int
        How many opened something until now.
    """
    open_now = passes.c.ended.is_(None) & (passes.c.expires > now)
    if not links:
        open_now &= passes.c.known_as.is_not(None)
    with store.writing() as connection:
        ended = connection.execute(update(passes).where(open_now).values(ended=now))
        if links:
            connection.execute(delete(secrets).where(secrets.c.name == _SIGNING))
        return int(ended.rowcount)


def linked(store: DatabaseStore, now: datetime) -> frozenset[str]:
    """Keys of the orders to which some pass leads at that moment."""
    wanted = (
        select(orders.c.key)
        .join(passes, passes.c.order_id == orders.c.id)
        .where(passes.c.ended.is_(None), passes.c.expires > now)
    )
    with store.reading() as connection:
        return frozenset(connection.execute(wanted).scalars())


def drop_ended(store: DatabaseStore, now: datetime) -> int:
    """Drop who was signed in and no longer is; links stay with their order's history.

    Returns
    -------
    int
        How many went.
    """
    over = passes.c.ended.is_not(None) | (passes.c.expires <= now)
    with store.writing() as connection:
        gone = connection.execute(delete(passes).where(passes.c.known_as.is_not(None), over))
        return int(gone.rowcount)


def _all() -> Select[Any]:
    return (
        select(
            passes.c.sha256,
            passes.c.purpose,
            orders.c.key,
            staff.c.name,
            passes.c.by,
            passes.c.at,
            passes.c.expires,
            passes.c.ended,
        )
        .outerjoin(orders, orders.c.id == passes.c.order_id)
        .outerjoin(staff, staff.c.known_as == passes.c.known_as)
    )


def _pass(row: Any) -> Pass:
    return Pass(
        sha256=row["sha256"],
        purpose=row["purpose"],
        holder=row["key"] if row["key"] is not None else row["name"],
        by=row["by"],
        at=row["at"],
        expires=row["expires"],
        ended=row["ended"],
    )
