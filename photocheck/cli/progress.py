"""How far long work is, where somebody looks on."""

from __future__ import annotations

import sys
from typing import Any


def progress(total: int, unit: str) -> Any:
    """A bar on stderr that comes after a second, and only on a terminal; a context manager."""
    from tqdm import tqdm

    return tqdm(
        total=total,
        unit=unit,
        delay=1.0,
        leave=False,
        file=sys.stderr,
        disable=not sys.stderr.isatty(),
    )
