"""The places of the desk that are no single order, and the way from one to another."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import streamlit as st

from photocheck.speech import later, tr
from photocheck_app.desk import (
    cutting_page,
    import_page,
    learnt_page,
    order_list,
    reminders,
    shop_figures,
)
from photocheck_app.desk.moves import go


@dataclass(frozen=True)
class Place:
    """A place of the desk.

    Attributes
    ----------
    title : str
        As its button says, for `tr`.
    show : callable
        Shows it to whoever is named.
    """

    title: str
    show: Callable[[str], None]


PLACES: Final[dict[str, Place]] = {
    "": Place(later("Orders"), order_list.show),
    "unanswered": Place(later("Unanswered"), reminders.show),
    "import": Place(later("Bring in"), import_page.show),
    "cutting": Place(later("Cutting list"), cutting_page.show),
    "figures": Place(later("How well do we check?"), shop_figures.show),
    "learnt": Place(later("What was learnt"), learnt_page.show),
}
"""By what the address says (`do`), in the order of their buttons."""


def show(name: str, who: str) -> None:
    """The place with the ways to the others; the orders where there is no such place."""
    here = name if name in PLACES else ""
    if len(PLACES) > 1:
        with st.container(horizontal=True, gap="xsmall", key="desk_places"):
            for other, place in PLACES.items():
                st.button(
                    tr(place.title),
                    key=f"desk_place_{other or 'orders'}",
                    type="primary" if other == here else "tertiary",
                    on_click=go,
                    kwargs={"do": other} if other else {},
                )
    PLACES[here].show(who)
