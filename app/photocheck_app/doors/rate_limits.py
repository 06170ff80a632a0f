"""Who does what how often: the one count of this server, and of all that share its store."""

from __future__ import annotations

from typing import Final

import streamlit as st

from photocheck.server.access.rates import Rates, visitor
from photocheck_app.doors.settings import the_store

COUNTS: Final = Rates(store=the_store)


UNKNOWN_LINKS: Final = "unknown links from address"
"""What links that lead nowhere count as."""


def here() -> str:
    """Whom the visitor of this run counts as."""
    return visitor(st.context.ip_address)
