"""An order completed by staff: what they fill in, add or replace for the owner, and what it lacks.

Staff work on the order's draft as its owner does, so that each sees what the other has told.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from photocheck.orders.corrections import changes
from photocheck.orders.draft import Draft
from photocheck.orders.filling import NOBODY, Blank, Hand, new_photo, with_typed
from photocheck.orders.gaps import gaps
from photocheck.orders.model import Order, OrderError, Store
from photocheck.speech import tr


def working_copy(order: Order) -> Draft:
    """What staff go on with: what was told since the last check, else what that rests on.

    A check by staff may rest on more than the draft, on their own marks say; the draft of an
    owner who has told nothing since is then one that some check has seen.
    """
    return order.told if _seen(order) else order.draft


def unchecked_changes(order: Order) -> tuple[str, ...]:
    """What was told since the last check, as short texts; none before the first."""
    if not order.checks or _seen(order):
        return ()
    return changes(order.told, order.draft) or (tr("something else"),)


def _seen(order: Order) -> bool:
    return any(check.case == order.draft for check in order.checks)


def is_being_told(order: Order) -> bool:
    """Whether something is told that no check has seen: what staff add belongs to that."""
    return not order.checks or not _seen(order)


def still_lacking(draft: Draft) -> tuple[str, ...]:
    """What keeps a draft from being checked, each a sentence."""
    return tuple(gap.sentence for gap in gaps(draft))


def filled_in(draft: Draft, typed: Mapping[Blank, str], hand: Hand = NOBODY) -> Draft:
    """A copy of the draft with blanks as they now stand; an empty text empties one.

    Whether it can be understood is seen when the draft is checked.

    Parameters
    ----------
    draft : Draft
    typed : mapping of Blank to str
        Whole numbers of months for an age; anything else as typed.
    hand : Hand
        Who tells it, and when.

    Raises
    ------
    OrderError
        When the age is no number.
    """
    for blank, text in typed.items():
        value: str | float = text.strip()
        if (blank.part, blank.name) == ("dog", "age_months") and value:
            value = _months(text)
        draft = with_typed(draft, blank, value, hand)
    return draft


def with_photo_replaced(draft: Draft, old: str, new: str) -> Draft:
    """A copy of the draft with another photo in the place of one.

    What was told of its reference stays, for it is mostly the same thing taken again; where it
    was seen and what was marked is of the old picture.
    """
    number = draft.number_of(old)
    if number is None or draft.number_of(new) is not None:
        return draft
    before = draft.photos[number]
    told = before.reference.only(("kind", "place", "offset", "offset_spread", *SIZES_TOLD))
    photo = new_photo(new, told).but("view", before.view or None)
    return draft.with_photo_changed(number, photo)


SIZES_TOLD: Final = ("bar", "length", "diameter")
"""What is told of a reference's size."""


def _months(text: str) -> float:
    number = text.strip().replace(",", ".", 1)
    if not number.replace(".", "", 1).isdecimal():
        raise OrderError(
            tr("the age '{text}' is no number of months", text=text.strip()[:40]),
            do=tr("Write the months, such as 18"),
        )
    return float(number)


def keep_completed(store: Store, seen: Order, draft: Draft) -> None:
    """Keep what staff made of the order they saw.

    Parameters
    ----------
    store : Store
    seen : Order
        As it was on the screen.
    draft : Draft
        Of its `working_copy`.

    Raises
    ------
    OrderError
        When the owner or somebody else has told something else since; nothing is changed then.
    """

    def edit(now: Draft) -> Draft:
        if now not in (seen.draft, draft):
            raise OrderError(
                tr("this order was changed by somebody else meanwhile"),
                do=tr("Look at it as it is now; what you typed is still here"),
            )
        return draft

    store.change_draft(seen.key, edit)
