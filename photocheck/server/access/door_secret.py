"""What cookies of the desk are signed with: in a file of its own, beside no store and in no copy.

Whoever reads a store or a backup of it can sign nothing with that.  Servers that work together are
given the same file.
"""

from __future__ import annotations

import hmac
import os
import secrets
import stat
import tempfile
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Final

from photocheck.errors import PhotocheckError, reason_of
from photocheck.files import replacing, sync_folder
from photocheck.speech import tr

SECRET_VARIABLE: Final = "PHOTOCHECK_SECRET"
"""Environment variable with the path of the file; unset for one in the user's own settings."""

_LEAST: Final = 32
_MOST: Final = 4096
"""Bytes of the file: 256 bits at least, as what signs with SHA-256 should have (RFC 2104, 3)."""


class SecretError(PhotocheckError):
    """The file of the secret cannot be used."""


def secret_file() -> Path:
    """Where the secret lies."""
    told = os.environ.get(SECRET_VARIABLE)
    if told:
        return Path(told).expanduser()
    from platformdirs import user_config_path

    return user_config_path("photocheck") / "doors.secret"


def door_secret() -> bytes:
    """The secret; made at the first need, 256 random bits that only this user may read.

    Raises
    ------
    SecretError
        When it cannot be made or read, or others may read it.
    """
    file = secret_file()
    try:
        with suppress(FileNotFoundError):
            return _read(file)
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        _make(file)
        return _read(file)
    except OSError as error:
        raise SecretError(
            tr(
                "the secret of the doors cannot be read or made ({reason})", reason=reason_of(error)
            ),
            where=str(file),
            do=tr(
                "Check the folder and its rights, or name another file: {variable}",
                variable=SECRET_VARIABLE,
            ),
        ) from error


def key_for(purpose: str) -> str:
    """A key for one purpose, which tells nothing of the secret or of another purpose's.

    Raises
    ------
    SecretError
        As `door_secret` does.
    """
    return hmac.new(door_secret(), f"photocheck {purpose}".encode(), sha256).hexdigest()


def rotate() -> Path:
    """Put another secret in the place of the one there is; gives where it lies.

    Raises
    ------
    PhotocheckError
        When it cannot be written.
    """
    file = secret_file()
    door_secret()  # a file that is not ours to replace is told
    with replacing(file, private=True) as made:
        made.write(_new())
    return file


def _new() -> bytes:
    return secrets.token_urlsafe(32).encode() + b"\n"


def _make(file: Path) -> None:
    """Whole or not there, and one for all that make it at the same moment."""
    handle, part = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as made:
            made.write(_new())
            made.flush()
            os.fsync(made.fileno())
        with suppress(FileExistsError):
            os.link(part, file)
        sync_folder(file.parent)
    finally:
        os.unlink(part)


def _read(file: Path) -> bytes:
    with file.open("rb") as found:
        if os.name == "posix" and stat.S_IMODE(os.fstat(found.fileno()).st_mode) & 0o077:
            raise SecretError(
                tr("others on this machine may read the secret of the doors"),
                where=str(file),
                do=tr("Type: chmod 600 {file}; and then: photocheck rotate", file=file),
            )
        secret = found.read(_MOST).strip()
    if len(secret) < _LEAST:
        raise SecretError(
            tr("the secret of the doors is too short"),
            where=str(file),
            do=tr("Delete the file; another is made"),
        )
    return secret
