"""What stands in a draft's readings, without when and by whom it was typed."""

from __future__ import annotations

from datetime import datetime
from typing import Any


def only_typed(told: dict[str, Any]) -> dict[str, Any]:
    """A draft's JSON as an owner made it, each reading taken once as its text alone.

    Each must say when it was typed, and that the owner did.
    """
    readings = {}
    for name, (take,) in told["readings"].items():
        assert take["by"] == "owner"
        assert datetime.fromisoformat(take["at"]).tzinfo is not None
        readings[name] = take["typed"]
    return {**told, "readings": readings}
