"""What a check of an order is made with, and made again with."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Any

import pytest

from photocheck.errors import CaseError
from photocheck.judge.tolerances import AS_SHIPPED, Tolerances
from photocheck.orders.model import OrderError
from photocheck.orders.store import DatabaseStore
from photocheck.server import bench, run
from photocheck.server.access.linked import LinkedStore
from photocheck.server.access.passes import link_for
from photocheck.server.bench import PHOTOS
from photocheck.speech import speaking, spoken
from tests.support.learnt import learnt
from tests.support.store_orders import JPEG, case_of, report_of

pytestmark = pytest.mark.parametrize("address", ["sqlite"], indirect=True)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """With what every check was asked for; its report is made by hand."""
    noted: list[dict[str, Any]] = []

    def check(case: Any, **given: Any) -> Any:
        noted.append({"case": case, "language": spoken(), **given})
        ratios = given["ratios"]
        return replace(report_of(), ratios_version=ratios.current if ratios else "shipped")

    monkeypatch.setattr(run, "check", check)
    monkeypatch.setattr(run, "case_from_dict", lambda told, **_: Told(told))
    monkeypatch.setattr(run, "validate", lambda case: None)
    return noted


class Told:
    """Stands in for a case: what it was told."""

    def __init__(self, told: Any) -> None:
        self.told, self.photos = told, ()


@pytest.mark.parametrize("other", [False, True])
@pytest.mark.parametrize("used", [False, True])
def test_a_check_is_made_again_with_what_it_was_made_with(
    store: DatabaseStore, asked: list[dict[str, Any]], used: bool, other: bool
) -> None:
    key = store.open()
    own = case_of(store.keep_photo(key, JPEG), name="of the owner")
    store.save_draft(key, own)
    draft = replace(own, name="of staff") if other else None
    ratios = learnt() if used else None
    with speaking("de"):
        made = run.run_check(store, key, by="Ada", draft=draft, ratios=ratios, memory=PHOTOS)
    assert made.case == (draft or own)
    assert (made.by, made.language, bool(made.ratios)) == ("Ada", "de", used)
    store.save_draft(key, case_of(name="changed since"))
    again = run.recompute(store, key, made)
    first, second = asked
    assert first["case"].told == second["case"].told == (draft or own).to_dict()
    assert first["language"] == second["language"] == "de"
    assert first["ratios"] == ratios
    assert second["ratios"] == ratios
    assert first["tolerated"] == AS_SHIPPED
    assert second["false_alarms"] == made.report.false_alarm_budget
    assert second["tolerated"].told == made.report.tolerances
    assert again.verdict == made.report.verdict
    assert len(store.order(key).checks) == 1  # nothing is recorded twice


def test_the_same_check_is_made_once_whoever_asks_for_it(
    store: DatabaseStore, asked: list[dict[str, Any]]
) -> None:
    """An owner's page, the same link on another device, and a page loaded anew."""
    key = store.open()
    own = case_of(store.keep_photo(key, JPEG), name="Pip")
    links = [link_for(store, key, by="Robin") for _ in range(2)]
    counted: list[str] = []

    def ask(link: str, draft: Any = own, **given: Any) -> Any:
        before = partial(counted.append, link)
        return run.shared_check(LinkedStore(store), link, draft, before=before, **given)

    first = ask(links[0])
    assert ask(links[0]) is ask(links[1]) is first
    assert len(asked) == len(counted) == 1
    # whatever a report depends on makes another of it
    others: list[dict[str, Any]] = [
        {"draft": replace(own, name="Pip II")},
        {"ratios": learnt()},
        {"tolerated": Tolerances({"half_neck": 0.01})},
    ]
    for number, other in enumerate(others, start=2):
        assert ask(links[1], **other) is ask(links[0], **other)
        assert len(asked) == len(counted) == number
    with speaking("de"):
        assert ask(links[0]) is ask(links[1])
    assert len(asked) == 5
    assert (asked[2]["ratios"], asked[3]["tolerated"].told) == (learnt(), {"half_neck": 0.01})

    bench.drop(key)
    assert ask(links[0]) is not first


def test_no_check_is_shared_with_who_may_not_see_the_order(
    store: DatabaseStore, asked: list[dict[str, Any]]
) -> None:
    """Of two orders that are told alike each has a check of its own; an ended link opens none."""
    keys = [store.open() for _ in range(2)]
    own = case_of(store.keep_photo(keys[0], JPEG), name="Pip")
    assert case_of(store.keep_photo(keys[1], JPEG), name="Pip") == own
    links = [link_for(store, key, by="Robin") for key in keys]
    owners = LinkedStore(store)
    assert run.shared_check(owners, links[0], own) is not run.shared_check(owners, links[1], own)
    store.forget(keys[0])
    with pytest.raises(OrderError):
        run.shared_check(owners, links[0], own)
    assert len(asked) == 2
    for key in keys:
        bench.drop(key)


def test_what_keeps_a_check_from_being_made_is_asked_each_time(
    store: DatabaseStore, asked: list[dict[str, Any]]
) -> None:
    key = store.open()
    own = case_of(store.keep_photo(key, JPEG))
    refusals = iter([CaseError("too many"), CaseError("too many"), None])

    def refuse() -> None:
        if error := next(refusals):
            raise error

    for _ in range(2):
        with pytest.raises(CaseError, match="too many"):
            run.shared_check(store, key, own, before=refuse)
    assert asked == []
    assert run.shared_check(store, key, own, before=refuse)
    bench.drop(key)
