"""What is noted of cuts: kept, undone by another note, never twice, and gone with its order."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import pytest
from sqlalchemy import text

from photocheck.orders.bounds import MOST_CUT_NOTES
from photocheck.orders.model import OrderError
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.orders.store import kept_cuts as kept_cuts_module
from photocheck.orders.store.copies import back_up, restore
from photocheck.orders.store.privacy import write_held
from photocheck.server.access.linked import LinkedStore
from tests.support.store_orders import case_of, checked, report_of

LENGTHS = {"neck_opening": 808.5, "front_length": 375.25, "size": ""}


def accepted_order(store: DatabaseStore, name: str) -> tuple[str, int]:
    key, check = checked(store, name=name)
    store.decide(key, "accepted", by="Ann", reason="seen")
    return key, check.number


def test_a_cut_is_noted_once_and_undone_by_another_note(store: DatabaseStore) -> None:
    key, check = accepted_order(store, "Juno")
    assert store.order(key).cut is None
    before = store.stamp()
    assert store.note_cut(key, "cut", by="Cleo", check=check, content=LENGTHS)
    assert store.stamp() != before
    assert not store.note_cut(key, "cut", by="Bo", check=check, content=LENGTHS)
    cut = store.order(key).cut
    assert cut is not None
    assert (cut.by, cut.check, cut.content) == ("Cleo", check, LENGTHS)
    assert cut.at.tzinfo is not None
    assert store.note_cut(key, "not_cut", by="Bo", check=check)
    assert not store.note_cut(key, "not_cut", by="Bo", check=check)
    assert store.order(key).cut is None
    assert [note.what for note in store.order(key).cuts] == ["cut", "not_cut"]


def test_a_wish_is_kept_and_taken_back(store: DatabaseStore) -> None:
    key, check = accepted_order(store, "Juno")
    assert not store.note_cut(key, "wished", by="Ann", check=check)  # nothing to keep
    assert store.note_cut(key, "wished", by="Ann", check=check, content={"weight_later_kg": 28.0})
    assert not store.note_cut(
        key, "wished", by="Bo", check=check, content={"weight_later_kg": 28.0}
    )
    wished = store.order(key).wished
    assert wished is not None
    assert wished.content == {"weight_later_kg": 28.0}
    assert store.note_cut(key, "wished", by="Ann", check=check)
    wished = store.order(key).wished
    assert wished is not None
    assert wished.content == {}


def test_a_check_since_makes_the_cut_another_question(store: DatabaseStore) -> None:
    key, check = accepted_order(store, "Juno")
    store.note_cut(key, "cut", by="Cleo", check=check, content=LENGTHS)
    store.record_check(key, case_of("photo-1.jpg"), report_of(), by="Ann")
    assert store.order(key).cut is None
    with pytest.raises(OrderError, match="checked again"):
        store.note_cut(key, "cut", by="Cleo", check=check, content=LENGTHS)
    with pytest.raises(ValueError, match="sewn"):
        store.note_cut(key, "sewn", by="Cleo", check=check)


def test_notes_are_bounded(store: DatabaseStore, monkeypatch: pytest.MonkeyPatch) -> None:
    assert MOST_CUT_NOTES == 500
    key, check = accepted_order(store, "Juno")
    monkeypatch.setattr(kept_cuts_module, "MOST_CUT_NOTES", 2)
    for what in ("cut", "not_cut"):
        store.note_cut(key, what, by="Cleo", check=check)
    with pytest.raises(OrderError, match="2 times"):
        store.note_cut(key, "cut", by="Cleo", check=check)
    with pytest.raises(OrderError, match="longer than"):
        store.note_cut(key, "cut", by="C" * 61, check=check)


def test_the_accepted_orders_are_those_that_stand_accepted(store: DatabaseStore) -> None:
    first, _ = accepted_order(store, "Juno")
    refused, _ = accepted_order(store, "Rex")
    again, _ = accepted_order(store, "Fly")
    store.open()
    checked(store, name="Moss")
    store.decide(refused, "refused", by="Ann", reason="no")
    store.record_check(again, case_of("photo-1.jpg", name="Fly"), report_of(), by="Ann")
    second, number = accepted_order(store, "Bo")
    store.note_cut(second, "cut", by="Cleo", check=number, content=LENGTHS)
    found = store.accepted()
    assert [order.key for order in found] == [first, second]
    for order in found:
        whole = store.order(order.key)
        assert order.state == whole.state == "accepted"
        assert order.checks[-1] == whole.checks[-1]
        assert order.decisions[-1] == whole.decisions[-1]
        assert order.cuts == whole.cuts


def test_cuts_come_along_with_copies_and_go_with_their_order(
    store: DatabaseStore, tmp_path: Path
) -> None:
    key, check = accepted_order(store, "Juno")
    store.note_cut(key, "cut", by="Cleo", check=check, content=LENGTHS)
    held = tmp_path / "held.zip"
    write_held(store, key, held)
    with zipfile.ZipFile(held) as archive:
        told = json.loads(archive.read("order.json"))
    assert [(note["by"], note["content"]) for note in told["cuts"]] == [("Cleo", LENGTHS)]
    copy, other = tmp_path / "copy.sqlite3", str(tmp_path / "other.sqlite3")
    back_up(store, copy)
    restore(other, copy)
    there = open_store(other)
    assert there.order(key) == store.order(key)
    assert there.note_cut(key, "not_cut", by="Cleo", check=check)
    there.close()
    store.forget(key)
    with store.reading() as connection:
        assert connection.execute(text("SELECT count(*) FROM cuts")).scalar() == 0


def test_owners_note_nothing(store: DatabaseStore) -> None:
    key, check = accepted_order(store, "Juno")
    linked = LinkedStore(store)
    with pytest.raises(OrderError, match="only the workshop"):
        linked.note_cut(key, "cut", by="owner", check=check)
    assert linked.accepted() == ()
    assert store.order(key).cuts == ()
