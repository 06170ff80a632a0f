"""Staff and their passwords."""

from __future__ import annotations

import unicodedata
from datetime import datetime
from functools import cache
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from photocheck.errors import PhotocheckError
from photocheck.orders.store import people
from photocheck.orders.store.database import DatabaseStore
from photocheck.speech import tr

LEAST: Final = 12
MOST: Final = 200
"""Letters of a password.  OWASP ASVS 5.0 asks for at least 8 and recommends 15 (6.2.1), and lets
at least 64 through (6.2.9); what is guessed easily is refused beside that (6.2.4)."""

LEAST_SCORE: Final = 3
"""Of zxcvbn's 0 to 4: withstands guessing from a stolen hash for some time."""

_LONGEST_NAME = 60

_LONGEST_GIVEN = 2000
"""Letters of a name or password that are looked at: normalised, 200 were many more at most."""


class StaffError(PhotocheckError):
    """Somebody cannot be let in, or a name or password cannot be used."""


def add(store: DatabaseStore, name: str, password: str) -> None:
    """Let somebody come to the desk.

    Raises
    ------
    StaffError
        When the name is taken or cannot be one, or the password is too weak.
    """
    shown, known_as = shown_and_known_as(name)
    password = _as_compared(password)
    _refuse_weak(password, shown)
    if not people.put_person(store, known_as, shown, _hasher().hash(password)):
        raise StaffError(
            tr("{name} can sign in already", name=shown),
            do=tr("Choose another name, or set a new password"),
        )


def set_password(store: DatabaseStore, name: str, password: str) -> None:
    """Give somebody another password; wherever they are signed in, they no longer are.

    Raises
    ------
    StaffError
        When there is nobody of this name, or the password is too weak.
    """
    shown, known_as = shown_and_known_as(name)
    password = _as_compared(password)
    _refuse_weak(password, shown)
    if not people.change_password(store, known_as, _hasher().hash(password)):
        raise _unknown(shown)


def remove(store: DatabaseStore, name: str) -> None:
    """Let somebody in no more, from now on.

    Raises
    ------
    StaffError
        When there is nobody of this name.
    """
    shown, known_as = shown_and_known_as(name)
    if not people.remove_person(store, known_as):
        raise _unknown(shown)


def everybody(store: DatabaseStore) -> tuple[tuple[str, datetime], ...]:
    """Who may come to the desk, and since when, UTC; by name."""
    return people.people(store)


def known_as(name: str) -> str:
    """A name as names are compared, so that whatever counts by name counts all its spellings.

    Empty for what can be nobody's name.
    """
    try:
        return shown_and_known_as(name[:_LONGEST_GIVEN])[1]
    except StaffError:
        return ""


def recognised(store: DatabaseStore, name: str, password: str) -> str | None:
    """What somebody is known as, when that is their password; else None.

    Takes as long for a name that is not known.
    """
    compared = known_as(name)
    kept = people.password_of(store, compared)
    given = password[:_LONGEST_GIVEN]
    typed = _as_compared(given)
    if not _fits(kept, typed):
        # Until 0.2.0 they were kept as they were typed.
        if typed == given or not _fits(kept, given):
            return None
        people.change_password(store, compared, _hasher().hash(typed), sign_out=False)
    elif kept is not None and _hasher().check_needs_rehash(kept):
        people.change_password(store, compared, _hasher().hash(typed), sign_out=False)
    return compared


def _fits(kept: str | None, password: str) -> bool:
    try:
        right = _hasher().verify(kept or _nobodys(), password[: MOST + 1])
    except (Argon2Error, InvalidHashError):
        return False
    return right and kept is not None


def _as_compared(password: str) -> str:
    """The same password from every keyboard (NFKC, as NIST SP 800-63B-4, 3.1.1.2, asks)."""
    return unicodedata.normalize("NFKC", password)


@cache
def _hasher() -> PasswordHasher:
    # argon2-cffi's defaults: Argon2id with the second set RFC 9106, 4, recommends.
    return PasswordHasher()


@cache
def _nobodys() -> str:
    return _hasher().hash("nobody's password")


def shown_and_known_as(name: str) -> tuple[str, str]:
    """A name as it is shown, and as names are compared.

    Raises
    ------
    StaffError
        When it cannot be anybody's name.
    """
    shown = " ".join(unicodedata.normalize("NFKC", name).split())
    # In the history "owner" means the owner.
    if not shown or not shown.isprintable() or shown.casefold() == "owner":
        raise StaffError(
            tr("'{name}' cannot be anybody's name here", name=shown[:_LONGEST_NAME]),
            do=tr("Give the name that the history of orders shall show"),
        )
    if len(shown) > _LONGEST_NAME:
        raise StaffError(
            tr("this name is too long"), do=tr("Use at most {most} letters", most=_LONGEST_NAME)
        )
    return shown, shown.casefold()[:80]


def _refuse_weak(password: str, name: str) -> None:
    if not LEAST <= len(password) <= MOST:
        raise StaffError(
            tr("a password here has {least} to {most} letters", least=LEAST, most=MOST),
            do=tr("Four or five words that do not belong together are easy to remember"),
        )
    from zxcvbn import zxcvbn

    # It looks at the first 72 letters; more only make it slow.
    if zxcvbn(password[:72], user_inputs=[name, "photocheck"])["score"] < LEAST_SCORE:
        raise StaffError(
            tr("this password is easily guessed"),
            do=tr("Four or five words that do not belong together are easy to remember"),
        )


def _unknown(name: str) -> StaffError:
    return StaffError(
        tr("nobody called {name} can sign in", name=name),
        do=tr("Look at the names: photocheck staff list"),
    )
