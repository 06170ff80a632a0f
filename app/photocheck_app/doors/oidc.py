"""Signing in through the shop's own identity provider, by OpenID Connect."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from functools import cache
from typing import Any

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.server.access.door_secret import key_for
from photocheck.server.access.provider import Provider, read_provider
from photocheck.server.serving import OIDC_VARIABLE

_COOKIES = "cookies of the provider's sign-in"


@cache
def provider() -> Provider | None:
    """The provider this server was started with, if any."""
    path = os.environ.get(OIDC_VARIABLE)
    return read_provider(path) if path else None


def secrets_of_oidc() -> dict[str, Any]:
    """What Streamlit's own sign-in needs to know."""
    known = provider()
    if known is None:
        return {}
    return {"auth": {**known.auth, "cookie_secret": _signed_with()}}


@cache
def _signed_with() -> str:
    """What this server signs Streamlit's cookies with for as long as it runs."""
    return key_for(_COOKIES)


def shut_by_rotation() -> bool:
    """Whether the secret was changed since this server started: nobody is in by its cookies."""
    try:
        return key_for(_COOKIES) != _signed_with()
    except PhotocheckError:
        return True


def name_by_oidc() -> str:
    """Who has signed in by the provider and may come to the desk, or nothing."""
    known = provider()
    if known is None or not st.user.is_logged_in or shut_by_rotation():
        return ""
    return known.admitted(st.user.to_dict(), datetime.now(UTC))
