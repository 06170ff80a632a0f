"""What every way of the app uses: the language, the store, photos, drawings, text as it is."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from html import escape
from pathlib import Path
from typing import Final, TypeVar

import streamlit as st
from PIL import Image

from photocheck.case.model import Point
from photocheck.errors import PhotocheckError
from photocheck.orders.model import Store, StoreError
from photocheck.orders.store import DatabaseStore
from photocheck.scale.catalogue import paper_of
from photocheck.server.access.linked import LinkedStore
from photocheck.server.shop import shop_of
from photocheck.speech import LANGUAGES, tr
from photocheck.uploads import BusyError, Limits
from photocheck_app.doors.icon import as_address
from photocheck_app.doors.settings import the_store
from photocheck_app.doors.shell import LOOK
from photocheck_app.doors.whose import whose_page

_DRAWINGS = Path(__file__).parent / "drawings"


T = TypeVar("T")


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


_PAGES = "photocheck pages"


def know_pages(pages: Sequence[st.Page]) -> None:
    """The pages of this run: a link needs the page itself."""
    st.session_state[_PAGES] = {page.url_path: page for page in pages}


def lead_to(
    path: str, label: str, icon: str | None = None, *, query: Mapping[str, str] | None = None
) -> None:
    """A link to another page of the app, by its path ("" for the first), and its query."""
    page = st.session_state.get(_PAGES, {}).get(path)
    if page is not None:
        st.page_link(page, label=label, icon=icon, query_params=query)


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


def unless_unseen(look: Callable[[], T], unseen: T) -> T:
    """What looking at a photo gives, and `unseen` where it cannot be looked at now.

    That is not kept: it may have been but busy.  Why is told where the photo is shown.

    Raises
    ------
    StoreError
    """
    try:
        return look()
    except StoreError:
        raise
    except PhotocheckError:
        return unseen


@contextmanager
def saying() -> Iterator[None]:
    """Say on the page what keeps a part of it from being shown.

    A store that is away is the whole page's to tell.

    Raises
    ------
    StoreError
    """
    try:
        yield
    except BusyError as error:
        say_busy(error)
    except StoreError:
        raise
    except PhotocheckError as error:
        st.error(as_text(str(error)))


def limits() -> Limits:
    """What photos are taken in here."""
    return Limits(heic=shop_of().heic)


_to_top = st.components.v2.component(
    "photocheck_to_top",
    # What is new begins at its top, and is read from there by whoever hears it; the page itself
    # keeps how far one had scrolled.  Fields for numbers bring up the pad, and their Enter goes
    # on, which is one reach less for a hand that holds a tape.
    js="""export default function ({ data }) {
      if (!window.photocheckNumbers) {
        const pads = () => {
          for (const input of document.querySelectorAll('[class*="st-key-number_cm"] input'))
            if (input.inputMode !== 'decimal') {
              input.inputMode = 'decimal';
              input.enterKeyHint = 'next';
            }
        };
        window.photocheckNumbers = new MutationObserver(pads);
        window.photocheckNumbers.observe(document.body, { childList: true, subtree: true });
        pads();
        document.addEventListener('keydown', (event) => {
          if (event.key !== 'Enter' || !event.target.closest) return;
          if (event.target.closest('.st-key-number_cm, .st-key-number_in'))
            setTimeout(() => document.querySelector('.st-key-next button')?.click(), 80);
        });
      }
      if (window.photocheckShown === data) return;
      const first = window.photocheckShown === undefined;
      window.photocheckShown = data;
      if (first) return;
      const main = document.querySelector('[data-testid="stMain"]');
      main?.scrollTo(0, 0);
      const heading = main?.querySelector('h1, h2');
      if (!heading) return;
      heading.tabIndex = -1;
      heading.focus({ preventScroll: true });
    }""",
)


def begin_at_top(shown: str) -> None:
    """Scroll to the top of the page when something else is shown than in the last run."""
    _to_top(data=shown, key="to_top")


def show_shop() -> None:
    """Whose page this is: the workshop's name, how to reach it, in its own colour; or nothing."""
    if whose := whose_page():
        st.html(whose)


def usual_paper() -> str:
    """What is printed on where the visitor's browser says it is: "a4" or "letter"."""
    return paper_of(land()) or "a4"


def land() -> str:
    """Where the visitor's browser says it is, ISO 3166; empty where it does not say."""
    parts = (st.context.locale or "").split("-")[1:]
    return next((part.upper() for part in parts if len(part) == 2), "")


