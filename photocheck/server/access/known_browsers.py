"""Browsers in which somebody has signed in: others' wrong guesses do not keep them out.

What a browser carries opens nothing.  It is bound to the one name and signed with the secret of the
doors, so that nobody makes up another whenever the guesses of one are used up.
"""

from __future__ import annotations

import secrets
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Final

from itsdangerous import BadSignature, TimestampSigner

from photocheck.server.access.carried import may_be_signed
from photocheck.server.access.door_secret import key_for

REMEMBERED: Final = timedelta(days=180)
"""How long after the last signing in (judgement: a long leave)."""

_LONGEST = 200


def remembered(known_as: str) -> str:
    """What a browser carries in which this name signed in."""
    return _signer().sign(f"{secrets.token_urlsafe(12)}.{_hash(known_as)}").decode()


def known_browser(carried: str, known_as: str) -> str:
    """What tells such a browser from all others; empty when this name never signed in there.

    Raises
    ------
    SecretError
        When the secret of the doors cannot be read.
    """
    if not may_be_signed(carried, _LONGEST):
        return ""
    try:
        signed, at = _signer().unsign(carried, return_timestamp=True)
    except BadSignature:
        return ""
    which, _, whose = signed.decode().partition(".")
    fresh = datetime.now(UTC) - at <= REMEMBERED
    return which if fresh and whose == _hash(known_as) else ""


def _hash(known_as: str) -> str:
    return sha256(known_as.encode()).hexdigest()[:32]


def _signer() -> TimestampSigner:
    return TimestampSigner(
        key_for("known browsers"), salt="photocheck", key_derivation="hmac", digest_method=sha256
    )
