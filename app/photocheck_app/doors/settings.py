"""How the server was told to keep its doors, by the environment that ``photocheck serve`` sets."""

from __future__ import annotations

import os
from functools import cache

from photocheck.orders.model import STORE_VARIABLE
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.server.serving import DESK_VARIABLE, INVITED_VARIABLE


def desk_is_open() -> bool:
    """Whether nobody has to sign in: for one person on their own machine."""
    return os.environ.get(DESK_VARIABLE) == "open"


def by_invitation_only() -> bool:
    """Whether an order needs a link from the workshop."""
    return bool(os.environ.get(INVITED_VARIABLE))


@cache
def the_store() -> DatabaseStore:
    """The one store of this server."""
    return open_store(os.environ.get(STORE_VARIABLE))
