"""Files that were written whole, damaged, and a folder for one of them at a time."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def written(name: str, content: bytes) -> Iterator[Path]:
    """A file of this name in a folder of its own."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        yield path


def damaged_text(whole: bytes, pieces: list[bytes], rng: random.Random, wounds: int) -> bytes:
    """A text with pieces put over, into and instead of what stands there, and pieces doubled."""
    text = bytearray(whole)
    for _ in range(wounds):
        at = rng.randrange(len(text) + 1)
        if rng.random() < 0.15:
            other = rng.randrange(len(text) + 1)
            text[at:at] = text[min(at, other) : max(at, other)][:4000]
        elif rng.random() < 0.1:
            del text[at : at + rng.choice([1, 4, 40, 400])]
        else:
            text[at : at + rng.choice([0, 0, 1, 3, 9])] = rng.choice(pieces)
    return bytes(text)
