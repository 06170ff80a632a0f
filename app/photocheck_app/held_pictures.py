"""Sharp copies of photos that pages show: how many bytes of them the server holds.

Streamlit holds whatever a page shows for as long as its session lasts, and two minutes longer.  A
photo of nothing but noise has a sharp copy of thirteen megabytes, and one address may have a
hundred and fifty pages open.  Beyond these bounds a page shows the smaller copy alone.
"""

from __future__ import annotations

from threading import Lock
from typing import Final

from photocheck_app import framework
from photocheck_app.doors.rate_limits import here

MOST_BYTES: Final = 800_000_000
"""Of all pages together: two hundred photos as phones write them (judgement)."""

MOST_OF_ADDRESS: Final = 300_000_000
"""Of one address: a class of forty, each with a photo of its own that has many details (judgement:
of a photo as phones write them the sharp copy has three to five megabytes)."""

_whose: Final[dict[str, str]] = {}
"""Sessions that show any, and the address that each is of."""
_lock: Final = Lock()


def have_room(more: int) -> bool:
    """Whether this run's page may show so many bytes more."""
    held, who = framework.shown_bytes(framework.runtime().media_file_mgr), here()
    with _lock:
        for session in _whose.keys() - held.keys():
            del _whose[session]
        _whose[framework.session_id()] = who
        theirs = sum(held.get(session, 0) for session, whose in _whose.items() if whose == who)
    return sum(held.values()) + more <= MOST_BYTES and theirs + more <= MOST_OF_ADDRESS
