"""The desk's list of orders: what is asked of it, what stands in it, in which order."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from photocheck.orders.draft import Draft
from photocheck.orders.model import CHOICES, TAKEN_BACK, OrderLine, Selection
from photocheck.speech import later
from photocheck.words import VERDICTS

STATE_TITLES: Final = {
    "waiting": later("waiting"),
    "asked_again": later("asked again"),
    "accepted": later("accepted"),
    "refused": later("refused"),
    "being_filled_in": later("being filled in"),
}
"""In the order in which the desk names them."""

SORTS: Final = {
    "": later("what needs a look first"),
    "sent": later("newest first"),
    "name": later("name"),
    "number": later("number"),
    "verdict": later("verdict"),
}
"""What the list may be sorted by, and how that is called."""
DECISION_TITLES: Final = {
    **{choice: STATE_TITLES[choice] for choice in CHOICES},
    TAKEN_BACK: later("taken back"),
}
"""What was decided, for the history."""


WAITING: Final = Selection(state="waiting")
"""Those that somebody is to decide on."""

CALM: Final[Mapping[str, int]] = {"agrees": 2, "could_hide": 1}
"""Verdicts where nothing stands out come after the others; a photo to be taken again may come with
readings whose scores are small."""

GRAVITY: Final[Mapping[str, int]] = {verdict: n for n, verdict in enumerate(VERDICTS, start=1)}
"""Where a verdict stands in the list that is sorted by it; an order without one comes last."""

MOST_SOUGHT: Final = 6000
"""Letters of an order among which words are looked for: all its fields and long notes."""

_LONGEST_KEY: Final = 200


def sought_in(*drafts: Draft, also: Sequence[str] = ()) -> str:
    """All of an order that words are looked for in, in small letters.

    Parameters
    ----------
    drafts : Draft
        What the owner filled in, and what was checked.
    also : sequence of str
        What else the list shows of it.
    """
    texts = [*also]
    for draft in drafts:
        owner, dog = draft.owner, draft.dog
        texts += [draft.name, owner.number, owner.name, owner.reach, dog.name, dog.breed]
        # a number is found with or without the blanks in it
        texts += [owner.email, owner.telephone, re.sub(r"[^\d+]", "", owner.telephone)]
        texts += [owner.notes]
    text = "\n".join(dict.fromkeys(text for text in texts if text))
    return text.casefold()[:MOST_SOUGHT]


def about(draft: Draft, name: str) -> str:
    """What the list says of an order beside its name: the dog, who orders, the order's number."""
    told = (draft.dog.name, draft.owner.name, draft.owner.number)
    seen = name.casefold()
    return " · ".join(dict.fromkeys(t for t in told if t and t.casefold() not in seen))


def sort_key(text: str) -> str:
    """A text as it is sorted: without capitals and accents, numbers by their size.

    >>> sorted(["no 10", "No 9", "Özil", "otto"], key=sort_key)
    ['No 9', 'no 10', 'otto', 'Özil']
    """
    plain = unicodedata.normalize("NFKD", text.strip().casefold())
    letters = "".join(c for c in plain if not unicodedata.combining(c))
    # Twelve digits hold the number of any order.
    return re.sub(r"[0-9]+", lambda run: run[0].lstrip("0").zfill(12), letters)[:_LONGEST_KEY]


def _waiting(lines: Iterable[OrderLine]) -> list[str]:
    """Keys of the orders that wait, in the order of the lines."""
    return [line.key for line in lines if line.state == WAITING.state]


def neighbours(lines: Iterable[OrderLine], key: str) -> tuple[str, str]:
    """Keys of the waiting orders before and after this one in the list; empty where none is.

    An order that does not wait itself has the first waiting one after it.

    Parameters
    ----------
    lines : iterable of OrderLine
        In the order of the list, those that wait or more.
    key : str
    """
    waiting = _waiting(lines)
    if key not in waiting:
        return "", waiting[0] if waiting else ""
    here = waiting.index(key)
    before = waiting[here - 1] if here else ""
    return before, waiting[here + 1] if here + 1 < len(waiting) else ""


def following(lines: Iterable[OrderLine], key: str) -> str:
    """Key of the waiting order to go on with after this one; empty where no other waits.

    The next one below it in the list, and below the last the first.

    >>> following([], "any")
    ''
    """
    waiting = _waiting(lines)
    if key not in waiting:
        return waiting[0] if waiting else ""
    here = waiting.index(key)
    others = (*waiting[here + 1 :], *waiting[:here])
    return others[0] if others else ""
