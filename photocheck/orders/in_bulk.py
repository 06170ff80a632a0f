"""Accepting in one go the orders of which nothing speaks against it."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from photocheck.errors import CaseError
from photocheck.fit.answer import fit
from photocheck.fit.shelf import Size
from photocheck.orders.deciding import decide_on
from photocheck.orders.messages.drafting import draft_message
from photocheck.orders.model import Order, OrderError, OrderLine, Store
from photocheck.speech import tr


@dataclass(frozen=True)
class BulkResult:
    """What became of one order.

    Attributes
    ----------
    line : OrderLine
        As it was when somebody asked for it.
    problem : str
        Why it was left for a person; empty when it was accepted.
    """

    line: OrderLine
    problem: str = ""


def fully_agreeing(lines: Iterable[OrderLine]) -> list[OrderLine]:
    """The orders that wait and whose every reading agrees with the photo.

    >>> fully_agreeing([])
    []
    """
    return [line for line in lines if line.state == "waiting" and line.verdict == "agrees"]


def accept_all(
    store: Store,
    lines: Sequence[OrderLine],
    *,
    by: str,
    sizes: Sequence[Size] = (),
    templates: str | os.PathLike[str] | None = None,
    on_done: Callable[[BulkResult], None] | None = None,
) -> list[BulkResult]:
    """Accept orders one after the other, each as a person would, with the drafted message.

    One that is no longer as its line says, of which no cut can be given, or of which the check
    asks that a person looks, is left as it is.

    Parameters
    ----------
    store : Store
    lines : sequence of OrderLine
        As `fully_agreeing` gives them; others are left as they are.
    by : str
        Who accepts.
    sizes : sequence of Size
        The shop's shelf.
    templates : path, optional
        The shop's own messages, as for `photocheck.orders.messages.drafting.draft_message`.
    on_done : callable, optional

    Returns
    -------
    list of BulkResult
        One for each line.

    Raises
    ------
    StoreError
        When the store cannot be reached; what was accepted until then is accepted.
    """
    results = []
    for line in lines:
        result = BulkResult(line, _accept(store, line, by, sizes, templates))
        results.append(result)
        if on_done:
            on_done(result)
    return results


def _accept(
    store: Store,
    line: OrderLine,
    by: str,
    sizes: Sequence[Size],
    templates: str | os.PathLike[str] | None,
) -> str:
    """Accept one; gives why not, where it is not."""
    try:
        seen = store.order(line.key)
        if why := _against(seen, line):
            return why
        report = seen.checks[-1].report
        try:
            answer = fit(report, sizes)
        except CaseError as error:
            return str(error)
        if not answer.measures:
            return answer.headline
        message = draft_message(
            report, "accepted", language=seen.language, templates=templates, answer=answer
        )
        decide_on(store, seen, "accepted", by=by, reason="", message=message)
    except OrderError as error:
        return str(error)
    return ""


def _against(seen: Order, line: OrderLine) -> str:
    """What speaks against accepting an order unseen; empty where nothing does."""
    if not fully_agreeing([line]):
        return tr("Its readings do not fully agree with the photo.")
    if seen.state != "waiting" or seen.checks[-1].at != line.sent:
        return tr("It was checked or decided on meanwhile.")
    if seen.told.owner.notes or seen.draft.owner.notes:
        return tr("It came with notes: read them first.")
    if not seen.checks[-1].by_this_program:
        return tr("Another version of photocheck checked it: check it again first.")
    return ""
