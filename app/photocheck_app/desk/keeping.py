"""What staff made of an order: kept, and checked where nothing is missing."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.completing import keep_completed, still_lacking
from photocheck.orders.draft import Draft
from photocheck.orders.model import Order
from photocheck.server import bench
from photocheck.speech import tr
from photocheck_app.desk.moves import check_anew, say_on_arrival
from photocheck_app.desk.shop_files import checked_by_shop
from photocheck_app.shared import as_text, store


def keep_and_check(order: Order, who: str, draft: Draft, *, keep: bool) -> bool:
    """Keep a changed order and check it.

    Parameters
    ----------
    order : Order
        As it was on the screen.
    who : str
    draft : Draft
        What it is to say, made of its `photocheck.orders.completing.working_copy`.
    keep : bool
        Whether its owner is to find it so; else it stands in the check only.

    Returns
    -------
    bool
        Whether all that was asked for is done; where not, why not is shown.
    """
    told = _told_by_tags(order, draft)
    if told is None:
        return False
    draft, lacking = told, still_lacking(told)
    if (keep or lacking) and not _kept(order, draft):
        return False
    if lacking:
        _say_kept(lacking)
        return True
    return check_anew(lambda: checked_by_shop(order.key, who, draft))


def keep_only(order: Order, draft: Draft) -> bool:
    """Keep a changed order and say what it lacks; whether that could be done.

    Parameters
    ----------
    order, draft
        As for `keep_and_check`.
    """
    if not _kept(order, draft):
        return False
    _say_kept(still_lacking(draft))
    return True


def _told_by_tags(order: Order, draft: Draft) -> Draft | None:
    """With the marks that tags place; None where that could not be seen, and why is shown."""
    try:
        return bench.told_by_tags(store(), order.key, draft)
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return None


def _kept(order: Order, draft: Draft) -> bool:
    try:
        keep_completed(store(), order, draft)
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return False
    return True


def _say_kept(lacking: Sequence[str]) -> None:
    said = tr("Kept. Before it can be checked: {what}", what=" ".join(lacking))
    say_on_arrival(said if lacking else tr("Kept."))
