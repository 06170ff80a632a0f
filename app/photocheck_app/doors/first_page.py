"""The first page: plain HTML that is read before the app is there, and fetches it meanwhile.

It looks into no store and opens no order: choosing how carefully to measure leads to the app with
`photocheck.server.access.addresses.BEGIN` in the address.
"""

from __future__ import annotations

import base64
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlencode

from jinja2 import Environment, FileSystemLoader
from starlette.requests import HTTPConnection
from starlette.responses import RedirectResponse, Response

from photocheck.orders.coming_back import NEEDS
from photocheck.orders.depths import DEPTHS
from photocheck.server.access.addresses import BEGIN, LINK, STEP
from photocheck.server.shop import Shop, is_colour, shop_of
from photocheck.speech import LANGUAGES, speaking, tr
from photocheck_app import framework
from photocheck_app.doors.icon import ICON, as_address
from photocheck_app.doors.language import language_of
from photocheck_app.doors.origin import SAFE
from photocheck_app.doors.paths import OWNER
from photocheck_app.doors.pressed import Pressed, answer
from photocheck_app.doors.settings import by_invitation_only

APPS_OWN: Final = frozenset({LINK, STEP, BEGIN})
"""Parts of an address that mean something within the app."""

_HERE: Final = Path(__file__).parent
_DRAWING: Final = _HERE.parent / "drawings" / "side.svg"


def is_first_page(wanted: HTTPConnection, inner: str) -> bool:
    """Whether the plain page is asked for, and not the app, which begins at the same path.

    Parameters
    ----------
    inner : str
        A path as `photocheck_app.doors.paths.purpose_of` gives it.
    """
    return (
        inner == "/"
        and wanted.scope["path"] == f"{framework.base()}/"
        and wanted.scope["method"] in SAFE
        and not APPS_OWN & set(wanted.query_params)
    )


def led_on(wanted: HTTPConnection, inner: str) -> Response | None:
    """The answer to who asks for the owner's way by its name: it is at the root, and the app knows
    it there alone."""
    if inner.rstrip("/") != f"/{OWNER}" or wanted.scope["method"] not in SAFE:
        return None
    query = wanted.scope["query_string"].decode("latin-1")
    address = f"{framework.base()}/"
    headers = {"Cache-Control": "no-store"}
    return RedirectResponse(f"{address}?{query}" if query else address, 307, headers)


def first_page(wanted: HTTPConnection) -> Response:
    """The answer: the same to everybody who reads the same language."""
    asked = wanted.query_params.get("language", "")
    shop = shop_of()
    return answer(
        wanted,
        _page(
            language_of(wanted),
            asked if asked in LANGUAGES else "",
            by_invitation_only(),
            wanted.headers.get("save-data", "").lower() == "on",
            shop,
        ),
        {
            "Cache-Control": "no-cache",
            "Content-Security-Policy": _policy(shop.colour),
            "Vary": "Accept-Encoding, Accept-Language, Save-Data",
        },
    )


@cache
def _page(language: str, chosen: str, invited: bool, saving: bool, shop: Shop) -> Pressed:
    """The page.

    Parameters
    ----------
    language : str
        In which it speaks.
    chosen : str
        The language as the address says it, which all its links go on saying; empty where it was
        the browser that asked for it.
    invited : bool
        Whether orders are by invitation only.
    saving : bool
        Whether the visitor pays for what is fetched: then nothing is fetched before it is needed.
    shop : Shop
        Whose page it is.
    """
    with speaking(language):
        told: dict[str, Any] = {
            "language": language,
            "style": _style(shop.colour),
            "shop": shop.name,
            "reach": shop.reach,
            "icon": ICON,
            "title": tr("Do the tape and the photo agree?"),
            "what": tr(
                "A harness made to measure is cut from your tape readings. This checks them "
                "against a photo of your dog, before any cloth is cut."
            ),
            "drawing": as_address(_DRAWING.read_bytes()),
            "drawn": tr("A dog standing square beside the printed marker sheet."),
            "invited": tr("To check an order, open the link that the workshop has sent to you.")
            if invited
            else "",
            "how": tr("How carefully?"),
            "begin": tr("Begin"),
            "cards": [
                {
                    "address": _to("./", **{BEGIN: name}, language=chosen),
                    "title": tr(depth.title),
                    "asks": tr(depth.asks),
                    "gives": tr(depth.gives),
                    "promise": depth.promise(),
                }
                for name, depth in DEPTHS.items()
            ],
            "deeper": tr("You can go from quick to careful later; nothing is lost."),
            "need": tr("What you need"),
            "needs": tuple(map(tr, NEEDS)),
            "ways_on": tr("Other ways on"),
            "ways": [
                {"address": _to(address, language=chosen, **more), "title": title}
                for title, address, more in (
                    (tr("Print the marker sheet and the tags"), "./sheet", {}),
                    (tr("See a sample"), "./", {STEP: "sample"}),
                    (tr("Practise the marks"), "./practise", {}),
                )
            ],
            "kept": tr(
                "What you enter and your photos stay with the workshop that runs this page. The "
                "check supports the maker's judgement; it does not replace a fitting on the dog."
            ),
            "languages": [
                {"name": name, "title": title, "address": _to("./", language=name)}
                for name, title in LANGUAGES.items()
            ],
            "scripts": () if saving else [f".{path}" for path in framework.first_scripts()],
            "files": () if saving else [f".{path}" for path in framework.first_files()],
        }
    return Pressed.of("text/html; charset=utf-8", _template().render(told).encode())


def _to(address: str, **parts: str) -> str:
    told = urlencode({name: value for name, value in parts.items() if value})
    return f"{address}?{told}" if told else address


@cache
def _style(colour: str) -> str:
    style = (_HERE / "first_page.css").read_text(encoding="utf-8")
    # Whoever starts the app otherwise than by `serve` has had the colour looked at by nobody.
    return f"{style}.shop{{border-color:{colour}}}\n" if is_colour(colour) else style


@cache
def _policy(colour: str) -> str:
    """What this page may do: show what is in it, and fetch what the app is made of.

    What is fetched ahead (``rel=prefetch``) has no word of its own: Firefox holds it against
    ``default-src``.
    """
    digest = base64.b64encode(sha256(_style(colour).encode()).digest()).decode()
    return (
        f"default-src 'self'; style-src 'self' 'sha256-{digest}'; script-src 'self'; "
        "font-src 'self'; img-src data:; connect-src 'none'; frame-src 'none'; media-src 'none'; "
        "object-src 'none'; worker-src 'none'; manifest-src 'none'; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'none'"
    )


@cache
def _template() -> Any:
    return Environment(
        loader=FileSystemLoader(_HERE), autoescape=True, trim_blocks=True, lstrip_blocks=True
    ).get_template("first_page.html")
