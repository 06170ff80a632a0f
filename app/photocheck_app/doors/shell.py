"""The page that the app begins as: something to see until its scripts have come, and our own.

Streamlit's page is blank until 600 kB of scripts have arrived and run, and once more until the
first run of our pages has an answer.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from hashlib import sha256
from html import escape
from pathlib import Path
from types import MappingProxyType
from typing import Final

from photocheck.speech import LANGUAGES, speaking, tr
from photocheck_app import framework
from photocheck_app.doors.icon import ICON
from photocheck_app.doors.pressed import Pressed

_OWN: Final = Path(__file__).parents[1] / "browser"
"""Where our scripts lie: each is one of a page's modules."""

LOOK: Final = "".join(
    Path(__file__).parents[1].joinpath(name).read_text(encoding="utf-8")
    for name in ("look.css", "owner/way.css")
)
"""How the ways for owners and learners look, and what the owner's has of its own."""

_STYLE: Final = """
:root { color-scheme: light dark; }
body { margin: 0; background: #fff; }
.pc-wait { position: fixed; inset: 0; z-index: 1; pointer-events: none; display: grid;
  place-content: center; justify-items: center; gap: 1rem; padding: 1rem; color: #000;
  font: 1.05rem/1.5 system-ui, -apple-system, "Segoe UI",
  Roboto, "Helvetica Neue", sans-serif; text-align: center; }
.pc-wait i { width: 2.6rem; height: 2.6rem; border: 4px solid #d5dadd; border-top-color: #1f4e5f;
  border-radius: 50%; animation: pc-turn 1.1s linear infinite; }
@keyframes pc-turn { to { transform: rotate(1turn); } }
@media (prefers-reduced-motion: reduce) { .pc-wait i { animation-duration: 6s; } }
@media (prefers-color-scheme: dark) {
  body { background: #12181b; }
  .pc-wait { color: #fff; }
  .pc-wait i { border-color: #38454b; border-top-color: #8ccbdc; }
  /* what the theme cannot say: letters of its own colour are too dark on a dark ground */
  .stApp [data-testid="stButtonGroup"] button[aria-checked="true"],
  .stApp [data-testid="stButtonGroup"] button[aria-checked="true"] p,
  .stApp [data-testid="stTabs"] [role="tab"][aria-selected="true"] p { color: #bfe3ee; }
}
/* where there is something to read, it stands as the first page's does */
.pc-tells { display: block; place-content: normal; overflow-y: auto; padding: 1.2rem 1.1rem;
  text-align: left; overflow-wrap: anywhere; background: #fff; font-size: 1rem;
  pointer-events: auto; }
.pc-tells > div { max-width: 44rem; margin: 0 auto; }
.pc-tells h1 { margin: .4rem 0 .6rem;
  font-size: clamp(1.6rem, 1.2rem + 2vw, 2rem); line-height: 1.2; }
.pc-tells h2 { font-size: 1.25rem; line-height: 1.25; margin: 1.6rem 0 .6rem; }
.pc-tells p { margin: .6rem 0; }
.pc-tells ul { margin: .4rem 0; padding-left: 1.2rem; }
.pc-tells .pc-coming { display: flex; align-items: center; gap: .7rem; margin-top: 1.6rem; }
.pc-tells .pc-coming i { flex: none; width: 1.4rem; height: 1.4rem; border-width: 3px; }
@media (prefers-color-scheme: dark) { .pc-tells { background: #12181b; } }
html.pc-there .pc-wait { display: none; }
/* The framework shows a page piece by piece, and each moves what stands below; so it is shown once
   it stands (connection.js), and in any case after a while. */
html:not(.pc-there) [data-testid="stMain"] {
  content-visibility: hidden; animation: pc-there 1s step-end 8s forwards; }
@keyframes pc-there { to { content-visibility: visible; } }
body:has([data-testid="stMain"]) .pc-tells { animation: pc-gone 1s step-end 8s forwards; }
@keyframes pc-gone { to { visibility: hidden; } }
/* until the pictograms are there, their names would be read */
html:not(.pc-icons) [data-testid="stIconMaterial"] { visibility: hidden; }
.pc-away { position: fixed; z-index: 1000000; left: 0; right: 0; top: 0; margin: 0;
  padding: calc(.7rem + env(safe-area-inset-top, 0px)) 1.1rem .7rem; background: #5c3200;
  color: #fff; font: 600 1rem/1.4 system-ui, -apple-system, "Segoe UI", Roboto, "Helvetica Neue",
  sans-serif; text-align: center; }
.pc-away[data-state="back"] { background: #005c45; }
.pc-away[data-state="sending"] { background: #1f4e5f; }
.pc-away progress { display: block; width: min(24rem, 100%); margin: .4rem auto 0; height: .6rem;
  accent-color: #ffb45c; }
.pc-away button { display: block; min-height: 2.75rem; margin: .5rem auto 0; padding: .3rem 1.1rem;
  border: 1px solid #fff; border-radius: .5rem; background: none; color: inherit; font: inherit; }
.pc-away button:focus-visible { outline: 3px solid #ffb45c; outline-offset: 2px; }
/* the framework's own word for it, in English and over everything */
.pc-is-away [data-testid="stDialog"] { display: none; }
"""


