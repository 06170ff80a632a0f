"""What stands before the pages: signing in, headers, counts, and what belongs to whom."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route, WebSocketRoute
from starlette.testclient import TestClient
from starlette.websockets import WebSocket, WebSocketDisconnect

from photocheck.orders.bounds import MOST_MESSAGE_BYTES
from photocheck.orders.model import STORE_VARIABLE
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.server.access import passes, staff
from photocheck.server.access.addresses import DESK_COOKIE, KNOWN_COOKIE, address_of_link
from photocheck.server.access.known_browsers import known_browser, remembered
from photocheck.server.access.passes import AccessError
from photocheck.server.access.provider import Provider, ProviderError, read_provider
from photocheck.server.access.rates import HERE, RATES, Rates, TooOftenError, visitor
from photocheck_app.doors import middleware, sessions, settings, sign_in
from photocheck_app.doors.middleware import Guard
from photocheck_app.doors.wire import TOO_BIG

pytestmark = pytest.mark.usefixtures("cheap_passwords")

GOOD = "four brown ropes drying"
SOCKET = "ws://shop.example/_stcore/stream"


async def _page(_: object) -> Response:
    return Response("<p>page", media_type="text/html")


async def _file(request: Request) -> Response:
    kind = "image/jpeg" if request.url.path.endswith(".jpg") else "application/json"
    return Response("a photo", media_type=kind)


async def _socket(socket: WebSocket) -> None:
    await socket.accept(socket.scope["subprotocols"][0] if socket.scope["subprotocols"] else None)
    await socket.send_text(socket.headers.get("sec-websocket-protocol", ""))
    if "echo" in socket.query_params:
        try:
            await socket.send_text(str(len(await socket.receive_bytes())))
        except WebSocketDisconnect:
            return
    await socket.close()


@pytest.fixture
def counts(monkeypatch: pytest.MonkeyPatch) -> Rates:
    fresh = Rates()
    for module in (middleware, sign_in):
        monkeypatch.setattr(module, "COUNTS", fresh)
    return fresh


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[DatabaseStore]:
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "orders.sqlite3"))
    with closing(open_store(str(tmp_path / "orders.sqlite3"))) as store:
        yield store
    settings.close_stores()


@pytest.fixture
def server(kept: DatabaseStore, counts: Rates) -> TestClient:
    app = Starlette(
        routes=[
            *sign_in.ROUTES,
            Route("/", _page),
            Route("/media/{name}", _file),
            Route("/static/media/font.woff2", _file),
            Route("/_stcore/upload_file/{session}/{name}", _file, methods=["PUT"]),
            WebSocketRoute("/_stcore/stream", _socket),
        ],
        # Streamlit itself: test_framework.py
        middleware=[Middleware(Guard, self_test=lambda _: ())],
    )
    return TestClient(app, "http://shop.example", follow_redirects=False)


def sign(server: TestClient, name: str, password: str, **more: str) -> Any:
    return server.post("/staff", data={"act": "in", "name": name, "password": password, **more})


def test_staff_sign_in_and_out(server: TestClient, kept: DatabaseStore) -> None:
    staff.add(kept, "Ada Lind", GOOD)
    wrong = sign(server, "Ada Lind", "not the password")
    assert (wrong.status_code, DESK_COOKIE in server.cookies) == (401, False)
    assert "do not belong together" in wrong.text
    assert "not the password" not in wrong.text
    came = sign(server, "ada lind", GOOD)
    assert (came.status_code, came.headers["location"]) == (303, "/desk")
    cookie = came.headers["set-cookie"].partition("photocheck_visitor")[0]
    assert all(part in cookie for part in ("HttpOnly", "SameSite=Lax", "Path=/", "Max-Age=43200"))
    carried = server.cookies[DESK_COOKIE]
    assert passes.at_desk(kept, carried) == "Ada Lind"
    assert "signed in as Ada Lind" in server.get("/staff").text
    server.post("/staff", data={"act": "out"})
    assert DESK_COOKIE not in server.cookies
    with pytest.raises(AccessError):
        passes.at_desk(kept, carried)


def test_a_cookie_given_over_https_travels_over_https_only(
    server: TestClient, kept: DatabaseStore
) -> None:
    staff.add(kept, "Ada", GOOD)
    server.base_url = "https://shop.example"
    came = sign(server, "Ada", GOOD)
    assert "Secure" in came.headers["set-cookie"]
    assert came.headers["strict-transport-security"].startswith("max-age=")


@pytest.mark.parametrize(
    ("asked", "gone_to"),
    [
        ("/desk?case=abc", "/desk?case=abc"),
        ("/", "/desk"),
        ("//evil.example/desk", "/desk"),
        ("https://evil.example/desk", "/desk"),
        ("/desk@evil.example", "/desk"),
        ("/\\evil.example", "/desk"),
        ("/desk\r\nSet-Cookie: a=b", "/desk"),
        ("javascript:alert(1)", "/desk"),
        ("", "/desk"),
    ],
)
def test_signing_in_leads_to_the_desk_and_nowhere_else(
    server: TestClient, kept: DatabaseStore, asked: str, gone_to: str
) -> None:
    staff.add(kept, "Ada", GOOD)
    came = sign(server, "Ada", GOOD, then=asked)
    assert (came.status_code, came.headers["location"]) == (303, gone_to)


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site", "Origin": "http://shop.example"},
    ],
)
def test_a_form_of_another_site_signs_nobody_in(
    server: TestClient, kept: DatabaseStore, headers: dict[str, str]
) -> None:
    staff.add(kept, "Ada", GOOD)
    data = {"act": "in", "name": "Ada", "password": GOOD}
    came = server.post("/staff", data=data, headers=headers)
    assert (came.status_code, DESK_COOKIE in server.cookies) == (403, False)
    here = {"Origin": "http://shop.example", "Sec-Fetch-Site": "same-origin"}
    assert server.post("/staff", data=data, headers=here).status_code == 303


def from_(server: TestClient, address: str) -> TestClient:
    """A browser at another address."""
    return TestClient(
        server.app, "http://shop.example", follow_redirects=False, client=(address, 1)
    )


def test_passwords_cannot_be_tried_for_long(server: TestClient, kept: DatabaseStore) -> None:
    staff.add(kept, "Ada", GOOD)
    codes = [sign(server, "Ada", f"guess number {n}").status_code for n in range(12)]
    assert codes == [401] * 10 + [429] * 2
    assert sign(server, "Ada", GOOD).status_code == 429  # the right one neither
    codes = [sign(server, f"Ada {n}", "a guess").status_code for n in range(12)]
    assert codes == [401] * 10 + [429] * 2  # twenty from one address, whoever is meant


def test_every_spelling_of_a_name_counts_as_that_name(
    server: TestClient, kept: DatabaseStore
) -> None:
    staff.add(kept, "Ada Lind", GOOD)
    # Unicode's compatibility forms: fullwidth, mathematical, a no-break space
    spellings = ["ada lind", "\uff21da Lind", "\U0001d400da Lind", "ADA\u00a0LIND", " ada  lind "]
    codes = [sign(server, spellings[n % 5], f"guess number {n}").status_code for n in range(12)]
    assert codes == [401] * 10 + [429] * 2


@pytest.mark.slow
def test_one_address_cannot_lock_a_colleague_out(server: TestClient, kept: DatabaseStore) -> None:
    staff.add(kept, "Ada", GOOD)
    eve, ada = from_(server, "203.0.113.7"), from_(server, "203.0.113.8")
    assert [sign(eve, "Ada", f"guess {n}").status_code for n in range(60)][-1] == 429
    assert sign(ada, "Ada", GOOD).status_code == 303


@pytest.mark.slow
def test_a_browser_that_signed_in_before_is_not_locked_out_by_others(
    server: TestClient, kept: DatabaseStore
) -> None:
    staff.add(kept, "Ada", GOOD)
    staff.add(kept, "Ben", GOOD)
    ada = from_(server, "203.0.113.8")
    assert sign(ada, "Ada", GOOD).status_code == 303
    codes = [
        sign(from_(server, f"203.0.113.{20 + n % 4}"), "Ada", "a guess").status_code
        for n in range(32)
    ]
    assert codes == [401] * 30 + [429] * 2  # wrong ones from wherever
    stranger = from_(server, "203.0.113.9")
    assert sign(stranger, "Ada", GOOD).status_code == 429
    assert sign(ada, "Ada", "a slip").status_code == 401
    assert sign(ada, "Ada", GOOD).status_code == 303
    # it opens nothing, is good for that name alone, and its own guesses have an end
    stranger.cookies.set(KNOWN_COOKIE, ada.cookies[KNOWN_COOKIE])
    assert "signed in as" not in stranger.get("/staff").text
    codes = [sign(stranger, "Ada", f"guess {n}").status_code for n in range(25)]
    assert codes == [401] * 20 + [429] * 5
    codes = [sign(stranger, "Ben", f"guess {n}").status_code for n in range(12)]
    assert codes == [401] * 10 + [429] * 2


@pytest.mark.slow
def test_signing_in_rightly_is_never_too_often(server: TestClient, kept: DatabaseStore) -> None:
    staff.add(kept, "Ada", GOOD)
    codes = {sign(from_(server, "203.0.113.7"), "Ada", GOOD).status_code for _ in range(40)}
    assert codes == {303}


@pytest.mark.parametrize("made_up", ["", "x", "x.y.z", "\udcff", "a" * 5000])
def test_no_browser_is_known_by_what_it_makes_up(made_up: str) -> None:
    assert known_browser(made_up, "ada") == ""
    assert known_browser(remembered("ada"), "ada")
    assert known_browser(remembered("ada"), "ben") == ""


def test_what_was_typed_is_shown_as_text(server: TestClient, kept: DatabaseStore) -> None:
    staff.add(kept, "Ada", GOOD)
    said = sign(server, '"><script>alert(1)</script>', "x").text
    assert "<script" not in said
    policy = server.get("/staff").headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src" not in policy


@pytest.mark.parametrize(
    "content", [b"", b"a=b&" * 50_000, b"act=in", b"act=in&name=%00&password=%ff", b"\xff\xfe"]
)
def test_no_form_brings_the_page_down(
    server: TestClient, kept: DatabaseStore, content: bytes
) -> None:
    headers = {"Content-Type": "application/x-www-form-urlencoded"}
    assert server.post("/staff", content=content, headers=headers).status_code < 500
    headers = {"Content-Type": "multipart/form-data; boundary=x"}
    assert server.post("/staff", content=content, headers=headers).status_code < 500


def test_where_nobody_can_sign_in_the_page_says_what_to_do(server: TestClient) -> None:
    assert "photocheck staff add" in server.get("/staff").text
    german = server.get("/staff", headers={"Accept-Language": "de-CH,de;q=0.9,en;q=0.5"}).text
    assert '<html lang="de">' in german


def test_every_answer_has_its_headers(server: TestClient) -> None:
    for path in ("/", "/staff", "/media/none.jpg", "/nowhere"):
        headers = server.get(path).headers
        assert headers["x-content-type-options"] == "nosniff"
        # The address of the sign-in page holds no link, and its form must say where it comes from.
        told = "same-origin" if path == "/staff" else "no-referrer"
        assert headers["referrer-policy"] == told
        assert "frame-ancestors 'none'" in headers["content-security-policy"]


def test_a_file_goes_to_the_browser_it_was_made_for(server: TestClient) -> None:
    page = {"Accept": "text/html"}
    server.get("/", headers=page)
    mine = server.cookies[sessions.COOKIE]
    sessions._to("/media/abc123.jpg", mine)
    assert server.get("/media/abc123.jpg").text == "a photo"
    again = server.get("/media/abc123.jpg?again=1")
    assert (again.status_code, again.headers["cache-control"]) == (200, "no-store")
    sessions._to("/media/abc123.json", mine)
    assert server.get("/media/abc123.json").headers["cache-control"] == "private, no-cache"
    assert server.get("/media/other.jpg").status_code == 404
    server.cookies.clear()
    assert server.get("/media/abc123.jpg").status_code == 404
    server.get("/", headers=page)
    assert server.cookies[sessions.COOKIE] != mine
    assert server.get("/media/abc123.jpg").status_code == 404
    # what pages are made of is nobody's
    assert server.get("/static/media/font.woff2").status_code == 200


def test_a_browser_keeps_its_cookie(server: TestClient) -> None:
    server.get("/", headers={"Accept": "text/html"})
    first = server.cookies[sessions.COOKIE]
    again = server.get("/", headers={"Accept": "text/html"})
    assert "set-cookie" not in again.headers
    assert server.cookies[sessions.COOKIE] == first


def test_a_session_is_gone_on_with_by_its_own_browser_alone(server: TestClient) -> None:
    server.get("/", headers={"Accept": "text/html"})
    mine = server.cookies[sessions.COOKIE]
    sessions._sessions["session-1"] = mine
    sessions._sessions["session-2"] = "somebody else's"
    sessions._sessions["session-3"] = ""

    def told(session: str) -> str:
        # as Streamlit's pages ask: protocol, XSRF token, session
        wanted = ["streamlit", "token", session]
        with server.websocket_connect(SOCKET, subprotocols=wanted) as socket:
            return socket.receive_text()

    assert told("session-1") == "streamlit, token, session-1"
    for session in ("session-2", "session-3", "session-4"):
        assert told(session) == "streamlit, token"
        assert server.put(f"/_stcore/upload_file/{session}/x").status_code == 404
    assert server.put("/_stcore/upload_file/session-1/x").status_code == 200
    server.cookies.clear()
    for session in ("session-1", "session-2", "session-3"):
        assert told(session) == "streamlit, token"
        assert server.put(f"/_stcore/upload_file/{session}/x").status_code == 404


def test_a_page_that_sends_too_much_at_once_is_closed(server: TestClient) -> None:
    for size, kept_open in ((MOST_MESSAGE_BYTES, True), (MOST_MESSAGE_BYTES + 1, False)):
        with server.websocket_connect(f"{SOCKET}?echo=1") as socket:
            socket.receive_text()
            socket.send_bytes(b"x" * size)
            if kept_open:
                assert socket.receive_text() == str(size)
            else:
                with pytest.raises(WebSocketDisconnect) as closed:
                    socket.receive_text()
                assert closed.value.code == TOO_BIG


def test_uploads_count_by_number_and_size(server: TestClient, counts: Rates) -> None:
    from limits import parse

    server.get("/", headers={"Accept": "text/html"})
    sessions._sessions["s"] = server.cookies[sessions.COOKIE]

    counts.rates["megabytes from address"] = parse("10/hour")
    put = lambda size: server.put("/_stcore/upload_file/s/x", content=b"x" * size)  # noqa: E731
    assert put(4_000_000).status_code == 200
    assert put(5_500_000).status_code == 200
    assert put(1).status_code == 429


def test_who_is_at_the_desk_brings_in_a_days_photos(
    server: TestClient, kept: DatabaseStore, counts: Rates, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A table of three hundred orders has as many photos; a stranger has the address's bound."""
    from limits import parse

    counts.rates["photos from address"] = parse("1/hour")
    counts.rates["photos of staff"] = parse("3/hour")
    server.get("/", headers={"Accept": "text/html"})
    sessions._sessions["s"] = server.cookies[sessions.COOKIE]

    def puts(count: int) -> list[int]:
        return [server.put("/_stcore/upload_file/s/x").status_code for _ in range(count)]

    assert puts(2) == [200, 429]
    server.cookies.set(DESK_COOKIE, "opens nothing")
    assert puts(1) == [429]
    server.cookies.delete(DESK_COOKIE)
    staff.add(kept, "Ada Lind", GOOD)
    sign(server, "Ada Lind", GOOD)
    assert puts(4) == [200, 200, 200, 429]
    server.post("/staff", data={"act": "out"})
    assert puts(1) == [429]
    monkeypatch.setenv("PHOTOCHECK_DESK", "open")
    assert puts(1) == [200]


