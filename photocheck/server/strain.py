"""How hard a server is pressed, and what an address' asking costs meanwhile.

The pace of an address (`photocheck.server.pace`) is what others can spare while nothing else is
done.  What work takes is known only about: on a slow machine, or beside other programs, the same
requests fill the thread that answers everybody.  So it is watched how late that thread comes to
what it meant to do; while it comes late, and others are here than one address alone, all that the
address asks for counts for more.  Whoever asks for little has it in hand, and waits for nothing;
whoever asks for all there is gets less of it, until the thread is on time.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from time import monotonic
from typing import Final

EVERY_S: Final = 0.05
"""Between two looks."""

LATE_S: Final = 0.02
"""What comes later than this is late.  A page is opened by some twenty rounds of requests, so that
each hundredth of a second is a fifth for whoever opens one (judgement; a quiet server is 1 to 2 ms
late, one with twenty visitors at work 5)."""

DEARER: Final = 1.25
CHEAPER: Final = 0.98
"""What each look makes of the price: after a third of a second of coming late all costs the most,
and some four seconds on time make it what it was (judgement)."""

MOST: Final = 4.0
"""The highest price: an address has a seventh of a processor then, and who does something every
other second still waits for nothing (judgement)."""

HERE_S: Final = 10.0
"""Who has asked for nothing for so long is not here."""


class Strain:
    """That of one server; for its event loop, and read from any thread.

    Parameters
    ----------
    clock : function
        Seconds from any moment on.

    Examples
    --------
    >>> strain = Strain(clock=lambda: 0.0)
    >>> for _ in range(20):
    ...     strain.late(0.5)
    >>> strain.came("192.0.2.1")
    >>> strain.price("192.0.2.1")  # nobody else is here
    1.0
    >>> strain.came("192.0.2.2")
    >>> strain.price("192.0.2.1")
    4.0
    """

    def __init__(self, clock: Callable[[], float] = monotonic) -> None:
        self._clock = clock
        self._price = 1.0
        # The last two addresses that asked; whoever comes again is last.
        self._came: OrderedDict[str, float] = OrderedDict()

    def late(self, by_s: float) -> None:
        """A look came so much later than it was meant to."""
        changed = self._price * (DEARER if by_s > LATE_S else CHEAPER)
        self._price = min(MOST, max(1.0, changed))

    def came(self, address: str) -> None:
        """Somebody of an address asks for something."""
        self._came[address] = self._clock()
        self._came.move_to_end(address)
        if len(self._came) > 2:
            self._came.popitem(last=False)

    def price(self, address: str) -> float:
        """How much more than else what an address asks for costs."""
        return self._price if self._others(address) else 1.0

    def _others(self, address: str) -> bool:
        since = self._clock() - HERE_S
        return any(one != address and at > since for one, at in list(self._came.items()))


STRAIN: Final = Strain()
"""That of this server."""
