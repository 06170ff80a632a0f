"""What is answered: each operation by its name, for a client that was recognised."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from hashlib import sha256
from math import ceil
from typing import Any, Final

from photocheck.errors import PhotocheckError
from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.store.kept_clients import Client
from photocheck.server.access.rates import MEGABYTE, Rates
from photocheck.server.interface import ordering, subscribing
from photocheck.server.interface.asked import Asked, body_of, operation_of, parameters_of
from photocheck.server.interface.openapi import openapi
from photocheck.server.interface.operations import Operation
from photocheck.server.interface.problems import Reply, as_json, failure, problem_of
from photocheck.server.shop import Shop
from photocheck.uploads.gate import on_behalf_of

_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Desk:
    """What answers are made with.

    Attributes
    ----------
    store : DatabaseStore
    shop : function
        Gives the shop's own files as they are now.
    counts : Rates
    """

    store: DatabaseStore
    shop: Callable[[], Shop]
    counts: Rates


def answer(desk: Desk, client: Client, asked: Asked) -> Reply:
    """Reply what a client asks; whatever goes wrong becomes a problem.

    Parameters
    ----------
    desk : Desk
    client : Client
    asked : Asked
        Its body is no larger than `photocheck.server.interface.asked.most_bytes` has it.
    """
    try:
        operation, parts = operation_of(asked)
        given = parameters_of(operation, asked)
        _count(desk.counts, operation, client, len(asked.body))
        body = body_of(operation, asked)
        with on_behalf_of(f"client {client.id}"):
            made = _DOING[operation.id](desk, client, {**parts, **given}, body, asked)
    except PhotocheckError as error:
        return problem_of(error)
    except Exception:
        _log.exception("a client could not be answered")
        return failure()
    return _tagged(made, asked) if operation.tagged else made


_COUNTED: Final[Mapping[str, str]] = {
    "create_order": "orders of client",
    "put_case": "orders of client",
    "add_photo": "photos of client",
    "check_order": "checks of client",
}


def _count(counts: Rates, operation: Operation, client: Client, sent: int) -> None:
    what = _COUNTED.get(operation.id)
    if what is not None:
        counts.count(what, client.known_as)
    if operation.body == "photo":
        counts.count("megabytes of client", client.known_as, cost=ceil(sent / MEGABYTE))


def tag_of(content: bytes) -> str:
    """As in an ETag: another for other content."""
    return f'"{sha256(content).hexdigest()[:32]}"'


def _tagged(made: Reply, asked: Asked) -> Reply:
    """With its tag; to who has it already, only that (RFC 9110, 13.1.2)."""
    tag = tag_of(made.content)
    headers = {**made.headers, "ETag": tag}
    if _tags_in(asked.headers.get("if-none-match", "")) & {"*", tag, f"W/{tag}"}:
        return Reply(304, headers=headers)
    return Reply(made.status, made.content, made.kind, headers)


def _tags_in(header: str) -> frozenset[str]:
    """What stands in If-Match or If-None-Match; no tag of ours holds a comma."""
    return frozenset(part.strip() for part in header.split(","))


def _json(status: int, value: Any, **headers: str) -> Reply:
    # What is said of people's dogs stays in no cache between (OWASP ASVS 5.0, 14.3.2).
    told = {"Cache-Control": "private, no-cache", **headers}
    return Reply(status, as_json(value), "application/json", told)


_Given = Mapping[str, Any]


def _describe(_desk: Desk, _client: Client, _given: _Given, _body: Any, _asked: Asked) -> Reply:
    return _json(200, openapi())


def _whoami(_desk: Desk, client: Client, _given: _Given, _body: Any, _asked: Asked) -> Reply:
    told = {"name": client.name, "sees": client.sees, "calls": list(client.calls.hosts)}
    return _json(200, told)


def _create(desk: Desk, client: Client, _given: _Given, body: Any, _asked: Asked) -> Reply:
    told, new = ordering.create(desk.store, client, body)
    if not new:
        return _json(200, told)
    return _json(201, told, Location=ordering.address_of(told["order"]))


def _list(desk: Desk, client: Client, given: _Given, _body: Any, _asked: Asked) -> Reply:
    return _json(200, ordering.lines(desk.store, client, **given))


def _read(
    read: Callable[[DatabaseStore, Client, str], Any],
    desk: Desk,
    client: Client,
    given: _Given,
    _body: Any,
    _asked: Asked,
) -> Reply:
    return _json(200, read(desk.store, client, given["order"]))


def _put_case(desk: Desk, client: Client, given: _Given, body: Any, asked: Asked) -> Reply:
    def unchanged(case: Any) -> bool:
        # a weak one (W/) is none of them (RFC 9110, 13.1.1)
        return bool(_tags_in(asked.headers.get("if-match", "*")) & {"*", tag_of(as_json(case))})

    told = ordering.put_case(desk.store, client, given["order"], body, unchanged=unchanged)
    return _json(200, told)


def _photo(desk: Desk, client: Client, given: _Given, body: Any, _asked: Asked) -> Reply:
    shop = ordering.shop_files(desk.shop)
    name, new = ordering.add_photo(desk.store, client, given["order"], body, heic=shop.heic)
    return _json(201 if new else 200, {"photo": name})


def _check(desk: Desk, client: Client, given: _Given, _body: Any, _asked: Asked) -> Reply:
    shop = ordering.shop_files(desk.shop)
    told, new = ordering.check(desk.store, client, given["order"], shop)
    return _json(201 if new else 200, told)


def _cut(desk: Desk, client: Client, given: _Given, _body: Any, _asked: Asked) -> Reply:
    shop = ordering.shop_files(desk.shop)
    return _json(200, ordering.cut(desk.store, client, given["order"], shop))


def _changes(desk: Desk, client: Client, given: _Given, _body: Any, _asked: Asked) -> Reply:
    return _json(200, subscribing.changes(desk.store, client, **given))


def _subscribe(desk: Desk, client: Client, _given: _Given, body: Any, _asked: Asked) -> Reply:
    return _json(201, subscribing.subscribe(desk.store, client, body["address"]))


def _subscriptions(desk: Desk, client: Client, _given: _Given, _body: Any, _a: Asked) -> Reply:
    return _json(200, subscribing.subscriptions(desk.store, client))


def _unsubscribe(desk: Desk, client: Client, given: _Given, _body: Any, _asked: Asked) -> Reply:
    subscribing.unsubscribe(desk.store, client, int(given["subscription"]))
    return Reply(204)


_DOING: Final[Mapping[str, Callable[[Desk, Client, _Given, Any, Asked], Reply]]] = {
    "describe": _describe,
    "whoami": _whoami,
    "create_order": _create,
    "list_orders": _list,
    "read_order": partial(_read, ordering.read),
    "read_case": partial(_read, ordering.case_of),
    "put_case": _put_case,
    "add_photo": _photo,
    "check_order": _check,
    "read_report": partial(_read, ordering.report_of),
    "read_cut": _cut,
    "list_changes": _changes,
    "subscribe": _subscribe,
    "list_subscriptions": _subscriptions,
    "unsubscribe": _unsubscribe,
}
