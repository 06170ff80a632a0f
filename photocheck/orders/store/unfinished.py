"""Copies that are being made: noted beside the store, so that a killed one does not stay for ever.

Whoever makes a copy writes down where before its first byte is there, and holds a lock for as long
as it takes.  A note whose lock is free is that of a process that ended: what it names is removed.
"""

from __future__ import annotations

import os
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from filelock import FileLock, Timeout
from sqlalchemy import Engine

from photocheck.orders.store.engines import file_of

_NOTE: Final = ".unfinished-"
_LOCK: Final = ".lock"
_PART: Final = ".part"

ENDINGS: Final = ("-journal", "-wal", "-shm", "")
"""SQLite's own files beside its file, and that itself."""

_SQLITE: Final = b"SQLite format 3\0"
"""How each of its files begins (https://sqlite.org/fileformat.html, 1.3)."""

LOCK_OLD_S: Final = 60.0

OLD_S: Final = 24 * 3600.0
"""Age of a part without a note, as versions before 0.2 left them, after which nobody makes it any
more: no copy takes a day."""


def beside(engine: Engine) -> Path:
    """The path with whose name everything kept beside a store begins."""
    file = file_of(engine)
    if file is not None:
        return file
    from platformdirs import user_data_path

    name = "".join(c if c.isalnum() else "-" for c in engine.url.database or "")
    return user_data_path("photocheck") / f"postgresql-{name}"


def remove(copy: Path) -> None:
    """Delete a copy."""
    for ending in ENDINGS:
        with suppress(OSError):
            os.unlink(f"{copy}{ending}")


@contextmanager
def part_of(goal: Path, engine: Engine) -> Iterator[Path]:
    """A file beside a goal that only its owner may read, gone afterwards, also after a kill.

    Raises
    ------
    OSError
        When it cannot be made.
    """
    first = beside(engine)
    first.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    note = first.with_name(f"{first.name}{_NOTE}{secrets.token_hex(8)}")
    part = goal.with_name(f".{goal.name}.{secrets.token_hex(8)}{_PART}").absolute()
    lock = FileLock(f"{note}{_LOCK}", timeout=0)
    try:
        with lock:
            note.write_text(str(part), encoding="utf-8", errors="surrogateescape")
            try:
                os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
                yield part
            finally:
                remove(part)
                note.unlink(missing_ok=True)
    finally:
        with suppress(OSError):
            os.unlink(f"{note}{_LOCK}")


def sweep(engine: Engine, *folders: Path) -> int:
    """Remove what killed processes left half made, wherever they made it.

    Parameters
    ----------
    folders : Path
        Where older versions may have left something, besides the store's own folder.

    Returns
    -------
    int
        How many files with orders in them went.
    """
    first = beside(engine)
    went = 0
    # One that cannot be swept, or that somebody else swept since it was listed, keeps none of the
    # others: so each is looked at for itself.
    for note in _listed(first.parent, f"{literal(first.name)}{_NOTE}*"):
        if note.suffix != _LOCK:
            went += _sweep_noted(note)
        elif not note.with_suffix("").exists():
            with suppress(OSError):
                _sweep_lock(note)
    for folder in {first.parent, *folders}:
        for part in _listed(folder, f".*{_PART}"):
            with suppress(OSError):
                went += _sweep_old(part)
    return went


def _listed(folder: Path, pattern: str) -> tuple[Path, ...]:
    """What a folder holds of a pattern; nothing, where it cannot be read."""
    try:
        return tuple(folder.glob(pattern))
    except OSError:
        return ()


def _sweep_noted(note: Path) -> int:
    try:
        with FileLock(f"{note}{_LOCK}", timeout=0):
            part = Path(note.read_text(encoding="utf-8", errors="surrogateescape"))
            went = _is_ours(part) and part.exists()
            if _is_ours(part):
                remove(part)
            note.unlink(missing_ok=True)
    except (Timeout, OSError, ValueError):
        return 0  # somebody is at it
    with suppress(OSError):
        os.unlink(f"{note}{_LOCK}")
    return int(went)


def _sweep_lock(lock: Path) -> None:
    """Remove an empty lock that a kill left before its note was there, or after it had gone."""
    if time.time() - lock.stat().st_mtime > LOCK_OLD_S:  # its owner writes the note at once
        with suppress(Timeout), FileLock(lock, timeout=0):
            lock.unlink(missing_ok=True)


def _sweep_old(part: Path) -> int:
    if not _is_ours(part) or time.time() - part.stat().st_mtime < OLD_S:
        return 0
    with part.open("rb") as file:
        if file.read(len(_SQLITE)) not in (_SQLITE, b""):
            return 0
    remove(part)
    return 1


def _is_ours(part: Path) -> bool:
    """Whether it is called as parts are: a note in other hands shall not have anything removed."""
    return part.is_absolute() and part.name.startswith(".") and part.name.endswith(_PART)


def literal(name: str) -> str:
    """A name for `glob` that stands for nothing but itself."""
    return "".join(f"[{c}]" if c in "*?[" else c for c in name)
