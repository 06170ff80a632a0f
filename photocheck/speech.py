"""What photocheck says, in the language of the person it speaks to.

Texts are written in English where they are used and looked up in ``languages/<code>.po``; a
text that is not translated yet stays English.  To add a language, add its catalogue and its
name to `LANGUAGES`.
"""

from __future__ import annotations

import string
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from pathlib import Path
from typing import Any, Final

LANGUAGES: Final = {"en": "English", "de": "Deutsch"}
"""Code of each language, and its name for itself."""

_DECIMAL_SIGNS: Final = {"de": ","}
"""Where it is not a point (Unicode CLDR, numbering symbols)."""
_FOLDER = Path(__file__).parent / "languages"
_spoken: ContextVar[str] = ContextVar("spoken", default="en")


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """Say everything inside this block in `language`; an unknown one means English."""
    token = _spoken.set(language if language in LANGUAGES else "en")
    try:
        yield
    finally:
        _spoken.reset(token)


def spoken() -> str:
    """The code of the language spoken now."""
    return _spoken.get()


def tr(text: str, /, **parts: object) -> str:
    """`text` in the language spoken now, its ``{named}`` parts filled in.

    Numbers get the decimal sign of the language.
    """
    said = _catalogue(_spoken.get()).get(text) or text
    return _filler.vformat(said, (), parts) if parts else said


def later(text: str) -> str:
    """`text` as it is: marks a text of a table for translation where `tr` says it."""
    return text


def number(text: str) -> str:
    """A number written with a decimal point, as the language spoken now writes it."""
    return text.replace(".", _DECIMAL_SIGNS.get(_spoken.get(), "."))


def capital_first(text: str) -> str:
    """The text with a capital first letter and the rest as it is."""
    return text[:1].upper() + text[1:]


def listed(items: Sequence[str]) -> str:
    """ "one", "one and two", "one, two and three"."""
    if len(items) < 2:
        return "".join(items)
    return tr("{most} and {last}", most=", ".join(items[:-1]), last=items[-1])


class _Filler(string.Formatter):
    def format_field(self, value: Any, format_spec: str) -> str:
        filled = str(super().format_field(value, format_spec))
        return number(filled) if isinstance(value, float) and format_spec else filled


_filler = _Filler()


@cache
def _catalogue(language: str) -> dict[str, str]:
    path = _FOLDER / f"{language}.po"
    if not path.exists():
        return {}
    # Only when something other than English is spoken: the command line starts faster without.
    from babel.messages.pofile import read_po

    with path.open("rb") as file:
        return {str(m.id): str(m.string) for m in read_po(file) if m.id and m.string}
