"""What is told, how it is signed, when it is tried again, and by which server."""

from __future__ import annotations

import hashlib
import hmac
import json
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from threading import Event
from typing import Any

import pytest

from photocheck.orders.store import DatabaseStore
from photocheck.orders.store import kept_changes as kept
from photocheck.orders.store import kept_clients as known
from photocheck.orders.store.kept_clients import Client, every_client
from photocheck.server.access import door_secret
from photocheck.server.access.clients import calls_to, end_client, make_client
from photocheck.server.hooks.calling import WITHIN_S, CallError
from photocheck.server.hooks.reach import LOOK_UP_S, CallPlace
from photocheck.server.hooks.signing import new_secret, signature
from photocheck.server.hooks.telling import LEASE_S, OF_ONE, WAITS_S, Teller
from photocheck.server.interface.subscribing import change_told
from tests.support.store_orders import checked
from tests.support.waiting import until

HERE = "https://127.0.0.1:9000/told"


def client_of(store: DatabaseStore, name: str, *, own: bool = False) -> Client:
    make_client(store, name, own_orders=own, calls=calls_to(["127.0.0.1:9000"]))
    return next(one for one in every_client(store) if one.name == name)


def subscribed(store: DatabaseStore, client: Client) -> str:
    secret = new_secret()
    made = kept.put_subscription(
        store, client, HERE, nonce=secret.nonce, secret_sha256=secret.sha256, most=5
    )
    assert made is not None
    return secret.text


class Ear:
    """Hears calls, and answers as it is told to."""

    def __init__(self, *answers: int | Exception) -> None:
        self.answers = list(answers)
        self.heard: list[tuple[Mapping[str, str], bytes]] = []

    def __call__(self, place: CallPlace, body: bytes, headers: Mapping[str, str]) -> int:
        self.heard.append((headers, body))
        answer = self.answers.pop(0) if self.answers else 204
        if isinstance(answer, Exception):
            raise answer
        return answer

    @property
    def changes(self) -> list[Any]:
        return [json.loads(body) for _, body in self.heard]


def teller(store: DatabaseStore, ear: Ear) -> Teller:
    return Teller(lambda: store, change_told, call=ear)


def make_due(store: DatabaseStore) -> None:
    with store.writing() as connection:
        connection.exec_driver_sql("UPDATE deliveries SET due = '2020-01-01 00:00:00+00:00'")


def test_the_published_vector_of_hmac_sha_256_is_met() -> None:
    # RFC 4231, 4.3 (test case 2): key "Jefe", data "what do ya want for nothing?"
    right = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    assert hmac.new(b"Jefe", b"what do ya want for nothing?", hashlib.sha256).hexdigest() == right
    signed = hmac.new(b"Jefe", b"17.what", hashlib.sha256).hexdigest()
    assert signature("Jefe", 17, b"what") == f"sha256={signed}"


def test_each_change_is_told_once_and_in_its_order(store: DatabaseStore) -> None:
    before, _ = checked(store, name="Before")
    client = client_of(store, "Printer")
    secret = subscribed(store, client)
    ear = Ear()
    tells = teller(store, ear)
    assert tells.tell() == 0
    key, check = checked(store, name="After")
    store.decide(key, "accepted", by="Ada", reason="it fits")
    assert tells.tell() == 3
    assert tells.tell() == 0
    assert [change["kind"] for change in ear.changes] == ["begun", "checked", "decided"]
    assert {change["order"] for change in ear.changes} == {key}
    assert ear.changes[1]["verdict"] == check.report.verdict
    assert ear.changes[2]["choice"] == "accepted"
    numbers = [change["change"] for change in ear.changes]
    assert numbers == sorted(numbers)
    for headers, body in ear.heard:
        signed = hmac.new(
            secret.encode(), headers["Photocheck-Timestamp"].encode() + b"." + body, "sha256"
        )
        assert headers["Photocheck-Signature"] == f"sha256={signed.hexdigest()}"
    listed = kept.changes_of(store, client)
    assert [change_told(one) for one in listed if one.order == key] == ear.changes
    assert [one.kind for one in listed if one.order == before] == ["begun", "checked"]
    assert len(kept.changes_of(store, client, after=numbers[0])) == 2


def test_a_failure_keeps_what_follows_waiting_and_no_other_subscriber(
    store: DatabaseStore,
) -> None:
    first, second = client_of(store, "First"), client_of(store, "Second")
    for client in (first, second):
        subscribed(store, client)
    store.open()
    store.open()
    ear = Ear(500, CallError("no answer"))  # the first try of each of them
    tells = teller(store, ear)
    assert tells.tell() == 2
    assert tells.tell() == 0
    assert [one.waiting for one in kept.subscriptions_of(store)] == [2, 2]
    assert {one.said for one in kept.subscriptions_of(store)} == {"HTTP 500", "no answer"}
    make_due(store)
    assert tells.tell() == 4
    assert [one.waiting for one in kept.subscriptions_of(store)] == [0, 0]


def test_it_is_tried_for_two_days_and_then_no_more(store: DatabaseStore) -> None:
    assert timedelta(days=1.5) < timedelta(seconds=sum(WAITS_S)) < timedelta(days=2.5)
    client = client_of(store, "Gone")
    subscribed(store, client)
    store.open()
    ear = Ear(*[503] * 20)
    tells = teller(store, ear)
    for wait in WAITS_S:
        asked = datetime.now(UTC)
        assert tells.tell() == 1
        with store.reading() as connection:
            due = connection.execute(kept.deliveries.select()).one().due
        assert wait <= (due - asked).total_seconds() < wait + 30
        make_due(store)
    assert tells.tell() == 1
    (ended,) = kept.subscriptions_of(store, client)
    assert (ended.why, ended.waiting) == ("no answer", 0)
    assert tells.tell() == 0


