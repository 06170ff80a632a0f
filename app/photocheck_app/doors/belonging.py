"""What belongs to which browser: the files its pages show, and its pages' sessions.

Streamlit gives a file to whoever has its address, and a session to whoever has its name.  Here that
is not enough: the first page gives a browser a cookie, every file and session remembers the
cookies it was made for, and the server hands it to those alone.
"""

from __future__ import annotations

from collections.abc import Callable
from threading import Lock
from typing import Any, Final

import streamlit as st
from cachetools import LRUCache
from streamlit import runtime
from streamlit.runtime.scriptrunner import get_script_run_ctx

COOKIE: Final = "photocheck_visitor"
"""Random, and nothing but that: it tells browsers apart for as long as they are open."""

MOST_FILES: Final = 50_000
"""Addresses remembered; the one not asked for longest is forgotten first, and then served to
nobody until a page shows it again."""

MOST_SESSIONS: Final = 20_000
"""Sessions remembered; a forgotten one begins anew."""

_given: LRUCache[str, set[str]] = LRUCache(MOST_FILES)
_sessions: LRUCache[str, str] = LRUCache(MOST_SESSIONS)
_lock: Final = Lock()


def may_fetch(path: str, cookie: str) -> bool:
    """Whether a page of this browser has shown the file at this path."""
    with _lock:
        return bool(cookie) and cookie in _given.get(_name(path), ())


def owns_session(name: str, cookie: str) -> bool:
    """Whether a session is this browser's."""
    with _lock:
        return bool(cookie) and _sessions.get(name) == cookie


def bind() -> None:
    """Remember whose this session is, and have files remember too; at the start of every run."""
    context = get_script_run_ctx()
    if context is None or not runtime.exists():
        return
    with _lock:
        _sessions.setdefault(context.session_id, _visitor())
    manager: Any = runtime.get_instance().media_file_mgr
    with _lock:
        if getattr(manager, "photocheck_bound", False):
            return
        manager.photocheck_bound = True
    add, later, now = manager.add, manager.add_deferred, manager.execute_deferred

    def adding(*args: Any, **kwargs: Any) -> str:
        return _to(add(*args, **kwargs), _visitor())

    def adding_later(*args: Any, **kwargs: Any) -> str:
        return _to(later(*args, **kwargs), _visitor())

    def making_now(file_id: str) -> str:
        # In a thread of its own, which knows no visitor: those who were given the promise.
        with _lock:
            promised = set(_given.get(_name(file_id), ()))
        address: str = now(file_id)
        for cookie in promised:
            _to(address, cookie)
        return address

    replaced: dict[str, Callable[..., str]] = {
        "add": adding,
        "add_deferred": adding_later,
        "execute_deferred": making_now,
    }
    for name, function in replaced.items():
        setattr(manager, name, function)


def _visitor() -> str:
    return "" if get_script_run_ctx() is None else str(st.context.cookies.get(COOKIE, ""))


def _to(address: str, cookie: str) -> str:
    if address and cookie:
        with _lock:
            _given.setdefault(_name(address), set()).add(cookie)
    return address


def _name(path: str) -> str:
    """A file's name without where it lies: a hash, and its kind."""
    return path.partition("?")[0].rpartition("/")[2]
