"""Deciding on an order: what needs a reason, and never on something nobody looked at."""

from __future__ import annotations

from typing import Final

from photocheck.orders.model import TAKEN_BACK, Decision, Order, OrderError, Store
from photocheck.speech import later, tr
from photocheck.words import VERDICT_TITLES

CHOICE_TITLES: Final = {
    "accepted": later("Accept"),
    "asked_again": later("Ask again"),
    "refused": later("Refuse"),
}


def reason_needed(choice: str, verdict: str) -> str:
    """Why this choice cannot stand without a reason, or an empty text.

    Parameters
    ----------
    choice : str
        One of `photocheck.orders.model.CHOICES`.
    verdict : str
        Of the check it rests on, a key of `photocheck.words.VERDICTS`.
    """
    if choice == "refused":
        return tr("An order is refused only with a reason.")
    if choice == "accepted" and verdict != "agrees":
        return tr(
            "The check does not say that the readings agree ({verdict}); accepting this order "
            "all the same needs a reason.",
            verdict=tr(VERDICT_TITLES[verdict]),
        )
    return ""


def decide_on(
    store: Store, seen: Order, choice: str, *, by: str, reason: str, message: str = ""
) -> Decision:
    """Record a decision on what was on the screen.

    Parameters
    ----------
    store : Store
    seen : Order
        The order as it was when the person made up their mind.
    choice : str
        One of `photocheck.orders.model.CHOICES`.
    by, reason, message : str

    Raises
    ------
    OrderError
        When a reason is missing, or the order has been checked or decided on since.
    """
    checked = seen.checks[-1].number if seen.checks else 0
    if _checked_as_seen(store, seen):
        wanted = reason_needed(choice, seen.checks[-1].report.verdict)
        if wanted and not reason.strip():
            raise OrderError(wanted.rstrip("."), do=tr("Write the reason in a few words"))
    # The store refuses what rests on no check, or on one that is not the latest.
    return store.decide(
        seen.key, choice, by=by, reason=reason.strip(), message=message.strip(), check=checked
    )


def take_back(store: Store, seen: Order, *, by: str, reason: str) -> Decision:
    """Record that the decision on the screen does not hold, so that the order waits again.

    What was decided, and what was said to the owner, stays in the history.

    Parameters
    ----------
    store : Store
    seen : Order
        The order with that decision.
    by, reason : str

    Raises
    ------
    OrderError
        When there is no such decision, a reason is missing, or the order has been checked or
        decided on since.
    """
    if seen.decision is None:
        raise OrderError(tr("there is no decision to take back"), do=tr("Look at the order anew"))
    _checked_as_seen(store, seen)
    if not reason.strip():
        raise OrderError(
            tr("a decision is taken back only with a reason"),
            do=tr("Write the reason in a few words"),
        )
    check = seen.checks[-1].number
    return store.decide(seen.key, TAKEN_BACK, by=by, reason=reason.strip(), check=check)


def _checked_as_seen(store: Store, seen: Order) -> bool:
    """Whether the latest check is the one that was seen; nobody may have decided on it since."""
    now = store.order(seen.key)
    if not (seen.checks and now.checks and now.checks[-1].number == seen.checks[-1].number):
        return False
    if len(now.decisions) != len(seen.decisions):
        raise OrderError(
            tr("somebody else has decided on this order meanwhile"),
            do=tr("Look at the history, and decide again if you see it otherwise"),
        )
    return True
