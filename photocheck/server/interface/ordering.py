"""Orders as other programs begin, fill in, check and read them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict
from hashlib import sha256
from typing import Any

from photocheck.errors import PhotocheckError
from photocheck.fit.answer import fit
from photocheck.orders.draft import Draft, ReferenceTold
from photocheck.orders.export import utc_text
from photocheck.orders.filling import new_photo
from photocheck.orders.gaps import gaps
from photocheck.orders.model import Check, Order
from photocheck.orders.store import kept_clients as kept
from photocheck.orders.store.brought import find_brought, put_order
from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.store.kept_clients import Client, order_of_client, orders_of
from photocheck.orders.taking import take_photo
from photocheck.report.file import report_to_dict
from photocheck.report.retelling import in_language
from photocheck.server import bench
from photocheck.server.interface.operations import BASE
from photocheck.server.interface.problems import RefusedError, as_json
from photocheck.server.run import run_check
from photocheck.server.shop import Shop
from photocheck.speech import speaking, tr
from photocheck.uploads.take import Limits

Told = dict[str, Any]
"""As the document has it, ready for `json.dumps`."""


def address_of(key: str) -> str:
    """Where an order lies."""
    return f"{BASE}/orders/{key}"


def shop_files(shop: Callable[[], Shop]) -> Shop:
    """The shop's own files.  What is wrong with them is no client's doing.

    Raises
    ------
    RefusedError
        503.
    """
    try:
        found = shop()
        found.sizes()
        found.learnt()
        found.tolerated()
    except PhotocheckError as error:
        raise RefusedError(
            503,
            tr("the workshop's own files cannot be used"),
            do=tr("Tell the workshop"),
            headers={"Retry-After": "60"},
        ) from error
    return found


def create(store: DatabaseStore, client: Client, new: Mapping[str, Any]) -> tuple[Told, bool]:
    """Begin an order, once for each number of the client's own.

    Parameters
    ----------
    new : mapping
        ``new_order`` of the document.

    Returns
    -------
    (dict, bool)
        The order, and whether it is new.

    Raises
    ------
    RefusedError
        409 for another order under a number that is taken, 410 for one that was deleted.
    """
    number, language = str(new["number"]), str(new.get("language", "en"))
    if number != number.strip() or not number.isprintable():
        raise RefusedError(422, tr("this cannot be"), where="number")
    draft = Draft.from_dict(new["case"])
    if draft.photos:
        raise _no_such_photo(draft.photos[0].file)
    if not draft.owner.number:
        draft = draft.but("owner", draft.owner.but("number", number))
    # What it is known by where it comes from; a table's rows are known by other texts.
    origin = sha256(as_json(["client", client.id, number])).hexdigest()
    content = sha256(as_json([language, new["case"]])).hexdigest()
    key, made = put_order(
        store,
        draft,
        {},
        origin=origin,
        content=content,
        language=language,
        also=lambda connection, order_id: kept.own(connection, order_id, client.id, number),
    )
    if not key:
        raise RefusedError(
            410,
            tr("the order of this number was deleted"),
            where="number",
            do=tr("Use another number"),
        )
    before = None if made else find_brought(store, origin)
    if before is not None and before.content != content:
        raise RefusedError(
            409,
            tr("another order has this number already"),
            where="number",
            do=tr("Use another number, or put the new case in the place of the old one"),
            more={"order": key},
        )
    return read(store, client, key), made


def lines(
    store: DatabaseStore,
    client: Client,
    *,
    after: int,
    limit: int,
    number: str | None,
    state: str | None,
) -> Told:
    """Orders that the client sees, oldest first."""
    found = orders_of(store, client, after=after, limit=limit, number=number)
    return {
        "orders": [
            {
                "order": one.line.key,
                "number": one.number,
                "name": one.line.name,
                "opened": utc_text(one.opened),
                "state": one.line.state,
                "checked": one.line.sent and utc_text(one.line.sent),
                "verdict": one.line.verdict or None,
                "headline": one.line.headline,
            }
            for one in found
            if state in (None, one.line.state)
        ],
        "next": found[-1].place if len(found) == limit else None,
    }


def read(store: DatabaseStore, client: Client, key: str) -> Told:
    """An order: its state, what it lacks, its latest check, what was decided."""
    seen = _seen(store, client, key)
    order = store.order(key)
    last = order.checks[-1] if order.checks else None
    decided = order.decision
    return {
        "order": key,
        "number": seen.number,
        "name": order.name,
        "language": order.language,
        "opened": utc_text(order.opened),
        "state": order.state,
        "lacking": _lacking(order.draft),
        "photos": [
            {"name": photo.name, "sha256": photo.sha256, "at": utc_text(photo.at)}
            for photo in store.photos(key)
        ],
        "check": None
        if last is None
        else {
            "number": last.number,
            "at": utc_text(last.at),
            "by": last.by,
            "verdict": last.report.verdict,
            "headline": in_language(last.report, order.language).headline,
        },
        "decision": None
        if decided is None
        else {
            "at": utc_text(decided.at),
            "choice": decided.choice,
            "check": decided.check,
            "message": decided.message,
        },
    }


def case_of(store: DatabaseStore, client: Client, key: str) -> Told:
    """The case as far as it is filled in."""
    _seen(store, client, key)
    return store.draft(key).to_dict()


def put_case(
    store: DatabaseStore,
    client: Client,
    key: str,
    case: Mapping[str, Any],
    *,
    unchanged: Callable[[Told], bool],
) -> Told:
    """Put another case in the place of the one there is.

    Parameters
    ----------
    unchanged : function of the case that is there
        Whether it may be replaced.

    Raises
    ------
    RefusedError
        412 where it may not, 422 where it names a photo that the order does not have.
    """
    _seen(store, client, key)
    draft = Draft.from_dict(case)
    held = {photo.name for photo in store.photos(key)}
    for photo in draft.photos:
        if photo.file not in held:
            raise _no_such_photo(photo.file)

    def edit(before: Draft) -> Draft:
        if not unchanged(before.to_dict()):
            raise RefusedError(
                412,
                tr("the case was changed meanwhile"),
                where="If-Match",
                do=tr("Read it again, and put yours in its place then"),
            )
        return draft

    store.change_draft(key, edit)
    return read(store, client, key)


def add_photo(
    store: DatabaseStore, client: Client, key: str, content: bytes, *, heic: bool
) -> tuple[str, bool]:
    """Add a photo, as an owner's upload is added; gives its name, and whether it is new."""
    _seen(store, client, key)
    before = {photo.name for photo in store.photos(key)}
    name = take_photo(store, key, content, limits=Limits(heic=heic))

    def edit(draft: Draft) -> Draft:
        if draft.number_of(name) is not None:
            return draft
        return draft.but("photos", (*draft.photos, new_photo(name, ReferenceTold())))

    store.change_draft(key, edit)
    return name, name not in before


