"""From an address to a database that keeps what it acknowledges."""

from __future__ import annotations

import logging
import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import URL, Connection, Engine, Table, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, DisconnectionError, NoSuchModuleError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from photocheck.errors import disk_is_full, reason_of
from photocheck.files import sync_folder
from photocheck.orders.model import StoreError
from photocheck.orders.store.strange import refuse_journal
from photocheck.orders.store.tables import metadata
from photocheck.speech import tr

if TYPE_CHECKING:
    from sqlalchemy.dialects.sqlite import Insert

BUSY_SECONDS: Final = 30.0
"""How long a writer waits for another one.  Judgement: far above any write here."""

FILE_NAME: Final = "orders.sqlite3"

_log = logging.getLogger(__name__)


def url_of(address: str | None) -> URL:
    """What an address means.

    Parameters
    ----------
    address : str or None
        ``postgresql+psycopg://...``, ``sqlite:///...``, the path of a SQLite file, or None
        for `FILE_NAME` in the user's own data folder.

    Raises
    ------
    StoreError
        When it is neither.
    """
    if address is None:
        from platformdirs import user_data_path

        return _file_url(user_data_path("photocheck") / FILE_NAME)
    if "://" not in address:
        if not address.strip() or "\0" in address:
            raise StoreError(tr("the address of the store is empty"), do=tr("Name a file"))
        return _file_url(Path(address).expanduser())
    try:
        url = make_url(address)
    except (ArgumentError, ValueError) as error:
        raise _not_an_address(address.partition("://")[0] + "://...") from error
    kind = url.get_backend_name()
    if kind == "postgresql" and url.drivername in ("postgresql", "postgresql+psycopg"):
        return url.set(drivername="postgresql+psycopg")
    if url.drivername == "sqlite" and url.database not in (None, "", ":memory:"):
        return url
    raise _not_an_address(url.drivername + "://...")


def _file_url(path: Path) -> URL:
    return URL.create("sqlite", database=str(path))


def _not_an_address(shown: str) -> StoreError:
    return StoreError(
        tr("this is not where orders can be kept"),
        where=shown,  # the rest may hold a password
        do=tr('Give the path of a file, or "postgresql+psycopg://user@host/database"'),
    )


def file_of(engine: Engine) -> Path | None:
    """The SQLite file, or None on PostgreSQL."""
    name = engine.url.database
    return Path(name) if engine.dialect.name == "sqlite" and name else None


def engine_for(url: URL) -> Engine:
    """An engine whose commits are on the disk when they return.

    Raises
    ------
    StoreError
        When the folder cannot be made, or the driver is not installed.
    """
    if url.get_backend_name() == "sqlite":
        return _sqlite_engine(url)
    try:
        return create_engine(
            url,
            pool_pre_ping=True,
            connect_args=postgresql_settings(),
        )
    except (ImportError, NoSuchModuleError) as error:
        raise StoreError(
            tr("the driver for PostgreSQL is not installed"),
            do=tr("Install it with: pip install 'photocheck[postgresql]'"),
        ) from error


_KEEPALIVE: Final = {"idle": 20, "interval": 10, "count": 3}
"""Seconds without a word, seconds between two asks, and asks without an answer (judgement)."""


def postgresql_settings() -> dict[str, Any]:
    """What a connection is opened with.

    Whoever waits for another's lock waits no longer than on SQLite.  Where the other machine is
    gone without a word, neither side holds what the other had locked, or waits for it, longer
    than a minute; by the system's own settings it would be hours.
    """
    asked = "".join(f" -c tcp_keepalives_{name}={value}" for name, value in _KEEPALIVE.items())
    return {
        "options": "-c timezone=UTC -c synchronous_commit=on "
        f"-c lock_timeout={round(BUSY_SECONDS * 1000)}{asked}",
        "connect_timeout": int(BUSY_SECONDS),
        "tcp_user_timeout": round(BUSY_SECONDS * 1000),
        **{f"keepalives_{name}": value for name, value in _KEEPALIVE.items()},
    }


def wal_is_safe(version: tuple[int, ...] = sqlite3.sqlite_version_info) -> bool:
    """Whether this SQLite may use a write-ahead log with several connections.

    Before 3.51.3 a rare race of a checkpoint with a writer loses committed pages
    (https://sqlite.org/wal.html#walresetbug); 3.50.7 and 3.44.6 carry the correction too.
    """
    if version[:2] in ((3, 50), (3, 44)):
        return version[2] >= (7 if version[1] == 50 else 6)
    return version >= (3, 51, 3)


