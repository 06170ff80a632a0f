"""No spelling of a path comes past its rule, and what is not known is refused."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from typing import Any

import pytest
import streamlit as st
from starlette.types import Receive, Scope, Send

from photocheck.server.access.addresses import HEALTH, address_of_link
from photocheck.server.access.rates import Rates
from photocheck.server.interface.operations import BASE
from photocheck.server.pace import Pace
from photocheck.server.turns import Lines
from photocheck.speech import spoken
from photocheck_app.doors import language, middleware, open_pages, paths, sessions
from photocheck_app.doors.middleware import Guard
from photocheck_app.doors.paths import purpose_of

THEIRS = "0123456789abcdef"
COOKIE = "a-cookie"


async def _anything(scope: Scope, receive: Receive, send: Send) -> None:
    """Stands behind the doors and answers every path, as Streamlit does."""
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.accept"})
        return
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"let through"})


def _scope(path: str, **more: Any) -> Scope:
    kind = more.pop("type", "http")
    headers = {"host": "shop.example", "cookie": f"{sessions.COOKIE}={COOKIE}"}
    headers |= more.pop("headers", {})
    return {
        "type": kind,
        "method": "GET",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(errors="surrogatepass"),
        "query_string": b"",
        "root_path": "",
        "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
        "client": ("203.0.113.7", 50000),
        "server": ("shop.example", 80),
        **more,
    }


def _asked(
    path: str, *, doubts: tuple[str, ...] = (), **more: Any
) -> tuple[int | str, dict[str, str], bytes]:
    """Status, or how a websocket was answered; headers; content."""
    sent: list[Any] = []

    async def receive() -> Any:
        return {"type": "websocket.connect"}

    async def send(message: Any) -> None:
        sent.append(message)

    scope = _scope(path, **more)
    asyncio.run(Guard(_anything, self_test=lambda _: doubts)(scope, receive, send))
    if scope["type"] == "websocket":
        return sent[0]["type"].partition(".")[2], {}, str(sent[0].get("reason", "")).encode()
    headers = {key.decode().lower(): value.decode() for key, value in sent[0]["headers"]}
    return sent[0]["status"], headers, sent[1]["body"]


@pytest.fixture(autouse=True)
def counts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(middleware, "COUNTS", Rates())
    for pace in ("REQUESTS", "PAGES"):
        monkeypatch.setattr(middleware, pace, Lines(Pace(1000, 1000)))
    monkeypatch.setattr(open_pages, "WORK", Lines(Pace(1000, 1000)))
    monkeypatch.setattr(sessions, "_given", {f"{THEIRS}.jpg": {"another's"}})
    monkeypatch.setattr(sessions, "_sessions", {"session-1": "another's", "session-2": COOKIE})


@pytest.fixture
def below() -> Iterator[str]:
    """A server all of whose addresses stand below one."""
    st.config.set_option("server.baseUrlPath", "/check/")
    yield "/check"
    st.config.set_option("server.baseUrlPath", "")


KNOWN = [
    "/",
    "/owner",
    "/desk",
    "/desk/",
    "/practise",
    "/sheet",
    "/staff",
    "/index.html",
    "/favicon.png",
    "/manifest.json",
    "/static/js/index.B-x_y.js",
    "/static/media/font.woff2",
    "/_stcore/health",
    "/_stcore/host-config",
    "/_stcore/upload_file/session-2/file-1",
    "/auth/login",
    "/auth/logout",
    "/oauth2callback",
]

MOVED = [
    "/_stcore/media/x.jpg",
    f"/_stcore/media/{THEIRS}.jpg",
    f"/media2/{THEIRS}.jpg",
    "/_stcore/metrics",
    "/_stcore/script-health-check",
    "/_stcore/agent/interact",
    "/_stcore/agent/openapi.json",
    "/_stcore/agent/mcp",
    "/_stcore/bidi-components/any/index.js",
    "/_stcore/",
    "/_stcore",
    "/_stcore/stream",  # by a websocket only
    "/component/any/index.html",
    "/app/static/orders.sqlite3",
    "/main.py",
    "/nowhere",
    "/desk/_stcore/health",
    "/desk/media/x.jpg",
]

SPELT = [
    f"/MEDIA/{THEIRS}.jpg",
    f"/Media/{THEIRS}.jpg",
    f"//media/{THEIRS}.jpg",
    f"/media//{THEIRS}.jpg",
    f"/media/./{THEIRS}.jpg",
    f"/media/x/{THEIRS}.jpg",
    f"/media/x/../{THEIRS}.jpg",
    f"/media/{THEIRS}.jpg/",
    f"/static/../media/{THEIRS}.jpg",
    f"/static/./../media/{THEIRS}.jpg",
    f"/static/js/..\\..\\media\\{THEIRS}.jpg",
    f"/desk/../media/{THEIRS}.jpg",
    f"/media\\{THEIRS}.jpg",
    f"/media%2f{THEIRS}.jpg",
    f"/%6dedia/{THEIRS}.jpg",
    f"/media/{THEIRS}.jpg\n",
    f"/media/{THEIRS}.jpg\x00",
    f"/media/{THEIRS}.jpg;x",
    f"/media/{THEIRS}.jpg?",
    f"/\uff4dedia/{THEIRS}.jpg",
    "/_stcore/upload_file/session-1/file-1",
    "/_stcore//upload_file/session-1/file-1",
    "/_stcore/upload_file//session-1/file-1",
    "/_stcore/upload_file/session-2/../session-1/file-1",
    "/_stcore/upload_file/session-2/file/1",
    "/_STCORE/upload_file/session-1/file-1",
    "/_stcore/upload_file/session-1/file-1/",
    "/_stcore/./health",
    "/_stcore/health/",
    "/static/",
    "/static",
    "/static//x.js",
    "/static/.hidden",
    "/staff/",
    "/STAFF",
    "/Desk",
    "//",
    "/.",
    "/..",
]


@pytest.mark.parametrize("path", KNOWN)
def test_what_pages_need_is_let_through(path: str) -> None:
    assert _asked(path)[0] == _answered(path)


def _answered(path: str) -> int:
    """The owner's way leads on to the root."""
    return 307 if path.strip("/") == "owner" else 200