def check(store: DatabaseStore, client: Client, key: str, shop: Shop) -> tuple[Told, bool]:
    """Check an order, unless its latest check stands; gives the order, and whether it is new.

    Raises
    ------
    RefusedError
        422 with what is still lacking.
    """
    _seen(store, client, key)
    order = store.order(key)
    if _stands(order, shop):
        return read(store, client, key), False
    marked = bench.told_by_tags(store, key, order.draft)
    if marked != order.draft:
        store.change_draft(key, lambda now: marked if now == order.draft else now)
        order = store.order(key)
    with speaking(order.language):
        lacking = _lacking(order.draft)
    if lacking:
        raise RefusedError(
            422,
            tr("something is still lacking before this order can be checked"),
            do=tr("Fill in what `lacking` names"),
            more={"lacking": lacking},
        )
    with speaking(order.language), bench.at_work():
        run_check(
            store,
            key,
            by=client.name,
            draft=order.draft,
            ratios=shop.learnt(),
            memory=bench.PHOTOS,
            tolerated=shop.tolerated(),
        )
    return read(store, client, key), True


def _stands(order: Order, shop: Shop) -> bool:
    """Whether a check anew would tell nothing new.

    Where what is told was checked before and staff have corrected it since, their check stands.
    """
    if not order.checks:
        return False
    last, told = order.checks[-1], order.draft.to_dict()
    if last.case.to_dict() != told:
        return any(past.case.to_dict() == told for past in order.checks)
    ratios = shop.learnt()
    used = ratios.current if ratios and ratios.in_use else ""
    same = (last.ratios, last.report.tolerances) == (used, shop.tolerated().all())
    return last.by_this_program and same


def report_of(store: DatabaseStore, client: Client, key: str) -> Told:
    """The whole report of the latest check."""
    return report_to_dict(_checked(store, client, key)[1].report)


def cut(store: DatabaseStore, client: Client, key: str, shop: Shop) -> Told:
    """What to cut by the latest check."""
    order, last = _checked(store, client, key)
    with speaking(order.language):
        answer = fit(last.told, shop.sizes())
    return {
        "check": last.number,
        "state": order.state,
        "verdict": last.report.verdict,
        "fit": asdict(answer),
    }


def _seen(store: DatabaseStore, client: Client, key: str) -> kept.SeenOrder:
    """The order, where the client may see it; every way to one begins here."""
    try:
        return order_of_client(store, client, key)
    except kept.UnseenError as error:
        raise RefusedError(404, error.wrong, where="order", do=error.do) from error


def _checked(store: DatabaseStore, client: Client, key: str) -> tuple[Order, Check]:
    _seen(store, client, key)
    order = store.order(key)
    if not order.checks:
        raise RefusedError(
            404,
            tr("this order has not been checked yet"),
            where="order",
            do=tr("Ask for its check first"),
        )
    return order, order.checks[-1]


def _lacking(draft: Draft) -> list[Told]:
    return [
        {"step": gap.step, "reading": gap.reading, "sentence": gap.sentence} for gap in gaps(draft)
    ]


def _no_such_photo(name: str) -> RefusedError:
    return RefusedError(
        422,
        tr("the order has no photo called '{name}'", name=name[:60]),
        where="photos",
        do=tr("Add the photo first, and name it as the answer does"),
    )
