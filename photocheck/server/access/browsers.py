"""What tells browsers apart: random, and signed, so that nobody makes up a thousand of them.

It opens nothing.  By it one address' browsers share what the address may ask for
(`photocheck.server.turns`), and pages, photos and files on their way in stay with the browser they
were made for.
"""

from __future__ import annotations

import secrets
from functools import cache
from hashlib import sha256
from typing import Final

from itsdangerous import BadSignature, Signer

from photocheck.server.access.carried import may_be_signed
from photocheck.server.access.door_secret import SecretError, key_for

LONGEST: Final = 120
"""Characters: nothing longer was given here."""


def new_browser() -> str:
    """What a browser is given that has nothing yet."""
    return _signer().sign(secrets.token_urlsafe(18)).decode()


def known_apart(carried: str) -> str:
    """What tells a browser from all others; empty where it was not given here.

    Examples
    --------
    >>> known_apart(new_browser()) != known_apart(new_browser())
    True
    >>> known_apart("made up"), known_apart("")
    ('', '')
    """
    if not may_be_signed(carried, LONGEST):
        return ""
    try:
        return _signer().unsign(carried).decode()
    except BadSignature:
        return ""


@cache
def _signer() -> Signer:
    # Asked for with every request, so read once; what was given before a rotation is nobody's.
    try:
        key = key_for("browsers")
    except SecretError:
        key = secrets.token_hex(32)  # what another server gave is then not known here
    return Signer(key, salt="photocheck", key_derivation="hmac", digest_method=sha256)
