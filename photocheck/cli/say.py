"""What the command line prints: nothing of what strangers wrote steers a terminal."""

from __future__ import annotations

import re
from typing import Final

import click

_STAYS: Final = "\n\t"

_HARMFUL: Final = re.compile("[\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]")
"""What JSON lets stand and a terminal or an eye is steered by: DEL, the control codes of ECMA-48 in
eight bits, and Unicode's marks of direction (UAX 9)."""


def say(text: str, *, err: bool = False, nl: bool = True) -> None:
    """Print a text; what is no letter, sign or line's end in it becomes a blank."""
    click.echo(shown(text), err=err, nl=nl)


def say_json(text: str, *, nl: bool = True) -> None:
    """Print JSON that says the same to programs, with what could steer a terminal escaped."""
    click.echo(_HARMFUL.sub(lambda found: f"\\u{ord(found[0]):04x}", text), nl=nl)


def sure(question: str) -> None:
    """Ask, and end the command unless the answer is yes."""
    click.confirm(shown(question), abort=True)


def shown(text: str) -> str:
    """A text as it may go to a terminal."""
    return "".join(c if c.isprintable() or c in _STAYS else " " for c in text)
