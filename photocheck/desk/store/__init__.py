"""The durable store of orders, on SQLite or PostgreSQL."""

from __future__ import annotations

from photocheck.desk.store.database import DatabaseStore
from photocheck.desk.store.opening import open_store

__all__ = ["DatabaseStore", "open_store"]
