"""The same work for many phantoms, on several processes, with a bar that shows how far it is."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")


def over_phantoms(work: Callable[[int], Item], dogs: int, jobs: int) -> list[Item]:
    """What the work gives for each phantom's number, from 0.

    Parameters
    ----------
    work : callable
        Of a module, so that it goes to another process.
    dogs, jobs : int
        How many phantoms, and processes.
    """
    from tqdm import tqdm

    with ProcessPoolExecutor(jobs) as pool:
        done = pool.map(work, range(dogs), chunksize=2)
        return list(tqdm(done, total=dogs, desc="phantoms", disable=None))
