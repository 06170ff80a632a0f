"""What is kept for how long, and everything that is held about one owner."""

from __future__ import annotations

import io
import json
import os
import zipfile
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, BinaryIO, Final

from sqlalchemy import Connection, RowMapping

from photocheck.files import replacing
from photocheck.orders.model import Check, Decision, Heard, OrderError, Selection
from photocheck.orders.store import rows
from photocheck.orders.store.copies import remove, side_copies
from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.store.kept_passes import Pass, drop_ended, linked, passes_of
from photocheck.orders.store.tables import orders
from photocheck.orders.store.unfinished import sweep
from photocheck.report.file import report_to_dict
from photocheck.speech import tr


@dataclass(frozen=True)
class Retention:
    """For how many days things are kept.  The numbers are judgement; a shop sets its own.

    Attributes
    ----------
    drafts_days : float
        An order never sent, counted from when the owner last did something.
    decided_days : float
        A decided order, counted from the last decision or photo or draft; two years, for as
        long as a customer may come back with a claim in many places.
    copies_days : float
        A copy kept beside the store by an upgrade or a restore; it still holds what was
        forgotten since.
    """

    drafts_days: float = 30.0
    decided_days: float = 730.0
    copies_days: float = 30.0


MOST_SHARE: Final = 0.2
FEWEST: Final = 20
"""Of all orders, and of few, what goes at once unasked (judgement): a shop that tidies daily loses
a thousandth a day; a fifth is half a year of a desk that was off."""

LONGEST_PAUSE: Final = timedelta(days=60)
"""Between two writings to a store that is in use, or restored from a copy that was: beyond it, the
clock is doubted (judgement: the longest works holiday, twice)."""

SKEW: Final = timedelta(minutes=5)
"""How far two machines' clocks differ (RFC 4120, 7.5.8)."""


class TidyError(OrderError):
    """Tidying would delete what perhaps only a wrong clock makes old."""


def over_time(
    store: DatabaseStore, retention: Retention, *, now: datetime | None = None
) -> tuple[str, ...]:
    """Keys of the orders kept long enough.

    An order that waits for a decision never is, nor one that was not sent yet while a link
    still leads to it.
    """
    now = now or datetime.now(UTC)
    with store.reading() as connection:
        found = connection.execute(rows.stands()).mappings().all()
    awaited = linked(store, now)
    return tuple(
        row["key"]
        for row in found
        if _is_over(row, retention, now)
        and (row["number"] is not None or row["key"] not in awaited)
    )


def _is_over(row: RowMapping, retention: Retention, now: datetime) -> bool:
    """Whether an order was kept long enough, but for links, by its row of `rows.stands`."""
    state = rows.state_of(row["number"], row["check_number"], row["choice"])
    days = retention.drafts_days if state == "being_filled_in" else retention.decided_days
    last = max(row["touched"], row["decided"] or row["touched"])
    return state != "waiting" and bool(now - last > timedelta(days=days))


def tidy(
    store: DatabaseStore,
    retention: Retention | None = None,
    *,
    now: datetime | None = None,
    unasked: bool = True,
) -> tuple[int, int]:
    """Forget what is over its time, and who was signed in once.

    Parameters
    ----------
    unasked : bool
        Whether nobody was asked how many go: then it refuses what only a wrong clock explains.

    Returns
    -------
    (int, int)
        How many orders went, and how many copies beside the store.

    Raises
    ------
    TidyError
        Unasked, when the clock has jumped or stands before what is kept, or when more went at
        once than `MOST_SHARE` of all orders; nothing is deleted then.
    """
    now = now or datetime.now(UTC)
    retention = retention or Retention()
    keys = over_time(store, retention, now=now)
    if unasked:
        _refuse_jump(store, now)
        _refuse_many(len(keys), store.listed(Selection(), most=0).found)
    went = 0

    def still(connection: Connection, order_id: int) -> bool:
        row = connection.execute(rows.stands().where(orders.c.id == order_id)).mappings().one()
        return _is_over(row, retention, now)

    for key in keys:
        try:
            # Since they were looked at its owner may have come back, or it was checked.
            store.forget(key, only_if=still)
        except OrderError:
            continue  # that, or another desk was quicker
        went += 1
    drop_ended(store, now)
    sweep(store.engine)
    old = (now - timedelta(days=retention.copies_days)).timestamp()
    copies = side_copies(store, before=old)
    for path in copies:
        remove(path)
    return went, len(copies)


