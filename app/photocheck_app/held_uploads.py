"""Files that visitors hand in: how the server holds them until they are taken in.

Streamlit keeps every file in memory until the visitor's session ends, whatever has become of it
and however many there are.  Here all visitors' files together have a bound, those of one address
have one, and what has been taken in is let go at once.
"""

from __future__ import annotations

from collections.abc import Iterable
from threading import Lock
from typing import Any, Final

from streamlit.typing import UploadedFile

from photocheck.errors import PhotoError
from photocheck.speech import tr
from photocheck_app import framework
from photocheck_app.doors.sessions import of_its_address

MOST_BYTES: Final = 600_000_000
"""Of all visitors together: ten of the largest files, or a hundred and more as phones write them
(judgement)."""

MOST_OF_ADDRESS: Final = 300_000_000
"""Of one address, and so of one visitor, as much as one order may hold: whoever opens page after
page, sends a file by each and asks for nothing more keeps half of the room, and others have theirs.
A class of forty has some 200 MB."""

_NO_ROOM: Final = "application/x-photocheck-no-room"
"""Stands for a file that was not held.  A refusal with words of Streamlit's own would leave the
visitor with a number."""

_lock: Final = Lock()


def bind() -> None:
    """Have the server bound what it holds; at the start of every run."""
    if framework.served():
        framework.watch_uploads(bounded)


def bounded(manager: Any) -> Any:
    """Streamlit's own way to hold a file, for as long as there is room.

    Parameters
    ----------
    manager : streamlit.runtime.memory_uploaded_file_manager.MemoryUploadedFileManager
    """
    add = manager.add_file

    def adding(session_id: str, file: Any) -> None:
        with _lock:
            held = framework.held_bytes(manager)
            more = len(file.data)
            theirs = of_its_address(session_id, held)
            if sum(held.values()) + more > MOST_BYTES or theirs + more > MOST_OF_ADDRESS:
                file = framework.emptied(file, _NO_ROOM)
            add(session_id, file)

    return adding


def had_room(file: UploadedFile) -> bool:
    """Whether a file that was handed in is held; one that is not may be chosen again later."""
    return bool(file.type != _NO_ROOM)


def content_of(file: UploadedFile) -> bytes:
    """What was handed in.

    Raises
    ------
    PhotoError
        When there was no room for it.
    """
    if file.type == _NO_ROOM:
        raise PhotoError(
            tr("too many files are being sent at the same moment"),
            where=file.name,
            do=tr("Wait a minute, then choose it again, few at a time"),
        )
    return file.getvalue()


def let_go(files: Iterable[UploadedFile]) -> None:
    """Free the memory of files that have been taken in, or refused for good."""
    framework.let_go(files)
