"""Signing in through the shop's own identity provider, by OpenID Connect."""

from __future__ import annotations

import os
from functools import cache
from typing import Any

import streamlit as st

from photocheck.server.access.passes import cookie_secret
from photocheck.server.access.provider import Provider, read_provider
from photocheck.server.serving import OIDC_VARIABLE
from photocheck_app.doors.settings import the_store


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
    # The store's own secret, so that all servers on it take each other's cookies.
    return {"auth": {**known.auth, "cookie_secret": cookie_secret(the_store())}}


def name_by_oidc() -> str:
    """Who has signed in by the provider and may come to the desk, or nothing."""
    known = provider()
    if known is None or not st.user.is_logged_in:
        return ""
    return known.admitted(st.user.to_dict())
