"""The published figures: each section of ``FIGURES.md`` is what one command printed."""

from __future__ import annotations

import os
import platform
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from photocheck.files import replacing
from photocheck.version import program

PUBLISHED: Final = Path(__file__).with_name("FIGURES.md")

_END: Final = "<!-- end -->"


def published(text: str, section: str, command: Sequence[str], printed: str) -> str:
    """The text of a file of figures with one section written anew.

    Parameters
    ----------
    text : str
        Markdown; what stands between ``<!-- SECTION -->`` and ``<!-- end -->`` is replaced.
    section : str
    command : sequence of str
        What was run, word by word.
    printed : str
        What it printed, Markdown.

    Raises
    ------
    ValueError
        When the file has no such section.

    >>> page = "# Figures\\n<!-- speed -->\\nold\\n<!-- end -->\\n"
    >>> print(published(page, "speed", ["time", "it"], "3 s").splitlines()[2])
    `time it`
    """
    begins = f"<!-- {section} -->"
    pattern = re.compile(f"{re.escape(begins)}.*?{re.escape(_END)}", re.DOTALL)
    if not pattern.search(text):
        raise ValueError(f"the file of figures has no section {begins} ... {_END}")
    where = f"photocheck {program()}, Python {platform.python_version()}, {os.cpu_count()} cores"
    body = f"{begins}\n`{' '.join(command)}`\n({where}) printed:\n\n{printed.strip()}\n{_END}"
    return pattern.sub(lambda _: body, text)


def publish(section: str, command: Sequence[str], printed: str, path: Path = PUBLISHED) -> None:
    """Write a section of a file of figures anew, as `published` does.

    Raises
    ------
    ValueError
        When the file has no such section.
    PhotocheckError
        When it cannot be written.
    """
    text = published(path.read_text(encoding="utf-8"), section, command, printed)
    with replacing(path) as file:
        file.write(text.encode())
