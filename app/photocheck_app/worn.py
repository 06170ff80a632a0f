"""The tags in an order's photos: looked for once, for its owner and at the desk."""

from __future__ import annotations

import streamlit as st

from photocheck.orders.draft import DraftPhoto
from photocheck.orders.model import Store
from photocheck.orders.worn_tags import FoundTags
from photocheck.server import bench
from photocheck.speech import spoken
from photocheck_app.shared import unless_unseen


def tags_in_photo(store: Store, key: str, photo: DraftPhoto) -> FoundTags:
    """The tags of one photo; none where it cannot be looked at now.

    Parameters
    ----------
    store : Store
        As who asks comes to it.
    key : str
        Of the order, in that store.
    photo : DraftPhoto

    Raises
    ------
    StoreError
    """
    said_in = spoken()
    return unless_unseen(
        lambda: _found(store, key, photo.file, photo.view or "side", said_in), FoundTags()
    )


@st.cache_data(show_spinner=False, max_entries=96)
def _found(_store: Store, key: str, name: str, view: str, said_in: str) -> FoundTags:
    return bench.tags_found(_store, key, name, view)
