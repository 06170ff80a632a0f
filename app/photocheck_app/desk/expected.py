"""What the program would expect of an order's marks: a reason to look at them, nothing more."""

from __future__ import annotations

from photocheck.orders.model import Check, Order
from photocheck.orders.unlike_proposed import unlike_sentences
from photocheck_app.proposals import proposal_in
from photocheck_app.shared import store


def sentences(order: Order, check: Check, index: int) -> tuple[str, ...]:
    """Of the marks on one photo of a check, those that lie elsewhere than expected."""
    if index >= len(check.case.photos):
        return ()
    photo = check.case.photos[index]
    marked = [marking for marking in photo.markings if marking.marks]
    if not marked:
        return ()
    proposal = proposal_in(store(), order.key, photo)
    scale = check.report.photos[index].px_per_mm
    unit = check.report.case.unit
    return tuple(said for one in marked for said in unlike_sentences(one, proposal, scale, unit))
