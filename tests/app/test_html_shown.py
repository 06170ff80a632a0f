"""Pictures within a page's HTML are handed on as they are."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from photocheck_app import shared
from photocheck_app.shared import Html
from tests.support.pictures import encoded, quarters


def _page() -> None:
    import streamlit as st

    from photocheck_app.shared import beside, drawing, picture
    from tests.support.pictures import encoded, quarters

    jpeg = encoded(quarters())
    st.html(picture(jpeg, "a photo"))
    st.html(picture(jpeg, "a photo", outlined=((320, 200), [[(1.0, 1.0), (9.0, 1.0)]])))
    st.html(drawing("side", "a drawing"))
    st.html(beside("<b>drawn</b>", "said"))


def test_no_picture_is_searched_for_lines_to_indent(monkeypatch: pytest.MonkeyPatch) -> None:
    def searched(text: object) -> str:
        raise AssertionError(f"searched: {str(text)[:60]}")

    monkeypatch.setattr("streamlit.elements.html.clean_text", searched)
    page = AppTest.from_function(_page, default_timeout=30).run()
    assert not page.exception
    bodies = [element.proto.body for element in page.get("html")]
    assert bodies[0] == shared.picture(encoded(quarters()), "a photo")
    assert [body[:16] for body in bodies[1:]] == [
        '<div class="outl',
        '<img src="data:i',
        '<div class="besi',
    ]


def test_html_is_text_as_any_other() -> None:
    assert Html("<b>a</b>") + "c" == "<b>a</b>c"
    assert Html("<b>a</b>")._repr_html_() == "<b>a</b>"