# -- rate limits ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("address", "who"),
    [
        ("203.0.113.7", "203.0.113.7"),
        ("::ffff:203.0.113.7", "203.0.113.7"),
        # RFC 6177: a home gets a /64 or more; RFC 3849 addresses
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("2001:db8:1:2::9", "2001:db8:1:2::/64"),
        ("fe80::1%eth0", "fe80::/64"),
        ("127.0.0.1", HERE),
        ("::1", HERE),
        ("testclient", HERE),
        (None, HERE),
    ],
)
def test_visitors_are_told_apart_by_their_network(address: str | None, who: str) -> None:
    assert visitor(address) == who


def test_too_often_says_how_long_to_wait() -> None:
    counts = Rates()
    for _ in range(RATES["begin from address"].amount):
        counts.count("begin from address", "203.0.113.7")
    with pytest.raises(TooOftenError, match="Wait 60 minutes"):
        counts.count("begin from address", "203.0.113.7")
    counts.count("begin from address", "203.0.113.8")
    counts.count("checks from address", "203.0.113.7")
    counts.count("megabytes from address", "203.0.113.7", cost=10**9)
    with pytest.raises(TooOftenError):
        counts.count("megabytes from address", "203.0.113.7")


# -- addresses and the provider ------------------------------------------------------


