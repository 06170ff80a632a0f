"""What somebody who comes back to an order is told first: whose it is, and what comes next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from photocheck.orders import screens
from photocheck.orders.model import Order
from photocheck.speech import later, tr

DECIDED: Final[Mapping[str, str]] = {
    "accepted": later("The workshop has accepted your order."),
    "asked_again": later("The workshop asks you to look at your order again."),
    "refused": later("The workshop cannot make this order."),
}
"""The owner's words for each answer of the workshop."""

SENT: Final = later("Sent to the workshop. Its answer will be shown here, under this page's link.")

NEEDS: Final = (
    later("a soft tape and somebody the dog likes"),
    later("a phone, and something of known size: best the printed marker sheet"),
    later("the surest way: the printed tags on the dog; then nobody marks anything"),
    later("about ten minutes"),
)
"""What an owner needs for the whole of it."""


@dataclass(frozen=True)
class ToldFirst:
    """In the language that is spoken.

    Attributes
    ----------
    title : str
    said : str
        What there is to know; lines as they stood.
    needs : tuple of str
        Of an order that nothing was done of yet: what to have at hand.
    """

    title: str
    said: str
    needs: tuple[str, ...] = ()


def told_first(order: Order) -> ToldFirst:
    """What its owner is told.

    >>> from datetime import UTC, datetime
    >>> from photocheck.orders.draft import Draft
    >>> order = Order("k", datetime(2026, 1, 1, tzinfo=UTC), "en", Draft())
    >>> told_first(order).title, told_first(order).said
    ('Your order', 'It begins with: half neck.')
    """
    name = order.name
    title = tr("Your order for {dog}", dog=name) if name else tr("Your order")
    if order.decision is not None and order.state in DECIDED:
        message = order.decision.message
        return ToldFirst(title, "\n".join(filter(None, (tr(DECIDED[order.state]), message))))
    if order.checks:
        return ToldFirst(title, tr(SENT))
    at = screens.stands_at(order.draft)
    if not screens.done(order.draft):
        said = tr("It begins with: {step}.", step=screens.title_of(at))
        return ToldFirst(title, said, tuple(map(tr, NEEDS)))
    return ToldFirst(title, tr("It goes on with: {step}.", step=screens.title_of(at)))
