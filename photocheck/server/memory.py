"""What was worked out is held while there is room for it, in bytes and not in pieces."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from threading import Event, Lock
from typing import Generic, TypeVar

from cachetools import LRUCache

T = TypeVar("T")
_Name = tuple[str, Hashable]


class Memory(Generic[T]):
    """Holds what was made for orders, up to so many bytes; the longest unused goes first.

    What several threads ask for at the same moment is made once; the others wait for it.

    Parameters
    ----------
    most_bytes : int
    bytes_of : callable
        How many bytes one of the things takes.
    """

    def __init__(self, most_bytes: int, bytes_of: Callable[[T], int]) -> None:
        self._held: LRUCache[_Name, T] = LRUCache(most_bytes, getsizeof=bytes_of)
        self._coming: dict[_Name, Event] = {}
        self._lock = Lock()

    @property
    def bytes_held(self) -> int:
        """What all of it takes just now."""
        with self._lock:
            return int(self._held.currsize)

    @property
    def orders(self) -> frozenset[str]:
        """Those of which anything is held, or being made."""
        with self._lock:
            return frozenset(order for order, _ in (*self._held, *self._coming))

    def known(self, order: str, what: Hashable) -> T | None:
        """What is held, or None."""
        with self._lock:
            return self._held.get((order, what))

    def get(self, order: str, what: Hashable, make: Callable[[], T]) -> T:
        """What is held, or is made now and held from now on.

        Parameters
        ----------
        order : str
            The key of the order it belongs to.
        what : hashable
            Which of the things of this order.
        make : callable
            Whatever it raises is raised here, and nothing is held.
        """
        name = (order, what)
        while True:
            with self._lock:
                if name in self._held:
                    return self._held[name]
                coming = self._coming.get(name)
                if coming is None:
                    mine = self._coming[name] = Event()
                    break
            # Looked for again afterwards: making it may have failed, in another's language.
            coming.wait()
        try:
            made = make()
            with self._lock:
                # Unless the order was dropped meanwhile.
                if self._coming.get(name) is mine:
                    self._hold(name, made)
            return made
        finally:
            with self._lock:
                if self._coming.get(name) is mine:
                    del self._coming[name]
            mine.set()

    def _hold(self, name: _Name, made: T) -> None:
        try:
            self._held[name] = made
        except ValueError:
            return  # larger than all the room there is

    def drop(self, order: str | None = None) -> None:
        """Let go of all that belongs to an order, or of everything; also of what is being made."""
        with self._lock:
            for held in (self._held, self._coming):
                for name in [name for name in held if order in (None, name[0])]:
                    del held[name]
