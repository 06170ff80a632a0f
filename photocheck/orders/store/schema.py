"""Versions of the tables: made, told apart and upgraded by Alembic.

Alembic itself is imported only when there is something to do, so that opening a store that
is up to date is quick.
"""

from __future__ import annotations

import logging
from pathlib import Path
from typing import Final

from sqlalchemy import Connection, Engine, inspect, text

from photocheck.orders.model import StoreError
from photocheck.speech import tr

SCHEMA: Final = "0008"
"""The version this program works with: the newest in ``migrations/versions``."""

MIGRATIONS: Final = Path(__file__).parent / "migrations"

_LOCK = 7_468_613
"""Any number: PostgreSQL's advisory lock under which one process upgrades."""

_log = logging.getLogger(__name__)


def version_of(connection: Connection) -> str | None:
    """The version of the tables, or None for a database without any.

    Raises
    ------
    StoreError
        When there are tables but not ours.
    """
    names = inspect(connection).get_table_names()
    if "alembic_version" in names:
        found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
        if found is not None:
            return str(found)
    if set(names) - {"alembic_version"}:
        raise StoreError(
            tr("this database holds something other than photocheck's orders"),
            do=tr("Name another file or database"),
        )
    return None


def refuse_newer(found: str | None) -> None:
    """Stop before tables that this program does not know.

    Raises
    ------
    StoreError
    """
    if found is not None and (not found.isdecimal() or int(found) > int(SCHEMA)):
        raise StoreError(
            tr(
                "these orders were kept by a newer photocheck (schema {found}, this one knows "
                "{known})",
                found=found,
                known=SCHEMA,
            ),
            do=tr("Update photocheck; nothing has been changed"),
        )


def upgrade(engine: Engine, *, to: str | None = None) -> None:
    """Make the tables, or bring them to a version, in one transaction.

    Parameters
    ----------
    to : str, optional
        `SCHEMA` unless given.
    """
    from alembic import command
    from alembic.config import Config

    to = to or SCHEMA
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    with engine.begin() as connection:
        if connection.dialect.name == "postgresql":
            # However long another's upgrade takes.
            connection.execute(text("SET LOCAL lock_timeout = 0"))
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
        found = version_of(connection)  # again, for another process may have been quicker
        if found is not None and int(found) >= int(to):
            return
        config.attributes["connection"] = connection
        command.upgrade(config, to)
    _log.info("orders: schema %s upgraded to %s", found, to)
