"""What a page keeps between its runs, whatever becomes of a run."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from photocheck_app import kept

PAGE = """
import streamlit as st
from photocheck_app.kept import hold, keep_all, watch

home = st.session_state.setdefault("home", {"text": "begun", "choice": "a", "kept": 0})
keep_all()

def keep(name):
    def keeping(value):
        home[name] = value
        home["kept"] += 1
    return keeping

if st.checkbox("broken off", key="broken"):
    st.stop()
if not st.checkbox("hidden", key="hidden"):
    st.text_input("Text", home["text"], key=watch("text", home["text"], keep("text")))
st.radio("Choice", ["a", "b", "c"], key=hold("choice", home["choice"], keep("choice")))
if st.button("other", key="other", on_click=lambda: home.update(choice="c")):
    pass
"""


@pytest.fixture
def page() -> AppTest:
    return AppTest.from_string(PAGE).run()


def home(page: AppTest) -> dict[str, object]:
    assert not page.exception
    return dict(page.session_state["home"])


def test_what_came_with_a_run_that_drew_nothing_is_kept(page: AppTest) -> None:
    page.text_input(key="text").input("typed")
    page.radio(key="choice").set_value("b")
    page.checkbox(key="broken").check().run()
    assert home(page) == {"text": "typed", "choice": "b", "kept": 2}
    page.run()
    assert home(page)["kept"] == 2, "the same is not kept twice"


def test_a_choice_changed_by_another_way_is_not_taken_for_the_visitors(page: AppTest) -> None:
    page.radio(key="choice").set_value("b").run()
    page.button(key="other").click().run()
    assert page.radio(key="choice").value == "c"
    page.run()
    assert home(page) == {"text": "begun", "choice": "c", "kept": 1}


def test_a_field_that_went_begins_anew(page: AppTest) -> None:
    page.text_input(key="text").input("typed").run()
    page.checkbox(key="hidden").check().run()
    page.run()
    assert "text" not in page.session_state["photocheck watched"]
    page.checkbox(key="hidden").uncheck().run()
    assert page.text_input(key="text").value == "typed"
    assert home(page)["kept"] == 1


def test_what_is_typed_is_kept_at_the_start_of_the_pages() -> None:
    text = (Path(kept.__file__).parent / "main.py").read_text(encoding="utf-8")
    assert text.index("keep_all()") < text.index("st.navigation(")
