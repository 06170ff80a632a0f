"""Files that are written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from photocheck.errors import PhotocheckError, reason_of


@contextmanager
def replacing(path: str | os.PathLike[str]) -> Iterator[BinaryIO]:
    """Open a file for writing that takes its name only when all went well.

    Parameters
    ----------
    path : path
        What it shall be called; an older file of that name stays until then.

    Yields
    ------
    binary file

    Raises
    ------
    PhotocheckError
        When the folder is missing or not writable, or the disk is full.
    """
    target = Path(path)
    temporary: str | None = None
    try:
        handle, temporary = tempfile.mkstemp(
            dir=target.parent, prefix=f".{target.name}.", suffix=".part"
        )
        with os.fdopen(handle, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        # mkstemp makes files only their owner may read; give the usual rights.
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(temporary, 0o666 & ~umask)
        os.replace(temporary, target)
        temporary = None
        sync_folder(target.parent)
    except OSError as error:
        raise PhotocheckError(
            f"the file cannot be written ({reason_of(error)})",
            where=os.fspath(path),
            do="Check the folder, its rights and the space on the disk",
        ) from error
    finally:
        if temporary is not None:
            with suppress(OSError):
                os.unlink(temporary)


def sync_folder(folder: str | os.PathLike[str]) -> None:
    """Make the names in a folder outlast a power cut, where the system can (not on Windows)."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
