"""What is noted of cuts, and the orders that are to be cut."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, func, insert, select

from photocheck.orders.bounds import LONGEST_BY, MOST_CUT_NOTES, refuse_long, refuse_more
from photocheck.orders.model import CUT_NOTES, Order, OrderError
from photocheck.orders.store import rows
from photocheck.orders.store.tables import checks, cuts, decisions, orders
from photocheck.speech import tr


def note_cut(
    connection: Connection,
    key: str,
    what: str,
    *,
    by: str,
    check: int,
    content: Mapping[str, Any] | None = None,
) -> bool:
    """Append a note inside a transaction; False where the order stands so already.

    Two desks that mark the same cut at the same moment so leave one note.

    Raises
    ------
    OrderError
        When there is no such order, or it was checked again since.
    """
    if what not in CUT_NOTES:
        raise ValueError(what)
    refuse_long(by, LONGEST_BY, what=tr("the name"))
    head = rows.head_of(connection, key, lock=True)
    newest = select(func.max(checks.c.number)).where(checks.c.order_id == head["id"])
    if connection.execute(newest).scalar() != check:
        raise OrderError(
            tr("this order has been checked again meanwhile"),
            do=tr("Look at the new check, and decide on it first"),
        )
    noted = select(cuts).where(cuts.c.order_id == head["id"]).order_by(cuts.c.id)
    kept = [rows.cut_of(row) for row in connection.execute(noted).mappings()]
    given = dict(content or {})
    if _stands(kept, what, check, given):
        return False
    refuse_more(len(kept), MOST_CUT_NOTES)
    connection.execute(
        insert(cuts).values(
            order_id=head["id"],
            check_number=check,
            at=datetime.now(UTC),
            by=by,
            what=what,
            content=rows.as_json(given),
        )
    )
    return True


def _stands(kept: list[Any], what: str, check: int, content: dict[str, Any]) -> bool:
    """Whether the last note of this kind and check says the same."""
    kinds = ("wished",) if what == "wished" else ("cut", "not_cut")
    same = [note for note in kept if note.what in kinds and note.check == check]
    if not same:
        # nothing to undo, and nothing wished for
        return what == "not_cut" or (what == "wished" and not content)
    last = same[-1]
    return last.what == what and (what != "wished" or dict(last.content) == content)


def accepted(connection: Connection) -> tuple[Order, ...]:
    """The orders whose last decision accepts their last check, the one decided first first."""
    newest = (
        select(checks.c.order_id, func.max(checks.c.number).label("number"))
        .group_by(checks.c.order_id)
        .subquery()
    )
    last = (
        select(decisions.c.order_id, func.max(decisions.c.id).label("id"))
        .group_by(decisions.c.order_id)
        .subquery()
    )
    standing = (
        select(decisions.c.id, decisions.c.order_id, decisions.c.check_number)
        .join(last, last.c.id == decisions.c.id)
        .join(newest, newest.c.order_id == decisions.c.order_id)
        .where(decisions.c.choice == "accepted", decisions.c.check_number == newest.c.number)
        .order_by(decisions.c.id)
    )
    found = connection.execute(standing).all()
    wanted = standing.subquery()
    heads = _by(connection, select(orders).join(wanted, wanted.c.order_id == orders.c.id), "id")
    seen = _by(
        connection,
        select(checks).join(wanted, wanted.c.check_number == checks.c.number),
        "number",
    )
    decided = _by(connection, select(decisions).join(wanted, wanted.c.id == decisions.c.id), "id")
    notes: dict[int, list[Any]] = {}
    every = select(cuts).join(wanted, wanted.c.order_id == cuts.c.order_id).order_by(cuts.c.id)
    for row in connection.execute(every).mappings():
        notes.setdefault(row["order_id"], []).append(rows.cut_of(row))
    return tuple(
        Order(
            key=heads[row.order_id]["key"],
            opened=heads[row.order_id]["opened"],
            language=heads[row.order_id]["language"],
            draft=rows.draft_of(heads[row.order_id]),
            checks=(rows.check_of(seen[row.check_number]),),
            decisions=(rows.decision_of(decided[row.id]),),
            cuts=tuple(notes.get(row.order_id, ())),
        )
        for row in found
    )


def _by(connection: Connection, query: Any, name: str) -> dict[int, Any]:
    return {row[name]: row for row in connection.execute(query).mappings()}
