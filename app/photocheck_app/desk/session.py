"""What the desk keeps between runs: words and marks not sent yet, decoded photos, pictures."""

from __future__ import annotations

from functools import partial
from typing import Any, Final

import streamlit as st

from photocheck.orders.bounds import LONGEST_MESSAGE
from photocheck.orders.model import Check
from photocheck.server import bench
from photocheck.speech import spoken
from photocheck_app import kept
from photocheck_app.shared import store

MOST_UNSENT: Final = 1000
"""Fields kept for people who may come back; the oldest goes first."""

Field = tuple[str, str, str]
"""Who typed, the order's key, the name of the field."""


@st.cache_resource
def _unsent() -> dict[Field, Any]:
    # On the server and not in the session: a reload is a new session.
    return {}


def unsent(who: str, order: str, name: str, default: Any = None) -> Any:
    """What somebody left in a field of an order without sending it."""
    return _unsent().get((who, order, name), default)


def keep_unsent(who: str, order: str, name: str, value: Any) -> bool:
    """Keep a field's value until it is sent; always something new to keep.

    No field takes longer words than a message; what a page sends beyond is not kept.
    """
    if isinstance(value, str) and len(value) > LONGEST_MESSAGE:
        return False
    fields = _unsent()
    fields.pop((who, order, name), None)
    fields[who, order, name] = value
    while len(fields) > MOST_UNSENT:
        fields.pop(next(iter(fields)), None)
    return True


def unsent_words(who: str, order: str, start: str) -> dict[str, str]:
    """The texts somebody left in an order's fields whose names begin so, by those names."""
    return {
        name: value
        for (by, key, name), value in list(_unsent().items())
        if (by, key) == (who, order) and name.startswith(start) and isinstance(value, str)
    }


def drop_unsent(who: str, order: str, *starts: str) -> None:
    """Forget what has been sent: every field whose name begins with one of `starts`."""
    for field in list(_unsent()):
        if field[:2] == (who, order) and field[2].startswith(starts):
            _unsent().pop(field, None)
    for key in list(st.session_state):
        if str(key).startswith(tuple(field_key(order, start) for start in starts)):
            del st.session_state[key]


def drop_order(order: str) -> None:
    """Forget what anybody typed for an order that was deleted."""
    for field in [field for field in list(_unsent()) if field[1] == order]:
        _unsent().pop(field, None)
    for key in [key for key in list(st.session_state) if order in str(key)]:
        del st.session_state[key]


def field_key(order: str, name: str) -> str:
    """The key of a widget that belongs to an order."""
    return f"desk {order} {name}"


def begun(who: str, order: str, name: str, default: Any) -> Any:
    """What a widget begins with: what was left there, else `default`; the same while it is shown.

    What is then typed in it is kept until it is sent.

    Given to the widget as its value and not put into the session: the browser takes a value
    put there only at once, and misses it while the widget is folded away.
    """
    key = field_key(order, name)
    if key not in st.session_state:
        st.session_state[f"{key} begun"] = unsent(who, order, name, default)
    begin = st.session_state.setdefault(f"{key} begun", default)
    kept.watch(key, begin, partial(keep_unsent, who, order, name))
    return begin


def picture_of(order: str, check: Check, index: int) -> bytes:
    """The annotated photo of a check as JPEG, without banner and table."""
    return bench.picture(store(), order, (check.number, spoken()), check.told, index, bare=True)