_LINKED: Final = re.compile(r"https?(?=://)|\bwww(?=\.)", re.IGNORECASE)
"""What makes a link of itself (GitHub Flavored Markdown, 6.9, "Autolinks"): escaped or not, for
the page looks for it where the escapes are gone."""


def as_text(text: str) -> str:
    """Markdown that shows the text as it is: names and file names are not ours to style.

    Nor is an address that a stranger typed a link: within it stands a word joiner (U+2060), which
    is not seen.
    """
    unlinked = _LINKED.sub("\\g<0>\u2060", text)
    return re.sub(r"([\\`*_\[\]<>$~:#|!])", r"\\\1", unlinked)


STYLE: Final = f"<style>{LOOK}</style>"
"""How the ways for owners and learners look, and what the owner's has of its own."""


_UPLOADERS: Final = """<style>
/* not hidden, for the button is called by it; the desk has a size of its own for letters */
[data-testid="stFileUploaderDropzone"] button[kind="secondary"] p { font-size: 0 !important; }
[data-testid="stFileUploaderDropzoneInstructions"] { display: none; }
[data-testid="stFileUploaderDropzone"] button[kind="secondary"]::after {
  content: var(--choose-file); }
</style>"""


def uploaders_look() -> str:
    """The framework's uploaders in the visitor's language: their own words are English."""
    label = tr("Choose a file")
    return f'{_UPLOADERS}<style>:root {{ --choose-file: "{label}"; }}</style>'


class Html(str):
    """HTML that Streamlit shows as it is.

    From other text it takes the indentation away, line by line, which takes longer for a photo of
    300 kB than all else on its page; and nothing else in the server goes on meanwhile.
    """

    __slots__ = ()

    def _repr_html_(self) -> str:
        return str(self)


def beside(drawn: str, text: str) -> Html:
    """HTML of a drawing with its text beside it, on a phone too."""
    return Html(f'<div class="beside">{drawn}<p>{escape(text)}</p></div>')


def picture(
    jpeg: bytes,
    described: str,
    width: str = "100%",
    *,
    outlined: tuple[tuple[int, int], Sequence[Sequence[Point]]] = ((0, 0), ()),
) -> Html:
    """HTML of a photo.  `st.image` has no words for those who do not see it.

    Parameters
    ----------
    outlined : ((int, int), sequence of outlines)
        The photo's own size, px, and closed shapes in it, px, that are drawn over it.
    """
    style = "border:1px solid #d5dadd;border-radius:.5rem"
    with Image.open(io.BytesIO(jpeg)) as opened:
        size = opened.size
    shown = _image("image/jpeg", jpeg, described, f"width:{width};{style}", size)
    (wide, high), shapes = outlined
    if not shapes:
        return shown
    drawn = "".join(
        f'<polygon points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in shape)}"/>' for shape in shapes
    )
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" fill="none" '
        f'stroke="#ff8a00" stroke-width="{OUTLINE_SHARE}%" stroke-linejoin="round">{drawn}</svg>'
    )
    above = "position:absolute;top:0;left:0;width:100%"
    over = _image("image/svg+xml", svg.encode(), "", above, (wide, high))
    return Html(f'<div class="outlined">{shown}{over}</div>')


OUTLINE_SHARE = 0.5
"""Width of an outline over a picture, per cent of the picture's size."""


def svg_picture(svg: str, described: str, width: str = "100%") -> Html:
    """HTML of an SVG, at a width as CSS has it."""
    found = _VIEW_BOX.search(svg)
    size = (int(found[1]), int(found[2])) if found else None
    return _image("image/svg+xml", svg.encode(), described, f"width:{width}", size)


_VIEW_BOX: Final = re.compile(r'viewBox="\S+ \S+ (\d+)\S* (\d+)')


def _image(
    kind: str, content: bytes, described: str, style: str, size: tuple[int, int] | None
) -> Html:
    source = f"data:{kind};base64,{base64.b64encode(content).decode()}"
    style = f"max-width:100%;height:auto;display:block;{style}"
    # With its shape told, what stands below does not move when it comes.
    shape = f' width="{size[0]}" height="{size[1]}"' if size else ""
    return Html(f'<img src="{source}" alt="{escape(described)}"{shape} style="{style}">')


def drawing(name: str, described: str, *, shown: str = "") -> Html:
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
    return "".join(("![](", as_address(_svg(name, shown).encode()), ")"))


def _svg(name: str, shown: str) -> str:
    return (_DRAWINGS / f"{name}.svg").read_text(encoding="utf-8").replace("SHOWN", shown)
