"""What somebody types or places: kept at the start of the next run, whatever the last one came to.

Streamlit may break a run or a callback off when the next change arrives, and does not call it
again.  So nothing is kept by the widgets' own callbacks: each is watched, and what the browser
has sent for it is looked at before anything else.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
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
        Keeps another value; whether that changed anything.
    read : callable
        What the browser last sent, or `GONE`.
    """

    known: Any
    keep: Callable[[Any], bool]
    read: Callable[[], Any]


def watch(
    name: str,
    known: Any,
    keep: Callable[[Any], bool],
    *,
    read: Callable[[], Any] | None = None,
) -> None:
    """Have something kept from now on; nothing changes for what is watched already.

    Parameters
    ----------
    name : str
        Of the widget, if it is one.
    known : object
        What is kept now.
    keep : callable
        Given a value, keeps it, and says whether that changed anything.
    read : callable, optional
        What the browser last sent, or `GONE`; without it, the widget's value.
    """
    reads = read or (lambda: st.session_state.get(name, GONE))
    _watched().setdefault(name, _Watched(known, keep, reads))


def keep(name: str, value: Any) -> bool:
    """Keep a value of something that is watched; whether that changed anything."""
    one = _watched().get(name)
    if one is None or value == one.known:
        return False
    changed = one.keep(value)
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


def _watched() -> dict[str, _Watched]:
    found: dict[str, _Watched] = st.session_state.setdefault(_WATCHED, {})
    return found
