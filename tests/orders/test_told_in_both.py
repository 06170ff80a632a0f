"""An order that was checked in one language, for who reads the other: nothing half and half."""

from __future__ import annotations

import csv
import io

import pytest

from photocheck.orders.draft import Draft
from photocheck.orders.export import orders_csv, orders_json
from photocheck.orders.listing import SORTS
from photocheck.orders.messages.drafting import draft_message
from photocheck.orders.model import OrderLine, Selection
from photocheck.orders.store import DatabaseStore
from photocheck.report.retelling import in_language
from photocheck.speech import speaking
from tests.support.checked_samples import checked
from tests.support.store_orders import report_of

pytestmark = pytest.mark.every_journal

ENGLISH = "Measure again: rear length."
GERMAN = "Messen Sie neu: hintere Länge."


def _kept(store: DatabaseStore, dog: str = "flint") -> str:
    key = store.open("de")
    store.record_check(key, Draft(name=dog.capitalize()), checked(dog), by="owner")
    return key


def _lines(store: DatabaseStore) -> tuple[OrderLine, ...]:
    return store.retold(store.listed(Selection(by=next(iter(SORTS)))).lines)


def test_the_desk_reads_a_check_in_its_own_language(store: DatabaseStore) -> None:
    (made,) = store.order(_kept(store)).checks
    with speaking("de"):
        assert made.told.headline == GERMAN
    assert made.told.headline == made.report.headline == ENGLISH


def test_the_list_says_what_each_check_says_in_the_language_spoken(store: DatabaseStore) -> None:
    store.open()
    _kept(store)
    key = store.open()
    store.record_check(key, Draft(name="Juno"), report_of(), by="owner")
    old = store.order(key).checks[0].report.headline  # kept in one language only
    with speaking("de"):
        told = [line.headline for line in _lines(store)]
    assert sorted(told) == sorted(["", GERMAN, old])
    assert sorted(line.headline for line in _lines(store)) == sorted(["", ENGLISH, old])


def test_an_order_is_found_by_what_its_check_says_in_any_language(store: DatabaseStore) -> None:
    _kept(store)
    for words in ("measure again", "messen sie neu"):
        assert store.listed(Selection(text=words)).found == 1
    assert store.listed(Selection(text="mesurez")).found == 0


def test_only_the_latest_check_speaks_in_the_list(store: DatabaseStore) -> None:
    key = _kept(store)
    with speaking("de"):
        store.record_check(key, Draft(name="Flint"), in_language(checked("tarn"), "de"), by="Ann")
        said = store.order(key).checks[-1].report.headline
        assert said != GERMAN
        (line,) = _lines(store)
    assert line.headline == said


def test_the_table_speaks_the_language_of_who_takes_it_out(store: DatabaseStore) -> None:
    order = store.order(_kept(store))
    with speaking("de"):
        (row,) = csv.DictReader(io.StringIO(orders_csv([order])))
        kept = orders_json([order])
    assert row["headline"] == GERMAN
    assert f'"headline": "{ENGLISH}"' in kept  # the record: what was told


def test_the_owner_is_asked_in_the_owners_words_what_an_english_check_asks(
    store: DatabaseStore,
) -> None:
    report = store.order(_kept(store, dog="tarn")).checks[-1].report
    remark = in_language(report, "de").photos[0].remarks[0]
    assert remark not in report.photos[0].remarks
    asked = draft_message(report, "asked_again", language="de")
    assert remark in " ".join(asked.split())
