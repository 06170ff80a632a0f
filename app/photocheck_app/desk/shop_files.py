"""The shop's own files for the pages: its sizes, what it has learnt, its messages."""

from __future__ import annotations

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.fit.shelf import Size
from photocheck.judge.ratios import Ratios
from photocheck.judge.tolerances import Tolerances
from photocheck.orders.draft import Draft
from photocheck.orders.model import Check
from photocheck.server.run import run_check
from photocheck.server.shop import shop_of
from photocheck.speech import tr
from photocheck_app.shared import as_text, store


def shop_ratios() -> Ratios | None:
    """What every check uses; None for the ratios that are shipped.

    Raises
    ------
    PhotocheckError
        When the shop's file cannot be used: nothing may be checked with others in its place.
    """
    return shop_of().learnt()


def shop_tolerances() -> Tolerances:
    """What the shop lets pass, for every check.

    Raises
    ------
    PhotocheckError
        When the shop's tolerances cannot be read.
    """
    return shop_of().tolerated()


def shop_sizes() -> tuple[Size, ...]:
    """The shop's shelf; empty when it makes everything to measure.

    Raises
    ------
    PhotocheckError
        When the shop's file cannot be used.
    """
    return shop_of().sizes()


def shop_templates() -> str | None:
    """The folder of the shop's messages; None for those that are shipped.

    Raises
    ------
    PhotocheckError
        When the environment cannot be understood.
    """
    return shop_of().templates or None


def checked_by_shop(key: str, who: str, draft: Draft | None = None) -> Check:
    """Check an order of the store as the shop has it, and append the outcome to its history.

    Parameters
    ----------
    key, who : str
        Which order, and who checks.
    draft : Draft, optional
        What to check instead of the owner's.

    Raises
    ------
    PhotocheckError
        As `photocheck.server.run.run_check` does, or when the shop's files cannot be used.
    """
    return run_check(
        store(), key, by=who, draft=draft, ratios=shop_ratios(), tolerated=shop_tolerances()
    )


def tell_problems() -> None:
    """Say what is wrong with the shop's files, and what cannot be done until it is put right."""
    for read, so in (
        (shop_tolerances, tr("Until this is put right, nothing can be checked.")),
        (shop_ratios, tr("Until this is put right, nothing can be checked.")),
        (shop_sizes, tr("Until this is put right, no size and no cut is given.")),
    ):
        try:
            read()
        except PhotocheckError as error:
            st.error(as_text(f"{error} {so}"))
