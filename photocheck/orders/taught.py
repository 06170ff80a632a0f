"""What the store's orders teach: accepted ones and what was heard of them, straight to `learn`.

Each order whose latest check was accepted and cut counts by what was heard last: "fitted" whole,
"returned" never, nothing by half, as `photocheck.judge.evidence.TEACHES` has it.  One that was
tight or loose says no number by itself and does not teach, unless every reading behind a part
that did not fit was measured again: these then stand in place of those that were cut by, the
readings tied to them by a sum are dropped, and the order counts as one of which nobody has heard.
Nothing of what learning refuses is loosened here.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Final

from photocheck.body.shape import SHIPPED
from photocheck.case.model import Reading, Take
from photocheck.errors import CaseError
from photocheck.judge.evidence import FinishedOrder, order_from_report
from photocheck.judge.learning import Learning, LeftOut, learn
from photocheck.judge.ratios import Ratios, read_ratios, write_ratios
from photocheck.judge.repeats import SUMS
from photocheck.orders.heard import MEASURED_FOR, accepted_check, felt_text, last_heard
from photocheck.orders.model import Heard, Order, OrderError
from photocheck.orders.store import DatabaseStore
from photocheck.report.model import Report
from photocheck.speech import listed, tr

_OUTCOMES: Final[Mapping[str, str]] = {"fitted": "fitted", "returned": "returned"}


def learn_from_store(
    store: DatabaseStore, ratios: str | os.PathLike[str], *, write: bool = True
) -> Learning:
    """Learn from all accepted orders of a store and keep the result.

    Parameters
    ----------
    store : DatabaseStore
    ratios : path
        The shop's ratios file; it need not be there yet, and is rewritten only when new ratios
        are adopted.
    write : bool
        False only looks what would be learnt.

    Raises
    ------
    CaseError
        When the file cannot be used, or was changed by somebody else meanwhile.
    """
    before = _read(ratios)
    found, unread = finished_orders(store.whole(), before, store.ratios)
    learnt = learn(found, before)
    learnt = replace(learnt, left_out=(*learnt.left_out, *unread))
    if write and learnt.adopted:
        if _read(ratios) != before:
            raise CaseError(
                tr("somebody else has learnt meanwhile"),
                where=os.fspath(ratios),
                do=tr("Look at what is in use now, and learn again if you want to"),
            )
        write_ratios(ratios, learnt.ratios)
    return learnt


def begin_ratios(ratios: str | os.PathLike[str]) -> None:
    """Write a ratios file in which nothing was learnt yet, for a desk that shall learn into it.

    Raises
    ------
    CaseError
        When there is such a file already.
    """
    if Path(ratios).exists():
        raise CaseError(
            tr("this file is already there"),
            where=os.fspath(ratios),
            do=tr("Choose another name"),
        )
    write_ratios(ratios, Ratios())


def _read(ratios: str | os.PathLike[str]) -> Ratios:
    return read_ratios(ratios) if Path(ratios).exists() else Ratios()


def finished_orders(
    orders: Iterable[Order], ratios: Ratios, kept: Callable[[str], Ratios]
) -> tuple[list[FinishedOrder], list[LeftOut]]:
    """Accepted orders as learning sees them, and those that it cannot read, with the reason.

    Parameters
    ----------
    orders : iterable of Order
        Any; those not accepted are passed over.
    ratios : Ratios
        The shop's versions.
    kept : callable
        Gives the versions a check was made with that are not in the shop's file any more;
        raises `OrderError` when there are none.
    """
    found, unread = [], []
    for order in orders:
        check = accepted_check(order)
        if check is None:
            continue
        name = order.name or order.key[:8]
        heard = last_heard(order)
        report = check.report
        outcome, why_not = _outcome(heard)
        if heard is not None and heard.measured and not why_not:
            report = _measured_anew(report, heard)
        try:
            made_with = SHIPPED
            if report.ratios_version != SHIPPED.version:
                versions = ratios if ratios.find(report.ratios_version) else kept(check.ratios)
                made_with = replace(versions, current=report.ratios_version).for_dog(
                    report.case.dog
                )
            one = order_from_report(report, outcome, made_with, name=name, where=name)
        except (CaseError, OrderError) as error:
            unread.append(LeftOut(name, error.wrong))
            continue
        found.append(replace(one, why_not=why_not))
    return found, unread


def _outcome(heard: Heard | None) -> tuple[str, str]:
    """The outcome as learning knows it, and why it teaches nothing where that is not plain."""
    if heard is None:
        return "accepted", ""
    if heard.result in _OUTCOMES:
        return _OUTCOMES[heard.result], ""
    open_parts = [name for name in heard.felt if MEASURED_FOR[name] not in heard.measured]
    if not open_parts:
        return "accepted", ""
    parts = [felt_text(name, heard.felt[name]) for name in open_parts]
    return "unknown", tr(
        "{parts}, and not measured again: that says no number", parts=listed(parts)
    )


def _measured_anew(report: Report, heard: Heard) -> Report:
    """The report of a case with the readings taken anew, without those tied to them that were not.

    No tags are taken to be on the dog any more.

    A half neck read anew contradicts the ring of then, and a front the full length of then
    (`photocheck.judge.repeats.SUMS`); the rear of then ended at the same last-rib point.
    """
    stale = {other for name in heard.measured for other, _ in SUMS[name]} | {
        whole for whole, parts in SUMS.items() for part, _ in parts if part in heard.measured
    }
    by = "owner" if heard.from_owner else heard.by
    case = report.case
    readings = {name: one for name, one in case.readings.items() if name not in stale}
    for name, one in heard.measured.items():
        take = Take(one.mm, one.typed, one.unit, heard.day.isoformat(), by)
        readings[name] = Reading(one.mm, one.typed, one.unit, (take,))
    left = tuple(name for name in report.at_tags if name in readings and name not in heard.measured)
    case = replace(case, readings=readings, measured_at_tags=False)
    return replace(report, case=case, at_tags=left)
