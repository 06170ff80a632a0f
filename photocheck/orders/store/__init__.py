"""The durable store of orders, on SQLite or PostgreSQL; imports what an order is, and uploads."""

from __future__ import annotations

from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.store.opening import open_store

__all__ = ["DatabaseStore", "open_store"]
