"""What somebody types or places: kept at the start of the next run, whatever the last one came to.

Streamlit may break a run or a callback off when the next change arrives, and does not call it
again.  So nothing is kept by the widgets' own callbacks: each is watched, and what the browser
has sent for it is looked at before anything else.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Final

import streamlit as st

GONE: Final = object()
"""Read of what the page no longer shows."""

_WATCHED: Final = "photocheck watched"


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
    """

    known: Any
    keep: Callable[[Any], object]
    read: Callable[[], Any]


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
    st.session_state[name] = now
    _watched()[name] = _Watched(now, keep, partial(_value_of, name))
    return name


def keep(name: str, value: Any) -> bool:
    """Keep a value of something that is watched; whether that changed anything."""
    one = _watched().get(name)
    if one is None or value == one.known:
        return False
    changed = bool(one.keep(value))
    _watched()[name] = replace(one, known=value)
    return changed


def keep_all() -> None:
    """Keep what was changed since the last run; at the start of every run."""
    for name, one in list(_watched().items()):
        value = one.read()
        if value is GONE:
            del _watched()[name]
        else:
            keep(name, value)


def _value_of(name: str) -> Any:
    return st.session_state.get(name, GONE)


def _watched() -> dict[str, _Watched]:
    found: dict[str, _Watched] = st.session_state.setdefault(_WATCHED, {})
    return found
