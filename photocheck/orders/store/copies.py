"""Copies of a store and the way back.

A copy is one SQLite file with the same tables, whichever database it was made of, so that a
shop can also move from one database to the other.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from math import inf
from pathlib import Path
from typing import Any

from sqlalchemy import (
    URL,
    Connection,
    Engine,
    MetaData,
    Table,
    delete,
    func,
    insert,
    inspect,
    select,
    text,
    update,
)

from photocheck.errors import disk_is_full, reason_of
from photocheck.files import no_room, sync_folder
from photocheck.orders.model import StoreError
from photocheck.orders.store import schema, unfinished
from photocheck.orders.store.database import DatabaseStore, key_hash
from photocheck.orders.store.engines import engine_for, file_of, reached, url_of, wipe
from photocheck.orders.store.strange import (
    leave_own_parts,
    opened,
    refuse_journal,
    refuse_strange_parts,
    refuse_strange_values,
    version_of,
)
from photocheck.orders.store.tables import (
    brought,
    changes,
    client_orders,
    client_tokens,
    clients,
    counts,
    deliveries,
    forgotten,
    looking,
    orders,
    passes,
    photos,
    ratios,
    secrets,
    staff,
    subscriptions,
)
from photocheck.orders.store.unfinished import ENDINGS, literal, part_of, remove
from photocheck.speech import tr

_BESIDE = ".kept-"
"""What comes between the store's own name and the name of a copy kept beside it."""

__all__ = [
    "Held",
    "back_up",
    "beside",
    "check_copy",
    "remove",
    "restore",
    "side_copies",
    "side_copy",
]


@dataclass(frozen=True)
class Held:
    """How much a copy or a store holds; `version` is that of its tables."""

    version: str
    orders: int
    photos: int


def back_up(store: DatabaseStore, target: str | os.PathLike[str]) -> Held:
    """Copy a store, also while others write to it, into a file that is whole or not there.

    The copy is read through once before it takes its name, and is on the disk on return.

    Raises
    ------
    StoreError
        When it cannot be written, or `target` is the store itself or no copy of one.
    """
    goal = Path(target)
    _refuse_other(goal, file_of(store.engine))
    unfinished.sweep(store.engine, goal.parent)
    with _part_of(goal, store.engine) as part:
        _copy(store, part)
        held = check_copy(part)
        _sync(part)
        os.replace(part, goal)
        sync_folder(goal.parent)
    return held


def side_copy(store: DatabaseStore, why: str) -> Path:
    """Copy a store beside itself, or on PostgreSQL into the user's own data folder."""
    first = beside(store)
    now = datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%f")
    target = first.with_name(f"{first.name}{_BESIDE}{why}-{now}.sqlite3")
    target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    back_up(store, target)
    return target


def side_copies(store: DatabaseStore, *, before: float = inf) -> tuple[Path, ...]:
    """All that `side_copy` and `restore` have kept, oldest first.

    Parameters
    ----------
    before : float
        Only those written before this moment, seconds since 1970.
    """
    first = beside(store)
    made: dict[Path, float] = {}
    for path in first.parent.glob(f"{literal(first.name)}{_BESIDE}*.sqlite3"):
        with suppress(FileNotFoundError):  # another server may be tidying
            made[path] = path.stat().st_mtime
    return tuple(sorted((path for path in made if made[path] < before), key=made.__getitem__))


def beside(store: DatabaseStore) -> Path:
    """The path with whose name the copies beside a store begin."""
    return unfinished.beside(store.engine)


