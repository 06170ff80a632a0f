"""The desk's list of orders: what is in it and what is shown of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Final

from photocheck.orders.model import CHOICES, STATES, TAKEN_BACK, OrderLine
from photocheck.speech import later

STATE_TITLES: Final = {
    "waiting": later("waiting"),
    "asked_again": later("asked again"),
    "accepted": later("accepted"),
    "refused": later("refused"),
    "being_filled_in": later("being filled in"),
}
"""In the order in which the desk names them."""

DECISION_TITLES: Final = {
    **{choice: STATE_TITLES[choice] for choice in CHOICES},
    TAKEN_BACK: later("taken back"),
}
"""What was decided, for the history."""


def counts(lines: Iterable[OrderLine]) -> Mapping[str, int]:
    """How many orders stand in each state; 0 where none does."""
    found = Counter(line.state for line in lines)
    return {state: found[state] for state in STATES}


def chosen(
    lines: Iterable[OrderLine], *, state: str = "", verdict: str = "", text: str = ""
) -> list[OrderLine]:
    """The orders in a state, with a verdict, and with every word of `text` in them.

    Waiting ones come first, and among them those that do not agree, where nothing stands out after
    the others; a photo to be taken again
    may come with readings whose scores are small.

    Parameters
    ----------
    lines : iterable of OrderLine
        As the store gives them; otherwise their order is kept.
    state, verdict : str
        Empty for any.
    text : str
        Words looked for in the order's name and headline, small or capital letters alike.
    """
    words = text.casefold().split()
    found = [
        line
        for line in lines
        if (not state or line.state == state)
        and (not verdict or line.verdict == verdict)
        and all(word in f"{line.name} {line.headline}".casefold() for word in words)
    ]
    calm = {"agrees": 2, "could_hide": 1}
    return sorted(found, key=lambda line: (line.state != "waiting", calm.get(line.verdict, 0)))


def neighbours(lines: Iterable[OrderLine], key: str) -> tuple[str, str]:
    """Keys of the waiting orders before and after this one in the list; empty where none is.

    An order that does not wait itself has the first waiting one after it.
    """
    waiting = [line.key for line in chosen(lines) if line.state == "waiting"]
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
    waiting = [line.key for line in chosen(lines) if line.state == "waiting"]
    if key not in waiting:
        return waiting[0] if waiting else ""
    here = waiting.index(key)
    others = (*waiting[here + 1 :], *waiting[:here])
    return others[0] if others else ""
