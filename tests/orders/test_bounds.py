"""What people type has a bound wherever it is kept, and what is refused changes nothing."""

from __future__ import annotations

from typing import Any

import pytest

from photocheck.orders import bounds
from photocheck.orders.draft import Draft
from photocheck.orders.model import OrderError
from photocheck.orders.store import DatabaseStore, brought, database, kept_passes
from photocheck.server.access import passes
from tests.support.store_orders import JPEG, checked, report_of

TOO_LONG = "x" * (bounds.LONGEST_TOLD + 1)
DRAFTS: dict[str, Draft] = {
    "a name": Draft(name=TOO_LONG),
    "a reading": Draft.from_dict({"readings": {"half_neck": TOO_LONG}}),
    "a take": Draft.from_dict({"readings": {"half_neck": ["41", {"typed": TOO_LONG}]}}),
    "a breed": Draft.from_dict({"dog": {"breed": TOO_LONG}}),
    "of no kind that is known": Draft.from_dict({"else": [{"deep": [TOO_LONG]}]}),
    "the name of a field": Draft.from_dict({TOO_LONG: 1}),
    "twenty million letters": Draft(name="x" * 20_000_000),
    "many short ones": Draft.from_dict({"else": ["x" * 1000] * 201}),
    "many marks": Draft.from_dict(
        {"photos": [{"file": "dog.jpg", "markings": [{"bends": {"rear": [[1.5, 2.5]] * 30_000}}]}]}
    ),
}


def test_the_bounds_are_these() -> None:
    assert (
        bounds.LONGEST_FIELD,
        bounds.LONGEST_BY,
        bounds.LONGEST_REASON,
        bounds.LONGEST_MESSAGE,
        bounds.LONGEST_TOLD,
        bounds.MOST_DRAFT_BYTES,
        bounds.MOST_CHECKS,
        bounds.MOST_DECISIONS,
        bounds.MOST_LINKS,
        bounds.MOST_MESSAGE_BYTES,
        bounds.MOST_ANSWER_MB,
    ) == (200, 60, 2000, 20_000, 2000, 200_000, 500, 500, 500, 1_000_000, 30)


@pytest.mark.parametrize("draft", DRAFTS.values(), ids=DRAFTS.keys())
def test_a_draft_beyond_its_bound_is_refused_and_the_last_one_stays(
    store: DatabaseStore, draft: Draft
) -> None:
    key = store.open()
    store.save_draft(key, Draft(name="Juno"))
    told: Any = {"origin": "a" * 64, "content": "b" * 64, "language": "en"}
    given = {photo.file: JPEG for photo in draft.photos}
    for act in (
        lambda: store.save_draft(key, draft),
        lambda: store.record_check(key, draft, report_of(), by="owner"),
        lambda: brought.put_order(store, draft, given, **told),
    ):
        with pytest.raises(OrderError, match="nothing has been changed"):
            act()
    assert store.draft(key) == Draft(name="Juno")
    assert store.latest(key) == (0, 0)
    assert len(store.lines()) == 1


def test_an_honest_order_of_the_largest_is_far_from_its_bound(store: DatabaseStore) -> None:
    marks = {name: [1234.5678, 2345.6789] for name in "abcdefghijkl"}
    marking = {"by": "Ada Lind", "marks": marks, "bends": {"rear": [[1234.5678, 2345.6789]] * 12}}
    photo = {
        "file": "photo-24.jpg",
        "markings": [marking] * 2,
        "reference": {"corners": [[1, 2]] * 4},
    }
    draft = Draft.from_dict({"photos": [photo] * 24, "name": "J" * bounds.LONGEST_FIELD})
    key = store.open()
    store.save_draft(key, draft)
    assert store.draft(key) == draft


def test_what_staff_write_has_its_bound(store: DatabaseStore) -> None:
    key, check = checked(store)

    def decided(**more: str) -> None:
        said = {"by": "Ada", "reason": "r", "message": "m", **more}
        store.decide(key, "accepted", check=check.number, **said)

    for name, most in (("by", 60), ("reason", 2000), ("message", 20_000)):
        with pytest.raises(OrderError, match=f"longer than {most} letters"):
            decided(**{name: "x" * (most + 1)})
        assert store.latest(key) == (1, 0)
    with pytest.raises(OrderError, match="longer than 60 letters"):
        passes.link_for(store, key, by="x" * 61)
    decided(by="b" * 60, reason="r" * 2000, message="m" * 20_000)
    assert store.latest(key) == (1, 1)


def test_the_history_of_an_order_has_an_end(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    key, _ = checked(store)
    for module, name in (
        (database, "MOST_CHECKS"),
        (database, "MOST_DECISIONS"),
        (kept_passes, "MOST_LINKS"),
    ):
        monkeypatch.setattr(module, name, 2)
    case = store.order(key).checks[0].case
    for act in (
        lambda: store.decide(key, "accepted", by="Ada", reason=""),
        lambda: passes.link_for(store, key, by="Ada"),
        lambda: store.record_check(key, case, report_of(), by="owner"),
    ):
        for _ in range(5):
            try:
                act()
            except OrderError as error:
                # only some of the five are refused
                assert "2 times" in str(error)  # noqa: PT017
    assert store.latest(key) == (2, 2)
    assert len(passes.links_of(store, key)) == 2
    # another order is not touched by that
    other, _ = checked(store, name="another")
    store.decide(other, "accepted", by="Ada", reason="")
