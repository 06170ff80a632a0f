"""How often one link, one address or one name may do what costs or could harm."""

from __future__ import annotations

import ipaddress
from collections.abc import Callable
from dataclasses import dataclass, field
from math import ceil
from time import time
from typing import Final, TypedDict

from limits import RateLimitItem, parse
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter

from photocheck.errors import PhotocheckError
from photocheck.orders.store import DatabaseStore, kept_counts
from photocheck.server.access.door_secret import key_for
from photocheck.speech import tr

HERE: Final = "this machine"
"""The address of visitors from the machine itself, or through a proxy that was not announced."""

MEGABYTE: Final = 1_000_000

RATES: Final[dict[str, RateLimitItem]] = {
    "failed sign in from address": parse("20/10 minute"),
    "failed sign in as, from address": parse("10/hour"),
    "failed sign in as": parse("30/hour"),
    "failed sign in as, from known browser": parse("20/hour"),
    "unknown links from address": parse("60/10 minute"),
    "unknown tokens from address": parse("30/10 minute"),
    "orders of client": parse("2000/hour"),
    "photos of client": parse("4000/hour"),
    "megabytes of client": parse("30000/hour"),
    "checks of client": parse("4000/hour"),
    "photos of staff": parse("4000/hour"),
    "megabytes of staff": parse("30000/hour"),
    "begin from address": parse("120/hour"),
    "photos of link": parse("60/hour"),
    "photos from address": parse("300/hour"),
    "megabytes from address": parse("3000/hour"),
    "checks of link": parse("120/hour"),
    "checks from address": parse("600/hour"),
}
"""All of them judgement: far above what one order needs, with room for a few dozen people behind
one address, and far below what would fill a disk or keep a processor busy for others; a client is
another of the shop's own programs, and brings the orders of a whole shop, as staff do who bring in
a table with its photos.  Of failures to sign in,
one address has fewer than lock a name for all, so that nobody alone keeps a colleague out; a
browser that signed in as that name before has its own count and no other (OWASP, "Slow Down Online
Guessing Attacks with Device Cookies")."""

SHARED: Final = frozenset(
    what
    for what in RATES
    if what.startswith(("failed sign in", "unknown", "begin", "orders of client"))
)
"""Counted in the store, once for all servers on it and beyond their ends: what guards against
guessing, and what makes rows there anyway.  The others protect one server's processor and memory,
and what comes into the store by them is bounded by its servers' number times the rate."""


class TooOftenError(PhotocheckError):
    """Too much for now; later it will do."""


@dataclass(frozen=True)
class Rates:
    """Counts of one server process, gone when it ends, but for those of `SHARED`.

    Attributes
    ----------
    rates : dict of str to RateLimitItem
    store : function or None
        Gives the store in which those of `SHARED` are counted; without it they are counted here.
    """

    rates: dict[str, RateLimitItem] = field(default_factory=lambda: dict(RATES))
    store: Callable[[], DatabaseStore] | None = None
    _limiter: MovingWindowRateLimiter = field(
        default_factory=lambda: MovingWindowRateLimiter(MemoryStorage())
    )

    def count(self, what: str, who: str, *, cost: int = 1) -> None:
        """Count one more.

        Parameters
        ----------
        what : str
            A key of `rates`.
        who : str
            A link's hash, an address (`visitor`) or a name.
        cost : int
            How much it counts; more than is allowed at all counts as all of it.

        Raises
        ------
        TooOftenError
            When it is too often; that one does not count.
        StoreError, SecretError
            When one of `SHARED` cannot be counted.
        """
        item = self.rates[what]
        cost = min(cost, item.amount)
        if cost <= 0:
            return
        if self.store is not None and what in SHARED:
            shared = _shared(what, who, item)
            wait_s = kept_counts.take(self.store(), **shared, cost=cost)
        else:
            wait_s = 0.0 if self._limiter.hit(item, who, cost=cost) else self._wait_s(item, who)
        if wait_s:
            raise too_often(wait_s)

    def refuse_beyond(self, what: str, who: str) -> None:
        """Count nothing, but refuse where one more would be too often.

        Raises
        ------
        TooOftenError
        StoreError
            As `count` does.
        """
        item = self.rates[what]
        if self.store is not None and what in SHARED:
            wait_s = kept_counts.wait_s(self.store(), **_shared(what, who, item))
        else:
            wait_s = 0.0 if self._limiter.test(item, who) else self._wait_s(item, who)
        if wait_s:
            raise too_often(wait_s)

    def _wait_s(self, item: RateLimitItem, who: str) -> float:
        return max(1.0, self._limiter.get_window_stats(item, who).reset_time - time())


class _Shared(TypedDict):
    whose: str
    most: int
    window_s: float
    now: float


def _shared(what: str, who: str, item: RateLimitItem) -> _Shared:
    # Hashed with the secret of the doors, which lies in no store: a copy of it shall not tell from
    # which addresses somebody has come.
    whose = key_for(f"count of {what}: {who}")
    return {"whose": whose, "most": item.amount, "window_s": item.get_expiry(), "now": time()}


def too_often(wait_s: float) -> TooOftenError:
    """What to say, with how long to wait."""
    minutes = ceil(wait_s / 60)
    return TooOftenError(
        tr("this was done too often in a short time"),
        do=tr("Wait a minute and try again")
        if minutes <= 1
        else tr("Wait {minutes} minutes and try again", minutes=minutes),
    )


def visitor(address: str | None) -> str:
    """Whom an address stands for: in IPv6 a whole /64, which one household has to itself."""
    try:
        at = ipaddress.ip_address((address or "").partition("%")[0])
    except ValueError:
        return HERE
    if isinstance(at, ipaddress.IPv6Address):
        if at.ipv4_mapped is not None:
            at = at.ipv4_mapped
        else:
            return HERE if at.is_loopback else str(ipaddress.ip_network((at, 64), strict=False))
    return HERE if at.is_loopback else str(at)