def restore(address: str | None, source: str | os.PathLike[str]) -> tuple[Held, Path | None]:
    """Put a copy in the place of what a store holds now, and keep that aside.

    All in one transaction: others see the orders as before or as in the copy.  Orders that
    were forgotten here since do not come back.  A SQLite file that is damaged is moved aside
    as it is; nothing else may have it open then.

    Returns
    -------
    Held
        What the store holds now.
    path or None
        Where that which was there before is kept; None when there was nothing.

    Raises
    ------
    StoreError
        When the copy is damaged or newer than this program, or the store cannot be written;
        nothing is changed then.
    """
    schema.refuse_newer(check_copy(source).version)
    url = url_of(address)
    aside = None
    if url.get_backend_name() == "sqlite":
        aside = _move_if_damaged(Path(str(url.database)))
    store = DatabaseStore(engine_for(url))
    try:
        with store.reading() as connection:
            there = schema.version_of(connection)
        schema.refuse_newer(there)
        unfinished.sweep(store.engine)
        with _own_copy(source, store.engine) as copy:
            with reached():
                schema.upgrade(store.engine)
            held, kept = _replace(store, copy)
    finally:
        store.close()
    return held, kept or aside


@contextmanager
def _own_copy(source: str | os.PathLike[str], engine: Engine) -> Iterator[DatabaseStore]:
    """The copy in the newest version of the tables; the file itself stays as it is."""
    goal = unfinished.beside(engine).with_name(Path(source).name)
    with _part_of(goal, engine) as part:
        with reached(str(source)):
            with closing(opened(Path(source))) as found:
                found.execute("VACUUM INTO ?", (str(part),))
            copy = DatabaseStore(engine_for(URL.create("sqlite", database=str(part))))
        try:
            with reached(str(source)):
                schema.upgrade(copy.engine)
                with copy.reading() as connection:
                    refuse_strange_values(connection)
            yield copy
        except (sqlite3.DatabaseError, ValueError) as error:  # what is no moment, for example
            raise _no_whole_copy(source, error) from error
        finally:
            copy.close()


def _replace(store: DatabaseStore, copy: DatabaseStore) -> tuple[Held, Path | None]:
    kept = None
    with reached(), store.engine.begin() as target, copy.reading() as source:
        if target.dialect.name == "postgresql":
            # Whoever writes begins with a row of this table.
            target.execute(text("LOCK TABLE orders IN EXCLUSIVE MODE"))
        if target.execute(select(func.count()).select_from(orders)).scalar_one():
            kept = side_copy(store, "before-restore")  # nobody else writes meanwhile
        gone = {row.sha256: row.at for row in target.execute(select(forgotten))}
        known_there = set(source.execute(select(forgotten.c.sha256)).scalars())
        doors = _Doors.of(target)
        # What hangs on orders first, for their rows to go at once.
        hanging = (deliveries, subscriptions, changes, client_orders, client_tokens, clients)
        for table in (*hanging, brought, passes, staff, secrets, orders, forgotten, ratios):
            target.execute(delete(table))
        _copy_rows(source, target)
        doors.shut_again(target)
        for digest in gone.keys() - known_there:
            target.execute(insert(forgotten).values(sha256=digest, at=gone[digest]))
        for key in target.execute(select(orders.c.key)).scalars().all():
            if key_hash(key) in gone:
                target.execute(delete(orders).where(orders.c.key == key))
        now = [
            target.execute(select(func.count()).select_from(table)).scalar_one()
            for table in (orders, photos)
        ]
    wipe(store.engine)
    return Held(schema.SCHEMA, *now), kept


