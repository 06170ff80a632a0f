"""A copy of orders is a stranger's file until it was looked at: what it may be made of.

SQLite runs what a file's own schema says: views in a table's place, triggers, expressions of
columns, indexes and checks (https://www.sqlite.org/security.html).  Our tables have next to none of
that, so whatever else is there is refused before anything is read from it.
"""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Iterable
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from sqlalchemy import Boolean, Column, Connection, Date, Float, Integer, LargeBinary, select, text

from photocheck.orders.store.tables import Number, Utc, metadata
from photocheck.speech import tr

MOST_PARTS: Final = 500
"""Tables, indexes and triggers; ours are some seventy.  Of 20,000 it took half a minute to read
what they are."""

MOST_BYTES: Final = 300_000_000
"""Of one text or blob, also of one that is only worked out: an order's photos have no more
together (`Quota`)."""

_TABLE: Final = re.compile(
    # no table of another program's, no column or default that is worked out, no remark in between
    r"CREATE TABLE (?!.*(?:\b(?:CHECK|AS|DEFAULT)\s*\(|--|/\*))",
    re.DOTALL | re.IGNORECASE,
)
_OWN_CHECK: Final = "CHECK ((order_id IS NULL) <> (known_as IS NULL))"
"""The one there is (migrations, 0002)."""

_MADE: Final = MappingProxyType(
    {
        "table": _TABLE,
        "index": re.compile(r'CREATE (?:UNIQUE )?INDEX \w+ ON \w+ \([\w", ]+\)\Z'),
        "trigger": re.compile(
            r"CREATE TRIGGER \w+ BEFORE (?:UPDATE|DELETE) ON \w+ "
            r"(?:WHEN EXISTS \(SELECT 1 FROM orders WHERE id = OLD\.order_id\) )?"
            r"BEGIN SELECT RAISE\(ABORT, '[\w ]+'\); END\Z"
        ),
    }
)
"""What each kind of part is made by, as all versions of ours made it."""

_VERSION: Final = re.compile(r"[0-9]{4}")

_NAMES_ANOTHER: Final = bytes.fromhex("d9d505f920a163d7")
"""How a journal ends that names a file of others (https://www.sqlite.org/fileformat.html, 3; SQLite
3.40.1, pager.c, "readSuperJournal")."""


def opened(file: Path) -> sqlite3.Connection:
    """A file that is there, for reading; closed by the caller.

    Raises
    ------
    sqlite3.Error
        When it cannot be opened, or what lies beside it has SQLite delete another file.
    """
    refuse_journal(file)
    file = file.resolve()
    # Opened for reading only, SQLite could not clear away a log left beside the file.
    connection = sqlite3.connect(f"{file.as_uri()}?mode=rw", uri=True)
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MOST_BYTES)
    connection.execute("PRAGMA trusted_schema = OFF")
    return connection


def refuse_journal(file: Path) -> None:
    """Stop before SQLite opens a file whose journal has it delete another one, or wait for ever.

    A journal may name a file of all that were changed together, and that file goes with it.  Ours
    never does: one file is changed at a time.  At a pipe SQLite waits for somebody to write.

    Raises
    ------
    sqlite3.DatabaseError
    """
    # SQLite goes by where a link leads as well.
    journal = Path(f"{file.resolve()}-journal")
    if journal.exists() and not journal.is_file():
        raise sqlite3.DatabaseError(tr("its journal is no ordinary file"))
    if journal.is_file() and _end_of(journal, len(_NAMES_ANOTHER)) == _NAMES_ANOTHER:
        raise sqlite3.DatabaseError(tr("its journal names another file"))


def _end_of(file: Path, size: int) -> bytes:
    try:
        with file.open("rb") as held:
            held.seek(max(0, os.fstat(held.fileno()).st_size - size))
            return held.read(size)
    except FileNotFoundError:
        return b""  # whoever wrote has just ended