@pytest.mark.parametrize(
    ("page", "address"),
    [
        ("http://127.0.0.1:8501", "http://127.0.0.1:8501/?order=a.b.c"),
        ("https://shop.example/desk?case=k#x", "https://shop.example/?order=a.b.c"),
        ("https://shop.example/check/desk", "https://shop.example/check/?order=a.b.c"),
        ("https://shop.example/?order=old", "https://shop.example/?order=a.b.c"),
    ],
)
def test_a_link_leads_to_the_first_page(page: str, address: str) -> None:
    assert address_of_link(page, "a.b.c") == address


PROVIDER = """
staff = ["ada@example.org", " BEN@example.org "]

[auth]
redirect_uri = "https://shop.example/oauth2callback"
client_id = "photocheck"
client_secret = "a secret"
server_metadata_url = "https://id.example/.well-known/openid-configuration"
"""


def test_the_provider_is_read_from_a_file(tmp_path: Path) -> None:
    file = tmp_path / "provider.toml"
    file.write_text(PROVIDER)
    provider = read_provider(file)
    assert provider.auth["client_id"] == "photocheck"
    assert provider.staff == {"ada@example.org", "ben@example.org"}


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("client_secret", "client_word", "client_secret is missing"),
        ("/oauth2callback", "/", "oauth2callback"),
        ("staff =", "people =", "who may come in"),
        ("staff = [", "staff = [7, ", "who may come in"),
        ("[auth]", "[auth", "not TOML"),
        ("[auth]", "[other]", "redirect_uri, client_id"),
    ],
)
def test_a_provider_that_cannot_be_used_is_told(
    tmp_path: Path, before: str, after: str, said: str
) -> None:
    file = tmp_path / "provider.toml"
    file.write_text(PROVIDER.replace(before, after))
    with pytest.raises(ProviderError, match=said):
        read_provider(file)
    with pytest.raises(ProviderError, match="cannot be read"):
        read_provider(tmp_path / "none.toml")


NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("claims", "name"),
    [
        ({"email": "Ada@example.org", "email_verified": True}, "Ada@example.org"),
        ({"email": "ada@example.org", "email_verified": "true"}, "ada@example.org"),
        # OpenID Connect Core 1.0, 5.7: an address that is not verified identifies nobody
        ({"email": "ada@example.org", "email_verified": False}, ""),
        ({"email": "ada@example.org", "email_verified": "false"}, ""),
        ({"email": "ada@example.org"}, ""),
        ({"email": "eve@example.org", "email_verified": True}, ""),
        ({"email": ["ada@example.org"], "email_verified": True}, ""),
        ({}, ""),
    ],
)
def test_only_those_named_and_verified_are_admitted(claims: dict[str, object], name: str) -> None:
    provider = Provider({}, frozenset({"ada@example.org"}))
    assert provider.named(claims) == name
    assert provider.admitted({**claims, "iat": NOW.timestamp()}, NOW) == name


@pytest.mark.parametrize(
    ("iat", "fresh"),
    [
        (0.0, True),
        (-12 * 3600, True),  # a shift
        (-12 * 3600 - 1, False),
        (5 * 60, True),  # the provider's clock is ahead
        (5 * 60 + 1, False),
        (None, False),
    ],
)
def test_who_came_by_the_provider_is_asked_anew_after_a_shift(
    iat: float | None, fresh: bool
) -> None:
    claims = {"email": "ada@example.org", "email_verified": True}
    told = {**claims, "iat": None if iat is None else NOW.timestamp() + iat}
    provider = Provider({}, frozenset({"ada@example.org"}))
    assert provider.admitted(told, NOW) == ("ada@example.org" if fresh else "")
    assert provider.admitted(claims, NOW) == ""
