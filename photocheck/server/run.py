"""The check of an order that the store holds: draft and photos out, one more check in."""

from __future__ import annotations

from collections.abc import Callable

from photocheck.case.file import case_from_dict
from photocheck.case.validity import validate
from photocheck.checking import check
from photocheck.judge.ratios import Ratios
from photocheck.judge.tolerances import AS_SHIPPED, FALSE_ALARMS, Tolerances
from photocheck.orders.draft import Draft
from photocheck.orders.model import Check, Store
from photocheck.photo.photo import Photo
from photocheck.report.model import Report
from photocheck.server.bench import photos_of
from photocheck.server.memory import Memory
from photocheck.speech import speaking


def check_order(
    store: Store,
    key: str,
    *,
    draft: Draft | None = None,
    ratios: Ratios | None = None,
    memory: Memory[Photo] | None = None,
    on_photo: Callable[[int], None] | None = None,
    false_alarms: float = FALSE_ALARMS,
    tolerated: Tolerances = AS_SHIPPED,
) -> Report:
    """Check an order and record nothing.

    Parameters
    ----------
    draft : Draft, optional
        What to check instead of the owner's: one with marks corrected by staff, say.
    ratios : Ratios, optional
    memory : Memory of Photo, optional
        Where photos of this order may lie decoded already.  Those that find no room in it, or
        without it in one of its own, are decoded again where they are needed again, lest an
        order of twelve photos of the largest took 3 GB.
    on_photo : callable, optional
        Called with the number of photos seen so far.
    false_alarms : float
        Share of good orders that may be flagged.
    tolerated : Tolerances
        What the shop lets pass.

    Raises
    ------
    OrderError
        When there is no such order or photo.
    CaseError, PhotoError, ScaleError
        As `photocheck.check` does.
    """
    told = store.draft(key) if draft is None else draft
    case = case_from_dict(told.to_dict(), where="order", check_files=False)
    validate(case)
    photos = photos_of(store, key, case.photos, memory)
    return check(
        case,
        photos=photos,
        ratios=ratios,
        on_photo=on_photo,
        false_alarms=false_alarms,
        tolerated=tolerated,
    )


def run_check(
    store: Store,
    key: str,
    *,
    by: str,
    draft: Draft | None = None,
    ratios: Ratios | None = None,
    memory: Memory[Photo] | None = None,
    on_photo: Callable[[int], None] | None = None,
    tolerated: Tolerances = AS_SHIPPED,
) -> Check:
    """Check an order and append the outcome to its history.

    Parameters
    ----------
    by : str
        "owner", or the name of who checks.
    draft, ratios, memory, on_photo, tolerated
        As for `check_order`.

    Raises
    ------
    OrderError, CaseError, PhotoError, ScaleError
        As `check_order` does; nothing is recorded then.
    """
    told = store.draft(key) if draft is None else draft
    report = check_order(
        store,
        key,
        draft=told,
        ratios=ratios,
        memory=memory,
        on_photo=on_photo,
        tolerated=tolerated,
    )
    return store.record_check(key, told, report, by=by, ratios=ratios)


def recompute(store: Store, key: str, past: Check) -> Report:
    """Make a check of an order again, from what the store holds of it.

    Returns
    -------
    Report
        The same verdict and sentences as `past.report`, and figures within 1e-5 of theirs, when
        this is the version of photocheck (`past.program`) and of its libraries that made it;
        equal to the last digit on the same kind of processor, for the linear algebra beneath
        (OpenBLAS) adds up in another order on another (``tests/test_kernels.py``).

    Raises
    ------
    OrderError
        When there is no such order or photo, or its learnt ratios are not kept.
    """
    ratios = store.ratios(past.ratios) if past.ratios else None
    with speaking(past.language):
        return check_order(
            store,
            key,
            draft=past.case,
            ratios=ratios,
            false_alarms=past.report.false_alarm_budget,
            tolerated=Tolerances(past.report.tolerances),
        )