@dataclass(frozen=True)
class _Doors:
    """Who could come in before a copy was put back: it must not open what was shut since.

    Attributes
    ----------
    staff : list of dict
        Rows; when there are any they stay, with the passwords of today.
    ended : dict of str to datetime
        Hashes of the links taken back, and when.
    secret : list of dict
        Rows; for copies older than links.
    tokens : dict of str to datetime
        Hashes of the clients' tokens that were ended, and when.
    subscriptions : dict of str to datetime
        What was signed with of the subscriptions that were ended, and when.
    """

    staff: list[dict[str, Any]]
    ended: dict[str, datetime]
    secret: list[dict[str, Any]]
    tokens: dict[str, datetime]
    subscriptions: dict[str, datetime]

    @classmethod
    def of(cls, connection: Connection) -> _Doors:
        """As a store has them now."""

        def ended(table: Table, name: str) -> dict[str, datetime]:
            found = select(table.c[name], table.c.ended).where(table.c.ended.is_not(None))
            return {row[0]: row[1] for row in connection.execute(found)}

        return cls(
            [dict(row) for row in connection.execute(select(staff)).mappings()],
            ended(passes, "sha256"),
            [dict(row) for row in connection.execute(select(secrets)).mappings()],
            ended(client_tokens, "sha256"),
            ended(subscriptions, "nonce"),
        )

    def shut_again(self, connection: Connection) -> None:
        """Everybody signs in anew; links, tokens and subscriptions of the copy work but for those
        ended since."""
        connection.execute(delete(passes).where(passes.c.known_as.is_not(None)))
        for digest, ended in self.ended.items():
            connection.execute(update(passes).where(passes.c.sha256 == digest).values(ended=ended))
        for digest, ended in self.tokens.items():
            known = client_tokens.c.sha256 == digest
            connection.execute(update(client_tokens).where(known).values(ended=ended))
        for nonce, ended in self.subscriptions.items():
            known = subscriptions.c.nonce == nonce
            connection.execute(update(subscriptions).where(known).values(ended=ended))
        # What the copy still had to tell was told long ago, or is in the list of changes.
        connection.execute(delete(deliveries))
        if self.staff:
            connection.execute(delete(staff))
            connection.execute(insert(staff), self.staff)
        if not connection.execute(select(func.count()).select_from(secrets)).scalar_one():
            for row in self.secret:
                connection.execute(insert(secrets).values(**row))


def check_copy(path: str | os.PathLike[str]) -> Held:
    """Read a copy through.

    Raises
    ------
    StoreError
        When it is not there, not a copy, or damaged.
    """
    file = Path(path)
    if not file.is_file():
        raise StoreError(
            tr("there is no such file"), where=str(path), do=tr("Check the name and folder")
        )
    try:
        with closing(opened(file)) as copy:
            refuse_strange_parts(copy)
            (wrong,) = copy.execute("PRAGMA integrity_check(1)").fetchone()
            if wrong == "ok" and copy.execute("PRAGMA foreign_key_check").fetchone():
                wrong = tr("something has lost its order")
            if wrong != "ok":
                raise sqlite3.DatabaseError(wrong)
            version = version_of(copy)
            counts = [
                int(copy.execute(f"SELECT count(*) FROM {table}").fetchone()[0])
                for table in ("orders", "photos")
            ]
    except (sqlite3.Error, OSError, MemoryError) as error:
        raise _no_whole_copy(path, error) from error
    return Held(version, *counts)


def _no_whole_copy(path: str | os.PathLike[str], error: Exception) -> StoreError:
    return StoreError(
        tr(
            "this is not a whole copy of photocheck's orders ({said})",
            said=" ".join(str(error).split()),
        ),
        where=str(path),
        do=tr("Take another copy; nothing has been changed"),
    )


def _refuse_other(goal: Path, file: Path | None) -> None:
    """Never write over the store itself, nor over what is not a copy."""
    with suppress(OSError):
        if file is not None and goal.exists() and goal.samefile(file):
            raise StoreError(
                tr("this is the store itself"), where=str(goal), do=tr("Name another file")
            )
    if goal.exists():
        try:
            check_copy(goal)
        except StoreError as error:
            raise StoreError(
                tr("there is a file of this name that is not such a copy"),
                where=str(goal),
                do=tr("Name another file"),
            ) from error


@contextmanager
def _part_of(goal: Path, engine: Engine) -> Iterator[Path]:
    """As `unfinished.part_of`, for people."""
    try:
        with part_of(goal, engine) as part:
            yield part
    except OSError as error:
        if disk_is_full(error):
            raise no_room(str(goal), StoreError) from error
        raise StoreError(
            tr("the copy cannot be written ({said})", said=reason_of(error)),
            where=str(goal),
            do=tr("Check the folder, its rights and the space on the disk"),
        ) from error


