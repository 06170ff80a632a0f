"""Files that are written whole or not at all."""

from __future__ import annotations

import errno
import io
import os
import secrets
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, Final, TypeVar

from photocheck.errors import PhotocheckError, disk_is_full, reason_of
from photocheck.speech import tr

_NEW: Final = os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_BINARY", 0)

_Error = TypeVar("_Error", bound=PhotocheckError)


@contextmanager
def replacing(path: str | os.PathLike[str], *, private: bool = False) -> Iterator[BinaryIO]:
    """Open a file for writing that takes its name only when all went well.

    Parameters
    ----------
    path : path
        What it shall be called; an older file of that name stays until then.  A device or a pipe is
        written to, once all of it is there.
    private : bool
        Whether only whoever writes it may read it, whatever the umask and the older file say:
        for what holds an owner's photos, words or readings, or a secret.

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
        if _is_no_file(target):
            # A pipe, a terminal, the place where everything vanishes: another cannot take its
            # place, and what was begun there cannot be taken back.
            held = io.BytesIO()
            yield held
            with target.open("wb") as device:
                device.write(held.getvalue())
            return
        # The system takes the umask off these rights; asking for the umask means setting it, for
        # every thread of the process, and a file made at that moment would be open to all.
        temporary = str(target.with_name(f".{target.name}.{secrets.token_hex(8)}.part"))
        try:
            handle = os.open(temporary, _NEW, 0o600 if private else 0o666)
        except OSError:
            temporary = None  # what lies there, if anything does, is not ours to take away
            raise
        with os.fdopen(handle, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, target)
        temporary = None
        sync_folder(target.parent)
    except OSError as error:
        if disk_is_full(error):
            raise no_room(os.fspath(path), PhotocheckError) from error
        raise PhotocheckError(
            tr("the file cannot be written ({reason})", reason=reason_of(error)),
            where=os.fspath(path),
            do=tr("Check the folder, its rights and the space on the disk"),
        ) from error
    finally:
        if temporary is not None:
            with suppress(OSError):
                os.unlink(temporary)


def no_room(where: str, kind: type[_Error]) -> _Error:
    """An error of that kind that tells of a full disk."""
    return kind(
        tr("the disk is full, and nothing was written"),
        where=where,
        do=tr("Make room on it, or name another place"),
    )


def _is_no_file(target: Path) -> bool:
    """Whether something other than a file or a folder stands there."""
    try:
        mode = target.stat().st_mode
    except (OSError, ValueError):
        return False
    return not (stat.S_ISREG(mode) or stat.S_ISDIR(mode))


def sync_folder(folder: str | os.PathLike[str]) -> None:
    """Make the names in a folder outlast a power cut, where the system can (not on Windows)."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def read_at_most(path: Path, most: int) -> bytes:
    """What is in a file, but of one that is larger no more than one byte beyond.

    What a file says of its size is not believed: a device and a pipe say 0, and have no end.

    Raises
    ------
    OSError
    """
    with path.open("rb") as file:
        return file.read(most + 1)


def all_below(folder: Path) -> list[Path]:
    """All that lies in a folder and in those below it, in order; what links lead to is not gone to.

    A stranger's folders may lie in one another a thousand times, which `Path.rglob` and `os.walk`
    do not bear: they call themselves for each.  What cannot be looked into, and what lies so deep
    that it has no name, is passed over.
    """
    found: list[Path] = []
    left = [folder]
    while left:
        try:
            with os.scandir(left.pop()) as entries:
                for entry in entries:
                    entry.stat(follow_symlinks=False)
                    found.append(Path(entry.path))
                    if entry.is_dir(follow_symlinks=False):
                        left.append(found[-1])
        except OSError:
            continue
    return sorted(found)


def read_inside(folder: Path, name: str, most: int) -> bytes:
    """The same of a file in a folder or below it, wherever its name or a link may lead.

    Links within the folder are followed.  Who may write there can put a link in the place of
    anything between two looks: what is opened is gone to step by step, and at no step is a link.

    Raises
    ------
    OSError
        Also where it leads out of the folder, or is no file.
    """
    inside = folder.resolve()
    path = (inside / name).resolve()
    if not path.is_relative_to(inside):
        raise PermissionError(errno.EACCES, tr("it leads out of the folder"))
    # Nobody waits at a pipe.
    how = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    if os.open in os.supports_dir_fd:
        handle = _step_by_step(inside, path.relative_to(inside).parts, how)
    else:
        handle = os.open(path, how)
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise PermissionError(errno.EACCES, tr("it is no file"))
    with os.fdopen(handle, "rb") as file:
        return file.read(most + 1)


def _step_by_step(folder: Path, parts: tuple[str, ...], how: int) -> int:
    """Open a file below a folder through each folder between, none of them by way of a link."""
    here = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        for part in parts[:-1]:
            below = os.open(part, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW, dir_fd=here)
            os.close(here)
            here = below
        return os.open(parts[-1] if parts else ".", how | os.O_NOFOLLOW, dir_fd=here)
    finally:
        os.close(here)
