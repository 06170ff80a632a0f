"""The sample cases as they would be with every reading taken once and no width told."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from typing import Any


def once(told: Mapping[str, Any]) -> dict[str, Any]:
    """A case file's content with the first take of every reading, no width and no front photo."""
    bare = copy.deepcopy(dict(told))
    bare["readings"] = {
        name: every[0] if isinstance(every, list) else every
        for name, every in told["readings"].items()
    }
    for fact in ("neck_width", "chest_width"):
        bare["dog"].pop(fact, None)
    bare["photos"] = [photo for photo in bare["photos"] if photo.get("view", "side") == "side"]
    return bare
