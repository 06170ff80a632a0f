"""What changed, as other programs ask for it or subscribe to it."""

from __future__ import annotations

from typing import Any

from photocheck.orders.bounds import MOST_SUBSCRIPTIONS
from photocheck.orders.export import utc_text
from photocheck.orders.store import kept_changes as kept
from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.store.kept_changes import Change, Subscription
from photocheck.orders.store.kept_clients import Client
from photocheck.server.hooks.reach import ReachError, refuse_address
from photocheck.server.hooks.signing import new_secret
from photocheck.server.interface.operations import LARGEST
from photocheck.server.interface.problems import RefusedError
from photocheck.speech import tr

Told = dict[str, Any]


def change_told(change: Change) -> Told:
    """A change as the document has it."""
    return {
        "change": change.number,
        "kind": change.kind,
        "order": change.order,
        "number": change.client_number,
        "at": utc_text(change.at),
        "check": change.check,
        "verdict": change.verdict,
        "choice": change.choice,
    }


def changes(store: DatabaseStore, client: Client, *, after: int, limit: int) -> Told:
    """Changes after one, in their order; `next` is the `after` of the next time."""
    kept.number_changes(store)
    found = kept.changes_of(store, client, after=after, limit=limit)
    return {
        "changes": [change_told(one) for one in found],
        "next": found[-1].number if found else after,
    }


def subscribe(store: DatabaseStore, client: Client, address: str) -> Told:
    """Tell a client of changes from now on.

    Raises
    ------
    RefusedError
        403 for an address to which the shop does not let this client have calls made, 422 for one
        that cannot be, 409 where it has as many as it may.
    SecretError
    """
    try:
        refuse_address(address, client.calls)
    except ReachError as error:
        raise RefusedError(error.status, error.wrong, where="address", do=error.do) from error
    secret = new_secret()
    made = kept.put_subscription(
        store,
        client,
        address,
        nonce=secret.nonce,
        secret_sha256=secret.sha256,
        most=MOST_SUBSCRIPTIONS,
    )
    if made is None:
        raise RefusedError(
            409,
            tr("there are {most} subscriptions already", most=MOST_SUBSCRIPTIONS),
            do=tr("End one of them first"),
        )
    return {"subscription": made.id, "address": made.address, "secret": secret.text}


def subscriptions(store: DatabaseStore, client: Client) -> Told:
    """All of a client's."""
    found = kept.subscriptions_of(store, client)
    return {"subscriptions": [subscription_told(one) for one in found]}


def subscription_told(one: Subscription) -> Told:
    """A subscription as the document has it."""
    return {
        "subscription": one.id,
        "address": one.address,
        "at": utc_text(one.at),
        "ended": one.ended and utc_text(one.ended),
        "why": one.why,
        "waiting": one.waiting,
        "said": one.said,
    }


def unsubscribe(store: DatabaseStore, client: Client, subscription: int) -> None:
    """End one.

    Raises
    ------
    RefusedError
        404 where the client has none of this number.
    """
    # What no database can hold is nobody's; PostgreSQL would not even look for it.
    if subscription > LARGEST or not kept.end_subscription(store, client, subscription):
        raise RefusedError(
            404,
            tr("there is no such subscription"),
            where="subscription",
            do=tr("Look at the list of them"),
        )
