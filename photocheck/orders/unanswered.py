"""Questions to owners that nobody has answered: which, since when, and a reminder of each."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from photocheck.orders.bounds import LONGEST_MESSAGE
from photocheck.orders.messages.drafting import draft_message
from photocheck.orders.model import Decision, Order, OrderError, Selection, Store

ASKED: Final = "asked_again"
"""The state of an order whose owner was asked something."""

PATIENCE_DAYS: Final = 4
"""Days without an answer after which an owner is reminded (judgement): longer than a weekend."""

_S_PER_DAY: Final = 86_400


@dataclass(frozen=True)
class Question:
    """A question that is open.

    Attributes
    ----------
    order : Order
    asked : Decision
        The last time that it was asked.
    times : int
        How often, since the check it is about.
    days : int
        Whole days since the last time.
    """

    order: Order
    asked: Decision
    times: int
    days: int


def unanswered(
    store: Store,
    *,
    patience_days: int = PATIENCE_DAYS,
    now: datetime | None = None,
) -> list[Question]:
    """The questions that have been open for so many days, the oldest first.

    A reminder counts as asking: it starts the days anew.

    Parameters
    ----------
    store : Store
    patience_days : int
    now : datetime, optional
        UTC; the present without it.
    """
    now = now or datetime.now(UTC)
    found = []
    for line in store.listed(Selection(state=ASKED)).lines:
        try:
            order = store.order(line.key)
        except OrderError:  # deleted since the lines were read
            continue
        asked = order.decision
        if asked is None or asked.choice != ASKED:
            continue
        days = int((now - asked.at).total_seconds() // _S_PER_DAY)
        if days >= patience_days:
            again = [d for d in order.decisions if d.check == asked.check and d.choice == ASKED]
            found.append(Question(order, asked, len(again), days))
    return sorted(found, key=lambda question: question.asked.at)


def draft_reminder(question: Question, templates: str | os.PathLike[str] | None = None) -> str:
    """A reminder in the owner's language, with what was asked below it, as mails quote.

    Raises
    ------
    MessageError
        When a template is broken.
    """
    order = question.order
    text = draft_message(
        order.checks[-1].report, "reminder", language=order.language, templates=templates
    )
    first = next((d for d in order.decisions if _is_of(d, question) and d.message), None)
    if first is None:
        return text
    quoted = "\n".join(f"> {line}".rstrip() for line in first.message.splitlines())
    return f"{text}\n\n{quoted}"[:LONGEST_MESSAGE]


def _is_of(decision: Decision, question: Question) -> bool:
    return decision.check == question.asked.check and decision.choice == ASKED
