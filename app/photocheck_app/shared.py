"""What every way of the app uses: the language, the store, photos, drawings, text as it is."""

from __future__ import annotations

import base64
import re
from html import escape
from pathlib import Path
from typing import Final

import streamlit as st

from photocheck.orders.model import Store
from photocheck.orders.store import DatabaseStore
from photocheck.server.access.linked import LinkedStore
from photocheck.server.shop import shop_of
from photocheck.speech import LANGUAGES, tr
from photocheck.uploads import BusyError, Limits
from photocheck_app.doors.settings import the_store

_DRAWINGS = Path(__file__).parent / "drawings"


def language() -> str:
    """The visitor's language: as chosen, else as in the address, else as the browser asks."""
    asked = st.session_state.get("language") or st.query_params.get("language")
    wanted = asked or (st.context.locale or "en")[:2]
    return wanted if wanted in LANGUAGES else "en"


def choose_language() -> None:
    """Let the visitor choose; the page and the order stay as they are."""
    spoken = language()
    if "language" in st.session_state and st.query_params.get("language") != spoken:
        # Kept in the address, so that a reload speaks the same.
        st.query_params["language"] = spoken

    def chosen() -> None:
        st.session_state["language"] = st.session_state["language_choice"] or spoken

    st.session_state["language_choice"] = spoken
    st.segmented_control(
        # Found by everybody, whatever is spoken now.
        "Language · Sprache",
        list(LANGUAGES),
        format_func=LANGUAGES.__getitem__,
        key="language_choice",
        on_change=chosen,
    )


def store() -> DatabaseStore:
    """The one store of this server, for the desk alone."""
    return the_store()


def owners_store() -> Store:
    """The same as owners come to it: by what their links carry."""
    return LinkedStore(store())


def say_busy(error: BusyError) -> None:
    """Say that it is too much just now, with a way to try again."""
    st.warning(as_text(str(error)), icon=":material/hourglass_empty:")
    st.button(tr("Try again"), key="try_again", type="primary")


def limits() -> Limits:
    """What photos are taken in here."""
    return Limits(heic=shop_of().heic)


_to_top = st.components.v2.component(
    "photocheck_to_top",
    # What is new begins at its top; the page itself keeps how far one had scrolled.
    js="""export default function ({ data }) {
      if (window.photocheckShown === data) return;
      const first = window.photocheckShown === undefined;
      window.photocheckShown = data;
      if (!first) document.querySelector('[data-testid="stMain"]')?.scrollTo(0, 0);
    }""",
)


def begin_at_top(shown: str) -> None:
    """Scroll to the top of the page when something else is shown than in the last run."""
    _to_top(data=shown, key="to_top")


def as_text(text: str) -> str:
    """Markdown that shows the text as it is: names and file names are not ours to style."""
    return re.sub(r"([\\`*_\[\]<>$~:#|!])", r"\\\1", text)


STYLE: Final = f"<style>{Path(__file__).with_name('look.css').read_text(encoding='utf-8')}</style>"
"""How the ways for owners and learners look."""


def beside(drawn: str, text: str) -> str:
    """HTML of a drawing with its text beside it, on a phone too."""
    return f'<div class="beside">{drawn}<p>{escape(text)}</p></div>'


def picture(jpeg: bytes, described: str, width: str = "100%") -> str:
    """HTML of a photo.  `st.image` has no words for those who do not see it."""
    style = "border:1px solid #d5dadd;border-radius:.5rem"
    return _image("image/jpeg", jpeg, described, f"width:{width};{style}")


def svg_picture(svg: str, described: str, width: str = "100%") -> str:
    """HTML of an SVG, at a width as CSS has it."""
    return _image("image/svg+xml", svg.encode(), described, f"width:{width}")


def _image(kind: str, content: bytes, described: str, style: str) -> str:
    source = f"data:{kind};base64,{base64.b64encode(content).decode()}"
    style = f"max-width:100%;height:auto;display:block;{style}"
    return f'<img src="{source}" alt="{escape(described)}" style="{style}">'


def drawing(name: str, described: str, *, shown: str = "") -> str:
    """HTML of one of our drawings.

    Parameters
    ----------
    name : str
        Of the file in ``drawings``, without ending.
    described : str
        What it shows, for those who do not see it.
    shown : str
        The part of the drawing to bring out, where it has several.
    """
    return svg_picture(_svg(name, shown), described)


def drawn(name: str, *, shown: str = "") -> str:
    """Markdown of one of our drawings, for the text of an option that is shown as a card.

    It says nothing to those who do not see it: the option's words must do.
    """
    return f"![](data:image/svg+xml;base64,{base64.b64encode(_svg(name, shown).encode()).decode()})"


def _svg(name: str, shown: str) -> str:
    return (_DRAWINGS / f"{name}.svg").read_text(encoding="utf-8").replace("SHOWN", shown)
