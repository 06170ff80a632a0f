"""Questions that nobody answered, dogs that come again, and who else has an order open."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from photocheck.orders.draft import DogTold, Draft, OwnerTold
from photocheck.orders.filling import new_draft
from photocheck.orders.model import Decision, Order, OrderError
from photocheck.orders.same_dog import changes_since, earlier_orders
from photocheck.orders.store import DatabaseStore, engines, kept_looks, open_store
from photocheck.orders.store.tables import looking
from photocheck.orders.unanswered import Question, draft_reminder, unanswered
from tests.support.made_report import made_report


@pytest.fixture
def store(tmp_path: Path) -> DatabaseStore:
    return open_store(str(tmp_path / "orders.db"))


def ordered(store: DatabaseStore, dog: str, owner: str, *, half_neck: float = 368.3) -> str:
    """A checked order; its report's half neck is so many mm."""
    key = store.open("en")
    draft = new_draft("cm").but("dog", DogTold(name=dog)).but("owner", OwnerTold(reach=owner))
    report = made_report(unit="cm", photos=0)
    reading = replace(report.case.readings["half_neck"], mm=half_neck, typed=f"{half_neck}")
    readings = {**report.case.readings, "half_neck": reading}
    report = replace(report, case=replace(report.case, readings=readings))
    store.save_draft(key, draft)
    store.record_check(key, draft, report, by="owner")
    return key


def ask(store: DatabaseStore, key: str, message: str = "Please measure again.") -> Decision:
    return store.decide(key, "asked_again", by="Ines", reason="", message=message)


# -- questions -----------------------------------------------------------------------


def test_a_question_is_open_until_it_is_answered_or_taken_back(store: DatabaseStore) -> None:
    asked, answered, undone, settled = (ordered(store, dog, "x@y.example") for dog in "ABCD")
    for key in (asked, answered, undone):
        ask(store, key)
    store.decide(settled, "refused", by="Ines", reason="too young")
    check = store.order(answered).checks[-1]
    store.record_check(answered, check.case, check.report, by="owner")
    store.decide(undone, "taken_back", by="Ines", reason="another dog")
    found = unanswered(store, patience_days=0)
    assert [question.order.key for question in found] == [asked]


def test_a_reminder_starts_the_days_anew(store: DatabaseStore) -> None:
    key = ordered(store, "Fen", "x@y.example")
    first = ask(store, key)
    later = first.at + timedelta(days=4, seconds=1)
    assert not unanswered(store, patience_days=4, now=first.at + timedelta(days=3))
    (question,) = unanswered(store, patience_days=4, now=later)
    assert (question.days, question.times, question.asked) == (4, 1, first)
    again = ask(store, key, "A reminder.")
    (question,) = unanswered(store, patience_days=0, now=later)
    assert (question.times, question.asked) == (2, again)


def test_a_reminder_quotes_what_was_asked_first_in_the_owners_language(
    store: DatabaseStore,
) -> None:
    key = ordered(store, "Fen", "x@y.example")
    ask(store, key, "Please measure\n\nthe rear again.")
    ask(store, key, "A reminder.")
    order = store.order(key)
    said = draft_reminder(Question(order, order.decisions[-1], 2, 5))
    assert "the order for" in said
    assert said.endswith("> Please measure\n>\n> the rear again.")
    assert "A reminder." not in said
    german = draft_reminder(Question(replace(order, language="de"), order.decisions[-1], 2, 5))
    assert german.startswith("Guten Tag")


# -- the same dog --------------------------------------------------------------------


def test_the_same_dog_of_the_same_owner_is_known_again(store: DatabaseStore) -> None:
    first = ordered(store, "Fen", "one@x.example", half_neck=360.0)
    ordered(store, "Fen", "two@x.example")  # another owner's Fen
    ordered(store, "Fennel", "one@x.example")
    second = ordered(store, "fen ", "ONE@x.example", half_neck=378.0)
    order = store.order(second)
    found = earlier_orders(store, order)
    assert [one.key for one in found] == [first]
    assert earlier_orders(store, store.order(first)) == []
    rows = {row.reading: row for row in changes_since(found[0], order)}
    half = rows["half_neck"]
    # 378 mm are 5 % more than 360 mm
    assert (half.before, half.now, half.off) == ("36.0 cm", "37.8 cm", "5 % longer")
    assert rows["rear_length"].off == ""


def test_a_dog_without_a_name_or_owner_is_nobodys_again(store: DatabaseStore) -> None:
    ordered(store, "", "one@x.example")
    ordered(store, "Fen", "")
    for dog, owner in (("", "one@x.example"), ("Fen", "")):
        key = ordered(store, dog, owner)
        assert earlier_orders(store, store.order(key)) == []


def test_an_order_that_is_being_filled_in_has_earlier_ones(store: DatabaseStore) -> None:
    first = ordered(store, "Fen", "one@x.example")
    draft = Draft(dog=DogTold(name="Fen"), owner=OwnerTold(reach="one@x.example"), unit="cm")
    order = Order("k", datetime.now(UTC), "en", draft)
    (found,) = earlier_orders(store, order)
    assert found.key == first
    assert {row.now for row in changes_since(found, order)} == {""}


# -- who else looks ------------------------------------------------------------------


def test_a_colleague_who_has_the_order_open_is_named(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    key, other = store.open(), store.open()
    kept_looks.look(store, key, page="one", by="Ines")
    kept_looks.look(store, key, page="two", by="Ines")
    assert kept_looks.others(store, key, page="one", by="Ines") == ()
    assert kept_looks.others(store, key, page="three", by="Olga") == ("Ines",)
    kept_looks.look(store, other, page="two", by="Ines")
    kept_looks.look(store, other, page="one", by="Ines")
    assert kept_looks.others(store, key, page="three", by="Olga") == ()
    monkeypatch.setattr(kept_looks, "GONE_AFTER_S", 0.0)
    assert kept_looks.others(store, other, page="three", by="Olga") == ()


def test_nobody_looks_at_an_order_that_is_gone(store: DatabaseStore) -> None:
    key = store.open()
    kept_looks.look(store, key, page="one", by="Ines")
    store.forget(key)
    for look in (kept_looks.look, kept_looks.others):
        with pytest.raises(OrderError, match="no such order"):
            look(store, key, page="one", by="Ines")
    again = store.open()
    assert kept_looks.others(store, again, page="x", by="Olga") == ()


def test_pages_that_are_gone_are_forgotten_by_the_next_look(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = store.open()
    for number in range(3):
        kept_looks.look(store, key, page=f"page {number}", by="Ines")
    monkeypatch.setattr(kept_looks, "GONE_AFTER_S", 0.0)
    kept_looks.look(store, key, page="another", by="Ada")
    with store.reading() as connection:
        assert connection.execute(select(looking.c.page)).scalars().all() in ([], ["another"])


def test_whoever_waits_for_postgresql_waits_half_a_minute() -> None:
    """As on SQLite (`engines.BUSY_SECONDS`); milliseconds, but for connecting."""
    told = engines.postgresql_settings()
    assert "-c lock_timeout=30000 " in told["options"]
    assert (told["connect_timeout"], told["tcp_user_timeout"]) == (30, 30_000)
    for name, value in (("idle", 20), ("interval", 10), ("count", 3)):
        assert told[f"keepalives_{name}"] == value
        assert f"-c tcp_keepalives_{name}={value}" in told["options"]
