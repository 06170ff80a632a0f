"""Files that a command reads and writes, where "-" is standard input or output."""

from __future__ import annotations

import codecs
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from photocheck.cli.say import say
from photocheck.errors import CaseError, PhotocheckError
from photocheck.speech import tr

STREAM: Final = "-"


@contextmanager
def target(out: str, ending: str = "", *, binary: bool = True) -> Iterator[str]:
    """A path to write to: `out` itself, or for "-" one whose content is printed once it is whole.

    Parameters
    ----------
    out : str
    ending : str
        Of the file's name, where what writes it looks at that.
    binary : bool
        Whether a terminal cannot show it.

    Raises
    ------
    PhotocheckError
        When it would fill a terminal.
    """
    if out != STREAM:
        yield out
        return
    if binary and sys.stdout.isatty():
        raise PhotocheckError(
            tr("a terminal cannot show this"),
            where=STREAM,
            do=tr("Name a file, or send it on to another program: > FILE or | PROGRAM"),
        )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"out{ending}"
        yield str(path)
        with path.open("rb") as whole:
            shutil.copyfileobj(whole, sys.stdout.buffer)
        sys.stdout.buffer.flush()


@contextmanager
def source(path: str, ending: str = "") -> Iterator[str]:
    """A path to read from: `path` itself, or for "-" a copy of what comes by standard input."""
    if path != STREAM:
        yield path
        return
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / f"standard-input{ending}"
        with copy.open("wb") as whole:
            shutil.copyfileobj(sys.stdin.buffer, whole)
        yield str(copy)


def json_given(path: str, *, what: str) -> Any:
    """Strict JSON out of a file, or for "-" from standard input.

    Raises
    ------
    CaseError
    """
    from photocheck.schemas.reading import MAX_BYTES, parse_json, read_json

    if path != STREAM:
        return read_json(path, what=what)
    content = sys.stdin.buffer.read(MAX_BYTES + 1)
    if not content.strip():
        raise CaseError(
            tr("nothing came by standard input"), where=STREAM, do=tr("Send it a file: < FILE")
        )
    return parse_json(content, where=STREAM, what=what)


def folder_of(path: str) -> Path:
    """Where the photos of a case lie: beside it, or for standard input where one stands."""
    return Path() if path == STREAM else Path(path).parent


def put_out(content: bytes, out: str) -> None:
    """Write a file that only whoever writes it may read, whole or not at all; or print it.

    What tells spreadsheets of UTF-8 is in the way of programs, and left out of what is printed.
    """
    from photocheck.files import replacing

    with target(out, binary=False) as path, replacing(path, private=True) as file:
        file.write(content.removeprefix(codecs.BOM_UTF8) if out == STREAM else content)


def tell(text: str, out: str) -> None:
    """Say what became of `out`; beside it, not amid it, where it is standard output."""
    say(text, err=out == STREAM)
