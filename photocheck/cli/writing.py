"""Where a command writes what it made: a file, whole or not at all, or standard output."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Final

from photocheck.files import replacing

STANDARD: Final = "-"
"""What stands for standard output, as nearly every command line has it (clig.dev)."""


def write_out(out: str, make: Callable[[], bytes], *, private: bool = False) -> None:
    """Write to a file, or to standard output where it is called `STANDARD`.

    What goes to standard output is for another program or a file: it is the same to the byte.

    Raises
    ------
    PhotocheckError
        When the file cannot be written.
    """
    if out == STANDARD:
        content = make()
        sys.stdout.flush()
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()
        return
    with replacing(out, private=private) as file:
        file.write(make())
