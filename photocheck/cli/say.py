"""What the command line prints: nothing of what strangers wrote steers a terminal."""

from __future__ import annotations

import os
import re
import shutil
import sys
from collections.abc import Mapping
from typing import IO, Any, Final

import click

_STAYS: Final = "\n\t"

_HARMFUL: Final = re.compile("[\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]")
"""What JSON lets stand and a terminal or an eye is steered by: DEL, the control codes of ECMA-48 in
eight bits, and Unicode's marks of direction (UAX 9)."""

WIDEST: Final = 92
"""Columns of what is printed, however wide the terminal is: longer lines are hard to read."""

COLOURS: Final[Mapping[str, str]] = {
    "agrees": "green",
    "could_hide": "yellow",
    "cannot_tell": "yellow",
    "measure_again": "red",
    "retake": "red",
}
"""Of each verdict; the words say the same."""


class NotWantedError(Exception):
    """Somebody was asked and said no; nothing was changed."""


def say(
    text: str, *, err: bool = False, nl: bool = True, colour: str = "", bold: bool = False
) -> None:
    """Print a text; what is no letter, sign or line's end in it becomes a blank.

    Parameters
    ----------
    colour : str
        One that terminals have, where one looks on and wants colours (`coloured`).
    """
    plain = shown(text)
    stream = sys.stderr if err else sys.stdout
    if (colour or bold) and coloured(stream):
        plain = click.style(plain, fg=colour or None, bold=bold)
    click.echo(plain, err=err, nl=nl)


def coloured(stream: IO[Any]) -> bool:
    """Whether somebody looks on who wants colours: https://no-color.org, and no plain terminal."""
    refused = bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb"
    return stream.isatty() and not refused


def columns() -> int:
    """How wide what is printed may be; `WIDEST` where nobody looks on."""
    if not sys.stdout.isatty() and "COLUMNS" not in os.environ:
        return WIDEST
    return max(20, min(WIDEST, shutil.get_terminal_size((WIDEST, 24)).columns))


def say_json(text: str, *, err: bool = False, nl: bool = True) -> None:
    """Print JSON that says the same to programs, with what could steer a terminal escaped."""
    click.echo(_HARMFUL.sub(lambda found: f"\\u{ord(found[0]):04x}", text), err=err, nl=nl)


def sure(question: str) -> None:
    """Ask, and end the command unless the answer is yes.

    Raises
    ------
    NotWantedError
    """
    if not click.confirm(shown(question)):
        raise NotWantedError


def shown(text: str) -> str:
    """A text as it may go to a terminal."""
    return "".join(c if c.isprintable() or c in _STAYS else " " for c in text)
