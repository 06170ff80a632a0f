"""What is proposed for an order's photos: worked out once, and nothing of it is a mark."""

from __future__ import annotations

import logging
from typing import Final

import streamlit as st

from photocheck.orders.draft import DraftPhoto
from photocheck.orders.model import Store
from photocheck.propose.network import WeightsError
from photocheck.propose.proposal import NOTHING, Proposal
from photocheck.server import bench
from photocheck_app.shared import unless_unseen

_log = logging.getLogger(__name__)

MOST: Final = 96
"""Proposals that are held; each has a few hundred numbers."""


def proposal_in(store: Store, key: str, photo: DraftPhoto) -> Proposal:
    """What is proposed for one photo; nothing from the front, and where it cannot be told now.

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
    if photo.from_front or not photo.file:
        return NOTHING
    return unless_unseen(lambda: _unless_damaged(store, key, photo.file), NOTHING)


def _unless_damaged(store: Store, key: str, name: str) -> Proposal:
    try:
        return _proposal(store, key, name)
    except WeightsError as error:
        _log.warning("%s", error)  # lines of one kind are counted there
        return NOTHING


@st.cache_data(show_spinner=False, max_entries=MOST)
def _proposal(_store: Store, key: str, name: str) -> Proposal:
    return bench.proposed(_store, key, name)
