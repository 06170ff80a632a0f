"""Tables of a new SQLite file made by the statements that the migrations came to, not by these.

Alembic takes 0.04 s for them, and hundreds of tests begin with an empty store.  The migrations have
their own tests (`tests/orders/store`), which do without this.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine

from photocheck.orders.store import opening, schema


class _Copied:
    """`photocheck.orders.store.schema`, but for how new tables are made."""

    def __init__(self, statements: list[str]) -> None:
        self._statements = statements

    def __getattr__(self, name: str) -> Any:
        return getattr(schema, name)

    def upgrade(self, engine: Engine) -> None:
        if engine.dialect.name != "sqlite":
            schema.upgrade(engine)
            return
        with engine.begin() as connection:
            new = schema.version_of(connection) is None
            for statement in self._statements if new else ():
                connection.exec_driver_sql(statement)
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
