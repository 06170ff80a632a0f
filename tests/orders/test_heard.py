"""What was heard of a harness: what may be told, that it stays, and that the last word counts."""

from __future__ import annotations

import json
import zipfile
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from photocheck.errors import CaseError
from photocheck.orders.bounds import LONGEST_REASON, MOST_HEARD
from photocheck.orders.export import orders_json
from photocheck.orders.heard import (
    ASK_AFTER_DAYS,
    accepted_check,
    asks_owner,
    heard_sentence,
    last_heard,
    measured_again,
)
from photocheck.orders.model import OrderError, Remeasured
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.orders.store.copies import back_up, restore
from photocheck.orders.store.privacy import write_held
from photocheck.schemas.complaints import complaint
from photocheck.server.access.linked import LinkedStore
from photocheck.server.access.passes import link_for
from photocheck.speech import speaking
from tests.support.heard_of import fitted, history, report_with, tight
from tests.support.store_orders import checked

AGAIN = {"half_neck": Remeasured("41", "cm", 410.0)}


def accepted(store: DatabaseStore, name: str = "Juno") -> tuple[str, int]:
    key, check = checked(store, name=name)
    store.decide(key, "accepted", by="Ann", reason="looks right")
    return key, check.number


def test_several_are_kept_and_the_last_counts(store: DatabaseStore, address: str) -> None:
    key, check = accepted(store)
    words = 'eng "am" Hals \0 \ud800 🐕'
    first = store.hear(key, tight(check, words=words, measured=AGAIN))
    second = store.hear(key, fitted(check))
    with closing(open_store(address)) as again:
        order = again.order(key)
    assert order.heard == (first, second)
    assert last_heard(order) == second
    assert first.measured == AGAIN
    assert first.felt == {"neck_opening": "tight"}
    assert first.words == 'eng "am" Hals \ufffd \ufffd 🐕'
    assert (first.by, first.from_owner) == ("Ann", True)
    assert abs(first.at - datetime.now(UTC)) < timedelta(seconds=10)
    assert next(iter(store.whole())) == order


def test_it_touches_the_order_so_that_the_list_sees_it(store: DatabaseStore) -> None:
    key, check = accepted(store)
    before = store.stamp()
    store.hear(key, fitted(check))
    assert store.stamp() != before


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"result": "lost"}, "not known"),
        ({"felt": {}}, "not said"),
        ({"felt": {"tail": "tight"}}, "not known"),
        ({"felt": {"neck_opening": "itchy"}}, "not known"),
        ({"result": "fitted"}, "neither tight nor loose"),
        ({"measured": {"rear_length": Remeasured("30", "cm", 300.0)}}, "nothing is tight"),
        ({"day": datetime.now(UTC).date() + timedelta(days=3)}, "nobody can have known"),
        ({"day": datetime.now(UTC).date() - timedelta(days=3)}, "nobody can have known"),
        ({"check": 99}, "not accepted"),
        ({"words": "x" * (LONGEST_REASON + 1)}, "longer than"),
        ({"by": "x" * 61}, "longer than"),
    ],
)
@pytest.mark.parametrize("address", ["sqlite"], indirect=True)
def test_what_cannot_be_meant_is_refused(
    store: DatabaseStore, change: dict[str, Any], said: str
) -> None:
    key, check = accepted(store)
    with pytest.raises(OrderError, match=said):
        store.hear(key, replace(tight(check), **change))
    assert store.order(key).heard == ()


@pytest.mark.parametrize("address", ["sqlite"], indirect=True)
def test_nothing_is_heard_of_an_order_that_was_not_accepted(store: DatabaseStore) -> None:
    key, check = checked(store)
    with pytest.raises(OrderError, match="not accepted"):
        store.hear(key, fitted(check.number))
    store.decide(key, "refused", by="Ann", reason="no")
    with pytest.raises(OrderError, match="not accepted"):
        store.hear(key, fitted(check.number))