@pytest.mark.parametrize("path", [*MOVED, *SPELT, f"/media/{THEIRS}.jpg"])
def test_what_is_not_known_is_refused_to_everybody(path: str) -> None:
    status, headers, said = _asked(path)
    assert (status, said) == (404, b"There is no such file.")
    assert headers["x-content-type-options"] == "nosniff"
    # A websocket is no way past it either.
    assert _asked(path, type="websocket")[0] == ("accept" if path.endswith("/stream") else "close")


@pytest.mark.parametrize(
    "path", ["/", "/desk", f"/media/{THEIRS}.jpg", "/staff", HEALTH, f"{BASE}/orders"]
)
def test_pages_and_files_are_not_reached_by_a_websocket(path: str) -> None:
    assert _asked(path, type="websocket")[0] == "close"


@pytest.mark.parametrize(
    ("path", "raw"),
    [
        (f"/media/{THEIRS}.jpg", f"/%6dedia/{THEIRS}.jpg"),
        (f"/media/{THEIRS}.jpg", f"/media%2F{THEIRS}.jpg"),
        (f"/media/{THEIRS}.jpg", f"/static/..%2fmedia/{THEIRS}.jpg"),
        ("/desk", "/%64esk"),
        ("/desk", f"/media/{THEIRS}.jpg"),
        (f"/media/{THEIRS}.jpg", "/desk"),
        ("/", "http://shop.example/"),
        ("/\udcff", "/%ff"),
    ],
)
def test_one_path_has_one_spelling(path: str, raw: str) -> None:
    assert _asked(path, raw_path=raw.encode())[0] == 404


@pytest.mark.parametrize("odd", ["\n", "\r", "\0", "%", " ", ";", "\\", "?", "é", "\u2028"])
def test_what_programs_ask_for_is_spelt_in_plain_letters(odd: str) -> None:
    assert purpose_of(_scope(f"{BASE}/orders/a_B-9.jpg")) == (
        "interface",
        f"{BASE}/orders/a_B-9.jpg",
    )
    for path in (f"{BASE}/orders{odd}", f"{BASE}/{odd}orders", f"{BASE}/or{odd}ders"):
        assert purpose_of(_scope(path)) is None


def test_nobody_says_that_a_path_is_another_by_mounting_it() -> None:
    for root, path in (("/desk", f"/desk/media/{THEIRS}.jpg"), ("/desk", "/desk")):
        assert _asked(path, root_path=root)[0] == 404


def test_below_an_address_the_same_holds(below: str) -> None:
    for path in KNOWN:
        if path != "/staff":
            assert _asked(f"{below}{path}")[0] == _answered(path), path
    assert _asked(below)[0] == 200
    assert _asked("/staff")[0] == 200
    for path in (*MOVED, *SPELT, f"/media/{THEIRS}.jpg"):
        assert _asked(f"{below}{path}")[0] == 404, path
        assert _asked(path)[0] == (200 if path == "/staff" else 404), path
    for path in ("/desk", "/checked/desk", "/check2", f"/checkmedia/{THEIRS}.jpg", "//check/desk"):
        assert _asked(path)[0] == 404, path


def test_ones_own_file_is_let_through_by_its_own_path_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sessions, "_given", {f"{THEIRS}.jpg": {COOKIE}})
    assert _asked(f"/media/{THEIRS}.jpg")[0] == 200
    for path in SPELT:
        assert _asked(path)[0] == 404, path