@pytest.mark.parametrize(("answer", "why"), [(410, "not wanted"), (204, "")])
def test_who_wants_no_more_is_told_no_more(store: DatabaseStore, answer: int, why: str) -> None:
    client = client_of(store, "Tired")
    subscribed(store, client)
    store.open()
    store.open()
    ear = Ear(answer)
    teller(store, ear).tell()
    assert len(ear.heard) == (1 if why else 2)
    assert kept.subscriptions_of(store, client)[0].why == why


def test_what_one_server_tells_no_other_does(store: DatabaseStore) -> None:
    subscribed(store, client_of(store, "Once"))
    for _ in range(3):
        store.open()
    kept.number_changes(store)
    now = datetime.now(UTC)

    def take(_: int) -> Any:
        return kept.take_due(store, now=now, lease_s=LEASE_S)

    with ThreadPoolExecutor(6) as several:
        taken = [one for one in several.map(take, range(12)) if one]
    assert len(taken) == 1
    # What a killed server took is told by another once its time is over, and not before.
    later = now + timedelta(seconds=LEASE_S + 1)
    assert kept.take_due(store, now=now + timedelta(seconds=5), lease_s=LEASE_S) is None
    again = kept.take_due(store, now=later, lease_s=LEASE_S)
    assert again is not None
    assert (again.change, again.tries) == (taken[0].change, 2)


def test_changes_are_numbered_once_whoever_looks(store: DatabaseStore) -> None:
    client = client_of(store, "Reader")
    keys = [store.open() for _ in range(8)]
    with ThreadPoolExecutor(6) as several:
        list(several.map(lambda _: kept.number_changes(store), range(12)))
    found = kept.changes_of(store, client)
    assert [one.order for one in found] == keys
    assert len({one.number for one in found}) == 8


def test_who_sees_its_own_orders_is_told_of_those_alone(store: DatabaseStore) -> None:
    client = client_of(store, "Own", own=True)
    subscribed(store, client)
    with store.writing() as connection:
        from photocheck.orders.store.database import begun

        order_id, key = begun(connection, "en")
        known.own(connection, order_id, client.id, "A-1")
    store.open()
    ear = Ear()
    teller(store, ear).tell()
    assert [(change["order"], change["number"]) for change in ear.changes] == [(key, "A-1")]


def test_nothing_is_told_of_an_order_that_was_deleted(store: DatabaseStore) -> None:
    client = client_of(store, "Late")
    subscribed(store, client)
    key = store.open()
    kept.number_changes(store)
    store.forget(key)
    ear = Ear()
    assert teller(store, ear).tell() == 0
    assert kept.changes_of(store, client) == ()


def test_a_client_that_was_removed_is_told_nothing(store: DatabaseStore) -> None:
    client = client_of(store, "Removed")
    subscribed(store, client)
    store.open()
    end_client(store, "Removed")
    ear = Ear()
    assert teller(store, ear).tell() == 0
    assert kept.subscriptions_of(store, client)[0].ended


def test_another_secret_of_the_doors_ends_what_was_signed_with_the_old(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch, tmp_path: Any
) -> None:
    monkeypatch.setenv(door_secret.SECRET_VARIABLE, str(tmp_path / "secret"))
    client = client_of(store, "Signed")
    subscribed(store, client)
    door_secret.rotate()
    store.open()
    ear = Ear()
    teller(store, ear).tell()
    assert ear.heard == []
    assert kept.subscriptions_of(store, client)[0].why == "secret"


def test_one_server_keeps_what_it_tells_for_longer_than_that_can_take() -> None:
    """A name waits for its turn and is looked up; connecting, the certificate, and all together."""
    assert 2 * LOOK_UP_S + 2 * WITHIN_S < LEASE_S


class Deaf(Ear):
    """Answers one client at once, and the other not before it is told to."""

    def __init__(self, slow: str) -> None:
        super().__init__()
        self.slow, self.end, self.begun = slow, Event(), 0

    def __call__(self, place: CallPlace, body: bytes, headers: Mapping[str, str]) -> int:
        if place.path == self.slow:
            self.begun += 1
            assert self.end.wait(60)
        return super().__call__(place, body, headers)


def test_who_does_not_answer_keeps_no_other_client_waiting(store: DatabaseStore) -> None:
    deaf, other = client_of(store, "Deaf"), client_of(store, "Other")
    for _ in range(5):
        secret = new_secret()
        kept.put_subscription(
            store, deaf, f"{HERE}/deaf", nonce=secret.nonce, secret_sha256=secret.sha256, most=9
        )
    subscribed(store, other)
    ear = Deaf("/told/deaf")
    tells = teller(store, ear)
    for _ in range(3):
        store.open()
    with ThreadPoolExecutor(1) as telling:
        told = telling.submit(tells.tell)
        until(lambda: len(ear.heard) == 3, "the other was told of all three")
        assert ear.begun == OF_ONE
        ear.end.set()
        assert told.result(60) == 3 + 5 * 3
    assert [one.waiting for one in kept.subscriptions_of(store)] == [0] * 6
