"""The desk through a day: on to the next order, taken back, accepted in one go."""

from __future__ import annotations

from dataclasses import replace

import pytest

from photocheck.fit.answer import fit
from photocheck.orders.deciding import decide_on, take_back
from photocheck.orders.export import orders_csv
from photocheck.orders.in_bulk import accept_all, fully_agreeing
from photocheck.orders.listing import following
from photocheck.orders.messages.drafting import draft_message
from photocheck.orders.model import TAKEN_BACK, OrderError, OrderLine, Store
from photocheck.server.run import run_check
from tests.support import desk_pages
from tests.support.desk_pages import brought, decide, html, key_of, opened, pressed, written

store = desk_pages.store

pytestmark = pytest.mark.usefixtures("decoded_here")


def state(store: Store, key: str) -> str:
    """As the order says it; the list must say the same."""
    (line,) = [line for line in store.lines() if line.key == key]
    assert line.state == store.order(key).state
    return line.state


# -- taking back ---------------------------------------------------------------------


def test_what_is_taken_back_waits_again_and_stays_in_the_history(store: Store) -> None:
    key = key_of(store, "sorrel")
    decide_on(store, store.order(key), "accepted", by="Ines", reason="", message="Dear owner, yes.")
    assert state(store, key) == "accepted"
    take_back(store, store.order(key), by="Olga", reason="another dog")
    order = store.order(key)
    assert state(store, key) == "waiting"
    assert order.decision is None
    assert [d.choice for d in order.decisions] == ["accepted", TAKEN_BACK]
    assert [d.message for d in order.decisions] == ["Dear owner, yes.", ""]
    header, row = orders_csv([order]).splitlines()
    told = dict(zip(header.split(","), row.split(","), strict=False))
    assert told['"state"'] == '"waiting"'
    decide_on(store, order, "refused", by="Ines", reason="too young")
    assert state(store, key) == "refused"
    assert store.order(key).decision == store.order(key).decisions[-1]


def test_nothing_is_taken_back_unseen_unsaid_or_twice(store: Store) -> None:
    key = key_of(store, "sorrel")
    with pytest.raises(OrderError, match="no decision"):
        take_back(store, store.order(key), by="Ines", reason="any")
    decide_on(store, store.order(key), "accepted", by="Ines", reason="")
    seen = store.order(key)
    with pytest.raises(OrderError, match="only with a reason"):
        take_back(store, seen, by="Ines", reason="  ")
    take_back(store, seen, by="Olga", reason="another dog")
    with pytest.raises(OrderError, match="somebody else"):
        take_back(store, seen, by="Ines", reason="another dog")
    with pytest.raises(OrderError, match="no decision"):
        take_back(store, store.order(key), by="Ines", reason="another dog")


@pytest.mark.slow
def test_a_decision_is_taken_back_on_its_page_with_a_reason(store: Store) -> None:
    key = key_of(store, "sorrel")
    page = pressed(decide(opened(case=key, by="Ines"), "accepted"), "decide")
    pressed(page, "back_to")
    pressed(page, "take_back")
    assert "only with a reason" in page.error[0].value
    assert state(store, key) == "accepted"
    written(page, "Why it does not hold").set_value("Told by phone: not this dog.").run()
    pressed(page, "take_back")
    assert state(store, key) == "waiting"
    assert store.order(key).decisions[-1].by == "Ines"
    assert "Told by phone: not this dog." in html(page)


# -- on to the next ------------------------------------------------------------------


def line(key: str, state: str = "waiting", verdict: str = "agrees") -> OrderLine:
    return OrderLine(key, key, None, state, verdict, 0.0, "")


def test_the_next_order_is_the_one_below_and_below_the_last_the_first() -> None:
    lines = [line("a", verdict="retake"), line("b", "accepted"), line("c"), line("d")]
    assert following(lines, "a") == "c"
    assert following(lines, "c") == "d"
    assert following(lines, "d") == "a"
    assert following(lines, "b") == "a"
    assert following([line("c")], "c") == ""