_BROUGHT: Final = ("markers.js", "smaller.js", "sign.js", "unsent.js")
"""What others import, each after what it imports itself."""
LATER: Final = frozenset({"markers", "smaller"})
"""Those of them that no page begins with: loaded once somebody chose a large photo."""


@cache
def scripts() -> Mapping[str, bytes]:
    """Our scripts by their addresses, whose names say what is in them, also where one imports
    another; those that only others bring first."""
    others = sorted(file.name for file in _OWN.glob("*.js") if file.name not in _BROUGHT)
    found: dict[str, bytes] = {}
    for name in (*_BROUGHT, *others):
        content = (_OWN / name).read_bytes()
        for address in found:
            called = address.rpartition("/")[2]
            plain = f"{called.split('.')[0]}.js"
            content = content.replace(f'"./{plain}"'.encode(), f'"./{called}"'.encode())
        found[_address(name, content)] = content
    return MappingProxyType(found)


def _address(name: str, content: bytes) -> str:
    digest = sha256(content).hexdigest()[:12]
    return f"/static/photocheck/{name.removesuffix('.js')}.{digest}.js"


@cache
def page(language: str, dense: bool = False) -> Pressed:
    """What every page of the app begins as, for who reads a language.

    Parameters
    ----------
    dense : bool
        Whether it is the desk's, which has a look of its own.
    """
    return _page(language, dense, "")


def page_telling(language: str, told: str) -> Pressed:
    """The owner's, with something to read until the app is there.

    Parameters
    ----------
    told : str
        HTML, for this visitor alone.
    """
    return _page(language, False, told)


def _page(language: str, dense: bool, told: str) -> Pressed:
    with speaking(language):
        loading = escape(tr("One moment, this is being loaded."))
        no_scripts = escape(
            tr("This page needs JavaScript, which your browser does not run just now.")
        )
    texts = {name: _texts(name) for name in LANGUAGES}
    wait = f'<div class="pc-wait" role="status"><i></i>{loading}</div>'
    if told:
        coming = f'<p class="pc-coming"><i></i>{loading}</p>'
        wait = f'<div class="pc-wait pc-tells"><div>{told}{coming}</div></div>'
    later = "".join(
        f'<link rel="modulepreload" fetchpriority="low" href=".{path}">'
        for path in framework.later_scripts()
    )
    # Before anything is shown, or all of it would move when the page itself brings it; and behind
    # the framework's own, which is put into the head.
    look = "" if dense else f"<style>{LOOK}</style>"
    own = "".join(
        f'<script type="module" src=".{path}"></script>'
        for path in scripts()
        if path.rpartition("/")[2].split(".")[0] not in LATER
    )
    # Within a script's text only this could end it.
    as_json = json.dumps(texts, ensure_ascii=False).replace("<", "\\u003c")
    parts = {
        "language": f'<html lang="{language}">',
        "title": "<title>photocheck</title>",
        "icon": f'<link rel="icon" href="{ICON}"><style>{_STYLE}</style>',
        # Our letters are the system's (.streamlit/config.toml).
        "letters": "",
        "programs": later,
        "no scripts": f"<noscript><style>.pc-wait {{ display: none; }}</style><p>{no_scripts}</p>"
        "</noscript>",
        "root": f'<div id="root"></div>{wait}'
        f'<script type="application/json" id="photocheck-texts">{as_json}</script>{look}{own}',
    }
    return Pressed.of("text/html; charset=utf-8", framework.page_with(parts).encode())


def _texts(language: str) -> dict[str, str | dict[str, str]]:
    """What our scripts say, and how the framework's own parts are called for who has them read."""
    with speaking(language):
        return {
            "away": tr("No connection. What you see and typed is kept; it goes on by itself."),
            "back": tr("Connected again."),
            "sending": tr("The photo is being sent."),
            "still": tr("One moment: the photo is still being sent."),
            "again": tr("A photo was on its way when this page was loaded anew. It is sent again."),
            "not_again": tr("Do not send it"),
            "more": tr("{count} more", count="{count}"),
            "names": {
                "progress": tr("How far along"),
                "Open": tr("Open"),
                "Close": tr("Close"),
                "Link to heading": tr("Link to this heading"),
                "file upload": tr("Choose a file"),
                "Add files": tr("Choose a file"),
                "Increment": tr("One more"),
                "Decrement": tr("One less"),
                "Clear value": tr("Clear"),
                "Clear all": tr("Clear all"),
                "Sidebar": tr("Side bar"),
                "Expand sidebar": tr("Open the side bar"),
                "Collapse sidebar": tr("Close the side bar"),
                "Selected values": tr("What is chosen"),
            },
            "beginnings": {
                "Upload ": f"{tr('Choose a file')}: ",
                "Remove ": f"{tr('Remove')}: ",
                "Cancel upload of ": f"{tr('Do not send it')}: ",
            },
        }
