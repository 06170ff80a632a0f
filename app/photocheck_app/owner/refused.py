"""A photo that seems to be none of a dog side-on: said at once, with what to do, and a way on."""

from __future__ import annotations

import streamlit as st

from photocheck.orders.draft import DraftPhoto
from photocheck.orders.filling import with_declined
from photocheck.propose.why_none import said_of
from photocheck.speech import tr
from photocheck.words import VIEW_DECLINED
from photocheck_app.outage import guarded
from photocheck_app.owner import tags_shown
from photocheck_app.owner.way import Way, change
from photocheck_app.proposals import proposal_in
from photocheck_app.shared import as_text, owners_store


def of(way: Way, photo: DraftPhoto) -> str:
    """Why a photo is refused, and what to do; empty where it is not, or somebody knows better.

    Marks and tags on the dog tell more than the look of it.
    """
    if photo.from_front or photo.first.marks or VIEW_DECLINED in photo.declined:
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
        args=(way.key, photo.file),
        width="stretch",
    )


@guarded
def _go_on(key: str, file: str) -> None:
    change(key, lambda draft: with_declined(draft, file, VIEW_DECLINED))
