"""What photocheck says, in the language of the person it speaks to.

Texts are written in English where they are used and looked up in ``languages/<code>.mo``, which
is compiled from the ``.po`` beside it; a text that is not translated yet stays English.  To add a
language, add its catalogue and its name to `LANGUAGES`.
"""

from __future__ import annotations

import re
import string
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from gettext import GNUTranslations, NullTranslations
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


def language_of(environment: Mapping[str, str]) -> str:
    """The language that an environment asks for; English where it names none that is known.

    POSIX, "Environment Variables", 8.2: the first of these that is set and not empty decides.

    Examples
    --------
    >>> language_of({"LANG": "de_AT.UTF-8"}), language_of({"LC_ALL": "C", "LANG": "de_DE"})
    ('de', 'en')
    """
    names = (environment.get(name) for name in ("LC_ALL", "LC_MESSAGES", "LANG"))
    return first_known([next(filter(None, names), "")])


def first_known(wanted: Iterable[str]) -> str:
    """The first language among names of locales that is spoken here; English if none is.

    Only what stands before the region, script or encoding counts (RFC 4647, 3.4, "Lookup").

    Examples
    --------
    >>> first_known(["fr-CA", "de-AT", "en"]), first_known(["fr_CA.UTF-8"])
    ('de', 'en')
    """
    codes = (re.split("[-_.@]", name.strip(), maxsplit=1)[0].lower() for name in wanted)
    return next((code for code in codes if code in LANGUAGES), "en")


class Said(str):
    """A text, which can be said again in another language: it remembers what it was made of.

    To everything else it is the text.  What is made of it by other means than those below
    (formatted into another text, sliced, added) is a mere text again.

    Examples
    --------
    >>> weight = tr("{kg:.0f} kg", kg=21.0)
    >>> weight, said_in(capital_first(tr("neck ring")), "de"), said_in("21 kg", "de")
    ('21 kg', 'Halsring', '21 kg')
    """

    _made: tuple[Callable[..., str], tuple[object, ...], Mapping[str, object]]

    @classmethod
    def by(cls, make: Callable[..., str], *of: object, **parts: object) -> Said:
        """What `make` makes of these, some of which may have been said themselves."""
        said = cls(make(*of, **parts))
        said._made = make, of, parts
        return said

    def again(self) -> str:
        """The same in the language spoken now."""
        make, of, parts = self._made
        return make(*map(_again, of), **{name: _again(part) for name, part in parts.items()})


def _again(part: object) -> object:
    return part.again() if isinstance(part, Said) else part


def said_in(text: str, language: str) -> str:
    """The same text in `language`, where it is one that can be said again, else as it is."""
    if not isinstance(text, Said):
        return text
    with speaking(language):
        return text.again()


def tr(text: str, /, **parts: object) -> str:
    """`text` in the language spoken now, its ``{named}`` parts filled in.

    Numbers get the decimal sign of the language.
    """
    return Said.by(_one, text, **parts)


def tr_n(one: str, many: str, count: int, /, **parts: object) -> str:
    """The form of a text that goes with `count`, in the language spoken now.

    English has the two forms given here; another language has as many as its catalogue's
    header says.  ``{count}`` in the text is the count.

    Examples
    --------
    >>> tr_n("{count} photo", "{count} photos", 1), tr_n("{count} photo", "{count} photos", 3)
    ('1 photo', '3 photos')
    """
    return Said.by(_counted, one, many, count, **parts)


def joined(*texts: str, between: str = " ") -> str:
    """Those of the texts that are not empty, one after the other.

    >>> joined("Sit.", "", "Stay.")
    'Sit. Stay.'
    """
    return Said.by(_joined, between, *texts)


def ended(text: str) -> str:
    """A sentence that is kept without its full stop, with it."""
    return joined(text, ".", between="")


def later(text: str) -> str:
    """`text` as it is: marks a text of a table for translation where `tr` says it."""
    return text


def number(text: str) -> str:
    """A number written with a decimal point, as the language spoken now writes it."""
    return Said.by(_decimal, text)


def capital_first(text: str) -> str:
    """The text with a capital first letter and the rest as it is."""
    return Said.by(_capital, text)


def listed(items: Sequence[str]) -> str:
    """ "one", "one and two", "one, two and three"."""
    if len(items) < 2:
        return items[0] if items else ""
    most = joined(*items[:-1], between=", ")
    return tr("{most} and {last}", most=most, last=items[-1])


def _one(text: str, /, **parts: object) -> str:
    # The entry of the empty text is the catalogue's own header.
    said = _catalogue(_spoken.get()).gettext(text) if text else text
    return _filler.vformat(said, (), parts) if parts else said


def _counted(one: str, many: str, count: int, /, **parts: object) -> str:
    said = _catalogue(_spoken.get()).ngettext(one, many, count)
    return _filler.vformat(said, (), {"count": count, **parts})


def _joined(between: str, *texts: str) -> str:
    return between.join(filter(None, texts))


def _decimal(text: str) -> str:
    return text.replace(".", _DECIMAL_SIGNS.get(_spoken.get(), "."))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


class _Filler(string.Formatter):
    def format_field(self, value: Any, format_spec: str) -> str:
        filled = str(super().format_field(value, format_spec))
        return _decimal(filled) if isinstance(value, float) and format_spec else filled


_filler = _Filler()


@cache
def _catalogue(language: str) -> NullTranslations:
    path = _FOLDER / f"{language}.mo"
    if not path.exists():
        return NullTranslations()
    with path.open("rb") as file:
        return GNUTranslations(file)