def test_the_refusal_is_said_in_the_language_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(middleware, "tr", lambda text, **_: f"{spoken()}: {text}")
    assert _asked("/nowhere", headers={"accept-language": "de-AT,de;q=0.9"})[2][:3] == b"de:"
    assert _asked("/nowhere", query_string=b"language=de")[2][:3] == b"de:"
    assert _asked("/nowhere")[2] == b"en: There is no such file."


@pytest.mark.parametrize(
    ("accepted", "spoken"),
    [
        ("", "en"),
        ("de", "de"),
        ("DE-ch", "de"),
        ("fr, de;q=0.8, en;q=0.9", "en"),
        ("fr, de;q=0.9, en;q=0.8", "de"),
        ("de;q=0, en;q=0.1", "en"),
        ("de;q=0", "en"),
        ("de;q=x, en", "en"),
        ("de;level=1", "en"),
        ("*", "en"),
        (";;;,=,q", "en"),
        ("xx," * 500 + "de", "en"),
    ],
)
def test_the_language_is_read_as_browsers_say_it(accepted: str, spoken: str) -> None:
    asked = middleware.HTTPConnection(_scope("/", headers={"accept-language": accepted}))
    assert language.language_of(asked) == spoken


# -- where Streamlit has moved ------------------------------------------------------------

HERE = {"client": ("127.0.0.1", 50000), "headers": {"host": "127.0.0.1:8501"}}


@pytest.mark.parametrize(
    "more",
    [
        HERE,
        {"client": ("::1", 50000), "headers": {"host": "[::1]:8501"}},
        {"client": ("::ffff:127.0.0.1", 50000), "headers": {"host": "localhost"}},
    ],
)
def test_this_machine_is_answered_all_the_same(more: dict[str, Any]) -> None:
    assert _asked("/", doubts=("moved",), **more)[0] == 200
    assert _asked("/_stcore/stream", doubts=("moved",), type="websocket", **more)[0] == "accept"
    assert _asked("/_stcore/media/x.jpg", doubts=("moved",), **more)[0] == 404


@pytest.mark.parametrize(
    "more",
    [
        {},
        {"client": None},
        {"client": ("192.168.1.7", 50000), "headers": {"host": "127.0.0.1:8501"}},
        {"client": ("::ffff:192.168.1.7", 50000), "headers": {"host": "localhost"}},
        # another server on this machine asks for somebody
        {**HERE, "headers": {"host": "shop.example"}},
        *(
            {**HERE, "headers": {"host": "127.0.0.1", name: "203.0.113.7"}}
            for name in middleware.PASSED_ON
        ),
        {**HERE, "headers": {"host": ""}},
    ],
)
@pytest.mark.parametrize("path", ["/", "/desk", "/staff", "/_stcore/health", "/static/a.js"])
def test_other_machines_are_refused_where_streamlit_has_moved(
    path: str, more: dict[str, Any]
) -> None:
    status, headers, said = _asked(path, doubts=("moved",), **more)
    assert status == 503
    assert b"only to the machine it runs on" in said
    assert b"moved" not in said
    assert headers["x-frame-options"] == "DENY"
    answered = _asked("/_stcore/stream", doubts=("moved",), type="websocket", **more)
    assert answered[0] == "close"
    assert len(answered[2]) <= 123
    assert _asked(path, **{**more, "client": ("203.0.113.7", 1)})[0] == 200


def test_the_reason_is_said_once_where_the_server_was_started(
    capsys: pytest.CaptureFixture[str],
) -> None:
    asked: list[object] = []

    async def quiet(*_: Any) -> Any:
        return {}

    def moved(app: object) -> tuple[str, ...]:
        asked.append(app)
        return ("media have\nmoved",)

    doors = Guard(quiet, self_test=moved)
    for kind in ("lifespan", "http"):
        scope = _scope("/", type=kind, app="the app")
        asyncio.run(doors(scope, quiet, quiet))
    assert asked == ["the app"]
    (line,) = capsys.readouterr().err.splitlines()
    assert "media have moved" in line
    assert "Other machines are turned away" in line
    assert "streamlit>=" in line


def test_links_lead_from_every_page_to_the_first() -> None:
    for page in paths.PAGES:
        link = address_of_link(f"https://shop.example/check/{page}", "a.b.c")
        assert link == "https://shop.example/check/?order=a.b.c"
        assert purpose_of(_scope(f"/{page}")) == ("page", f"/{page}")


def test_a_server_that_gives_no_raw_path_is_served_by_the_path_alone() -> None:
    # ASGI has it as optional ("raw_path", HTTP connection scope).
    for raw in ({}, {"raw_path": None}):
        assert purpose_of({"type": "http", "path": "/staff", **raw}) == ("sign in", "/staff")
        assert purpose_of({"type": "http", "path": "/nowhere", **raw}) is None