@pytest.mark.slow
def test_a_decision_leads_to_the_next_order_and_can_be_undone_there(store: Store) -> None:
    first = key_of(store, "flint")
    after = following(store.lines(), first)
    assert after
    page = pressed(decide(opened(case=first, by="Ines"), "asked_again"), "decide")
    assert page.query_params["case"] in (after, [after])
    assert "asked again" in html(page)
    pressed(page, "undo")
    assert state(store, first) == "waiting"
    assert page.query_params["case"] in (first, [first])


def test_after_the_last_order_comes_the_list(store: Store) -> None:
    keys = [one.key for one in store.lines()]
    for key in keys[1:]:
        decide_on(store, store.order(key), "refused", by="Ines", reason="closed")
    page = pressed(decide(opened(case=keys[0], by="Ines"), "asked_again"), "decide")
    assert "case" not in page.query_params
    assert "No other order waits." in html(page)


def test_nothing_more_is_asked_of_an_owner_whose_order_is_settled(store: Store) -> None:
    key = key_of(store, "flint")
    assert "<h2>Next step</h2>" in html(opened(case=key))
    decide_on(store, store.order(key), "accepted", by="Ines", reason="measured here")
    assert "<h2>Next step</h2>" not in html(opened(case=key))


# -- in bulk -------------------------------------------------------------------------


def test_only_what_waits_and_agrees_is_accepted_in_bulk() -> None:
    lines = [line("a"), line("b", "accepted"), line("c", verdict="could_hide"), line("d")]
    assert [one.key for one in fully_agreeing(lines)] == ["a", "d"]


def test_in_bulk_an_order_is_accepted_as_by_a_person(store: Store) -> None:
    lines = store.lines()
    agreeing = fully_agreeing(lines)
    others = [one for one in lines if one not in agreeing]
    assert agreeing
    assert others
    done = accept_all(store, lines, by="Ines")
    assert [result.line for result in done if not result.problem] == agreeing
    for one in agreeing:
        order = store.order(one.key)
        report = order.checks[-1].report
        answer = fit(report)
        assert answer.measures
        decision = order.decision
        assert decision is not None
        assert (decision.choice, decision.by) == ("accepted", "Ines")
        drafted = draft_message(report, "accepted", language=order.language, answer=answer)
        assert decision.message == drafted
    for one in others:
        assert store.order(one.key).decisions == ()


def test_in_bulk_nothing_is_accepted_that_changed_since_the_list_was_seen(store: Store) -> None:
    seen = fully_agreeing(store.lines())
    run_check(store, seen[0].key, by="owner")
    (result, *_) = accept_all(store, seen, by="Ines")
    assert "meanwhile" in result.problem
    assert store.order(seen[0].key).decisions == ()
    older = replace(seen[0], verdict="could_hide")
    (result,) = accept_all(store, [older], by="Ines")
    assert "do not fully agree" in result.problem


def test_in_bulk_nothing_is_accepted_that_came_with_notes(store: Store) -> None:
    (line, *_) = fully_agreeing(store.lines())
    draft = store.draft(line.key)
    told = draft.but("owner", draft.owner.but("notes", "He pulls to the left."))
    store.save_draft(line.key, told)
    (result,) = accept_all(store, [line], by="Ines")
    assert "read them first" in result.problem
    assert store.order(line.key).decisions == ()


def test_one_press_accepts_what_agrees_and_says_what_was_left(store: Store) -> None:
    twin = brought(store, "sorrel")
    run_check(store, twin, by="owner")
    agreeing = fully_agreeing(store.lines())
    assert len(agreeing) > 1
    page = opened(by="Ines")
    pressed(page, "accept_all")
    assert f"{len(agreeing)} orders accepted." in html(page)
    assert not fully_agreeing(store.lines())
    assert [b for b in page.button if b.key == "accept_all"] == []
