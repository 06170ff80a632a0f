"""Versions of the tables: made, told apart and upgraded by Alembic.

Alembic itself is imported only when there is something to do, so that opening a store that
is up to date is quick.
"""

from __future__ import annotations

import logging
import re
from pathlib import Path
from typing import Final

from sqlalchemy import Connection, Engine, inspect, text

from photocheck.orders.model import StoreError
from photocheck.orders.store.tables import metadata
from photocheck.speech import tr

SCHEMA: Final = "0009"
"""The version this program works with: the newest in ``migrations/versions``."""

_OURS: Final = re.compile("[0-9]{4}")

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
    looked = inspect(connection)
    names = looked.get_table_names()
    # In a table's place SQLite works a view out anew at every look, without an end perhaps; one
    # that a shop has made to look at its orders has a name of its own.
    posing = set(looked.get_view_names()) & set(metadata.tables)
    if "alembic_version" in names and not posing:
        found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
        if found is not None:
            return str(found)
    if posing or set(names) - {"alembic_version"}:
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
    # Four digits each, so that as texts they stand as they do as numbers.
    if found is not None and (not _OURS.fullmatch(found) or found > SCHEMA):
        raise StoreError(
            tr(
                "these orders were kept by a newer photocheck (schema {found}, this one knows "
                "{known})",
                found=found[:20],
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
