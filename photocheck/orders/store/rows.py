"""Rows of the tables as what `photocheck.orders.model` knows, and JSON as it is kept."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import asdict
from typing import Any

from sqlalchemy import Column, Connection, RowMapping, Select, Table, func, select

from photocheck.orders.bounds import refuse_large
from photocheck.orders.draft import Draft
from photocheck.orders.model import (
    DECISIONS,
    KEY_FORM,
    TAKEN_BACK,
    Check,
    CutNote,
    Decision,
    Heard,
    Order,
    OrderError,
    Remeasured,
)
from photocheck.orders.store.damage import one_of, read_as
from photocheck.orders.store.tables import checks, cuts, decisions, orders, outcomes, photos
from photocheck.report.file import report_as_written
from photocheck.speech import tr


def as_json(value: Any) -> str:
    """Compact JSON in ASCII: an escaped NUL or half a surrogate pair passes any database."""
    return json.dumps(value, ensure_ascii=True, separators=(",", ":"))


def draft_as_json(draft: Draft) -> str:
    """A draft as it is kept.

    Raises
    ------
    OrderError
        When it is larger than `photocheck.orders.bounds` has it.
    """
    written = as_json(draft.to_dict())
    refuse_large(draft, written)
    return written


def head_of(
    connection: Connection, key: str, *, lock: bool = False, only: Sequence[Column[Any]] = ()
) -> RowMapping:
    """The row of an order, kept from other writers until the transaction ends if asked.

    All of it, or some columns.

    Raises
    ------
    OrderError
        When there is no such order.
    """
    row = None
    if isinstance(key, str) and KEY_FORM.fullmatch(key):
        wanted = select(*(only or orders.c)).where(orders.c.key == key)
        found = connection.execute(wanted.with_for_update() if lock else wanted)
        row = found.mappings().one_or_none()
    if row is None:
        raise no_order()
    return row


def no_order() -> OrderError:
    """What to raise when there is no such order."""
    return OrderError(
        tr("there is no such order"), do=tr("Check the link, or open the order again")
    )


def order_of(connection: Connection, head: RowMapping) -> Order:
    """One order with its history."""
    (found,) = orders_of(connection, [head["id"]])
    return found


def orders_of(connection: Connection, numbers: Sequence[int]) -> list[Order]:
    """Several orders with their whole history, by the ids of their rows, in the order of these."""

    def of_each(table: Table, made: Callable[[RowMapping], Any]) -> dict[int, list[Any]]:
        found: dict[int, list[Any]] = defaultdict(list)
        key = next(iter(table.primary_key))
        wanted = select(table).where(table.c.order_id.in_(numbers)).order_by(key)
        for row in connection.execute(wanted).mappings():
            found[row["order_id"]].append(made(row))
        return found

    heads = select(orders).where(orders.c.id.in_(numbers)).order_by(orders.c.id)
    past = of_each(checks, check_of)
    decided = of_each(decisions, decision_of)
    noted = of_each(cuts, cut_of)
    told = of_each(outcomes, heard_of)
    return [
        Order(
            key=head["key"],
            opened=head["opened"],
            language=head["language"],
            draft=draft_of(head),
            checks=tuple(past[head["id"]]),
            decisions=tuple(decided[head["id"]]),
            cuts=tuple(noted[head["id"]]),
            heard=tuple(told[head["id"]]),
        )
        for head in connection.execute(heads).mappings()
    ]


def draft_of(head: RowMapping) -> Draft:
    """What the row of an order holds of its draft."""
    return read_as(head, orders, "draft", Draft.from_dict)


def check_of(row: RowMapping) -> Check:
    """A row of the checks."""
    return Check(
        number=row["number"],
        at=row["at"],
        by=row["by"],
        case=read_as(row, checks, "case", Draft.from_dict),
        report=read_as(row, checks, "report", report_as_written),
        program=row["program"],
        ratios=row["ratios"],
        language=row["language"],
    )


def decision_of(row: RowMapping) -> Decision:
    """A row of the decisions."""
    return Decision(
        at=row["at"],
        by=row["by"],
        choice=one_of(row, decisions, "choice", DECISIONS),
        reason=row["reason"],
        message=row["message"],
        check=row["check_number"],
    )


def cut_of(row: RowMapping) -> CutNote:
    """A row of the cuts."""
    return CutNote(
        at=row["at"],
        by=row["by"],
        what=row["what"],
        check=row["check_number"],
        content=read_as(row, cuts, "content", dict),
    )


def heard_of(row: RowMapping) -> Heard:
    """A row of the outcomes."""
    return Heard(
        at=row["at"],
        day=row["day"],
        by=row["by"],
        from_owner=row["from_owner"],
        result=row["result"],
        felt=read_as(row, outcomes, "felt", dict),
        measured=read_as(row, outcomes, "measured", _measured),
        words=row["words"],
        check=row["check_number"],
    )


def _measured(told: dict[str, Any]) -> dict[str, Remeasured]:
    return {name: Remeasured(**value) for name, value in told.items()}


def measured_as_json(heard: Heard) -> str:
    """What was measured again, as it is kept."""
    return as_json({name: asdict(value) for name, value in heard.measured.items()})


def no_photo(name: str) -> OrderError:
    """What to raise when an order has no such photo."""
    return OrderError(
        tr("the order has no photo called '{name}'", name=name[:60]), do=tr("Add the photo again")
    )


def photos_of(connection: Connection, order_id: int, case: Draft) -> list[tuple[str, str]]:
    """Name and SHA-256 of each photo of a case, in its order.

    Raises
    ------
    OrderError
        When the order does not hold one.
    """
    rows = connection.execute(
        select(photos.c.name, photos.c.sha256).where(photos.c.order_id == order_id)
    )
    kept = {row.name: row.sha256 for row in rows}
    used = [photo.file for photo in case.photos]
    for name in used:
        if name not in kept:
            raise no_photo(name)
    return [(name, kept[name]) for name in used]


def stands() -> Select[Any]:
    """A query for how far every order has come: its key, and what `state_of` takes."""
    last_check = (
        select(checks.c.order_id, func.max(checks.c.number).label("number"))
        .group_by(checks.c.order_id)
        .subquery()
    )
    last_decision = (
        select(decisions.c.order_id, func.max(decisions.c.id).label("id"))
        .group_by(decisions.c.order_id)
        .subquery()
    )
    return (
        select(
            orders.c.key,
            orders.c.touched,
            last_check.c.number,
            decisions.c.check_number,
            decisions.c.choice,
            decisions.c.at.label("decided"),
        )
        .outerjoin(last_check, last_check.c.order_id == orders.c.id)
        .outerjoin(last_decision, last_decision.c.order_id == orders.c.id)
        .outerjoin(decisions, decisions.c.id == last_decision.c.id)
        .order_by(orders.c.opened.desc())
    )


def state_of(number: int | None, check_number: int | None, choice: str | None) -> str:
    """Where an order stands: by its latest check, and by its latest decision and that one's check.

    As `photocheck.orders.model.Order.state` has it.
    """
    if number is None:
        return "being_filled_in"
    if choice is None or choice == TAKEN_BACK or check_number != number:
        return "waiting"
    return choice


def stamp() -> Select[Any]:
    """A query for one row that is another whenever the list gives something else.

    Neither checks, decisions nor cuts are ever changed, and whatever else is done to an order, from
    its beginning on, touches it; that one went shows in the number of them.
    """
    parts = (
        select(func.count(orders.c.id)),
        select(func.max(orders.c.touched)),
        select(func.max(checks.c.number)),
        select(func.max(decisions.c.id)),
        select(func.max(cuts.c.id)),
    )
    return select(*(part.scalar_subquery() for part in parts))


def latest(key: str) -> Select[Any]:
    """A query for how many checks and decisions an order has; no row when it is not there."""
    return select(
        *(
            select(func.count())
            .where(table.c.order_id == orders.c.id)
            .correlate(orders)
            .scalar_subquery()
            for table in (checks, decisions)
        )
    ).where(orders.c.key == key)