def leave_own_parts(connection: sqlite3.Connection) -> None:
    """Take out of a copy of one's own store what somebody added to it: views, triggers, indexes.

    A shop may have made some to look at its orders.  They hold nothing, and with them the copy
    would be taken for a stranger's.
    """
    for kind, name in _strange(connection.execute("SELECT type, name, sql FROM sqlite_master")):
        if kind != "table":
            quoted = name.replace('"', '""')
            connection.execute(f'DROP {kind} "{quoted}"')
    connection.commit()


def refuse_strange_parts(connection: sqlite3.Connection) -> None:
    """Stop where a file's schema holds what none of ours does; nothing of it is run.

    Raises
    ------
    sqlite3.DatabaseError
        What it is.
    """
    found = connection.execute(
        "SELECT type, name, sql FROM sqlite_master LIMIT ?", (MOST_PARTS + 1,)
    ).fetchall()
    if len(found) > MOST_PARTS:
        raise sqlite3.DatabaseError(tr("it has too many parts"))
    for kind, name in _strange(found):
        said = tr("it holds {what}, which photocheck never makes", what=f"{kind} {name}"[:80])
        raise sqlite3.DatabaseError(said)


def _strange(parts: Iterable[tuple[str, str, str | None]]) -> list[tuple[str, str]]:
    """Kind and name of what none of ours is, of all parts with what they were made by."""
    return [
        (kind, name)
        for kind, name, made in parts
        if not (made is None and kind == "index")  # SQLite's own, of a key
        and (kind not in _MADE or not _MADE[kind].match(str(made).replace(_OWN_CHECK, "")))
    ]


def version_of(connection: sqlite3.Connection) -> str:
    """The version of a copy's tables: four digits, or another program's words, which are no version
    of ours (`photocheck.orders.store.schema.refuse_newer`).

    Raises
    ------
    sqlite3.DatabaseError
        When there is none, or it is none that anybody gave.
    """
    row = connection.execute("SELECT substr(version_num, 1, 40) FROM alembic_version").fetchone()
    version = row[0] if row else None
    if not isinstance(version, str) or (version.isdecimal() and not _known(version)):
        raise sqlite3.DatabaseError(tr("it does not say which version it is of"))
    return version


def _known(version: str) -> bool:
    return _VERSION.fullmatch(version) is not None and int(version) > 0


def refuse_strange_values(connection: Connection) -> None:
    """Stop where a column of a copy, in the newest version, holds what is not of its kind: SQLite
    keeps anything anywhere.

    Raises
    ------
    sqlite3.DatabaseError
        Which column it is.
    """
    for table in metadata.sorted_tables:
        for column in table.columns:
            odd = text(odd_values(column))
            if connection.execute(select(text("1")).select_from(table).where(odd).limit(1)).first():
                where = f"{table.name}.{column.name}"
                raise sqlite3.DatabaseError(tr("{where} holds another kind of value", where=where))


def odd_values(column: Column[Any]) -> str:
    """Which values of it are of no kind that it has, in SQL; SQLite keeps moments as texts, and as
    a number whether something is so."""
    name, own = f'"{column.name}"', "'text'"
    if isinstance(column.type, LargeBinary):
        own = "'blob'"
    elif isinstance(column.type, Float):
        own = "'real'"
    elif isinstance(column.type, Integer | Boolean | Number):
        own = "'integer'"
    kinds = f"{own}, 'null'" if column.nullable else own
    odd = f"typeof({name}) NOT IN ({kinds})"
    if isinstance(column.type, Utc | Date):
        # "now" is a moment to SQLite as well.
        odd += f" OR {name} NOT GLOB '[0-9][0-9][0-9][0-9]-*'"
        odd += f" OR {name} NOTNULL AND julianday({name}) ISNULL"
    if isinstance(column.type, Date):
        odd += f" OR length({name}) <> 10"
    return odd
