"""What a check of an order is made with, and made again with."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from photocheck.judge.tolerances import AS_SHIPPED
from photocheck.orders.store import DatabaseStore
from photocheck.server import run
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
