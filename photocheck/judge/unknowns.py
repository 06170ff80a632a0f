"""Names for the entries of a parameter vector."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Key = tuple[Any, ...]
"""What an unknown is ("pose", "offset", ...), then whose."""


@dataclass
class Unknowns:
    """The layout of a parameter vector, built once and then only read.

    Asking twice for the same key gives the same place: that is how photos share
    what they have in common.
    """

    size: int = 0
    _places: dict[Key, slice] = field(default_factory=dict)
    _starts: list[float] = field(default_factory=list)
    _steps: list[float] = field(default_factory=list)
    _kinds: dict[str, tuple[Key, ...]] = field(default_factory=dict)

    def add(self, key: Key, start: list[float], step: float) -> None:
        """Reserve `len(start)` entries; `step` is what numerical derivatives move by."""
        if key in self._places:
            return
        self._places[key] = slice(self.size, self.size + len(start))
        self._starts += start
        self._steps += [step] * len(start)
        self._kinds[key[0]] = (*self.kinds(key[0]), key)
        self.size += len(start)

    def __contains__(self, key: Key) -> bool:
        return key in self._places

    def of(self, theta: Array, key: Key) -> Array:
        """The entries of `key`, (..., n)."""
        return theta[..., self._places[key]]

    def one(self, theta: Array, key: Key) -> Array:
        """The single entry of `key`, (...)."""
        return np.asarray(theta[..., self._places[key].start])

    def place(self, key: Key) -> slice:
        """Where the entries of `key` are."""
        return self._places[key]

    def kinds(self, kind: str) -> tuple[Key, ...]:
        """All keys whose first part is `kind`, in order."""
        return self._kinds.get(kind, ())

    @property
    def start(self) -> Array:
        """Starting vector, (p,)."""
        return np.array(self._starts)

    @property
    def steps(self) -> Array:
        """Steps for numerical derivatives, (p,)."""
        return np.array(self._steps)
