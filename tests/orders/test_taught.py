"""From the store to the learning in one step, with nothing of its refusals loosened."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from photocheck.body.shape import SHIPPED
from photocheck.case.model import Reading
from photocheck.errors import CaseError
from photocheck.judge.evidence import FinishedOrder, order_from_report
from photocheck.judge.ratios import Ratios, read_ratios
from photocheck.orders import taught
from photocheck.orders.model import Order, OrderError, Remeasured
from photocheck.orders.store import DatabaseStore
from photocheck.orders.taught import begin_ratios, finished_orders, learn_from_store
from photocheck.outcomes import undo
from photocheck.report.model import Report
from photocheck.shown.learnt import group_rows, predicted_rows, refusals
from tests.support.heard_of import fitted, history, report_with, tight
from tests.support.learnt import learnt
from tests.support.store_orders import JPEG, case_of

HALF = Remeasured("35", "cm", 350.0)


def kept(version: str) -> Ratios:
    raise OrderError(f"no {version}")


def one(order: Order) -> FinishedOrder:
    found, unread = finished_orders([order], Ratios(), kept)
    assert not unread
    return found[0]


@pytest.mark.parametrize(
    ("heard", "outcome", "weight", "why"),
    [
        ([], "accepted", 0.5, ""),
        ([fitted()], "fitted", 1.0, ""),
        ([replace(fitted(), result="returned")], "returned", 0.0, ""),
        ([tight()], "unknown", 0.0, "neck opening too tight, and not measured again"),
        ([tight(measured={"half_neck": HALF})], "accepted", 0.5, ""),
        ([fitted(), tight()], "unknown", 0.0, "neck opening too tight"),
        ([tight(), fitted()], "fitted", 1.0, ""),
    ],
)
def test_what_counts_for_how_much(heard, outcome, weight, why) -> None:  # type: ignore[no-untyped-def]
    found = one(history(report_with(), choice="accepted", heard=heard))
    assert (found.outcome, found.weight) == (outcome, weight)
    assert found.why_not.startswith(why)
    assert bool(found.why_not) == bool(why)


def test_only_orders_accepted_as_they_stand_are_given() -> None:
    orders = [
        history(report_with(), choice="refused"),
        history(report_with()),
        history(report_with(), choice="asked_again"),
    ]
    assert finished_orders(orders, Ratios(), kept) == ([], [])


def test_a_fitted_order_is_the_same_evidence_as_its_outcome_file() -> None:
    report = report_with()
    found = one(history(report, choice="accepted", heard=[fitted()], key="Juno"))
    by_file = order_from_report(report, "fitted", SHIPPED, name="Juno")
    for name in ("key", "outcome", "group", "build", "readings", "name"):
        assert getattr(found, name) == getattr(by_file, name)
    for name in ("differences", "design", "noise", "own"):
        np.testing.assert_array_equal(getattr(found, name), getattr(by_file, name))


def test_a_reading_taken_anew_takes_the_place_of_the_one_cut_by() -> None:
    report = report_with()
    ring = Reading(740.0, "74", "cm")
    readings = {**report.case.readings, "neck_ring": ring}
    report = replace(report, case=replace(report.case, readings=readings))
    found = one(history(report, choice="accepted", heard=[tight(measured={"half_neck": HALF})]))
    # the ring of then told of the same neck; the trunk's readings stay
    assert found.readings == ("half_neck", "front_length", "rear_length", "full_length")
    photo = report.spans[0].photo_mm
    assert found.differences[0] == pytest.approx(np.log(350.0 / photo))


def test_one_of_two_parts_measured_again_teaches_nothing() -> None:
    both = tight(
        felt={"neck_opening": "tight", "rear_length": "loose"}, measured={"half_neck": HALF}
    )
    found = one(history(report_with(), choice="accepted", heard=[both]))
    assert found.weight == 0.0
    assert "rear length too loose" in found.why_not
    assert "neck" not in found.why_not


def test_what_came_back_teaches_nothing_even_when_it_was_measured_again() -> None:
    heard = tight(result="returned", measured={"half_neck": HALF})
    assert one(history(report_with(), choice="accepted", heard=[heard])).weight == 0.0


def test_an_order_of_ratios_that_are_gone_is_told_and_the_others_are_read() -> None:
    lost = replace(report_with(), ratios_version="3-abc")
    orders = [
        history(lost, choice="accepted", key="lost"),
        history(report_with(), choice="accepted", key="there"),
    ]
    found, unread = finished_orders(orders, Ratios(), kept)
    assert [order.name for order in found] == ["there"]
    assert [(item.name, item.reason) for item in unread] == [("lost", "no ")]


def test_ratios_that_the_store_kept_are_taken_out_again() -> None:
    shop = learnt()
    with_them = replace(report_with(), ratios_version=shop.current)
    order = history(with_them, choice="accepted")
    by_store, _ = finished_orders([order], Ratios(), lambda version: shop)
    by_file, _ = finished_orders([order], shop, kept)
    np.testing.assert_array_equal(by_store[0].differences, by_file[0].differences)
    plain, _ = finished_orders([history(report_with(), choice="accepted")], Ratios(), kept)
    assert not np.allclose(by_store[0].differences, plain[0].differences)


# -- the whole step ----------------------------------------------------------------


def drawn(rng: np.random.Generator, shift: float = 0.09) -> Report:
    """A report whose half neck the tape reads longer than the shipped ratios expect."""
    report = report_with()
    spans = {span.span: span.photo_mm for span in report.spans}
    factor = {"half_neck": shift}
    readings = {}
    for name in ("half_neck", "front_length", "rear_length"):
        mm = spans[name] * float(np.exp(factor.get(name, 0.0) + rng.normal(0, 0.02)))
        readings[name] = Reading(mm, f"{mm / 10:.1f}", "cm")
    budget = tuple(
        replace(line, source=source, shares=dict.fromkeys(spans, share))
        for line, source, share in zip(
            report.budget, ("neck_shape", "marks", "offset"), (0.6, 0.2, 0.2), strict=True
        )
    )
    dog = replace(report.case.dog, breed="Demo Spitz")
    case = replace(report.case, readings=readings, dog=dog)
    return replace(report, case=case, budget=budget)


@pytest.fixture
def shop(store: DatabaseStore) -> DatabaseStore:
    """Thirty accepted orders of one breed: most fitted, one came back, one was tight."""
    rng = np.random.default_rng(3)
    for k in range(30):
        key = store.open()
        file = store.keep_photo(key, JPEG + bytes([k]))
        case = case_of(file, name=f"Demo {k}")
        check = store.record_check(key, case, drawn(rng), by="owner")
        store.decide(key, "accepted", by="Ann", reason="all right")
        if k == 0:
            store.hear(key, replace(fitted(check.number), result="returned"))
        elif k == 1:
            store.hear(key, tight(check.number))
        elif k < 25:
            store.hear(key, fitted(check.number))
    return store


@pytest.mark.slow
@pytest.mark.parametrize("address", ["sqlite"], indirect=True)
def test_the_store_teaches_in_one_step(shop: DatabaseStore, tmp_path: Path) -> None:
    file = tmp_path / "ratios.json"
    begin_ratios(file)
    with pytest.raises(CaseError, match="already there"):
        begin_ratios(file)
    looked = learn_from_store(shop, file, write=False)
    assert looked.adopted
    assert read_ratios(file).current == "shipped"
    found = learn_from_store(shop, file)
    version = read_ratios(file).in_use
    assert version is not None
    assert version == found.version
    assert version.orders == 28
    assert version.groups["demo spitz"].ways["half_neck"].shift > 0.03
    assert version.groups["demo spitz"].ways["half_neck"].spread_factor < 1.0
    reasons = {item.reason for item in found.left_out}
    assert "it was returned" in reasons
    assert any("says no number" in reason for reason in reasons)
    # the same orders again change nothing, as learning has always had it
    again = learn_from_store(shop, file)
    assert not again.adopted
    assert "learnt already" in again.reason
    undo(file)
    assert read_ratios(file).current == "shipped"


@pytest.mark.slow
@pytest.mark.parametrize("address", ["sqlite"], indirect=True)
def test_what_was_learnt_is_shown_by_group_with_what_it_did_to_the_doubt(
    shop: DatabaseStore, tmp_path: Path
) -> None:
    found = learn_from_store(shop, tmp_path / "ratios.json")
    assert found.version is not None
    rows = group_rows(found.version)
    assert rows[0][:2] == ("group", "orders")
    (own,) = [row for row in rows if row[0] == "demo spitz"]
    assert own[1] == "28"
    learnt_way = found.version.groups["demo spitz"].ways["half_neck"]
    assert f"{100 * learnt_way.shift:+.1f} %" in own[2]
    assert "→" in own[2]
    assert predicted_rows(found.version)[1][0] == "half neck"
    told = refusals(found.left_out)
    assert {one.count for one in told} == {1}
    assert ("Demo 0",) in {one.names for one in told}


@pytest.mark.slow
@pytest.mark.parametrize("address", ["sqlite"], indirect=True)
def test_two_that_learn_at_once_do_not_undo_each_other(
    shop: DatabaseStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "ratios.json"
    honest = taught.learn

    def slow(orders: object, before: Ratios) -> object:
        monkeypatch.setattr(taught, "learn", honest)
        learn_from_store(shop, file)  # the other is quicker
        return honest(orders, before)  # type: ignore[arg-type]

    monkeypatch.setattr(taught, "learn", slow)
    with pytest.raises(CaseError, match="meanwhile"):
        learn_from_store(shop, file)
    assert len(read_ratios(file).versions) == 1


@pytest.mark.parametrize("address", ["sqlite"], indirect=True)
def test_too_few_orders_change_nothing(store: DatabaseStore, tmp_path: Path) -> None:
    found = learn_from_store(store, tmp_path / "ratios.json")
    assert (found.adopted, found.version) == (False, None)
    assert not (tmp_path / "ratios.json").exists()


def test_what_is_measured_again_is_not_measured_at_tags() -> None:
    """The tags are off by then: that reading has the usual noise, the others keep theirs."""
    report = report_with()
    names = tuple(report.case.readings)
    worn = replace(report, case=replace(report.case, measured_at_tags=True), at_tags=names)
    before = one(history(worn, choice="accepted", heard=[fitted()]))
    assert before.at_tags
    again = one(history(worn, choice="accepted", heard=[tight(measured={"half_neck": HALF})]))
    assert not again.at_tags
    at = again.readings.index("half_neck")
    kept_one = again.readings.index("rear_length")
    plain = one(history(report, choice="accepted", heard=[tight(measured={"half_neck": HALF})]))
    assert again.noise[at, at] == pytest.approx(plain.noise[at, at], rel=1e-9)
    assert again.noise[kept_one, kept_one] < plain.noise[kept_one, kept_one]
