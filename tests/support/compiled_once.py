"""A statement that one store of this process has compiled is compiled by none after it.

SQLAlchemy keeps what it compiled with each engine; a shop opens one store and has that from then
on, where hundreds of tests open their own.  Stores of one kind speak one dialect here: the same
driver, to the same SQLite or the same server.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import Engine
from sqlalchemy.util import LRUCache

from photocheck.orders.store import engines

AT_ONCE = 2000
"""Statements kept; a whole run of the tests has fewer."""


class _Kept:
    """What an engine keeps its statements in: the same for all engines of one dialect."""

    def __init__(self) -> None:
        self._kept: LRUCache[Any, Any] = LRUCache(AT_ONCE)

    @staticmethod
    def _of_any_engine(key: Any) -> Any:
        dialect, *statement = key
        return (type(dialect), dialect.server_version_info, *statement)

    def get(self, key: Any, default: Any = None) -> Any:
        return self._kept.get(self._of_any_engine(key), default)

    def __setitem__(self, key: Any, compiled: Any) -> None:
        self._kept[self._of_any_engine(key)] = compiled


@contextmanager
def compiled_once() -> Iterator[None]:
    """As long as the block lasts, for stores that are opened in it."""
    kept = _Kept()
    create_engine = engines.create_engine

    def sharing(*told: Any, **named: Any) -> Engine:
        engine = create_engine(*told, **named)
        # SQLAlchemy asks no more of it than `_Kept` has, and types it as its own kind of cache.
        engine._compiled_cache = kept  # type: ignore[assignment]
        return engine

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(engines, "create_engine", sharing)
        yield
