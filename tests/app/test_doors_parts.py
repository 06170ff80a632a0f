"""Parts of the doors by themselves: what each does at its bounds and the second time."""

from __future__ import annotations

import asyncio
import json
import logging
from contextlib import ExitStack
from types import SimpleNamespace
from typing import Any

import pytest
from cachetools import LRUCache
from starlette.datastructures import MutableHeaders
from starlette.requests import HTTPConnection
from starlette.types import Message

from photocheck.errors import PhotocheckError
from photocheck.orders.model import StoreError
from photocheck.server.access.browsers import new_browser
from photocheck.server.access.rates import TooOftenError
from photocheck.server.shop import Shop
from photocheck_app.doors import (
    bodies,
    connections,
    cookies,
    first_page,
    logs,
    oidc,
    open_pages,
    origin,
    running,
    sessions,
    shell,
    whose,
)
from photocheck_app.doors.open_pages import Asking, Stay
from photocheck_app.doors.trouble import LOG_EVERY_S, SURE_S, Trouble

# --- sessions -----------------------------------------------------------------------


@pytest.fixture
def remembered(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What the framework says of the run, and what it was asked to watch."""
    run: dict[str, Any] = {"session": "s1", "served": True, "cookie": "mine", "watched": []}
    run["address"] = "203.0.113.7"

    class Context:
        @property
        def cookies(self) -> dict[str, str]:
            return {sessions.COOKIE: run["cookie"]} if run["cookie"] else {}

    framework = SimpleNamespace(
        session_id=lambda: run["session"],
        served=lambda: run["served"],
        watch_media=lambda *both: run["watched"].append(both),
    )
    monkeypatch.setattr(sessions, "framework", framework)
    monkeypatch.setattr(sessions, "st", SimpleNamespace(context=Context()))
    monkeypatch.setattr(sessions, "_sessions", {})
    monkeypatch.setattr(sessions, "_given", {})
    monkeypatch.setattr(sessions, "_addresses", {})
    monkeypatch.setattr(sessions, "here", lambda: run["address"])
    return run


def test_a_session_counts_as_where_its_last_run_came_from(remembered: dict[str, Any]) -> None:
    assert sessions.address_of("s1") == ""
    sessions.bind()
    assert sessions.address_of("s1") == "203.0.113.7"
    remembered["address"] = "198.51.100.1"  # a phone that leaves the house
    sessions.bind()
    assert (sessions.address_of("s1"), sessions.address_of("s2")) == ("198.51.100.1", "")


def test_a_session_is_its_first_browsers_and_its_files_too(remembered: dict[str, Any]) -> None:
    sessions.bind()
    remembered["cookie"] = "another"
    sessions.bind()
    assert sessions.owns_session("s1", "mine")
    assert not sessions.owns_session("s1", "another")
    assert not sessions.owns_session("s2", "mine")
    (shown, made), _ = remembered["watched"]
    shown("/media/abc.jpg?x=1")
    shown("")
    for path in ("/media/abc.jpg", "/check/media/abc.jpg", "abc.jpg"):
        assert sessions.may_fetch(path, "another")
        assert not sessions.may_fetch(path, "mine")
    assert not sessions.may_fetch("/media/abd.jpg", "another")
    remembered["cookie"] = "mine"
    shown("/media/abc.jpg")  # two pages may show the same
    assert sessions.may_fetch("abc.jpg", "mine")
    assert sessions.may_fetch("abc.jpg", "another")
    # what was promised to some is theirs once it is made
    made("/media/abc.jpg", "/media/made.zip")
    made("/media/nobodys", "/media/other.zip")
    assert sessions.may_fetch("made.zip", "mine")
    assert sessions.may_fetch("made.zip", "another")
    assert not sessions.may_fetch("other.zip", "mine")
    assert set(sessions._given) == {"abc.jpg", "made.zip"}


def test_the_first_run_of_a_page_is_told_from_others(remembered: dict[str, Any]) -> None:
    assert [sessions.just_opened() for _ in range(2)] == [True, True]
    sessions.bind()
    assert not sessions.just_opened()
    remembered["session"] = "s2"
    assert sessions.just_opened()
    remembered["served"] = ""
    assert not sessions.just_opened()


def test_a_picture_of_every_page_is_remembered_for_those_who_saw_it_last(
    remembered: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sessions, "MOST_BROWSERS", 2)
    for who in ("one", "two", "one", "three"):
        remembered["cookie"] = who
        sessions.bind()
        remembered["watched"][-1][0]("/media/drawing.svg")

    def may() -> list[str]:
        return [who for who in ("one", "two", "three") if sessions.may_fetch("drawing.svg", who)]

    assert may() == ["one", "three"]
    remembered["cookie"] = "two"
    remembered["watched"][-1][0]("/media/drawing.svg")  # once a page shows it again
    assert may() == ["two", "three"]


@pytest.mark.parametrize("missing", ["session", "served"])
def test_nothing_is_remembered_of_a_run_that_serves_nobody(
    remembered: dict[str, Any], missing: str
) -> None:
    remembered[missing] = ""
    sessions.bind()
    assert (sessions._sessions, remembered["watched"]) == ({}, [])


def test_no_more_of_a_cookie_is_remembered_than_was_ever_given(remembered: dict[str, Any]) -> None:
    """Of every session and file: of twenty thousand headers it would be a third of a gigabyte."""
    for length, kept in ((120, True), (121, False), (16_000, False)):
        remembered["session"] = remembered["cookie"] = "c" * length
        sessions.bind()
        (shown, _), *_ = remembered["watched"][-1:]
        shown(f"/media/{length}.jpg")
        assert sessions.owns_session("c" * length, "c" * length) is kept
        assert sessions.may_fetch(f"{length}.jpg", "c" * length) is kept
    assert len(new_browser()) < 120
    held = [*sessions._sessions.values(), *(one for own in sessions._given.values() for one in own)]
    assert max(map(len, held)) == 120


def test_who_carries_nothing_has_nothing(remembered: dict[str, Any]) -> None:
    remembered["cookie"] = ""
    sessions.bind()
    (shown, _), *_ = remembered["watched"]
    shown("/media/abc.jpg")
    assert not sessions.owns_session("s1", "")
    assert not sessions.may_fetch("abc.jpg", "")
    sessions._given["abc.jpg"] = LRUCache(1)
    sessions._given["abc.jpg"][""] = None
    assert not sessions.may_fetch("abc.jpg", "")
    assert sessions.browser() == ""


# --- runs, the log ------------------------------------------------------------------


def test_a_long_run_is_remembered_as_a_short_one(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [0.0]
    monkeypatch.setattr(running, "monotonic", lambda: now[0])
    monkeypatch.setattr(running, "thread_time", lambda: now[0])
    runs = running.Runs()
    for lasted, burden in ((0.1, 0.1), (100.0, 0.35)):
        with runs.one("one", "own"):
            assert runs._busy("one") == 1
            now[0] += lasted
            assert runs._busy("one") == (lasted < running.MOMENT_S)
        assert runs._had_of("one").of("own") == pytest.approx(burden, rel=0.01)
    assert (runs._begun, runs._waiting) == ({}, {})
    assert runs._busy("one") == 0
    assert runs._had_of("one") is runs._had_of("one")
    assert runs._had_of("other").of("own") == 0


def test_every_handler_there_will_be_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(logging.Handler, "handle", logging.Handler.handle)
    said: list[str] = []

    class Noting(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            said.append(record.getMessage())

    logs.bound_logs()
    log = logging.Logger("an own one")
    log.addHandler(Noting())
    for number in range(30):
        log.warning("line %d", number)
    assert said == [f"line {number}" for number in range(20)]
    log.warning("x" * 5000)
    assert said[-1] == "x" * 4000 + "..."
    log.warning("x" * 4000)
    assert said[-1] == "x" * 4000


def test_a_store_that_is_away_is_told_of_seldom_and_once_it_is_back(
    caplog: pytest.LogCaptureFixture,
) -> None:
    now = [0.0]
    trouble, error = Trouble(lambda: now[0]), StoreError("away")
    trouble.there()
    for at in (0.0, 1.0, LOG_EVERY_S - 0.1):
        now[0] = at
        trouble.away(error)
    assert len(caplog.messages) == 1
    now[0] = LOG_EVERY_S
    trouble.away(error)
    assert len(caplog.messages) == 2
    now[0] += SURE_S - 0.1
    trouble.there()
    assert len(caplog.messages) == 2
    now[0] = LOG_EVERY_S + SURE_S
    trouble.there()
    trouble.there()
    assert caplog.messages[2:] == ["the orders are there again, after 60 s"]
    trouble.away(error)  # the next time is told at once
    assert len(caplog.messages) == 4
    assert all("away" in said for said in (caplog.messages[0], caplog.messages[3]))


def test_what_a_statement_held_stands_in_no_log(caplog: pytest.LogCaptureFixture) -> None:
    cause = Exception("INSERT somebody's name")
    cause.orig = "no such file"  # type: ignore[attr-defined]
    error = StoreError("away")
    error.__cause__ = cause
    Trouble().away(error)
    assert caplog.messages == ["the orders cannot be reached: no such file"]


# --- bodies -------------------------------------------------------------------------


def test_who_brings_all_of_it_is_not_sent_away() -> None:
    """What is still to come can be broken off, and what is being answered cannot."""
    came: list[Message] = [
        {"type": "http.request", "body": b"a", "more_body": True},
        {"type": "http.request", "body": b"b"},
        {"type": "http.disconnect"},
    ]

    async def receive() -> Message:
        return came.pop(0)

    async def read() -> list[Any]:
        body = bodies.Arriving(receive, 2, lambda _: None)
        body.place = Stay("own", body.send_away)
        told: list[Any] = []
        for _ in range(2):
            told.append((await body())["type"])
            told.append(body.place is None)
        body.send_away()
        told.append((await body())["type"])
        return [*told, body.refused]

    assert asyncio.run(read()) == [
        *("http.request", False, "http.request", True, "http.disconnect"),
        None,
    ]


def test_who_is_sent_away_is_told_why_and_reads_no_more() -> None:
    async def receive() -> Message:
        await asyncio.Event().wait()
        raise AssertionError

    async def read() -> tuple[list[str], Exception | None]:
        body = bodies.Arriving(receive, 2, lambda _: None)
        body.place = Stay("own", body.send_away)
        body.send_away()
        return [(await body())["type"] for _ in range(2)], body.refused

    told, refused = asyncio.run(read())
    assert told == ["http.disconnect"] * 2
    assert isinstance(refused, TooOftenError)


@pytest.mark.parametrize(
    ("purpose", "method", "large"),
    [
        ("interface", "GET", True),
        ("upload", "PUT", True),
        ("upload", "POST", False),
        ("page", "PUT", False),
        (None, "PUT", False),
        ("sign in", "POST", False),
    ],
)
def test_how_much_may_be_brought(purpose: Any, method: str, large: bool) -> None:
    assert (bodies.most_bytes(purpose, method) > 50_000_000) is large
    assert large or bodies.most_bytes(purpose, method) == 16_000


# --- whose places -------------------------------------------------------------------


def test_places_of_an_address_are_bounded_whatever_cannot_be_broken_off() -> None:
    """Twice as many at the very most, and whoever has most gains none."""
    places = open_pages.Places()
    with ExitStack() as held:
        for _ in range(2):
            held.enter_context(places.one_more(Asking("one", "many"), 2, pytest.fail))
        for browser in ("a", "b"):
            held.enter_context(places.one_more(Asking("one", browser), 2, pytest.fail))
        assert len(places) == 4
        with pytest.raises(TooOftenError), places.one_more(Asking("one", "c"), 2, pytest.fail):
            pass
        with places.one_more(Asking("other", "c"), 2, pytest.fail):
            assert len(places) == 5
    assert len(places) == 0


# --- connections ----------------------------------------------------------------------


def test_a_page_that_does_not_answer_is_parted_from(monkeypatch: pytest.MonkeyPatch) -> None:
    later: list[tuple[float, object]] = []
    page = connections.Websocket.__new__(connections.Websocket)
    transport = SimpleNamespace(abort=lambda: None)
    vars(page).update(
        transport=transport,
        _sips=SimpleNamespace(end=lambda: None),
        loop=SimpleNamespace(call_later=lambda *both: later.append(both)),
    )
    told: list[str] = []
    parent = connections.WebSocketsSansIOProtocol
    monkeypatch.setattr(parent, "keepalive_timeout", lambda _: told.append("closes"))
    monkeypatch.setattr(parent, "connection_lost", lambda *_: told.append("gone"))
    page.keepalive_timeout()
    assert later == [(connections.PART_S, transport.abort)]
    left: list[object] = []
    monkeypatch.setattr(connections, "ROOM", SimpleNamespace(leave=left.append))
    page.connection_lost(None)
    assert (told, left) == (["closes", "gone"], [transport])


# --- cookies, origins -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("https", "seconds", "more"),
    [
        (False, None, ""),
        (True, None, "; Secure"),
        (False, 0, "; Max-Age=0"),
        (True, 60, "; Secure; Max-Age=60"),
    ],
)
def test_a_cookie_is_written_as_browsers_read_it(
    https: bool, seconds: int | None, more: str
) -> None:
    """RFC 6265bis, 4.1"""
    given = cookies.cookie("a", "b", https, seconds=seconds)
    assert given == f"a=b; Path=/; HttpOnly; SameSite=Lax{more}"


def test_cookies_of_others_are_passed_on_as_they_are() -> None:
    told = b"other=1; ; __Host-photocheck_desk=mine; photocheck_desk=evil;x"
    headers = [(b"Cookie", told), (b"accept", b"photocheck_desk=x")]
    scope = cookies.taken_in({"headers": headers, "path": "/"})
    assert scope["path"] == "/"
    assert scope["headers"] == [(b"Cookie", b"other=1; photocheck_desk=mine; x"), headers[1]]
    none = MutableHeaders()
    cookies.give_out(none)
    assert "set-cookie" not in none
    given = MutableHeaders(raw=[(b"set-cookie", b"other=1; secure; path=/a")])
    cookies.give_out(given)
    assert given.getlist("set-cookie") == ["other=1; path=/a; Secure"]


@pytest.mark.parametrize(
    ("scheme", "https"),
    [("https", True), ("wss", True), ("http", False), ("ws", False), ("", False)],
)
def test_what_travels_encrypted(scheme: str, https: bool) -> None:
    told = {"type": "http", "headers": []} | ({"scheme": scheme} if scheme else {})
    assert origin.is_https(HTTPConnection(told)) is https


# --- the provider ---------------------------------------------------------------------


def test_who_signed_in_at_the_provider_is_in_until_the_secret_changes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    key = ["first"]

    def key_for(purpose: str) -> str:
        if not key[0]:
            raise PhotocheckError("no secret")
        return f"{purpose} {key[0]}"

    known = SimpleNamespace(auth={"client_id": "x"}, admitted=lambda claims, now: claims["email"])
    user = SimpleNamespace(is_logged_in=True, to_dict=lambda: {"email": "ada"})
    oidc._signed_with.cache_clear()
    monkeypatch.setattr(oidc, "key_for", key_for)
    monkeypatch.setattr(oidc, "st", SimpleNamespace(user=user))
    monkeypatch.setattr(oidc, "provider", lambda: None)
    assert (oidc.secrets_of_oidc(), oidc.name_by_oidc()) == ({}, "")
    monkeypatch.setattr(oidc, "provider", lambda: known)
    told = oidc.secrets_of_oidc()["auth"]
    assert told["client_id"] == "x"
    assert told["cookie_secret"].endswith("first")
    assert (oidc.name_by_oidc(), oidc.shut_by_rotation()) == ("ada", False)
    user.is_logged_in = False
    assert oidc.name_by_oidc() == ""
    user.is_logged_in = True
    for changed in ("second", ""):
        key[0] = changed
        assert (oidc.name_by_oidc(), oidc.shut_by_rotation()) == ("", True)
    oidc._signed_with.cache_clear()


# --- whose page it is -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("shop", "told"),
    [
        (Shop(), ""),
        (Shop(colour="#123456"), ""),
        (
            Shop(name="<Ours>", reach="a&b", colour="#123456"),
            '<p class="shop" style="border-left:.4rem solid #123456">'
            "<strong>&lt;Ours&gt;</strong> <span>a&amp;b</span></p>",
        ),
        (Shop(name="Ours"), '<p class="shop" style=""><strong>Ours</strong> <span></span></p>'),
        (Shop(reach="a"), '<p class="shop" style=""> <span>a</span></p>'),
    ],
)
def test_a_page_says_whose_it_is(monkeypatch: pytest.MonkeyPatch, shop: Shop, told: str) -> None:
    monkeypatch.setattr(whose, "shop_of", lambda: shop)
    assert whose.whose_page() == told


def test_the_first_page_has_the_shops_colour_where_it_is_one() -> None:
    plain = first_page._style("")
    assert first_page._style("red;}") == plain
    assert first_page._style("#1f4e5f") == plain + ".shop{border-color:#1f4e5f}\n"
    assert first_page._policy("#1f4e5f") != first_page._policy("")


@pytest.mark.parametrize("saving", [False, True])
def test_who_pays_for_what_is_fetched_fetches_nothing_before_it_is_needed(saving: bool) -> None:
    page = first_page._page("en", "", False, saving, Shop()).content.decode()
    assert ("modulepreload" in page) is not saving
    assert ('href="./static' in page or 'src="./static' in page) is not saving


def test_each_page_begins_with_the_look_and_the_scripts_it_needs() -> None:
    texts = '<script type="application/json" id="photocheck-texts">'
    for dense in (False, True):
        page = shell.page("de", dense).content.decode()
        assert '<html lang="de">' in page
        assert (shell.LOOK in page) is not dense
        assert '<div class="pc-wait" role="status">' in page
        assert "pc-tells" not in page.partition('<div id="root">')[2].partition("<style>")[0]
        loaded = [
            path for path in shell.scripts() if f'<script type="module" src=".{path}"' in page
        ]
        late = [path for path in shell.scripts() if path not in loaded]
        assert {path.rpartition("/")[2].split(".")[0] for path in late} == shell.LATER
        said = page.partition(texts)[2].partition("</script>")[0]
        assert set(json.loads(said)) >= {"en", "de"}
        assert "<" not in said
    told = shell.page_telling("en", "<p>it is being checked</p>").content.decode()
    assert '<div class="pc-wait pc-tells"><div><p>it is being checked</p>' in told
    assert shell.LOOK in told
    by_name = {path.rpartition("/")[2].split(".")[0]: path for path in shell.scripts()}
    for path, content in shell.scripts().items():
        for name in by_name:
            assert f'"./{name}.js"'.encode() not in content, (
                path
            )  # by the name that says what is in it
