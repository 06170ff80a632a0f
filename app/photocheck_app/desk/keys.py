"""The keys of the desk: what each presses, shown by "?", and how they are turned off."""

from __future__ import annotations

import json
from collections.abc import Mapping
from html import escape
from typing import Final

import streamlit as st

from photocheck.speech import later, tr

_DECISION: Final = '[class*="st-key-desk"][class*="-choice"] input[value="{}"]'
"""The nth of the choices, which the framework numbers from 0."""

OF_ORDER: Final[Mapping[str, tuple[str, str]]] = {
    "n": (".st-key-next button", later("next waiting order")),
    "p": (".st-key-before button", later("previous waiting order")),
    "l": (".st-key-desk_to_all button", later("all orders")),
    "m": (".st-key-to_marks button", later("correct the marks")),
    "e": (".st-key-desk_correct button", later("correct a reading")),
    "a": (_DECISION.format(0), later("accept")),
    "w": (_DECISION.format(1), later("ask again")),
    "x": (_DECISION.format(2), later("refuse")),
    "s": (".st-key-decide button", later("record the decision")),
}
"""On an order's page: key, what it presses (CSS), and what that does."""

OF_LIST: Final[Mapping[str, tuple[str, str]]] = {
    "/": (".st-key-desk_find input", later("find")),
    "o": ('[class*="st-key-desk_open_"] button', later("open the first order")),
    "b": (".st-key-desk_bulk button", later("accept what agrees")),
}
"""On the list."""

HELP: Final = "?"
_HELP_PRESSES: Final = ".st-key-desk_keys button"
_ON: Final = "desk_keys_on"


def show(keys: Mapping[str, tuple[str, str]]) -> None:
    """A button that names the keys and turns them off, and the keys themselves."""
    with st.popover(HELP, help=tr("Keys"), key="desk_keys"):
        lines = "".join(
            f"<tr><td><kbd>{escape(key)}</kbd></td><td>{escape(text)}</td></tr>"
            for key, text in (
                *((key, tr(title)) for key, (_, title) in keys.items()),
                (HELP, tr("this list")),
            )
        )
        st.html(f'<table class="figures">{lines}</table>')
        on = st.toggle(tr("Keys work"), True, key=_ON, persist_state="session")
    presses = {**{key: where for key, (where, _) in keys.items()}, HELP: _HELP_PRESSES}
    told = json.dumps(list(presses.items()) if on else [])
    st.html(f'<span class="unseen" data-desk-keys="{escape(told)}"></span>')
