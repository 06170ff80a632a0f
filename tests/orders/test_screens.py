"""What an owner is asked, one thing a screen, in which order, and where somebody goes on."""

from __future__ import annotations

from photocheck.orders.draft import Draft, DraftMarking, DraftPhoto, OwnerTold, ReferenceTold
from photocheck.orders.filling import Blank, typed_at, with_photo, with_typed
from photocheck.orders.screens import (
    ASKED,
    CAREFUL,
    EVERY,
    again,
    done,
    following,
    preceding,
    screens,
    stands_at,
)
from photocheck.words import LANDMARKS, READINGS

QUICK = Draft(unit="cm")
CAREFULLY = Draft(unit="cm", owner=OwnerTold(depth=CAREFUL))
MARKED = DraftMarking(dict.fromkeys(LANDMARKS, (1.0, 2.0)))
SIDE = DraftPhoto("a", ReferenceTold("marker_sheet"), (MARKED,))


def test_the_quick_way_asks_four_numbers_one_photo_and_its_marks() -> None:
    assert screens(QUICK) == (
        *("half_neck", "front_length", "rear_length", "full_length"),
        *("photo", "marks", "result"),
    )


def test_the_careful_way_asks_every_reading_twice_and_a_photo_from_the_front() -> None:
    asked = screens(CAREFULLY)
    assert set(asked) == {*READINGS, *map(again, READINGS), "photo", "front", "marks", "result"}
    assert list(asked) == sorted(asked, key=EVERY.index)


def test_going_deeper_or_back_leaves_out_nothing_that_was_given() -> None:
    told = Draft(
        unit="cm",
        readings={"neck_ring": "82", "half_neck": ("41", "41.5")},
        photos=(SIDE, DraftPhoto("b", ReferenceTold("marker_sheet"), view="front")),
    )
    assert {"neck_ring", again("half_neck"), "front"} <= set(screens(told))


def test_one_screen_leads_to_the_next_and_back() -> None:
    whole = Draft(unit="cm", owner=OwnerTold(depth=CAREFUL), readings=dict.fromkeys(ASKED, "40"))
    for draft in (QUICK, whole):
        way = screens(draft)
        assert [following(draft, screen) for screen in way[:-1]] == list(way[1:])
        assert [preceding(draft, screen) for screen in way[1:]] == list(way[:-1])
        assert preceding(draft, way[0]) == following(draft, "result") == ""


def test_what_was_never_read_is_not_asked_for_again() -> None:
    draft = Draft(unit="cm", owner=OwnerTold(depth=CAREFUL), readings={"front_length": "50"})
    assert following(draft, "full_length") == again("front_length")
    assert following(draft, again("front_length")) == "photo"


def test_a_number_that_cannot_be_read_is_not_done() -> None:
    draft = Draft(unit="cm", readings={"half_neck": "4o cm", "front_length": "50"})
    assert done(draft) == {"front_length"}


def test_whoever_comes_back_goes_on_after_the_last_that_is_done() -> None:
    draft = QUICK
    assert stands_at(draft) == "half_neck"
    draft = with_typed(draft, Blank("readings", "full_length"), "75")
    assert stands_at(draft) == "photo"
    draft = draft.but("photos", (SIDE.but("markings", None),))
    assert stands_at(draft) == "marks"
    draft = draft.but("photos", (SIDE,))
    assert stands_at(draft) == "result"
    assert done(draft) == {"full_length", "photo", "marks"}


def test_who_orders_is_kept_with_the_order() -> None:
    reach = Blank("owner", "reach")
    draft = with_typed(QUICK, reach, "by the mill")
    assert typed_at(draft, reach) == "by the mill"
    assert Draft.from_dict(draft.to_dict()) == draft
    assert "owner" not in with_typed(draft, reach, None).to_dict()


def test_a_photo_from_the_front_is_told_nothing_of_where_the_sheet_stood_at_the_side() -> None:
    draft = with_photo(QUICK, "a", kind="marker_sheet")
    draft = with_typed(draft, Blank("reference", "place", "a"), "near_feet")
    draft = with_typed(draft, Blank("reference", "bar", "a"), "149 mm")
    front = with_photo(draft, "b", view="front", kind="marker_sheet").photos[1]
    assert (front.view, front.reference.place, front.reference.bar) == ("front", "", "149 mm")
    # and a card beside a sheet stood elsewhere too
    card = with_photo(draft, "c", kind="id_card").photos[1]
    assert (card.reference.kind, card.reference.place) == ("id_card", "")
    assert with_photo(draft, "d").photos[1].reference == draft.photos[0].reference
