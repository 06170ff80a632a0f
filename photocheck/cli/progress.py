"""How far long work is, where somebody looks on."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def progress(total: int, unit: str) -> Iterator[Callable[[], None]]:
    """What to call after each piece of work: a bar on stderr that comes after a second.

    Where nobody looks on, nothing is loaded for it.
    """
    if not sys.stderr.isatty():
        yield lambda: None
        return
    from tqdm import tqdm

    with tqdm(total=total, unit=unit, delay=1.0, leave=False, file=sys.stderr) as bar:

        def done() -> None:
            bar.update()

        yield done
