"""Sharp copies of photos that pages show: how many bytes of them the server holds.

Streamlit holds whatever a page shows for as long as its session lasts, and two minutes longer.  A
photo of nothing but noise has a sharp copy of thirteen megabytes, and one address may have a
hundred and fifty pages open.  Beyond these bounds a page shows the smaller copy alone.
"""

from __future__ import annotations

from typing import Final

from photocheck_app import framework
from photocheck_app.doors.sessions import of_its_address

MOST_BYTES: Final = 800_000_000
"""Of all pages together: two hundred photos as phones write them (judgement)."""

MOST_OF_ADDRESS: Final = 300_000_000
"""Of one address: a class of forty, each with a photo of its own that has many details (judgement:
of a photo as phones write them the sharp copy has three to five megabytes)."""


def have_room(more: int) -> bool:
    """Whether this run's page may show so many bytes more."""
    held = framework.shown_bytes(framework.runtime().media_file_mgr)
    theirs = of_its_address(framework.session_id(), held)
    return sum(held.values()) + more <= MOST_BYTES and theirs + more <= MOST_OF_ADDRESS
