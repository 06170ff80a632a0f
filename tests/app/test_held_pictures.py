"""Sharp copies that pages show, in the server's memory."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from streamlit.runtime.media_file_manager import MediaFileManager
from streamlit.runtime.memory_media_file_storage import MemoryMediaFileStorage

from photocheck_app import framework, held_pictures
from photocheck_app.doors import sessions
from photocheck_app.held_pictures import have_room


@pytest.fixture
def at(monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """Which session's run this is; with room for 100 bytes, 60 of each."""
    run = {"session": ""}
    manager = MediaFileManager(MemoryMediaFileStorage("/media"))
    monkeypatch.setattr(
        "streamlit.runtime.media_file_manager._get_session_id", lambda: run["session"]
    )
    monkeypatch.setattr(held_pictures, "MOST_BYTES", 100)
    monkeypatch.setattr(held_pictures, "MOST_OF_ADDRESS", 60)
    monkeypatch.setattr(sessions, "_addresses", {})
    monkeypatch.setattr(framework, "session_id", lambda: run["session"])
    monkeypatch.setattr(framework, "runtime", lambda: SimpleNamespace(media_file_mgr=manager))
    return run


def show(at: dict[str, str], address: str, session: str, size: int) -> bool:
    at["session"] = session
    sessions._addresses[session] = address
    if not have_room(size):
        return False
    manager: Any = framework.runtime().media_file_mgr
    manager.add(bytes(size), "image/jpeg", "here", file_name=session)
    return True


def test_neither_one_address_nor_all_together_fill_the_memory(at: dict[str, str]) -> None:
    assert show(at, "eve", "e1", 30)
    assert show(at, "eve", "e2", 30)
    assert not show(at, "eve", "e3", 1)
    assert show(at, "ada", "a1", 40)
    assert not show(at, "bob", "b1", 1)
    manager: Any = framework.runtime().media_file_mgr
    manager.clear_session_refs("e1")  # as when it ends, or its page is run again
    assert show(at, "bob", "b1", 20)
    assert show(at, "eve", "e1", 10)
    assert not show(at, "eve", "e1", 21)


def test_what_is_shipped_is_this() -> None:
    assert (held_pictures.MOST_BYTES, held_pictures.MOST_OF_ADDRESS) == (800_000_000, 300_000_000)
