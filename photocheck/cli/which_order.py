"""Which order is meant: by its key, the beginning of it, its own number, or its name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from photocheck.orders.model import KEY_FORM, OrderError
from photocheck.speech import tr, tr_n

if TYPE_CHECKING:
    from photocheck.orders.model import OrderLine
    from photocheck.orders.store import DatabaseStore

SHORT: Final = 8
"""Letters of a key that are shown; two orders that share them are as good as impossible."""

LEAST: Final = 4
"""Letters of a key that may stand for it."""

_TOLD: Final = 5
"""Orders that are named where several are meant."""


def key_of(store: DatabaseStore, text: str, *, named: bool = True) -> str:
    """The key of the one order that is meant.

    Parameters
    ----------
    store : DatabaseStore
    text : str
    named : bool
        Whether a number or a name will do; else only the key or its beginning.

    Raises
    ------
    OrderError
        When no order is meant, or more than one; those are named.
    """
    if KEY_FORM.fullmatch(text):
        return store.own_key(text)
    lines = store.lines()
    found = _begin(lines, text)
    if not found and named:
        found = named_by(store, lines, text) or _with_words(lines, text)
    if len(found) == 1:
        return found[0].key
    if not found:
        raise OrderError(
            tr("there is no order '{text}'", text=text[:60]),
            do=tr("Look for it: photocheck orders find WORD")
            if named
            else tr("Give the beginning of its key: photocheck orders find WORD"),
        )
    raise OrderError(
        tr_n("'{text}' is {count} order", "'{text}' is {count} orders", len(found), text=text[:60]),
        do=tr(
            "Say which: {orders}",
            orders="; ".join(f"{line.key[:SHORT]} {line.name}".strip() for line in found[:_TOLD]),
        ),
    )


def named_by(store: DatabaseStore, lines: Sequence[OrderLine], text: str) -> list[OrderLine]:
    """The orders of this number, else of this name."""
    from photocheck.orders.store.numbers import numbers_of

    wanted, numbers = text.strip().casefold(), numbers_of(store)
    if not wanted:
        return []
    by_number = [line for line in lines if numbers.get(line.key, "").casefold() == wanted]
    by_name = [line for line in lines if line.name.casefold() == wanted]
    return by_number or by_name


def _with_words(lines: Sequence[OrderLine], text: str) -> list[OrderLine]:
    """Those whose line in the list has each of these words.

    Not all that `photocheck orders find` looks through: something is about to be done with the
    order that is meant here, and a word of its notes does not mean it.
    """
    words = text.casefold().split()
    if not words:
        return []
    shown = [(line, f"{line.name} {line.about} {line.headline}".casefold()) for line in lines]
    return [line for line, told in shown if all(word in told for word in words)]


def _begin(lines: Sequence[OrderLine], text: str) -> list[OrderLine]:
    if len(text) < LEAST:
        return []
    return [line for line in lines if line.key.startswith(text)]