@pytest.mark.parametrize("address", ["sqlite"], indirect=True)
def test_it_is_bounded(store: DatabaseStore) -> None:
    key, check = accepted(store)
    for _ in range(MOST_HEARD):
        store.hear(key, fitted(check))
    with pytest.raises(OrderError, match=f"{MOST_HEARD} times"):
        store.hear(key, fitted(check))


def test_it_goes_through_a_backup_and_goes_with_its_order(
    store: DatabaseStore, address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    key, check = accepted(store)
    other, other_check = accepted(store, "Flint")
    told = store.hear(key, tight(check, measured=AGAIN))
    store.hear(other, fitted(other_check))
    back_up(store, tmp_path / "copy")
    store.hear(key, fitted(check))
    store.forget(other)
    store.close()
    restore(address, tmp_path / "copy")
    with closing(open_store(address)) as again:
        assert again.order(key).heard == (told,)
        assert [line.key for line in again.lines()] == [key]
        # new rows get numbers that none has had
        again.hear(key, fitted(check))
        assert len(again.order(key).heard) == 2


@pytest.mark.parametrize("address", ["sqlite"], indirect=True)
def test_it_is_in_what_is_held_and_exported(store: DatabaseStore, tmp_path: Path) -> None:
    key, check = accepted(store)
    silent, _ = accepted(store, "Flint")
    store.hear(key, tight(check, measured=AGAIN, words="rubs"))
    write_held(store, key, tmp_path / "held.zip")
    with zipfile.ZipFile(tmp_path / "held.zip") as archive:
        told = json.loads(archive.read("order.json"))
    assert told["outcomes"][0]["words"] == "rubs"
    assert told["outcomes"][0]["measured"]["half_neck"]["mm"] == 410.0
    exported = json.loads(orders_json([store.order(key), store.order(silent)]))
    assert complaint(exported, "orders") is None
    assert exported["orders"][0]["outcomes"][0]["felt"] == {"neck_opening": "tight"}
    assert "outcomes" not in exported["orders"][1]


@pytest.mark.parametrize("address", ["sqlite"], indirect=True)
def test_an_owner_tells_by_the_link_and_only_as_the_owner(store: DatabaseStore) -> None:
    key, check = accepted(store)
    link = link_for(store, key, by="Ann")
    owners = LinkedStore(store)
    told = owners.hear(link, replace(fitted(check), by="Ann", from_owner=False))
    assert (told.by, told.from_owner) == ("owner", True)
    with pytest.raises(OrderError):
        owners.hear(key, fitted(check))  # an order's own key opens nothing


def test_the_owner_is_asked_some_weeks_after_the_acceptance_and_once() -> None:
    order = history(report_with(), choice="accepted")
    at = order.decisions[-1].at
    assert not asks_owner(order, at + timedelta(days=ASK_AFTER_DAYS - 0.1))
    assert asks_owner(order, at + timedelta(days=ASK_AFTER_DAYS))
    told = history(report_with(), choice="accepted", heard=[fitted()])
    assert not asks_owner(told, at + timedelta(days=100))
    assert not asks_owner(history(report_with()), at + timedelta(days=100))


def test_what_was_heard_of_an_earlier_check_does_not_count_for_a_later_one() -> None:
    again = history(report_with(), report_with(), choice="accepted", heard=[fitted(1)])
    assert accepted_check(again) == again.checks[-1]
    assert last_heard(again) is None


def test_readings_are_read_as_everywhere_and_what_no_dog_has_is_refused() -> None:
    assert measured_again({"half_neck": " 16 1/2 in", "rear_length": ""}, "cm") == {
        "half_neck": Remeasured("16 1/2 in", "in", 419.1)  # 16.5 * 25.4
    }
    with pytest.raises(CaseError, match="half neck"):
        measured_again({"half_neck": "4100"}, "cm")


def test_it_is_one_line_in_either_language() -> None:
    heard = tight(measured=AGAIN)
    assert heard_sentence(heard) == (
        "Tight or loose somewhere; neck opening too tight; half neck measured again: 41"
    )
    with speaking("de"):
        assert "zu eng" in heard_sentence(heard)
