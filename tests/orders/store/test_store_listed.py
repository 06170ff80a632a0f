"""The desk's list: found, sorted, counted and read in parts, on every database."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import delete, event, select

from photocheck.orders.draft import Draft
from photocheck.orders.listing import CALM, GRAVITY, SORTS, sort_key
from photocheck.orders.model import STATES, OrderLine, Selection
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.orders.store.listed import relist
from photocheck.orders.store.tables import listed, orders
from tests.support.store_orders import case_of, checked, report_of

pytestmark = pytest.mark.every_journal

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

ANNA = {
    "name": "2041, Anna Öhm",
    "dog": {"name": "Flöckchen", "breed": "Spitz"},
    "owner": {
        "name": "Anna Öhm",
        "number": "2041",
        "email": "anna@example.org",
        "telephone": "+49 30 555-0100",
        "notes": "bitte in ROT,\nsehr eilig",
    },
}


def names(store: DatabaseStore, **wanted: str) -> list[str]:
    return [line.name for line in store.listed(Selection(**wanted)).lines]


@pytest.mark.parametrize(
    "text",
    [
        *("2041", "flöckchen", "ÖHM", "anna@example", "555-0100", "+49305550100", "rot eilig"),
        *("spitz", "anna   2041"),
    ],
)
def test_every_field_of_an_order_is_found(store: DatabaseStore, text: str) -> None:
    store.save_draft(store.open(), Draft.from_dict(ANNA))
    store.save_draft(store.open(), Draft(name="Rex"))
    assert names(store, text=text) == ["2041, Anna Öhm"]


@pytest.mark.parametrize("text", ["%", "_", "\\", "'", "anna rex", "a%h"])
def test_signs_are_looked_for_as_they_are(store: DatabaseStore, text: str) -> None:
    store.save_draft(store.open(), Draft.from_dict(ANNA))
    assert names(store, text=text) == []
    store.save_draft(store.open(), Draft(name=f"x{text}x"))
    assert len(names(store, text=text)) == 1


def test_what_was_checked_is_found_and_what_the_check_says(store: DatabaseStore) -> None:
    key, check = checked(store, name="Juno")
    store.save_draft(key, Draft(name="Luna"))
    assert names(store, text="juno") == names(store, text="LUNA") == ["Juno"]
    word = check.report.headline.split()[0]
    assert names(store, text=word) == ["Juno"]
    store.forget(key)
    assert names(store) == []


def test_what_the_name_does_not_say_stands_beside_it(store: DatabaseStore) -> None:
    store.save_draft(store.open(), Draft.from_dict(ANNA))
    (line,) = store.lines()
    assert line.about == "Flöckchen"


def test_the_list_is_sorted_as_it_is_asked(store: DatabaseStore) -> None:
    for name, number in (("zoë", "100"), ("Abel", "99"), ("Özil", "")):
        draft = Draft.from_dict({"name": name, "owner": {"number": number}})
        store.save_draft(store.open(), draft)
    mild, last = checked(store, name="mild", worst=1.5)
    bad, _ = checked(store, name="bad", worst=4.0)
    store.record_check(mild, last.case, report_of("agrees", 2.5), by="owner")
    drafts = ["Özil", "Abel", "zoë"]  # newest first
    found = {by: names(store, by=by) for by in SORTS}
    assert found[""] == ["bad", "mild", *drafts]
    assert found["sent"] == ["mild", "bad", *drafts]
    assert found["name"] == ["Abel", "bad", "mild", "Özil", "zoë"]
    assert found["number"][:2] == ["Abel", "zoë"]
    assert found["verdict"][-3:] == drafts
    assert set(found["verdict"][:2]) == {"bad", "mild"}
    assert bad


def test_a_part_of_the_list_and_how_many_there_are(store: DatabaseStore) -> None:
    for number in range(7):
        store.save_draft(store.open(), Draft(name=f"{number} Rex"))
    key, _ = checked(store, name="Rex too")
    store.decide(key, "accepted", by="Ann", reason="")
    part = store.listed(Selection(by="name", text="rex"), first=2, most=3)
    assert [line.name for line in part.lines] == ["2 Rex", "3 Rex", "4 Rex"]
    assert part.found == 8
    assert part.of_state == {**dict.fromkeys(STATES, 0), "being_filled_in": 7, "accepted": 1}
    assert store.listed(Selection(state="accepted"), most=0).found == 1
    assert store.listed(Selection(text="nobody")).found == 0


def test_the_list_reads_neither_drafts_nor_reports(store: DatabaseStore) -> None:
    checked(store)
    asked: list[str] = []
    event.listen(store.engine, "before_cursor_execute", lambda *a: asked.append(a[2]), named=False)
    store.listed(Selection(text="juno"), most=25)
    queries = [query for query in asked if query.lstrip().upper().startswith("SELECT")]
    assert len(queries) == 3
    assert not any(word in query for query in queries for word in ("draft", "report", "checks"))


@pytest.mark.parametrize("address", ["sqlite", "postgresql"], indirect=True)
def test_a_row_made_anew_is_the_row_that_was_kept(store: DatabaseStore) -> None:
    """After everything that changes an order, its row says what its tables say."""
    key, check = checked(store, name="Juno", worst=3.0)
    store.save_draft(store.open(), Draft.from_dict(ANNA))
    store.change_draft(key, lambda draft: draft.but("name", "Luna"))
    store.decide(key, "asked_again", by="Ann", reason="")
    store.record_check(key, check.case, report_of("agrees", 1.0), by="owner")
    store.decide(key, "accepted", by="Ann", reason="")
    with store.writing() as connection:
        kept = connection.execute(select(listed)).mappings().all()
        connection.execute(delete(listed))
        for order_id in connection.execute(select(orders.c.id)).scalars().all():
            relist(connection, order_id)
        made = connection.execute(select(listed)).mappings().all()
    assert sorted(map(str, kept)) == sorted(map(str, made))


@pytest.mark.parametrize("version", ["0001", "0004"])
def test_orders_of_before_are_listed_as_if_kept_today(
    version: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    held = Path(__file__).parents[2] / "golden" / "stores" / f"{version}.sqlite3"
    shutil.copyfile(held, tmp_path / "orders.sqlite3")
    with closing(open_store(str(tmp_path / "orders.sqlite3"))) as opened:
        filled = opened.lines()
        with opened.writing() as connection:
            before = connection.execute(select(listed)).mappings().all()
            for order_id in connection.execute(select(orders.c.id)).scalars().all():
                relist(connection, order_id)
            after = connection.execute(select(listed)).mappings().all()
        assert opened.lines() == filled
    assert len(filled) > 1
    assert sorted(map(str, before)) == sorted(map(str, after))


def test_numbers_are_sorted_by_their_size() -> None:
    texts = ["a10", "a9", "A 2", "ä1", "", "100", "20"]
    assert sorted(texts, key=sort_key) == ["", "20", "100", "A 2", "ä1", "a9", "a10"]


def test_a_line_of_an_order_that_names_nobody_is_bare(store: DatabaseStore) -> None:
    store.open()
    (line,) = store.lines()
    assert line == OrderLine(line.key, "", None, "being_filled_in", "", 0.0, "")
    assert case_of().title == "Juno"


def test_every_sorting_is_that_of_its_words(store: DatabaseStore) -> None:
    """Held against Python's own sorting, over every pair of what decides."""
    verdicts, states = ("", *GRAVITY), ("waiting", "being_filled_in", "accepted")
    told: dict[str, tuple[Any, ...]] = {}
    for number, (verdict, state, worst) in enumerate(
        [
            (verdict, state, worst)
            for verdict in verdicts
            for state in states
            for worst in (1.0, 2.0)
        ]
    ):
        key = store.open()
        name = "" if number % 3 == 0 else f"n{number % 7}"
        own = "" if number % 4 == 0 else f"{number % 5:03}"
        day = datetime(2026, 1, 1 + number % 3, tzinfo=UTC)
        sent = None if number % 5 == 0 else datetime(2026, 2, 1 + number % 6, tzinfo=UTC)
        with store.writing() as connection:
            order_id = connection.execute(
                select(orders.c.id).where(orders.c.key == key)
            ).scalar_one()
            connection.execute(
                listed.update()
                .where(listed.c.order_id == order_id)
                .values(opened=day, state=state, verdict=verdict, worst=worst, sent=sent)
                .values(name_key=name, number_key=own)
            )
        told[key] = (order_id, day, state, verdict, worst, sent, name, own)

    def newest(key: str) -> tuple[Any, ...]:
        return -told[key][1].timestamp(), -told[key][0]

    by: dict[str, Callable[[str], tuple[Any, ...]]] = {
        "": lambda key: (
            told[key][2] != "waiting",
            CALM.get(told[key][3], 0),
            -told[key][4],
        ),
        "verdict": lambda key: (GRAVITY.get(told[key][3], len(GRAVITY) + 1), -told[key][4]),
        "sent": lambda key: (told[key][5] is None, -(told[key][5] or EPOCH).timestamp()),
        "name": lambda key: (told[key][6] == "", told[key][6]),
        "number": lambda key: (told[key][7] == "", told[key][7]),
    }
    assert set(by) == set(SORTS)
    for sort, first in by.items():
        right = sorted(told, key=lambda key, first=first: (*first(key), *newest(key)))  # type: ignore[misc]
        assert [line.key for line in store.listed(Selection(by=sort)).lines] == right, sort
    for verdict, state in (("agrees", ""), ("", "accepted"), ("agrees", "accepted")):
        found = store.listed(Selection(verdict=verdict, state=state), most=1, first=1)
        both = [one for one in told.values() if verdict in ("", one[3]) and state in ("", one[2])]
        assert (found.found, len(found.lines)) == (len(both), 1)
