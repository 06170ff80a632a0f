"""A photo that seems to be none of a dog side-on: said at once, with what to do, and a way on."""

from __future__ import annotations

import streamlit as st

from photocheck.orders.draft import DraftPhoto
from photocheck.propose.why_none import said_of
from photocheck.speech import tr
from photocheck_app.owner import tags_shown
from photocheck_app.owner.way import Way
from photocheck_app.proposals import proposal_in
from photocheck_app.shared import as_text, owners_store


def of(way: Way, photo: DraftPhoto) -> str:
    """Why a photo is refused, and what to do; empty where it is not, or somebody knows better.

    Marks and tags on the dog tell more than the look of it.
    """
    if photo.from_front or photo.first.marks or st.session_state.get(_known(way, photo)):
        return ""
    if tags_shown.found_in(way, photo).marks:
        return ""
    proposal = proposal_in(owners_store(), way.key, photo)
    return said_of(proposal.why_none) if proposal.refused else ""


def ask(way: Way, photo: DraftPhoto) -> None:
    """Say so, and let whoever sees the dog go on."""
    said = of(way, photo)
    if not said:
        return
    st.warning(as_text(said), icon=":material/pets:")
    st.button(
        tr("It stands side-on: go on with this photo"),
        key=f"side_on/{photo.file}",
        on_click=_go_on,
        args=(way, photo),
        width="stretch",
    )


def _go_on(way: Way, photo: DraftPhoto) -> None:
    st.session_state[_known(way, photo)] = True


def _known(way: Way, photo: DraftPhoto) -> str:
    return f"{way.key}/side-on/{photo.file}"