def _copy(store: DatabaseStore, part: Path) -> None:
    if file_of(store.engine) is not None:
        with reached(str(part)), closing(store.engine.raw_connection()) as connection:
            try:
                connection.cursor().execute("VACUUM INTO ?", (str(part),))
            except sqlite3.Error as error:
                if disk_is_full(error):
                    raise no_room(str(part.parent), StoreError) from error
                raise StoreError(
                    tr("the copy cannot be made ({said})", said=str(error)),
                    where=str(part.parent),
                    do=tr("Check the space on the disk"),
                ) from error
        with reached(str(part)), closing(opened(part)) as made:
            leave_own_parts(made)
        return
    copy = DatabaseStore(engine_for(URL.create("sqlite", database=str(part))))
    try:
        with store.reading() as source:
            with reached(str(part)):
                schema.upgrade(copy.engine, to=schema.version_of(source))
                with copy.engine.begin() as target:
                    _copy_rows(source, target)
            with closing(copy.engine.raw_connection()) as connection:
                # one file, not one with a log beside it
                connection.cursor().execute("PRAGMA journal_mode = DELETE")
    finally:
        copy.close()


def _copy_rows(source: Connection, target: Connection) -> None:
    """All rows of all tables into empty ones; the tables are looked up in the database.

    Their version may be older than what `tables` describes.  Left out is how often somebody has
    guessed, for whoever was to wait waits on, and who has which order open.
    """
    names = set(inspect(source).get_table_names()) & set(inspect(target).get_table_names())
    found = MetaData()
    found.reflect(source, only=sorted(names - {"alembic_version", counts.name, looking.name}))
    for table in found.sorted_tables:
        goal = Table(table.name, MetaData(), autoload_with=target)
        at_once = 1 if table.name == "photos" else 500  # a photo may take tens of megabytes
        reader = source.execution_options(yield_per=at_once)
        with reader.execute(select(table)) as result:
            for part in result.mappings().partitions():
                target.execute(insert(goal), [dict(row) for row in part])
    if target.dialect.name == "postgresql":
        _numbers_onward(target)


def _numbers_onward(target: Connection) -> None:
    """New rows get numbers that no row has had, neither here nor in the copy."""
    there = set(inspect(target).get_table_names())
    for table, column in (
        ("orders", "id"),
        ("photos", "id"),
        ("checks", "number"),
        ("decisions", "id"),
        ("cuts", "id"),
        ("clients", "id"),
        ("changes", "number"),
        ("subscriptions", "id"),
        ("deliveries", "id"),
        ("outcomes", "id"),
    ):
        if table not in there:  # of a later version than the copy's
            continue
        target.execute(
            text(
                f"SELECT setval(pg_get_serial_sequence('{table}', '{column}'), greatest("
                f"(SELECT coalesce(max({column}), 0) FROM {table}) + 1, "
                f"nextval(pg_get_serial_sequence('{table}', '{column}'))), false)"
            )
        )


def _move_if_damaged(path: Path) -> Path | None:
    if not path.exists() or path.stat().st_size == 0:
        return None
    try:
        refuse_journal(path)
        with closing(sqlite3.connect(path)) as connection:
            if connection.execute("PRAGMA integrity_check(1)").fetchone()[0] == "ok":
                return None
    except sqlite3.OperationalError as error:
        raise StoreError(
            tr("the orders cannot be opened ({said})", said=str(error)),
            where=str(path),
            do=tr("Stop whatever uses them, and try again"),
        ) from error
    except sqlite3.DatabaseError:
        pass
    now = datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%f")
    aside = path.with_name(f"{path.name}{_BESIDE}damaged-{now}.sqlite3")
    for ending in ENDINGS:
        with suppress(FileNotFoundError):
            os.replace(f"{path}{ending}", f"{aside}{ending}")
    sync_folder(path.parent)
    return aside


def _sync(path: Path) -> None:
    with path.open("rb") as file:
        os.fsync(file.fileno())
