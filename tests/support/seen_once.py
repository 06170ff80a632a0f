"""What is seen in a picture that an earlier test of this process has looked at is not sought again.

Many tests load, upload or open the same few samples, and two looks at them cost more than
all else there: that for an earlier compression's blocks, and the network's.  Both hang on the
picture alone.  Their own tests call them by names that are not replaced here.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pytest

from photocheck.photo import earlier_grid, traces
from photocheck.propose.network import Network


def _name_of(picture: np.ndarray) -> bytes:
    content = np.ascontiguousarray(picture)
    return hashlib.blake2b(repr(content.shape).encode() + content.tobytes()).digest()


def _once(seen: Callable[..., Any], *, part: Callable[[np.ndarray], np.ndarray]) -> Any:
    """`seen`, of whose arguments the last is a picture, and the others are the very same again."""
    known: dict[tuple[Any, ...], tuple[Any, tuple[Any, ...]]] = {}

    def looked(*told: Any) -> Any:
        *others, picture = told
        key = (*map(id, others), picture.shape, _name_of(part(picture)))
        if key not in known:
            known[key] = seen(*told), tuple(others)  # which are kept, so that no id comes again
        return known[key][0]

    return looked


def _middle(rgb: np.ndarray) -> np.ndarray:
    """At least what is looked at for earlier blocks."""
    reach = earlier_grid.SIDE_PX // 2 + 8
    row, column = (side // 2 for side in rgb.shape[:2])
    return rgb[max(0, row - reach) : row + reach, max(0, column - reach) : column + reach]


@contextmanager
def seen_once() -> Iterator[None]:
    """As long as the block lasts."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(traces, "earlier_grid", _once(earlier_grid.earlier_grid, part=_middle))
        patch.setattr(Network, "see", _once(Network.see, part=lambda look: look))
        yield
