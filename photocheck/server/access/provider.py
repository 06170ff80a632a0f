"""The shop's identity provider: how to reach it, and whom of its people to let in."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from photocheck.errors import PhotocheckError, reason_of
from photocheck.server.access.passes import SHIFT, SKEW
from photocheck.speech import tr

NEEDED: Final = (
    "redirect_uri",
    "client_id",
    "client_secret",
    "server_metadata_url",
)
"""What the provider and Streamlit's sign-in must know (OpenID Connect Core 1.0, Discovery 1.0)."""


class ProviderError(PhotocheckError):
    """The provider's file cannot be used."""


@dataclass(frozen=True)
class Provider:
    """An identity provider.

    Attributes
    ----------
    auth : mapping of str to str
        Names of `NEEDED`.
    staff : frozenset of str
        Addresses of those who may come to the desk, as they are compared.
    """

    auth: Mapping[str, str]
    staff: frozenset[str]

    def named(self, claims: Mapping[str, Any]) -> str:
        """The address of somebody whom the file names, by what the provider says; else nothing.

        Parameters
        ----------
        claims : mapping
            Of the ID token.  The address counts only when the provider has verified it
            (OpenID Connect Core 1.0, 5.1).
        """
        email, verified = claims.get("email"), claims.get("email_verified")
        if not isinstance(email, str) or verified not in (True, "true"):
            return ""
        return email if email.strip().casefold() in self.staff else ""

    def admitted(self, claims: Mapping[str, Any], now: datetime) -> str:
        """The same for `SHIFT` from when the provider said so (2, "iat"): then it is asked anew.

        Parameters
        ----------
        claims : mapping
            Of the ID token.
        now : datetime
            UTC.
        """
        said = claims.get("iat")
        if isinstance(said, bool) or not isinstance(said, int | float):
            return ""
        age = now.timestamp() - said
        fresh = -SKEW.total_seconds() <= age <= SHIFT.total_seconds()
        return self.named(claims) if fresh else ""


def read_provider(path: str | os.PathLike[str]) -> Provider:
    """Read the file that names the provider and the staff.

    Raises
    ------
    ProviderError
        When it cannot be read, or something is missing.
    """
    where = str(path)
    try:
        with open(path, "rb") as file:
            told = tomllib.load(file)
    except OSError as error:
        raise ProviderError(
            tr("this file cannot be read ({reason})", reason=reason_of(error)),
            where=where,
            do=tr("Check its name"),
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ProviderError(
            tr("this is not TOML ({reason})", reason=error), where=where, do=tr("Correct it there")
        ) from error
    auth = told.get("auth", {})
    missing = [
        name
        for name in NEEDED
        if not (isinstance(auth, dict) and isinstance(auth.get(name), str) and auth[name])
    ]
    if missing:
        raise ProviderError(
            tr("{names} is missing in [auth]", names=", ".join(missing)),
            where=where,
            do=tr("The README shows a whole file"),
        )
    if not auth["redirect_uri"].endswith("/oauth2callback"):
        raise ProviderError(
            tr("redirect_uri does not end with /oauth2callback"),
            where=where,
            do=tr("Give the address of the app followed by it, here and at the provider"),
        )
    staff = told.get("staff", [])
    if not staff or not isinstance(staff, list) or not all(isinstance(one, str) for one in staff):
        raise ProviderError(
            tr("it does not say who may come in"),
            where=where,
            do=tr('Add a line such as: staff = ["ada@example.org"], before [auth]'),
        )
    return Provider(
        {name: auth[name] for name in NEEDED},
        frozenset(one.strip().casefold() for one in staff),
    )
