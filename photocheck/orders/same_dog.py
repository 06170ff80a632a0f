"""The same dog's earlier orders, and what changed since: for those who order again."""

from __future__ import annotations

from dataclasses import dataclass

from photocheck.case.lengths import format_length
from photocheck.judge.wording import percent_off
from photocheck.orders.model import Order, OrderError, Selection, Store
from photocheck.words import READINGS


@dataclass(frozen=True)
class Changed:
    """A reading then and now.

    Attributes
    ----------
    reading : str
        One of `photocheck.words.READINGS`.
    before, now : str
        In the unit of today's order; empty where not given.
    off : str
        How much longer or shorter it is now; empty where one of them is not given or both are
        the same.
    """

    reading: str
    before: str
    now: str
    off: str


def earlier_orders(store: Store, order: Order) -> list[Order]:
    """Other orders for the same dog of the same owner that were checked before, the latest first.

    It is the same when the dog's name is, and besides it how the owner is called or reached, or
    what the order is called.

    Parameters
    ----------
    store : Store
    order : Order
    """
    dog = _plain(order.told.dog.name)
    if not dog:
        return []
    before = order.checks[-1].at if order.checks else order.opened
    found = []
    for line in store.listed(Selection(text=order.told.dog.name)).lines:
        if line.key == order.key or line.sent is None or line.sent >= before:
            continue
        try:
            other = store.order(line.key)
        except OrderError:  # deleted since the lines were read
            continue
        if _plain(other.told.dog.name) == dog and _owner(other) & _owner(order):
            found.append(other)
    return sorted(found, key=lambda one: one.checks[-1].at, reverse=True)


def changes_since(before: Order, now: Order) -> tuple[Changed, ...]:
    """Every reading of two orders, as last checked (before its first check, none of today's)."""
    unit = now.told.bare_unit
    then = before.checks[-1].report.case.readings
    today = now.checks[-1].report.case.readings if now.checks else {}
    rows = []
    for name in READINGS:
        old, new = then.get(name), today.get(name)
        if old is None and new is None:
            continue
        texts = ["" if one is None else format_length(one.mm, unit) for one in (old, new)]
        off = percent_off(new.mm, old.mm) if old and new and texts[0] != texts[1] else ""
        rows.append(Changed(name, texts[0], texts[1], off))
    return tuple(rows)


def _owner(order: Order) -> set[str]:
    """By what an owner is told: names and ways to reach them; never an empty text."""
    owner = order.draft.owner
    title = order.name if order.name != order.told.dog.name else ""
    told = (owner.name, owner.reach, owner.email, owner.telephone, title)
    return {plain for text in told if (plain := _plain(text))}


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())