def _refuse_jump(store: DatabaseStore, now: datetime) -> None:
    """Refuse a clock that is not believed: the store itself knows when it was last written."""
    last = store.last_written()
    if last is None:
        return
    if now < last - SKEW:
        raise TidyError(
            tr("the clock stands before what was last kept here ({last})", last=_day(last)),
            do=tr("Set the clock right; nothing has been deleted"),
        )
    if now - last > LONGEST_PAUSE:
        raise TidyError(
            tr(
                "nothing was kept here for {days} days, or the clock has jumped",
                days=(now - last).days,
            ),
            do=tr(
                "Look at the clock; if it is right, type: photocheck forget --over-time. "
                "Nothing has been deleted"
            ),
        )


def _refuse_many(going: int, there: int) -> None:
    if going > max(FEWEST, MOST_SHARE * there):
        raise TidyError(
            tr(
                "{going} of {there} orders would be deleted at once, for being kept long enough",
                going=going,
                there=there,
            ),
            do=tr(
                "Look at the clock and at the days; if they are right, type: photocheck forget "
                "--over-time. Nothing has been deleted"
            ),
        )


def _day(moment: datetime) -> str:
    return moment.astimezone(UTC).date().isoformat()


def write_held(store: DatabaseStore, key: str, target: str | os.PathLike[str]) -> None:
    """Write everything held about one owner into a file, as `held_zip` gives it.

    Raises
    ------
    OrderError
        When there is no such order.
    PhotocheckError
        When the file cannot be written.
    """
    with replacing(target, private=True) as file:
        _write_held(store, key, file)


def held_zip(store: DatabaseStore, key: str) -> bytes:
    """Everything held about one owner: ``order.json`` and the photos, as a zip file.

    Raises
    ------
    OrderError
        When there is no such order.
    """
    file = io.BytesIO()
    _write_held(store, key, file)
    return file.getvalue()


def _write_held(store: DatabaseStore, key: str, file: BinaryIO) -> None:
    order = store.order(key)
    photos = store.photos(key)
    told = {
        "order": order.key,
        "opened": order.opened.isoformat(),
        "language": order.language,
        "state": order.state,
        "being_filled_in": order.draft.to_dict(),
        "photos": [{**asdict(photo), "at": photo.at.isoformat()} for photo in photos],
        "checks": [_check(check) for check in order.checks],
        "decisions": [_decision(decision) for decision in order.decisions],
        "cuts": [{**asdict(note), "at": note.at.isoformat()} for note in order.cuts],
        "outcomes": [_heard(heard) for heard in order.heard],
        "links": [_link(one) for one in passes_of(store, key)],
    }
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("order.json", json.dumps(told, ensure_ascii=True, indent=2))
        for photo in photos:
            # a photo is compressed already
            archive.writestr(
                f"photos/{photo.name}", store.photo(key, photo.name), zipfile.ZIP_STORED
            )


def _check(check: Check) -> dict[str, Any]:
    return {
        "number": check.number,
        "at": check.at.isoformat(),
        "by": check.by,
        "program": check.program,
        "ratios": check.ratios,
        "language": check.language,
        "case": check.case.to_dict(),
        "report": report_to_dict(check.report),
    }


def _link(one: Pass) -> dict[str, Any]:
    return {
        "by": one.by,
        "at": one.at.isoformat(),
        "expires": one.expires.isoformat(),
        "ended": None if one.ended is None else one.ended.isoformat(),
    }


def _heard(heard: Heard) -> dict[str, Any]:
    return {**asdict(heard), "at": heard.at.isoformat(), "day": heard.day.isoformat()}


def _decision(decision: Decision) -> dict[str, Any]:
    return {**asdict(decision), "at": decision.at.isoformat()}
