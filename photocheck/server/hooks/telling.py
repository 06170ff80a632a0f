"""What is still to be told, told: by whichever server takes it first, again if need be."""

from __future__ import annotations

import json
import logging
from collections import Counter
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from threading import Condition, Event, Thread
from typing import Any, Final

from photocheck.errors import PhotocheckError
from photocheck.orders.store import kept_changes as kept
from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.store.kept_changes import Change, Delivery
from photocheck.orders.store.kept_clients import Client, every_client
from photocheck.server.hooks.calling import WITHIN_S, CallError, call
from photocheck.server.hooks.reach import LOOK_UP_S, CallPlace, ReachError, place_of
from photocheck.server.hooks.signing import secret_of, signature

LEASE_S: Final = 2 * LOOK_UP_S + 3 * WITHIN_S
"""For so long what one server tells is not taken by another: longer than a call takes (the name
waits for its turn and is looked up, connecting and its certificates have `WITHIN_S` each); what a
killed server had under way is told that much later."""

WAITS_S: Final = (2.0, 10.0, 60.0, 300.0, 1800.0, 7200.0, 21_600.0, 43_200.0, 86_400.0)
"""Between one try and the next; two days together, and then no more (judgement: a weekend's
outage is outlasted, and who is gone is let go)."""

OF_ONE: Final = 2
"""Calls of one client under way: who answers as late as may be, or never, keeps no other client
waiting."""

AT_ONCE: Final = 16
"""Calls under way (judgement: a workshop has a few clients)."""

EVERY_S: Final = 2.0
"""Between two looks at what is to be told."""

_log = logging.getLogger(__name__)

Call = Callable[[CallPlace, bytes, Mapping[str, str]], int]
Told = Callable[[Change], dict[str, Any]]


class Teller:
    """Tells what is to be told for as long as a server runs, in a thread of its own.

    Parameters
    ----------
    store : function
        Gives the store.
    told : function of a Change
        What is said of it, ready for `json.dumps`.
    call : function
        As `photocheck.server.hooks.calling.call`.
    every_s : float
    """

    def __init__(
        self,
        store: Callable[[], DatabaseStore],
        told: Told,
        *,
        call: Call = call,
        every_s: float = EVERY_S,
    ) -> None:
        self._store, self._told, self._call, self._every_s = store, told, call, every_s
        self._ending = Event()
        self._seen = ""
        self._under_way: Counter[int] = Counter()
        self._heard = 0
        self._changed = Condition()

    def start(self) -> None:
        """Begin.  Its threads keep no process from ending: what is under way is told again."""
        Thread(target=self._run, name="telling", daemon=True).start()

    def end(self) -> None:
        """Begin nothing more."""
        self._ending.set()
        with self._changed:
            self._changed.notify_all()

    def _run(self) -> None:
        while not self._ending.is_set():
            heard = self._heard
            try:
                self.begin()
            except PhotocheckError:
                pass  # a store that is away is told elsewhere
            except Exception:  # it would end this thread, and nobody would be told any more
                _log.exception("clients could not be told what changed")
            self._until_heard(heard)

    def tell(self) -> int:
        """Tell all that is due, and wait until it was heard; gives how many calls were made."""
        made = 0
        while True:
            heard = self._heard
            made += self.begin()
            if self._heard == heard and not self._under_way:
                return made
            self._until_heard(heard)

    def _until_heard(self, before: int) -> None:
        """Wait for the next look, or until more calls have ended: what follows them is due then."""
        with self._changed:
            ended = self._ending.is_set
            self._changed.wait_for(lambda: self._heard != before or ended(), self._every_s)

    def begin(self) -> int:
        """Begin telling all that is due, and wait for nobody; gives how many calls were begun."""
        store = self._store()
        if not kept.any_subscription(store):
            return 0
        stamp = store.stamp()
        if stamp != self._seen:
            kept.number_changes(store)
            self._seen = stamp
        begun = 0
        while not self._ending.is_set() and (due := self._taken(store)):
            with self._changed:
                self._under_way[due.subscription.client] += 1
            Thread(target=self._call_one, args=(store, due), name="calling", daemon=True).start()
            begun += 1
        return begun

    def _taken(self, store: DatabaseStore) -> Delivery | None:
        with self._changed:
            if self._under_way.total() >= AT_ONCE:
                return None
            busy = [client for client, calls in self._under_way.items() if calls >= OF_ONE]
        return kept.take_due(store, now=datetime.now(UTC), lease_s=LEASE_S, but=busy)

    def _call_one(self, store: DatabaseStore, due: Delivery) -> None:
        client = due.subscription.client
        try:
            self._deliver(store, due)
        finally:
            with self._changed:
                self._under_way[client] -= 1
                self._under_way += Counter()  # whoever has none goes
                self._heard += 1
                self._changed.notify_all()

    def _deliver(self, store: DatabaseStore, delivery: Delivery) -> None:
        try:
            deliver(store, delivery, self._told, self._call)
        except PhotocheckError:
            return  # it is taken again when its time is over
        except Exception:  # a fault with one client shall not keep the others from being told
            _log.exception("a client could not be told what changed")


def deliver(store: DatabaseStore, delivery: Delivery, told: Told, call: Call) -> None:
    """Tell one change once, and note what came of it.

    Raises
    ------
    StoreError, SecretError
        When that cannot be noted, or not signed.
    """
    subscription = delivery.subscription
    client = _client(store, subscription.client)
    found = kept.changes_of(store, client, after=delivery.change - 1, limit=1, only=delivery.change)
    if not found:
        kept.told(store, delivery, now=datetime.now(UTC), said="")  # its order was deleted
        return
    secret = secret_of(subscription.nonce)
    if secret.sha256 != subscription.secret_sha256:
        kept.give_up(store, delivery, why="secret")
        return
    body = json.dumps(told(found[0]), ensure_ascii=True).encode()
    now = datetime.now(UTC)
    timestamp = int(now.timestamp())
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "photocheck",
        "Photocheck-Timestamp": str(timestamp),
        "Photocheck-Signature": signature(secret.text, timestamp, body),
    }
    try:
        status = call(place_of(subscription.address, client.calls), body, headers)
        said = f"HTTP {status}"
    except (CallError, ReachError) as error:
        status, said = 0, str(error)
    if 200 <= status < 300:
        kept.told(store, delivery, now=datetime.now(UTC), said=said)
    elif status == 410:
        kept.give_up(store, delivery, why="not wanted")
    elif delivery.tries > len(WAITS_S):
        kept.give_up(store, delivery, why="no answer")
    else:
        wait = timedelta(seconds=WAITS_S[delivery.tries - 1])
        kept.not_told(store, delivery, due=datetime.now(UTC) + wait, said=said)


def _client(store: DatabaseStore, known: int) -> Client:
    return next(one for one in every_client(store) if one.id == known)
