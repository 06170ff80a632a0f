"""Files that visitors hand in, in the server's memory."""

from __future__ import annotations

import gc
from typing import Any
from weakref import WeakKeyDictionary

import pytest
from streamlit.proto.Common_pb2 import FileURLs
from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager
from streamlit.runtime.uploaded_file_manager import UploadedFile, UploadedFileRec

from photocheck.errors import PhotoError
from photocheck.uploads import QUOTA, BusyError
from photocheck_app import framework, held_uploads
from photocheck_app.doors import sessions
from photocheck_app.held_uploads import bounded, content_of
from photocheck_app.practise import learner


@pytest.fixture
def manager(monkeypatch: pytest.MonkeyPatch) -> MemoryUploadedFileManager:
    """Streamlit's own, with room for 100 bytes, 60 of each visitor, who have an address each."""
    monkeypatch.setattr(held_uploads, "MOST_BYTES", 100)
    monkeypatch.setattr(held_uploads, "MOST_OF_ADDRESS", 60)
    monkeypatch.setattr(sessions, "_addresses", {who: who for who in ("Ann", "Bo", "Cleo")})
    made = MemoryUploadedFileManager("/upload")
    made.add_file = bounded(made)  # type: ignore[method-assign]
    return made


def send(manager: MemoryUploadedFileManager, who: str, name: str, size: int) -> UploadedFile:
    manager.add_file(who, UploadedFileRec(name, name, "image/jpeg", bytes(size)))
    (held,) = manager.get_files(who, [name])
    return UploadedFile(held, FileURLs())


def test_neither_one_visitor_nor_all_together_fill_the_memory(
    manager: MemoryUploadedFileManager,
) -> None:
    assert len(content_of(send(manager, "Ann", "1.jpg", 50))) == 50
    with pytest.raises(PhotoError, match=r"^2\.jpg: .*choose it again"):
        content_of(send(manager, "Ann", "2.jpg", 11))
    assert len(content_of(send(manager, "Bo", "3.jpg", 40))) == 40
    with pytest.raises(PhotoError, match="choose it again"):
        content_of(send(manager, "Cleo", "4.jpg", 20))
    held = [file for theirs in manager.file_storage.values() for file in theirs.values()]
    assert sum(len(file.data) for file in held) == 90
    manager.remove_file("Bo", "3.jpg")  # as `let_go` does
    assert len(content_of(send(manager, "Cleo", "4.jpg", 20))) == 20


def test_one_address_leaves_room_for_others(
    manager: MemoryUploadedFileManager, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever opens page after page, and asks for nothing once a file is sent."""
    monkeypatch.setattr(held_uploads, "MOST_OF_ADDRESS", 50)
    pages = {f"eve {number}": "eve" for number in range(3)} | {"ada 1": "ada", "ada 2": "ada"}
    monkeypatch.setattr(sessions, "_addresses", pages)
    assert len(content_of(send(manager, "eve 0", "1.jpg", 30))) == 30
    assert len(content_of(send(manager, "eve 1", "2.jpg", 20))) == 20
    with pytest.raises(PhotoError, match="choose it again"):
        content_of(send(manager, "eve 2", "3.jpg", 1))
    assert len(content_of(send(manager, "ada 1", "4.jpg", 50))) == 50
    manager.remove_file("eve 0", "1.jpg")
    assert len(content_of(send(manager, "eve 2", "3.jpg", 30))) == 30


def test_what_is_shipped_is_so_much() -> None:
    assert held_uploads.MOST_BYTES == 600_000_000
    # by one address one visitor may hand in all that one order holds
    assert held_uploads.MOST_OF_ADDRESS == QUOTA.total_bytes == 300_000_000
    assert (learner.MOST_BYTES, learner.MOST_OF_ADDRESS) == (300_000_000, 200_000_000)


def test_photos_to_practise_with_go_with_their_sessions(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(learner, "MOST_BYTES", 100)
    # Sessions of other tests in this process may still hold theirs.
    monkeypatch.setattr(learner, "_everybodys", WeakKeyDictionary())
    dropped: list[Any] = []
    monkeypatch.setattr(learner.bench, "drop", dropped.append)
    first = learner.keep_own(learner.Own(bytes(70), "a.jpg", "a"))
    with pytest.raises(BusyError, match="invented dogs meanwhile"):
        learner.keep_own(learner.Own(bytes(40), "b.jpg", "b"))
    del first
    gc.collect()
    assert dropped == ["a"]
    assert learner.keep_own(learner.Own(bytes(40), "b.jpg", "b"))


def test_photos_to_practise_with_leave_room_for_others(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever opens page after page and practises with a photo of their own on each."""
    monkeypatch.setattr(learner, "MOST_BYTES", 100)
    monkeypatch.setattr(learner, "MOST_OF_ADDRESS", 60)
    monkeypatch.setattr(learner, "_everybodys", WeakKeyDictionary())
    pages = {f"eve {number}": "eve" for number in range(3)} | {"ada 1": "ada"}
    monkeypatch.setattr(sessions, "_addresses", pages)

    def practise(session: str, size: int) -> learner.Own:
        monkeypatch.setattr(framework, "session_id", lambda: session)
        return learner.keep_own(learner.Own(bytes(size), f"{session}.jpg", session))

    held = [practise("eve 0", 30), practise("eve 1", 30)]
    with pytest.raises(BusyError, match="try again later"):
        practise("eve 2", 1)
    held.append(practise("ada 1", 40))
    with pytest.raises(BusyError, match="try again later"):
        practise("eve 2", 1)
    held.clear()
    gc.collect()
    assert len(practise("eve 2", 60).content) == 60
