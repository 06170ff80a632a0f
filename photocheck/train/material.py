"""Looks in numbers: blocks of them made by many processes, kept as plain arrays in a folder."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from time import monotonic
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from photocheck.phantom.teaching.drawn_look import (
    BLOCK,
    HELD_OUT_FROM,
    KINDS,
    SIDE,
    DrawnLook,
    looks_of_block,
)
from photocheck.phantom.teaching.sceneries import Scenery, read_scenery
from photocheck.phantom.teaching.teaching_bodies import POINTS, TeachingBody, read_bodies

ARRAYS: Final[Mapping[str, tuple[tuple[int, ...], Any]]] = {
    "pictures": ((SIDE, SIDE, 3), np.uint8),
    "points": ((len(POINTS), 2), np.float32),
    "kinds": ((), np.uint8),
    "facing": ((), np.uint8),
    "frames": ((4,), np.float32),
    "trunks": ((), np.float32),
    "bodies": ((), "U16"),
}


@cache
def _material(folder: str) -> tuple[Scenery, list[TeachingBody], list[TeachingBody]]:
    where = Path(folder)
    dogs = read_bodies(where / "dogs.npz") if (where / "dogs.npz").exists() else []
    others = read_bodies(where / "others.npz") if (where / "others.npz").exists() else []
    return read_scenery(where), dogs, others


def block(folder: str, seed: int, number: int) -> dict[str, npt.NDArray[Any]]:
    """One block of looks as arrays; its scenery and bodies are read from ``folder``."""
    import cv2

    cv2.setNumThreads(1)
    scenery, dogs, others = _material(folder)
    looks = list(looks_of_block(seed, number, scenery, dogs, others))
    return {
        "pictures": np.stack([look.picture for look in looks]),
        "points": np.stack([look.points for look in looks]),
        "kinds": np.array([KINDS.index(look.kind) for look in looks], np.uint8),
        "facing": np.array([look.facing_right for look in looks], np.uint8),
        "frames": np.stack([look.frame for look in looks]),
        "trunks": np.array([look.trunk for look in looks], np.float32),
        "bodies": np.array([look.body for look in looks], "U16"),
    }


@dataclass(frozen=True)
class Synthesis:
    """What is made: ``blocks`` to train with and ``held_out`` blocks, or as many as fit in time."""

    seed: int = 17
    blocks: int = 1700
    held_out: int = 60
    processes: int = 0
    seconds: float = float("inf")


def synthesise(material: Path, out: Path, wish: Synthesis) -> dict[str, int]:
    """Write ``train`` and ``held_out`` arrays into ``out``; how many looks each has.

    The looks of a block depend on the seed, its number and the material alone.  With a limit
    of seconds the numbers that were reached are told in ``synthesis.json``.
    """
    out.mkdir(parents=True, exist_ok=True)
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    counts = {}
    numbers = {
        "held_out": [HELD_OUT_FROM + k for k in range(wish.held_out)],
        "train": list(range(wish.blocks)),
    }
    began = monotonic()
    with ProcessPoolExecutor(wish.processes or os.cpu_count()) as pool:
        for part, which in numbers.items():
            size = len(which) * BLOCK
            stores = {
                name: np.lib.format.open_memmap(
                    out / f"{part}_{name}.npy", "w+", np.dtype(kind), (size, *shape)
                )
                for name, (shape, kind) in ARRAYS.items()
            }
            tasks = {
                pool.submit(block, str(material), wish.seed, number): k
                for k, number in enumerate(which)
            }
            done = 0
            for task in as_completed(tasks):
                if task.cancelled():
                    continue
                # in the order they come: which comes first matters to nobody who shuffles
                for name, values in task.result().items():
                    stores[name][done : done + BLOCK] = values
                done += BLOCK
                if monotonic() - began > wish.seconds:
                    for other in tasks:
                        other.cancel()
                    break
            for store in stores.values():
                store.flush()
            counts[part] = done
    told = {"counts": counts, "seed": wish.seed, "seconds": round(monotonic() - began, 1)}
    (out / "synthesis.json").write_text(json.dumps(told))
    return counts


def held_out_looks(material: Path, seed: int, blocks: int) -> Iterator[DrawnLook]:
    """Looks that were neither trained with nor measured while fitting."""
    scenery, dogs, others = _material(str(material))
    for number in range(blocks):
        yield from looks_of_block(seed, HELD_OUT_FROM + 5000 + number, scenery, dogs, others)


def read_part(folder: Path, part: str) -> dict[str, npt.NDArray[Any]]:
    """The arrays of ``train`` or ``held_out``, mapped from disk."""
    count = json.loads((folder / "synthesis.json").read_text())["counts"][part]
    return {name: np.load(folder / f"{part}_{name}.npy", mmap_mode="r")[:count] for name in ARRAYS}
