"""What somebody types or places: kept at the start of the next run, whatever the last one came to.

Streamlit may break a run or a callback off when the next change arrives, and does not call it
again.  So nothing is kept by the widgets' own callbacks: each is watched, and what the browser
has sent for it is looked at before anything else.

What the store could not take stays here, shown or not, and is tried again in every run; and texts
go to the browser's own memory for that time, so that they outlast a reload and this server.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Final

import streamlit as st

from photocheck.orders.model import StoreError

GONE: Final = object()
"""Read of what the page no longer shows."""

_WATCHED: Final = "photocheck watched"
_BROUGHT: Final = "photocheck brought back"
_TEXTS: Final = "photocheck texts"


@dataclass(frozen=True)
class _Watched:
    """Something that is filled in.

    Attributes
    ----------
    known : object
        What is kept, as far as this visitor knows.
    keep : callable
        Keeps another value, and may say whether that changed anything.
    read : callable
        What the browser last sent, or `GONE`.
    unstored : object
        What could not be kept yet, or `GONE`.
    """

    known: Any
    keep: Callable[[Any], object]
    read: Callable[[], Any]
    unstored: Any = GONE


def watch(
    name: str,
    known: Any,
    keep: Callable[[Any], object],
    *,
    read: Callable[[], Any] | None = None,
) -> str:
    """Have something kept from now on; nothing changes for what is watched already.

    What is known stays as it was while the field is shown: somebody may be typing while a slow
    run is still on its way, and must not lose that by what the run began with.

    Parameters
    ----------
    name : str
        Of the widget, if it is one.
    known : object
        What is kept now.
    keep : callable
        Given a value, keeps it, and may say whether that changed anything.
    read : callable, optional
        What the browser last sent, or `GONE`; without it, the widget's value.

    Returns
    -------
    str
        The name, for the widget's key.
    """
    _watched().setdefault(name, _Watched(known, keep, read or partial(_value_of, name)))
    return name


def text_of(name: str, known: str) -> str:
    """What a field for a text begins with: what could not be kept yet, else what is known.

    Called once the field is watched.  What the browser brought back after a reload becomes the
    field's own value, for the field may be there already.
    """
    st.session_state.setdefault(_TEXTS, set()).add(name)
    brought = st.session_state.get(_BROUGHT, {}).pop(name, None)
    if isinstance(brought, str) and brought != known:
        _watched()[name] = replace(_watched()[name], unstored=brought)
        st.session_state[name] = brought
        return ""  # Streamlit takes a value from one place alone
    unstored = _watched()[name].unstored
    return unstored if isinstance(unstored, str) else known


def unstored_texts() -> dict[str, str]:
    """The texts that could not be kept yet, by their fields' names."""
    return {name: one.unstored for name, one in _watched().items() if isinstance(one.unstored, str)}


def anything_unstored() -> bool:
    """Whether something could not be kept yet."""
    return any(one.unstored is not GONE for one in _watched().values())


def any_new_text() -> bool:
    """Whether a field for a text shows what was not looked at when this run began.

    A page whose server died opens again at another, which learns of its fields only when it draws
    them: then the browser's values are in them, and nobody may press anything after that.
    """
    for name in st.session_state.get(_TEXTS, ()):
        one = _watched().get(name)
        if one is not None and one.unstored is GONE and one.read() not in (GONE, one.known):
            return True
    return False


def anything_brought() -> bool:
    """Whether a browser brought back what no field has taken yet."""
    return bool(st.session_state.get(_BROUGHT))


def bring_back(texts: Any) -> bool:
    """Take what a browser has held for a store that was away; whether there was any."""
    if not isinstance(texts, dict):
        return False
    told = {name: text for name, text in texts.items() if isinstance(text, str)}
    st.session_state[_BROUGHT] = told
    return bool(told)


def hold(name: str, now: Any, keep: Callable[[Any], object]) -> str:
    """The same for a widget that shows in every run what is kept: a choice, not a text.

    Parameters
    ----------
    name : str
        Of the widget, which is given no value of its own.
    now : object
        What is kept now, perhaps by another way than this widget.
    keep : callable

    Returns
    -------
    str
        The name, for the widget's key.
    """
    before = _watched().get(name)
    if before is not None and before.unstored is not GONE:
        now = before.unstored
    else:
        _watched()[name] = _Watched(now, keep, partial(_value_of, name))
    st.session_state[name] = now
    return name


def keep(name: str, value: Any) -> bool:
    """Keep a value of something that is watched; whether that changed anything.

    Raises
    ------
    StoreError
        When the store could not take it; it is tried again in the next run.
    """
    one = _watched().get(name)
    if one is None:
        return False
    if value == one.known:
        # Taken back before it could be kept.
        _watched()[name] = replace(one, unstored=GONE)
        return False
    _watched()[name] = replace(one, unstored=value)
    changed = bool(one.keep(value))
    _watched()[name] = replace(one, known=value, unstored=GONE)
    return changed


def keep_all() -> StoreError | None:
    """Keep what was changed since the last run; at the start of every run.

    Returns
    -------
    StoreError or None
        Why some of it could not be kept.  Nothing more is tried then in this run: each may take
        as long as a store is waited for.
    """
    away = None
    for name, one in list(_watched().items()):
        value = one.read()
        if value is GONE:
            value = one.unstored
        if value is GONE:
            del _watched()[name]
        elif away is None:
            try:
                keep(name, value)
            except StoreError as error:
                away = error
        elif value != one.known:
            _watched()[name] = replace(one, unstored=value)
    return away


def _value_of(name: str) -> Any:
    return st.session_state.get(name, GONE)


def _watched() -> dict[str, _Watched]:
    found: dict[str, _Watched] = st.session_state.setdefault(_WATCHED, {})
    return found
