"""Every path of the server: what each is for, and that there is no other."""

from __future__ import annotations

import re
from typing import Final, Literal
from urllib.parse import quote

from starlette.types import Scope

from photocheck.server.access.addresses import DESK, HEALTH, SIGN_IN
from photocheck.server.interface.operations import BASE
from photocheck_app import framework

OWNER: Final = "owner"
PRACTISE: Final = "practise"
SHEET: Final = "sheet"
WORKSHOP: Final = DESK.strip("/")
PAGES: Final = (OWNER, PRACTISE, SHEET, WORKSHOP)
"""The pages by the last part of their addresses; the first is also at the root."""

CAME_FROM: Final = "from"
"""The part of the practice page's address that says which order it leads back to."""

_PLAIN: Final = re.compile(r"[A-Za-z0-9_./-]+")
"""What the interface's paths are made of: whatever else there is, no later stage may read."""

Purpose = Literal[
    "page", "asset", "media", "upload", "stream", "sign in", "provider", "health", "interface"
]

_FIXED: Final[dict[str, Purpose]] = {
    "/": "page",
    # Streamlit leads on to the same without the last stroke.
    **{f"/{page}{stroke}": "page" for page in PAGES for stroke in ("", "/")},
    framework.HEALTH: "asset",
    framework.HOST_CONFIG: "asset",
    framework.LOGIN: "provider",
    framework.LOGOUT: "provider",
    framework.CALLBACK: "provider",
}


def purpose_of(scope: Scope) -> tuple[Purpose, str] | None:
    """What lies at the path of a request, and the path without what stands before all of them.

    None for everything that is not known, and for every other spelling of what is: what a later
    stage reads as the same path must not come past the rule for it.
    """
    path = str(scope["path"])
    raw = scope.get("raw_path")
    if raw is not None and raw not in (
        path.encode(errors="surrogatepass"),
        quote(path, errors="surrogatepass").encode(),
    ):
        return None
    # Never mounted below another server's path, so nobody may say that it is.
    if scope.get("root_path"):
        return None
    websocket = scope["type"] == "websocket"
    if path == SIGN_IN:
        return None if websocket else ("sign in", path)
    if path == HEALTH:
        return None if websocket else ("health", path)
    if path.startswith(f"{BASE}/"):
        plain = _PLAIN.fullmatch(path)
        return None if websocket or not plain else ("interface", path)
    before = framework.base()
    if not (path == before or path.startswith(f"{before}/")):
        return None
    inner = path.removeprefix(before) or "/"
    if websocket:
        return ("stream", inner) if inner == framework.STREAM else None
    purpose = _FIXED.get(inner) or _by_form(inner)
    return None if purpose is None else (purpose, inner)


def _by_form(inner: str) -> Purpose | None:
    if framework.MEDIA_FORM.fullmatch(inner):
        return "media"
    if framework.UPLOAD_FORM.fullmatch(inner):
        return "upload"
    if framework.ASSET_FORM.fullmatch(inner):
        return "asset"
    return None
