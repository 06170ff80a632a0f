"""Whose a session is, and the files its pages show.

Streamlit gives a file to whoever has its address, and a session to whoever has its name.  Here that
is not enough: the first page gives a browser a cookie, every file and session remembers the
cookies it was made for, and the server hands it to those alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from threading import Lock
from typing import Final

import streamlit as st
from cachetools import LRUCache

from photocheck.server.access.browsers import LONGEST, known_apart
from photocheck_app import framework
from photocheck_app.doors.rate_limits import here

COOKIE: Final = "photocheck_visitor"
"""It tells browsers apart for as long as they are open, and nothing more
(`photocheck.server.access.browsers`)."""

MOST_FILES: Final = 50_000
"""Addresses remembered; the one not asked for longest is forgotten first, and then served to
nobody until a page shows it again."""

MOST_BROWSERS: Final = 5_000
"""Of one file, more than may have a page open at once (`photocheck_app.doors.connections.IN_ALL`):
a picture that every page shows is not remembered for all who ever came."""

MOST_SESSIONS: Final = 20_000
"""Sessions remembered; a forgotten one begins anew."""

_given: LRUCache[str, LRUCache[str, None]] = LRUCache(MOST_FILES)
_sessions: LRUCache[str, str] = LRUCache(MOST_SESSIONS)
_addresses: LRUCache[str, str] = LRUCache(MOST_SESSIONS)
_lock: Final = Lock()


def may_fetch(path: str, cookie: str) -> bool:
    """Whether a page of this browser has shown the file at this path."""
    with _lock:
        return bool(cookie) and cookie in _given.get(_name(path), ())


def owns_session(name: str, cookie: str) -> bool:
    """Whether a session is this browser's."""
    with _lock:
        return bool(cookie) and _sessions.get(name) == cookie


def just_opened() -> bool:
    """Whether this is the first run of a page: none before has bound it (`bind`)."""
    with _lock:
        return framework.served() and framework.session_id() not in _sessions


def bind() -> None:
    """Remember whose this session is, and have files remember too; at the start of every run."""
    session = framework.session_id()
    if not session or not framework.served():
        return
    with _lock:
        _sessions.setdefault(session, _visitor())
        _addresses[session] = here()
    framework.watch_media(lambda address: _to(address, _visitor()), _made)


def address_of(session: str) -> str:
    """Whom a session counts as (`photocheck_app.doors.rate_limits.here`), or nothing."""
    with _lock:
        return str(_addresses.get(session, ""))


def of_its_address(session: str, held: Mapping[str, int]) -> int:
    """What all sessions of one's address hold together, of what each session holds."""
    whose = address_of(session)
    return sum(size for other, size in held.items() if address_of(other) == whose)


def browser() -> str:
    """What tells the browser of this run apart from others of its address, or nothing."""
    return known_apart(_visitor())


def _made(promise: str, address: str) -> None:
    # In a thread of its own, which knows no visitor: those who were given the promise.
    with _lock:
        promised = set(_given.get(_name(promise), ()))
    for cookie in promised:
        _to(address, cookie)


def _visitor() -> str:
    carried = str(st.context.cookies.get(COOKIE, "")) if framework.session_id() else ""
    # It is remembered with every session and file: of a header's size that were gigabytes.
    return carried if len(carried) <= LONGEST else ""


def _to(address: str, cookie: str) -> None:
    if address and cookie:
        with _lock:
            _given.setdefault(_name(address), LRUCache(MOST_BROWSERS))[cookie] = None


def _name(path: str) -> str:
    """A file's name without where it lies: a hash, and its kind."""
    return path.partition("?")[0].rpartition("/")[2]
