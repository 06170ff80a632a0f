"""What stands in a draft's readings, without when and by whom it was typed."""

from __future__ import annotations

from datetime import datetime
from typing import Any


def only_typed(told: dict[str, Any]) -> dict[str, Any]:
    """A draft's JSON as an owner made it, each reading as its text alone, or a list of texts.

    Each take must say when it was typed, and that the owner did.
    """
    readings = {}
    for name, takes in told["readings"].items():
        for take in takes:
            assert take["by"] == "owner"
            assert datetime.fromisoformat(take["at"]).tzinfo is not None
        texts = [take["typed"] for take in takes]
        readings[name] = texts[0] if len(texts) == 1 else texts
    return {**told, "readings": readings}
