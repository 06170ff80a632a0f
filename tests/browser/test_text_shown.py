"""What people typed, as a browser shows it: letters, and nothing that can be pressed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.support.pages import Visitors

pytestmark = pytest.mark.browser

TYPED = (
    "https://strange.example/sign-in",
    "Juno (http://strange.example)",
    "www.strange.example",
    "WWW.strange.example/a?b=c",
    "![a](http://strange.example/a.png)",
    "<https://strange.example>",
    "[a]: http://strange.example",
)

SCRIPT = """import streamlit as st
from photocheck_app.shared import as_text

for text in {typed!r}:
    st.markdown(as_text(text))
st.markdown("[a true one](https://known.example)")
"""


def test_an_address_that_somebody_typed_is_no_link(
    visitors: Visitors, serve: Callable[[Path], str], tmp_path: Path
) -> None:
    script = tmp_path / "page.py"
    script.write_text(SCRIPT.format(typed=TYPED), encoding="utf-8")
    page = visitors.come().new_page()
    page.goto(serve(script))
    expect(page.get_by_text("a true one")).to_be_visible(timeout=60_000)
    there = page.locator("[data-testid=stMarkdown] a, [data-testid=stMarkdown] img")
    assert there.evaluate_all("all => all.map((one) => one.href || one.src)") == [
        "https://known.example/"
    ]
    shown = page.locator("[data-testid=stMain]").inner_text().replace("\u2060", "")
    assert [text for text in TYPED if text not in shown] == []
