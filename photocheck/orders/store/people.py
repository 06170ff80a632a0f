"""Who may come to the desk, as the store keeps it."""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import delete, select, update

from photocheck.orders.store.database import DatabaseStore, insert_unless_there
from photocheck.orders.store.tables import passes, staff


def put_person(store: DatabaseStore, known_as: str, name: str, password: str) -> bool:
    """Keep a new person with the hash of the password; False when the name is taken."""
    with store.writing() as connection:
        return insert_unless_there(
            connection,
            staff,
            "known_as",
            known_as=known_as,
            name=name,
            password=password,
            at=datetime.now(UTC),
        )


def password_of(store: DatabaseStore, known_as: str) -> str | None:
    """The hash of somebody's password, or None for somebody unknown."""
    wanted = select(staff.c.password).where(staff.c.known_as == known_as)
    with store.reading() as connection:
        return connection.execute(wanted).scalar()


def change_password(
    store: DatabaseStore, known_as: str, password: str, *, sign_out: bool = True
) -> bool:
    """Keep another hash, and end all that was signed in with the old password.

    Returns
    -------
    bool
        False when there is nobody of this name.
    """
    with store.writing() as connection:
        changed = connection.execute(
            update(staff).where(staff.c.known_as == known_as).values(password=password)
        )
        if sign_out:
            connection.execute(delete(passes).where(passes.c.known_as == known_as))
        return bool(changed.rowcount)


def remove_person(store: DatabaseStore, known_as: str) -> bool:
    """Let somebody in no more, from this moment on; False when there is nobody of this name.

    What they did stays in the history of the orders.
    """
    with store.writing() as connection:
        gone = connection.execute(delete(staff).where(staff.c.known_as == known_as))
        return bool(gone.rowcount)


def people(store: DatabaseStore) -> tuple[tuple[str, datetime], ...]:
    """Everybody's name, and since when, UTC; by name."""
    wanted = select(staff.c.name, staff.c.at).order_by(staff.c.known_as)
    with store.reading() as connection:
        return tuple((row.name, row.at) for row in connection.execute(wanted))
