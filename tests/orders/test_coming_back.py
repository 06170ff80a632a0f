"""What an owner is told first who comes back to an order."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from photocheck.orders.coming_back import DECIDED, NEEDS, SENT, told_first
from photocheck.orders.draft import DogTold, Draft
from photocheck.orders.model import DECISIONS, STATES, Check, Decision, Order
from photocheck.speech import speaking

AT = datetime(2026, 11, 29, tzinfo=UTC)
PIP = Draft(dog=DogTold(name="Pip"), readings={"half_neck": "41"})


def _sent(**more: Any) -> Order:
    check = Check.__new__(Check)
    object.__setattr__(check, "case", PIP)
    object.__setattr__(check, "number", 1)
    return replace(Order("k", AT, "en", PIP), checks=(check,), **more)


def test_one_that_nothing_was_done_of_says_what_is_needed() -> None:
    told = told_first(Order("k", AT, "en", Draft()))
    assert told.title == "Your order"
    assert told.needs == tuple(NEEDS)


def test_one_that_was_begun_goes_on_where_it_stands() -> None:
    told = told_first(Order("k", AT, "en", PIP))
    assert (told.title, told.needs) == ("Your order for Pip", ())
    assert told.said.startswith("It goes on with: ")


def test_one_that_was_sent_says_so() -> None:
    assert told_first(_sent()).said == SENT


@pytest.mark.parametrize("choice", sorted(DECIDED))
def test_the_workshops_answer_comes_with_what_it_wrote(choice: str) -> None:
    decision = Decision(AT, "Kim", choice, "", "Please measure\nthe neck again.", 1)
    told = told_first(_sent(decisions=(decision,)))
    assert told.said.splitlines() == [DECIDED[choice], "Please measure", "the neck again."]
    with speaking("de"):
        assert told_first(_sent(decisions=(decision,))).title == "Ihr Auftrag für Pip"


def test_every_answer_has_its_words() -> None:
    assert set(DECIDED) == set(DECISIONS) & set(STATES)
