"""Tables of a new store made by the statements that the migrations came to, not by these.

Alembic takes 0.04 s for them in SQLite and 0.3 s in PostgreSQL, and hundreds of tests begin with an
empty store.  The migrations have their own tests (`tests/orders/store`), which do without this.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, event, text

from photocheck.orders.store import opening, schema

_CHANGING = {"ALTER", "CREATE", "DELETE", "DROP", "INSERT", "UPDATE"}


class _Copied:
    """`photocheck.orders.store.schema`, but for how new tables are made."""

    def __init__(self, statements: list[str]) -> None:
        self._statements = statements
        self._for_postgresql: list[tuple[str, Any]] = []

    def __getattr__(self, name: str) -> Any:
        return getattr(schema, name)

    def upgrade(self, engine: Engine) -> None:
        if engine.dialect.name == "postgresql":
            self._upgrade_postgresql(engine)
            return
        with engine.begin() as connection:
            new = schema.version_of(connection) is None
            for statement in self._statements if new else ():
                connection.exec_driver_sql(statement)
        if not new:
            schema.upgrade(engine)

    def _upgrade_postgresql(self, engine: Engine) -> None:
        """What the migrations say is kept the first time, and said again for every later one."""
        if not self._for_postgresql:

            def keep(_connection, _cursor, statement, parameters, *_more) -> None:
                if statement.split(maxsplit=1)[0].upper() in _CHANGING:
                    said.append((statement, parameters))

            said: list[tuple[str, Any]] = []
            with engine.connect() as connection:
                new = schema.version_of(connection) is None
            event.listen(engine, "before_cursor_execute", keep)
            schema.upgrade(engine)
            event.remove(engine, "before_cursor_execute", keep)
            if new:
                self._for_postgresql = said
            return
        with engine.begin() as connection:
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": schema._LOCK})
            new = schema.version_of(connection) is None
            for statement, parameters in self._for_postgresql if new else ():
                connection.exec_driver_sql(statement, parameters)
        if not new:
            schema.upgrade(engine)


@contextmanager
def tables_copied(from_file: Path) -> Iterator[None]:
    """As long as the block lasts, a store that is opened anew gets the tables of that file."""
    held = sqlite3.connect(from_file)
    statements = [line for line in held.iterdump() if line not in {"BEGIN TRANSACTION;", "COMMIT;"}]
    held.close()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(opening, "schema", _Copied(statements))
        yield
