"""How often one link, one address or one name may do what costs or could harm."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass, field
from math import ceil
from time import time
from typing import Final

from limits import RateLimitItem, parse
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter

from photocheck.errors import PhotocheckError
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
    "begin from address": parse("120/hour"),
    "photos of link": parse("60/hour"),
    "photos from address": parse("300/hour"),
    "megabytes from address": parse("3000/hour"),
    "checks of link": parse("120/hour"),
    "checks from address": parse("600/hour"),
}
"""All of them judgement: far above what one order needs, with room for a few dozen people behind
one address, and far below what would fill a disk or keep a processor busy for others.  Of failures
to sign in, one address has fewer than lock a name for all, so that nobody alone keeps a colleague
out; a browser that signed in as that name before has its own count and no other (OWASP, "Slow Down
Online Guessing Attacks with Device Cookies")."""


class TooOftenError(PhotocheckError):
    """Too much for now; later it will do."""


@dataclass(frozen=True)
class Rates:
    """Counts for one server process; they are gone when it ends.

    Attributes
    ----------
    rates : dict of str to RateLimitItem
    """

    rates: dict[str, RateLimitItem] = field(default_factory=lambda: dict(RATES))
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
        """
        item = self.rates[what]
        if cost > 0 and not self._limiter.hit(item, who, cost=min(cost, item.amount)):
            raise too_often(self._wait_s(item, who))

    def refuse_beyond(self, what: str, who: str) -> None:
        """Count nothing, but refuse where one more would be too often.

        Raises
        ------
        TooOftenError
        """
        item = self.rates[what]
        if not self._limiter.test(item, who):
            raise too_often(self._wait_s(item, who))

    def _wait_s(self, item: RateLimitItem, who: str) -> float:
        return max(1.0, self._limiter.get_window_stats(item, who).reset_time - time())


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