def _sqlite_engine(url: URL) -> Engine:
    path = Path(str(url.database))
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        # Photos of people's homes: for the owner of the file only.
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
        sync_folder(path.parent)
    except OSError as error:
        raise StoreError(
            tr("the file of the orders cannot be opened ({said})", said=reason_of(error)),
            where=str(path),
            do=tr("Check the folder and its rights"),
        ) from error
    engine = create_engine(url, connect_args={"timeout": BUSY_SECONDS})
    wal = wal_is_safe()

    # SQLite goes on with a file that was taken away or replaced, and what it acknowledges then
    # is nowhere; and where the file is not, a new connection would make another, empty one.
    @event.listens_for(engine, "do_connect")
    def _connecting(_dialect: Any, _record: Any, _args: Any, _more: Any) -> None:
        if not path.exists():
            raise sqlite3.OperationalError("the file is gone")
        refuse_journal(path)  # it may be a stranger's

    @event.listens_for(engine, "checkout")
    def _checked_out(_connection: Any, record: Any, _proxy: Any) -> None:
        if record.info.get("file") != _which_file(path):
            raise DisconnectionError("another file")

    @event.listens_for(engine, "connect")
    def _connected(connection: Any, record: Any) -> None:
        # Python's own BEGIN comes too late for a transaction to see one state of the
        # file; SQLAlchemy's manual ("Serializable isolation / Savepoints / Transactional
        # DDL" of its SQLite page) turns it off and says BEGIN itself.
        connection.isolation_level = None
        record.info["file"] = _which_file(path)
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA secure_delete = ON")
        connection.execute("PRAGMA trusted_schema = OFF")
        _set_journal(connection, "wal" if wal else "delete")
        # EXTRA also syncs the folder after the journal is deleted, without which a power
        # cut could bring the journal back and undo what was acknowledged.
        connection.execute(f"PRAGMA synchronous = {'FULL' if wal else 'EXTRA'}")

    @event.listens_for(engine, "begin")
    def _begun(connection: Connection) -> None:
        # A transaction that reads first and writes later would fail where two meet.
        reading = connection.get_execution_options().get("reading", False)
        connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")

    return engine


def _which_file(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _set_journal(connection: Any, wanted: str) -> None:
    """Change the journal mode; SQLite does not wait by itself where two change it at once."""
    until = time.monotonic() + BUSY_SECONDS
    while connection.execute("PRAGMA journal_mode").fetchone()[0] != wanted:
        try:
            connection.execute(f"PRAGMA journal_mode = {wanted}").fetchone()
        except sqlite3.OperationalError:
            if time.monotonic() > until:
                raise
            time.sleep(0.01)


def wipe(engine: Engine) -> None:
    """Take what was deleted out of the database's own files, as far as the database can.

    SQLite overwrites what it deletes (``secure_delete``); the write-ahead log, where there is
    one, is emptied here.  PostgreSQL marks the space as free and overwrites it in time.
    """
    busy: object = False
    try:
        if file_of(engine) is not None:
            with closing(engine.raw_connection()) as connection:
                cursor = connection.cursor()
                cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
                busy = bool((cursor.fetchone() or [0])[0])
        else:
            alone = engine.execution_options(isolation_level="AUTOCOMMIT")
            with alone.connect() as connected:
                connected.exec_driver_sql(f"VACUUM {', '.join(metadata.tables)}")
    except (DBAPIError, sqlite3.Error) as error:
        busy = error
    if busy:
        _log.warning(
            "what was deleted leaves the database's own files only with the next deletion (%s)",
            busy if isinstance(busy, Exception) else "somebody was reading",
        )


@contextmanager
def reached(where: str = "") -> Iterator[None]:
    """Turn what a database driver raises into a `StoreError`."""
    try:
        yield
    except (DBAPIError, PoolTimeout) as error:
        if disk_is_full(error):
            raise StoreError(
                tr("the disk of the orders is full"),
                where=where,
                do=tr("Make room on it; what was saved before is kept"),
            ) from error
        said = " ".join(str(getattr(error, "orig", error)).split())[:200]
        raise StoreError(
            tr("the orders cannot be read or written ({said})", said=said),
            where=where,
            do=tr(
                "Check that the database runs, its disk has space and you may write there; "
                "what was saved before is kept"
            ),
        ) from error


def insert_into(connection: Connection, table: Table) -> Insert:
    """The database's own kind of insert, which can say what to do where there is a row already."""
    if connection.dialect.name == "sqlite":
        from sqlalchemy.dialects.sqlite import insert as insert_new
    else:
        # another class, with the same methods for that
        from sqlalchemy.dialects.postgresql import insert as insert_new  # type: ignore[assignment]
    return insert_new(table)
