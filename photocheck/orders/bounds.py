"""How much of what people type an order holds: for the pages, the wire and the store alike.

All of it judgement: several times what the longest honest order was ever seen to need.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from photocheck.orders.draft import Draft
from photocheck.orders.model import OrderError
from photocheck.speech import tr

LONGEST_FIELD: Final = 200
"""Letters of a field that an owner fills in, as ``case.schema.json`` has it of names."""

LONGEST_BY: Final = 60
"""Letters of the name under which somebody works."""

LONGEST_REASON: Final = 2000
LONGEST_MESSAGE: Final = 20_000
"""Letters of what staff write."""

LONGEST_TOLD: Final = 2000
"""Letters of any text in a draft, also of what a case file says that is not known here."""

MOST_DRAFT_BYTES: Final = 200_000
"""Of a draft as it is kept: 24 photos with all marks of two people take some 60,000."""

MOST_CHECKS: Final = 500
MOST_DECISIONS: Final = 500
MOST_LINKS: Final = 500
MOST_CUT_NOTES: Final = 500
MOST_HEARD: Final = 100
"""Of one order, whose history is never shortened."""

MOST_MESSAGE_BYTES: Final = 1_000_000
"""Of what a page sends at once: all its fields, and what was marked in one photo."""

MOST_ASKED_BYTES: Final = 2 * MOST_DRAFT_BYTES
"""Of what another program sends at once, but for photos: a draft with blanks between its parts."""

MOST_SUBSCRIPTIONS: Final = 5
"""Of one client at a time."""

LONGEST_ADDRESS: Final = 500
"""Letters of the address at which a client is told of changes."""

MOST_ANSWER_MB: Final = 30
"""Of what a page is sent at once: the pictures of one order in full."""


def refuse_long(text: str, most: int, *, what: str) -> None:
    """Refuse a text that is too long to be kept.

    Parameters
    ----------
    what : str
        What it is, in the language spoken.

    Raises
    ------
    OrderError
    """
    if len(text) > most:
        raise OrderError(
            tr("{what} is longer than {most} letters", what=what, most=most),
            do=tr("Shorten it; nothing has been changed"),
        )


def refuse_large(draft: Draft, written: str) -> None:
    """Refuse a draft that no honest order needs.

    Parameters
    ----------
    draft : Draft
    written : str
        As the store would keep it, in ASCII.

    Raises
    ------
    OrderError
    """
    for text in _texts(draft.to_dict()):
        refuse_long(text, LONGEST_TOLD, what=tr("something that was filled in"))
    if len(written) > MOST_DRAFT_BYTES:
        raise OrderError(
            tr("this order holds more words and marks than any order needs"),
            do=tr("Take something out; nothing has been changed"),
        )


def refuse_more(count: int, most: int) -> None:
    """Refuse one more of what an order has `count` of already.

    Raises
    ------
    OrderError
    """
    if count >= most:
        raise OrderError(
            tr("this was done {most} times with this order, as often as it may be", most=most),
            do=tr("Begin another order"),
        )


def _texts(value: Any) -> list[str]:
    found: list[str] = []
    rest = [value]
    while rest:
        one = rest.pop()
        if isinstance(one, str):
            found.append(one)
        elif isinstance(one, Mapping):
            rest += [*one.keys(), *one.values()]
        elif isinstance(one, list | tuple):
            rest += one
    return found
