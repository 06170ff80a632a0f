"""What staff made of an order: kept, and checked where nothing is missing."""

from __future__ import annotations

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.completing import keep_completed, still_lacking
from photocheck.orders.draft import Draft
from photocheck.orders.model import Order
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
    lacking = still_lacking(draft)
    try:
        if keep or lacking:
            keep_completed(store(), order, draft)
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return False
    if lacking:
        said = tr("Kept. Before it can be checked: {what}", what=" ".join(lacking))
        say_on_arrival(said)
        return True
    return check_anew(lambda: checked_by_shop(order.key, who, draft))
