"""How what is told to another program is signed: by a secret that lies in no store and no copy."""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass
from hashlib import sha256

from photocheck.server.access.door_secret import key_for


@dataclass(frozen=True)
class Secret:
    """What a subscription signs with.

    Attributes
    ----------
    nonce : str
        What it comes of, with the secret of the doors.
    text : str
        What the client is given.
    """

    nonce: str
    text: str

    @property
    def sha256(self) -> str:
        """By which one tells whether it is still the same."""
        return sha256(self.text.encode()).hexdigest()


def new_secret() -> Secret:
    """One that nobody has had.

    Raises
    ------
    SecretError
        As `photocheck.server.access.door_secret.door_secret` does.
    """
    return secret_of(secrets.token_hex(16))


def secret_of(nonce: str) -> Secret:
    """The same again; another once `photocheck rotate` has changed the secret of the doors.

    Raises
    ------
    SecretError
    """
    return Secret(nonce, key_for(f"calls to {nonce}"))


def signature(secret: str, timestamp: int, body: bytes) -> str:
    """What stands in ``Photocheck-Signature``: HMAC-SHA-256 (RFC 2104) of timestamp and body.

    >>> signature("key", 1700000000, b"{}")
    'sha256=9d713ed406bb7076d4123f0dc2c39d2df5c654ed4b0cd56b52c8b4c940bd63ae'
    """
    signed = str(timestamp).encode() + b"." + body
    return f"sha256={hmac.new(secret.encode(), signed, sha256).hexdigest()}"
