"""What a store holds that photocheck never put there: said plainly, and where it stands.

SQLite keeps anything anywhere, and a file may be altered by hand, by another program or by a bad
disk.  Whoever then asks for it is told that the store is damaged, not that the program failed.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from typing import Any, Final, TypeVar

from sqlalchemy import Connection, RowMapping, Table, text

from photocheck.orders.model import DamagedError
from photocheck.orders.store.strange import odd_values
from photocheck.orders.store.tables import metadata
from photocheck.speech import tr

_log = logging.getLogger(__name__)

_STUMBLED: Final = (
    ArithmeticError,
    AttributeError,
    ExceptionGroup,  # what cattrs has to complain of
    LookupError,
    RecursionError,
    TypeError,
    ValueError,
)
"""What Python raises at a value of another kind than was expected."""

Made = TypeVar("Made")


def read_as(
    row: RowMapping, table: Table, column: str, make: Callable[[dict[str, Any]], Made]
) -> Made:
    """What is made of the JSON object in a column of a row.

    Raises
    ------
    DamagedError
        When it is no JSON object, or not one of that kind.
    """
    try:
        told = json.loads(row[column], parse_constant=_no_number)
        if not isinstance(told, dict):
            raise TypeError(f"{type(told).__name__} in place of an object")
        return make(told)
    except _STUMBLED as error:
        # Whoever doubts that it is the store may see what stumbled, and where.
        _log.info("%s.%s is not what it should be", table.name, column, exc_info=True)
        raise _damaged_in(row, table, column) from error


def one_of(row: RowMapping, table: Table, column: str, words: Collection[str]) -> str:
    """The word in a column of a row that has only some.

    Raises
    ------
    DamagedError
        When it is another.
    """
    word: str = row[column]
    if word not in words:
        raise _damaged_in(row, table, column)
    return word


@contextmanager
def damage_told(connection: Connection) -> Iterator[None]:
    """Where something stumbles over what it reads, see whether the store is to blame.

    Only then is it gone through, and only what is found there is blamed: else what was raised
    goes on as it is.

    Raises
    ------
    DamagedError
        Which value it is.
    """
    try:
        yield
    except _STUMBLED as error:
        found = odd_value(connection)
        if found is None:
            raise
        raise _damaged(*found) from error


def odd_value(connection: Connection) -> tuple[str, str] | None:
    """The first value of another kind than its column's, as the column and its row's key.

    None where there is none, and on PostgreSQL, which keeps no such.
    """
    if connection.dialect.name != "sqlite":
        return None
    for table in metadata.sorted_tables:
        for column in table.columns:
            keys = ", ".join(f'"{part.name}"' for part in table.primary_key)
            wanted = f'SELECT {keys} FROM "{table.name}" WHERE {odd_values(column)} LIMIT 1'
            if row := connection.execute(text(wanted)).first():
                return f"{table.name}.{column.name}", ", ".join(str(part)[:60] for part in row)
    return None


def _damaged_in(row: RowMapping, table: Table, column: str) -> DamagedError:
    key = ", ".join(str(row[part.name])[:60] for part in table.primary_key)
    return _damaged(f"{table.name}.{column}", key)


def _damaged(column: str, key: str) -> DamagedError:
    where = tr("{column}, row {key}", column=column, key=key)
    return DamagedError(
        tr("the store is damaged: what stands here is not what photocheck keeps there"),
        where=where,
        do=tr(
            "Nothing was changed. Put a copy that was made before in its place (photocheck "
            "restore), or forget the order that this row belongs to"
        ),
    )


def _no_number(name: str) -> Any:
    raise ValueError(name)
