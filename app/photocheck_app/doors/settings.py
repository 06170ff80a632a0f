"""How the server was told to keep its doors, by the environment that ``photocheck serve`` sets."""

from __future__ import annotations

import os
from threading import Lock
from typing import Final

from photocheck.orders.model import STORE_VARIABLE
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.server.serving import DESK_VARIABLE, INVITED_VARIABLE

_opened: Final[dict[str | None, DatabaseStore]] = {}
"""By the address it was asked for: a server has one all its life."""
_lock: Final = Lock()


def desk_is_open() -> bool:
    """Whether nobody has to sign in: for one person on their own machine."""
    return os.environ.get(DESK_VARIABLE) == "open"


def by_invitation_only() -> bool:
    """Whether an order needs a link from the workshop."""
    return bool(os.environ.get(INVITED_VARIABLE))


def the_store() -> DatabaseStore:
    """The one store of this server, for its doors and its pages alike.

    Raises
    ------
    PhotocheckError
        When it cannot be opened.
    """
    address = os.environ.get(STORE_VARIABLE)
    with _lock:
        if address not in _opened:
            _opened[address] = open_store(address)
        return _opened[address]


def close_stores() -> None:
    """Close what was opened; the next call opens anew."""
    with _lock:
        while _opened:
            _opened.popitem()[1].close()
