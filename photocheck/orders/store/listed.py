"""The list of orders as the store keeps it: one narrow row for each, beside the order's own.

What the list shows lies behind drafts, cases and reports in the other tables' rows, which SQLite
would have to read through; so it is repeated here, in the transaction that changes the order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import Connection, Integer, RowMapping, bindparam, case, func, select

from photocheck.orders.draft import Draft
from photocheck.orders.listing import (
    CALM,
    GRAVITY,
    about,
    sort_key,
    sought_in,
)
from photocheck.orders.model import STATES, Listed, OrderLine, Selection
from photocheck.orders.store.damage import one_of, read_as
from photocheck.orders.store.engines import insert_into
from photocheck.orders.store.rows import draft_of, state_of
from photocheck.orders.store.tables import checks, decisions, listed, orders
from photocheck.speech import spoken
from photocheck.words import VERDICTS

if TYPE_CHECKING:
    from sqlalchemy.dialects.sqlite import Insert


# Every change of an order says these, so they are put together once: that took longer than they do.
_OF: Final = bindparam("of", type_=Integer)
_HEAD: Final = select(orders.c.id, orders.c.opened, orders.c.name, orders.c.draft).where(
    orders.c.id == _OF
)
_LAST_CHECK: Final = (
    select(checks).where(checks.c.order_id == _OF).order_by(checks.c.number.desc()).limit(1)
)
_LAST_DECISION: Final = (
    select(decisions).where(decisions.c.order_id == _OF).order_by(decisions.c.id.desc()).limit(1)
)
_upserts: Final[dict[str, Insert]] = {}
"""By the database's name: a row of `listed` put in, or in the place of the order's."""


def _upsert(connection: Connection) -> Insert:
    database = connection.dialect.name
    if database not in _upserts:
        new = insert_into(connection, listed)
        changed = {column.name: new.excluded[column.name] for column in listed.c}
        del changed["order_id"]
        _upserts[database] = new.on_conflict_do_update(index_elements=["order_id"], set_=changed)
    return _upserts[database]


def relist(connection: Connection, order_id: int) -> None:
    """Bring an order's row of the list up to date, inside the transaction that changed it."""
    of_order = {"of": order_id}
    head = connection.execute(_HEAD, of_order).mappings().one()
    check = connection.execute(_LAST_CHECK, of_order).mappings().one_or_none()
    decision = connection.execute(_LAST_DECISION, of_order).mappings().one_or_none()
    draft = draft_of(head)
    told, name, headline = draft, head["name"], ""
    elsewhere: dict[str, str] = {}
    if check is not None:
        told = read_as(check, checks, "case", Draft.from_dict)
        name, headline = check["name"], check["headline"]
        elsewhere = _in_other_languages(check, headline)
    state = state_of(
        check["number"] if check else None,
        decision["check_number"] if decision else None,
        decision["choice"] if decision else None,
    )
    row = {
        "order_id": order_id,
        "opened": head["opened"],
        "state": state,
        "verdict": check["verdict"] if check else "",
        "worst": check["worst"] if check else 0.0,
        "sent": check["at"] if check else None,
        "name": name,
        "about": about(told, name) or about(draft, name),
        "headline": headline,
        "name_key": sort_key(name),
        "number_key": sort_key(told.owner.number or draft.owner.number),
        "sought": sought_in(draft, told, also=(name, headline, *elsewhere.values())),
    }
    connection.execute(_upsert(connection), row)


def _in_other_languages(check: RowMapping, headline: str) -> dict[str, str]:
    """A report's headline by language, where it was said in others."""

    def found(report: dict[str, Any]) -> dict[str, str]:
        others = report.get("in_other_languages", {})
        return {language: said[headline] for language, said in others.items() if headline in said}

    return read_as(check, checks, "report", found)


def listed_part(
    connection: Connection, wanted: Selection, first: int = 0, most: int | None = None
) -> Listed:
    """The wanted orders from the `first` on, from 0, `most` of them."""
    conditions = []
    if wanted.state:
        conditions.append(listed.c.state == wanted.state)
    if wanted.verdict:
        conditions.append(listed.c.verdict == wanted.verdict)
    conditions += [listed.c.sought.contains(word, autoescape=True) for word in wanted.words]
    found = connection.execute(
        select(listed, orders.c.key)
        .join(orders, orders.c.id == listed.c.order_id)
        .where(*conditions)
        .order_by(*_order(wanted.by))
        .offset(first)
        .limit(most)
    )
    lines = tuple(line_of(row) for row in found.mappings())
    counted = connection.execute(select(listed.c.state, func.count()).group_by(listed.c.state))
    by_state: dict[str, int] = {row[0]: row[1] for row in counted}
    count = len(lines)
    if first or most is not None:
        count = connection.execute(
            select(func.count()).select_from(listed).where(*conditions)
        ).scalar_one()
    return Listed(lines, count, {state: by_state.get(state, 0) for state in STATES})


def retold(connection: Connection, lines: Sequence[OrderLine]) -> tuple[OrderLine, ...]:
    """The lines, each headline in the language spoken now where its check was made in another.

    The list keeps headlines in one language; the others are in the reports, which are only looked
    into for these lines.
    """
    language = spoken()
    last = (
        select(func.max(checks.c.number))
        .join(orders, orders.c.id == checks.c.order_id)
        .where(orders.c.key.in_([line.key for line in lines]))
        .group_by(checks.c.order_id)
    )
    found = connection.execute(
        select(orders.c.key, checks.c.number, checks.c.report)
        .join(orders, orders.c.id == checks.c.order_id)
        .where(checks.c.number.in_(last), checks.c.language != language)
    )
    reports = {row["key"]: row for row in found.mappings()}
    said = {
        line.key: _in_other_languages(reports[line.key], line.headline)
        for line in lines
        if line.key in reports
    }
    return tuple(
        replace(line, headline=said.get(line.key, {}).get(language, line.headline))
        for line in lines
    )


def _order(by: str) -> list[Any]:
    newest = listed.c.opened.desc(), listed.c.order_id.desc()
    if by == "sent":
        return [listed.c.sent.is_(None), listed.c.sent.desc(), *newest]
    if by == "name":
        return [listed.c.name_key == "", listed.c.name_key, *newest]
    if by == "number":
        return [listed.c.number_key == "", listed.c.number_key, *newest]
    gravity = case(GRAVITY, value=listed.c.verdict, else_=len(GRAVITY) + 1)
    if by == "verdict":
        return [gravity, listed.c.worst.desc(), *newest]
    calm = case(CALM, value=listed.c.verdict, else_=0)
    return [listed.c.state != "waiting", calm, listed.c.worst.desc(), *newest]


def line_of(row: Any) -> OrderLine:
    """A row of `listed` with its order's key."""
    return OrderLine(
        key=row["key"],
        name=row["name"],
        sent=row["sent"],
        state=one_of(row, listed, "state", STATES),
        verdict=one_of(row, listed, "verdict", ("", *VERDICTS)),
        worst=row["worst"],
        headline=row["headline"],
        about=row["about"],
    )
