"""The one count of this server of who does what how often."""

from __future__ import annotations

from typing import Final

import streamlit as st

from photocheck.server.access.rates import Rates, visitor

COUNTS: Final = Rates()


def here() -> str:
    """Whom the visitor of this run counts as."""
    return visitor(st.context.ip_address)
