"""The pattern over attempts: leanings, scatter, and what is not known yet."""

from __future__ import annotations

from typing import Final

import pandas as pd
import streamlit as st

from photocheck.case.lengths import format_length
from photocheck.practice.dogs import ABOUT
from photocheck.practice.drawing import pattern_alt, pattern_svg
from photocheck.practice.pattern import LEAST_ATTEMPTS, patterns, personal_spread
from photocheck.practice.sentences import mark_title, spread_sentence, tendency_sentences
from photocheck.speech import tr
from photocheck_app.practise.learner import Learner, learner
from photocheck_app.shared import svg_picture

DRAWN_PX: Final = 164
"""Two fit beside each other on a phone."""


def show() -> None:
    """What the attempts so far say."""
    now = learner()
    spread = personal_spread(now.attempts)
    if spread is None:
        st.info(
            tr(
                "Nothing yet. Mark a practice dog first; after {least} dogs a pattern can show.",
                least=LEAST_ATTEMPTS,
            )
        )
        return
    if spread.dogs >= LEAST_ATTEMPTS:
        st.markdown(f"**{spread_sentence(spread, now.unit)}**")
    found = patterns(now.attempts)
    st.markdown("\n".join(f"- {said}" for said in tendency_sentences(found, now.unit)))
    with st.container(horizontal=True):
        for pattern in found:
            with st.container(width=DRAWN_PX):
                st.markdown(f"**{mark_title(pattern.landmark)}**")
                drawn = pattern_svg(pattern, now.unit)
                st.html(svg_picture(drawn, pattern_alt(pattern), f"{DRAWN_PX}px"))
    st.caption(
        tr(
            "Each dot is one dog, drawn about the true mark with the head to the left; the bars "
            "show where you tend to place it, and how sure that is. Only the first try at each "
            "dog counts, for the second was made knowing the answer."
        )
    )
    _attempts(now)
    st.caption(
        tr(
            "Your attempts stay in this tab of your browser, also over a reload; nobody else sees "
            "them, and closing the tab forgets them."
        )
    )


def _attempts(now: Learner) -> None:
    rows = [
        {
            mark_title(name): format_length(miss.distance_mm, now.unit)
            for name, miss in attempt.misses.items()
        }
        for attempt in now.attempts
    ]
    dogs = pd.Index([ABOUT[attempt.dog].title for attempt in now.attempts], name=tr("dog"))
    with st.expander(tr("All attempts")):
        st.table(pd.DataFrame(rows, index=dogs))
