"""The learner's way: place marks on dogs whose true marks are known."""

from __future__ import annotations

from typing import Final

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.screens import MARKS
from photocheck.server.access.addresses import LINK
from photocheck.speech import later, tr
from photocheck.words import UNIT_WORDS
from photocheck_app.doors.paths import CAME_FROM
from photocheck_app.kept import hold
from photocheck_app.practise import exercise, own_photo, pattern_page
from photocheck_app.practise.learner import learner
from photocheck_app.practise.remembered import remember
from photocheck_app.shared import as_text, begin_at_top, lead_to

PARTS: Final = {
    "dogs": later("Practice dogs"),
    "pattern": later("Your pattern"),
    "own": later("Your own photo"),
}
_SHOW: Final = {
    "dogs": exercise.show,
    "pattern": pattern_page.show,
    "own": own_photo.show,
}


def page() -> None:
    """The whole way."""
    _lead_back()
    st.title(tr("Practise the marks"), anchor=False)
    _choose("part", tr("What to practise"), {part: tr(title) for part, title in PARTS.items()})
    try:
        _SHOW[learner().part]()
    except PhotocheckError as error:
        st.error(as_text(str(error)))
    _choose("unit", tr("Unit"), {unit: tr(word) for unit, word in UNIT_WORDS.items()})
    remember()
    begin_at_top(f"{learner().part} {learner().stage}")


def _lead_back() -> None:
    """To the order whose marks somebody came from."""
    key = st.query_params.get(CAME_FROM, "")
    if key:
        lead_to(
            "",
            tr("Back to your dog's photo"),
            ":material/arrow_back:",
            query={LINK: key, "step": MARKS},
        )


def _choose(what: str, label: str, titles: dict[str, str]) -> None:
    """One of the lasting choices; kept where leaving the page does not reach it."""
    now = getattr(learner(), what)

    def keep(chosen: str | None) -> None:
        # Pressed once more, the one chosen is let go of: it stays.
        if chosen:
            setattr(learner(), what, chosen)

    st.segmented_control(
        label,
        list(titles),
        format_func=titles.__getitem__,
        key=hold(f"practise_{what}", now, keep),
        label_visibility="collapsed",
    )
