"""The marking surface under any key: orders' keys are random and hold what they please."""

from __future__ import annotations

import itertools
import json

import pytest
from streamlit.testing.v1 import AppTest


def page() -> None:
    import numpy as np
    import streamlit as st

    from photocheck_app.marking import marking_surface

    for key in st.session_state["keys"]:
        marking_surface(np.full((30, 40, 3), 90, np.uint8), key=key)


def names(*keys: str) -> list[str]:
    app = AppTest.from_function(page)
    app.session_state["keys"] = keys
    app.run()
    assert not app.exception, app.exception
    found = app.get("bidi_component")
    return [json.loads(component.proto.json)["name"] for component in found]


@pytest.mark.parametrize("key", ["a__b/photo-1/none", "a___b", "_a", "a_", "-_-__"])
def test_a_key_may_have_underscores_in_a_row(key: str) -> None:
    assert len(names(key)) == 1


def test_no_two_keys_become_one() -> None:
    keys = ["".join(letters) for letters in itertools.product("_.a", repeat=3)]
    found = names(*keys)
    assert len(set(found)) == len(keys)
