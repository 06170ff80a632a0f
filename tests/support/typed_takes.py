"""The takes of readings in a case or a draft, as texts alone."""

from __future__ import annotations

from datetime import datetime
from typing import Any


def rounds(told: dict[str, Any]) -> list[dict[str, str]]:
    """A case's readings as they are typed: the first round, then the second, ..."""
    every = {name: one if isinstance(one, list) else [one] for name, one in told.items()}
    count = max((len(takes) for takes in every.values()), default=0)
    return [
        {name: str(takes[number]) for name, takes in every.items() if number < len(takes)}
        for number in range(count)
    ]


def only_typed(told: dict[str, Any]) -> dict[str, Any]:
    """A draft's JSON as an owner made it, its readings as in a case file of texts.

    Each take must say when it was typed, and that the owner did.
    """
    readings = {}
    for name, takes in told["readings"].items():
        for take in takes:
            assert take["by"] == "owner"
            assert datetime.fromisoformat(take["at"]).tzinfo is not None
        texts = [take["typed"] for take in takes]
        readings[name] = texts if len(texts) > 1 else texts[0]
    return {**told, "readings": readings}
