"""Going from one view of the desk to another, and what is said on arrival."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape
from typing import Literal
from zoneinfo import ZoneInfo

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.model import Check
from photocheck.server.bench import at_work
from photocheck.speech import tr
from photocheck.words import VERDICT_TITLES
from photocheck_app.address import Address
from photocheck_app.shared import as_text

ADDRESS = Address(("case", "check", "do"))
"""What the desk shows: an order, one of its checks, a task."""

_SAID = "desk said"


def go(**places: str) -> None:
    """Show something else of the desk; the browser's back button undoes it."""
    ADDRESS.go(**places)


@dataclass(frozen=True)
class FollowUp:
    """What may be done about something that was just said.

    Attributes
    ----------
    key, title : str
        Of its button.
    do : callable
    """

    key: str
    title: str
    do: Callable[[], None]


def say_on_arrival(text: str, *offers: FollowUp) -> None:
    """Say something once, after the next rerun, with what may be done about it."""
    st.session_state[_SAID] = (text, offers)


def say_now() -> None:
    """What `say_on_arrival` was given."""
    text, offers = st.session_state.pop(_SAID, ("", ()))
    if not text:
        return
    said = f'<div class="arrived" role="status">{escape(text)}</div>'
    if not offers:
        st.html(said)
        return
    with st.container(key="desk_said", horizontal=True, vertical_alignment="center"):
        st.html(said, width="content")
        for offer in offers:
            st.button(offer.title, key=offer.key, on_click=offer.do)


def when(at: datetime | None) -> str:
    """A moment in the visitor's own time zone."""
    if at is None:
        return ""
    try:
        zone = ZoneInfo(st.context.timezone or "UTC")
    except (KeyError, ValueError):
        zone = ZoneInfo("UTC")
    return (at if at.tzinfo else at.replace(tzinfo=UTC)).astimezone(zone).strftime("%Y-%m-%d %H:%M")


def choose_photo(
    number: int,
    key: str,
    *,
    first: int = 0,
    label_visibility: Literal["visible", "collapsed"] = "visible",
) -> int:
    """Which of so many photos is looked at, from 0; at first the one numbered `first`."""
    if number < 2:
        return 0
    chosen = st.segmented_control(
        tr("Photo"),
        range(number),
        format_func=lambda k: tr("Photo {number}", number=k + 1),
        default=first,
        required=True,
        key=key,
        label_visibility=label_visibility,
    )
    return min(first if chosen is None else chosen, number - 1)


def check_anew(run: Callable[[], Check]) -> bool:
    """Run a check and say what came of it; False, with the reason shown, when it failed."""
    try:
        with st.spinner(tr("Checking …")), at_work():
            made = run()
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return False
    verdict = tr(VERDICT_TITLES[made.report.verdict])
    say_on_arrival(tr("Checked again: {verdict}.", verdict=verdict))
    return True
