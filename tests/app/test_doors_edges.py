"""Bounds of the doors, reached to the byte."""

from __future__ import annotations

import asyncio
import gzip
import inspect
from collections.abc import AsyncIterator
from contextlib import ExitStack, asynccontextmanager
from threading import Event
from types import SimpleNamespace
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.requests import HTTPConnection
from starlette.testclient import TestClient

from photocheck.orders.store import kept_clients
from photocheck.server.access.passes import AccessError
from photocheck.server.access.rates import TooOftenError
from photocheck_app import framework
from photocheck_app.doors import assets, language, lifespan, open_pages, sign_in, signed_in
from photocheck_app.doors.bodies import Arriving, TooLargeError
from photocheck_app.doors.connections import Room
from photocheck_app.doors.middleware import _shortened
from photocheck_app.doors.open_pages import Asking, Places
from photocheck_app.doors.pressed import Pressed, answer
from photocheck_app.doors.rate_limits import COUNTS
from photocheck_app.doors.settings import the_store
from tests.support.waiting import until_in_loop


@pytest.mark.parametrize("parts", [(10,), (4, 6), (1,) * 10])
@pytest.mark.parametrize("more", [0, 1])
def test_a_body_may_be_as_long_as_is_allowed_and_not_a_byte_longer(
    parts: tuple[int, ...], more: int
) -> None:
    sizes = [*parts[:-1], parts[-1] + more]
    coming = iter([{"type": "http.request", "body": b"x" * size} for size in sizes])
    counted: list[int] = []

    async def receive() -> Any:
        return next(coming)

    body = Arriving(receive, 10, counted.append)
    got = [asyncio.run(body())["type"] for _ in sizes]
    assert got[:-1] == ["http.request"] * (len(sizes) - 1)
    assert got[-1] == ("http.disconnect" if more else "http.request")
    assert isinstance(body.refused, TooLargeError) is bool(more)
    # what was counted is what came
    assert counted == [sum(sizes[: n + 1]) for n in range(len(sizes) - more)]


@pytest.mark.parametrize(
    "said", ["x" * 500, "ä" * 300, "x" + "€" * 200, "x" * 3, "\U0001f415" * 90]
)
def test_why_a_websocket_is_closed_fits_into_its_frame(said: str) -> None:
    """RFC 6455, 5.5: at most 125 bytes, of which two are the code; and no letter is cut."""
    kept = _shortened(said)
    assert said.startswith(kept)
    bytes_kept = len(kept.encode())
    assert bytes_kept == min(len(said.encode()), bytes_kept)
    assert bytes_kept <= 123
    assert kept == said or bytes_kept > 100


def test_what_guards_against_guessing_is_counted_in_the_store() -> None:
    assert COUNTS.store is the_store


def test_where_all_have_one_connection_who_waited_longest_makes_room() -> None:
    class Line(asyncio.Transport):
        gone = False

        def abort(self) -> None:
            self.gone = True

    room = Room(in_all=3, of_address=4)
    lines = [Line() for _ in range(3)]
    for number, line in enumerate(lines):
        assert room.enter(line, f"203.0.113.{number}")
    assert room.enter(Line(), "203.0.113.9")
    assert [line.gone for line in lines] == [True, False, False]
    assert len(room) == 3


@pytest.mark.parametrize(("fields", "long", "taken"), [(10, 0, True), (11, 0, False), (3, 3, True)])
def test_a_form_to_sign_in_has_few_fields(fields: int, long: int, taken: bool) -> None:
    app = Starlette(routes=sign_in.ROUTES)
    form = {f"field{n}": "x" * (long or 1) for n in range(fields - 1)} | {"act": "nothing"}
    answer = TestClient(app, "http://shop.example").post("/staff", data=form)
    assert (answer.status_code == 200) is taken
    assert answer.status_code in (200, 400)


@pytest.mark.parametrize(
    ("accepted", "weight"),
    [("", 1.0), ("q=0.3", 0.3), ("q=1", 1.0), ("q=1.2", 1.0), ("q=-1", 0.0), ("q=x", 0.0)],
)
def test_a_language_is_wanted_at_most_wholly(accepted: str, weight: float) -> None:
    """RFC 9110, 12.4.2: from 0 to 1."""
    assert language._weight(accepted) == weight


@pytest.mark.parametrize("there", [True, False])
@pytest.mark.parametrize("signed", [True, False])
@pytest.mark.parametrize("staff", ["", "Ada"])
def test_only_whom_the_provider_knows_and_the_desk_does_not_is_told_so(
    monkeypatch: pytest.MonkeyPatch, there: bool, signed: bool, staff: str
) -> None:
    class User(dict[str, str]):
        is_logged_in = signed

        def to_dict(self) -> dict[str, str]:
            return dict(self)

    known = SimpleNamespace(named=lambda claims: staff) if there else None
    monkeypatch.setattr(signed_in, "provider", lambda: known)
    for claims in ({"email": "eve@example.org", "name": "Eve"}, {"name": "Eve"}, {}):
        monkeypatch.setattr(signed_in, "st", SimpleNamespace(user=User(claims)))
        told = claims.get("email") or claims.get("name", "")
        assert signed_in._turned_away() == (told if there and signed and not staff else "")


def test_a_program_gets_a_hundred_orders_unless_it_asks_for_others() -> None:
    assert inspect.signature(kept_clients.orders_of).parameters["limit"].default == 100


@pytest.mark.parametrize(
    ("kind", "size", "worth"),
    [
        ("text/css", 1000, True),
        ("text/css", 999, False),
        ("image/png", 1000, False),
        ("image/svg+xml", 1000, True),
        ("font/woff2", 10**5, False),
    ],
)
def test_what_is_small_or_pressed_already_is_not_pressed(kind: str, size: int, worth: bool) -> None:
    content = b"x" * size
    held = Pressed.of(kind, content)
    assert (held.pressed is not None) is worth
    assert held.tag == Pressed.of(kind, content).tag != Pressed.of(kind, content + b"x").tag
    for accepted in ("gzip, br", "br", ""):
        scope = {"type": "http", "headers": [(b"accept-encoding", accepted.encode())]}
        given = answer(HTTPConnection(scope), held, {})
        pressed = worth and "gzip" in accepted
        assert given.headers.get("content-encoding") == ("gzip" if pressed else None)
        # RFC 9110, 12.5.5: who keeps it is told by what it varies
        assert given.headers.get("vary") == ("Accept-Encoding" if worth else None)
        assert given.headers["content-type"].partition(";")[0] == kind
        whole = gzip.decompress(given.body) if pressed else given.body
        assert whole == content
    assert held.pressed is None or len(held.pressed) < 100


@pytest.mark.parametrize("done", [True, False])
def test_the_server_waits_for_runs_before_it_ends_and_says_which_it_cut_off(
    done: bool, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    asked: list[float] = []
    noted: list[str] = []

    class Runs:
        def wait_until_done(self, patience_s: float) -> bool:
            noted.append("waited")
            asked.append(patience_s)
            return done

    @asynccontextmanager
    async def meanwhile(*_: Any) -> AsyncIterator[None]:
        noted.append("begun")
        yield
        noted.append("ended")

    for name in ("retention", "forgetting", "telling", "watching"):
        monkeypatch.setattr(lifespan, name, meanwhile)
    monkeypatch.setattr(lifespan, "begin_runs_elsewhere", lambda: noted.append("elsewhere"))
    monkeypatch.setattr(lifespan, "finish_presses", lambda: noted.append("presses"))
    monkeypatch.setattr(lifespan, "send_together", lambda: noted.append("together"))
    monkeypatch.setattr(lifespan, "read_lightly", lambda: noted.append("lightly"))
    monkeypatch.setattr(lifespan, "take_no_odd_values", lambda: noted.append("odd"))
    monkeypatch.setattr(lifespan, "RUNS", Runs())

    async def serve() -> None:
        async with lifespan.lifespan(None):
            noted.append("served")

    asyncio.run(serve())
    begins = ["elsewhere", "presses", "together", "lightly", "odd"]
    goes_on = ["begun"] * 4
    assert noted == [*begins, *goes_on, "served", "waited", *["ended"] * 4]
    assert asked == [lifespan.RUNS_END_WITHIN_S] == [4.0]
    assert ["still being run" in said for said in caplog.messages] == ([] if done else [True])


def test_it_is_watched_how_late_the_loop_comes(monkeypatch: pytest.MonkeyPatch) -> None:
    late: list[float] = []
    monkeypatch.setattr(lifespan, "STRAIN", SimpleNamespace(late=late.append))
    held_s = 5 * lifespan.EVERY_S

    async def serve() -> None:
        async with lifespan.watching():
            await until_in_loop(lambda: late, "a look")
            Event().wait(held_s)  # the loop with it
            looks = len(late)
            await until_in_loop(lambda: len(late) > looks, "another")
        assert len(asyncio.all_tasks()) == 1  # this one

    asyncio.run(serve())
    assert max(late) >= held_s - lifespan.EVERY_S


@pytest.mark.parametrize(
    ("name", "dearer"), [("WORK", True), ("PAGES", True), ("REQUESTS", True), ("PROVIDER", False)]
)
def test_what_an_address_asks_for_is_dearer_while_the_loop_comes_late(
    name: str, dearer: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    here, elsewhere = "192.0.2.77", "192.0.2.78"
    line = getattr(open_pages, name).of(here)
    monkeypatch.setattr(open_pages.STRAIN, "_price", 1.0)
    for address in (here, elsewhere):
        asyncio.run(open_pages.turn(open_pages.REQUESTS, Asking(address)))
    before = line.until_s(line.most + 1)
    for _ in range(50):
        open_pages.STRAIN.late(1.0)
    line.wait_s(line.most / 4)
    assert (line.until_s(line.most / 8) > 0) is dearer
    assert line.until_s(line.most + 1) > before


@pytest.mark.parametrize("base", ["", "/check"])
def test_a_page_is_given_by_its_own_path_alone(base: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Below a path of its own, Streamlit leads on from that without its last stroke."""
    monkeypatch.setattr(framework, "base", lambda: base)

    def given(path: str, inner: str, method: str = "GET") -> Any:
        scope = {
            "type": "http",
            "method": method,
            "path": path,
            "headers": [],
            "query_string": b"",
        }
        return asyncio.run(assets.page_file(HTTPConnection(scope), inner, Asking("x")))

    for inner in ("/", "/sheet", "/desk"):
        assert given(base + inner, inner).headers["cache-control"] == "no-cache"
        assert given(base + inner, inner, "HEAD") is not None
        assert given(base + inner, inner, "POST") is None
    assert given(f"{base}/sheet/", "/sheet/") is None
    assert given(base, "/") is None
    assert given(f"{base}/sheet", "/") is None


@pytest.mark.parametrize("named", ["Ada", ""])
@pytest.mark.parametrize("by_provider", [None, "", "shut"])
@pytest.mark.parametrize("passwords", [True, False])
def test_who_has_not_signed_in_is_shown_every_way_there_is(
    monkeypatch: pytest.MonkeyPatch, named: str, by_provider: str | None, passwords: bool
) -> None:
    said: list[str] = []

    def noting(what: str, *_: Any, **__: Any) -> None:
        said.append(what)

    shown = SimpleNamespace(
        html=noting, write=noting, warning=noting, button=noting, caption=noting, login=None
    )
    monkeypatch.setattr(signed_in, "st", shown)
    monkeypatch.setattr(signed_in, "provider", lambda: None if by_provider is None else object())
    monkeypatch.setattr(signed_in, "shut_by_rotation", lambda: by_provider == "shut")
    monkeypatch.setattr(signed_in, "_turned_away", lambda: named)
    monkeypatch.setattr(signed_in, "the_store", lambda: None)
    everybody = (("Ada", None),) if passwords else ()
    monkeypatch.setattr(signed_in.staff, "everybody", lambda _: everybody)
    signed_in.show_way_in()
    told = " ".join(said)
    assert "<h1>Workshop desk</h1>" in told
    assert "behind a password" in told
    assert "Owners need no password" in told
    assert ("just now" in told) == (by_provider == "shut")
    assert ("Ada is signed in" in told) == (bool(named) and by_provider != "shut")
    assert ("Sign in through" in told) == (by_provider is not None)
    assert ('href="/staff"' in told) == (by_provider is None or passwords)


@pytest.mark.parametrize(
    ("open_desk", "by_provider", "button", "link"),
    [(True, "", 0, 0), (False, "Ada", 1, 0), (False, "", 0, 1), (False, "Ben", 0, 1)],
)
def test_who_signed_in_is_shown_the_way_out_by_which_they_came(
    monkeypatch: pytest.MonkeyPatch, open_desk: bool, by_provider: str, button: int, link: int
) -> None:
    said: list[str] = []
    shown = SimpleNamespace(
        html=lambda html: said.append("link" if "/staff" in html else html),
        button=lambda text, **_: said.append("button"),
        logout=None,
    )
    monkeypatch.setattr(signed_in, "st", shown)
    monkeypatch.setattr(signed_in, "desk_is_open", lambda: open_desk)
    monkeypatch.setattr(signed_in, "name_by_oidc", lambda: by_provider)
    signed_in.show_way_out("Ada")
    assert said == ["button"] * button + ["link"] * link


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ("Ada  Lind ", "Ada Lind"),
        ("", "staff"),
        ("OWNER", "staff"),
        ("x" * 61, "x" * 60),
    ],
)
def test_at_an_open_desk_everybody_has_a_name(
    monkeypatch: pytest.MonkeyPatch, given: str, name: str
) -> None:
    monkeypatch.setattr(signed_in, "desk_is_open", lambda: True)
    monkeypatch.setattr(signed_in, "st", SimpleNamespace(query_params={"by": given}))
    assert signed_in.at_desk() == name


def test_a_page_that_stays_open_gives_nothing_out_once_one_has_signed_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    carried = {"cookie": "pass", "provider": ""}
    asked: list[str] = []

    def at_desk(_: object, what: str) -> str:
        asked.append(what)
        if what == "ended":
            raise AccessError("no longer")
        return "Ada"

    monkeypatch.setattr(signed_in, "desk_is_open", lambda: False)
    monkeypatch.setattr(signed_in, "the_store", lambda: None)
    monkeypatch.setattr(signed_in, "_cookie", lambda: carried["cookie"])
    monkeypatch.setattr(signed_in, "name_by_oidc", lambda: carried["provider"])
    monkeypatch.setattr(signed_in.passes, "at_desk", at_desk)
    made = signed_in.while_signed_in(lambda: "all orders")
    assert (made(), made(), asked) == ("all orders", "all orders", ["pass"] * 2)
    carried["cookie"] = "ended"
    with pytest.raises(AccessError):
        signed_in.while_signed_in(lambda: "all orders")()
    # who came by the provider is asked for by the page itself
    carried["provider"] = "Ada"
    asked.clear()
    assert signed_in.while_signed_in(lambda: "all orders")() == "all orders"
    carried |= {"cookie": "", "provider": ""}
    assert signed_in.while_signed_in(lambda: "all orders")() == "all orders"
    assert asked == []


def test_a_place_that_is_left_late_is_nobodys_elses() -> None:
    """Who was sent away leaves when its own work ends; those who came since are still counted."""
    places = Places()
    with ExitStack() as late, ExitStack() as stays:
        place = late.enter_context(places.one_more(Asking("one", "a"), 1, lambda: None))
        place.silent = True
        with places.one_more(Asking("one", "b"), 1, lambda: None):
            assert len(places) == 1
        stays.enter_context(places.one_more(Asking("one", "c"), 1, lambda: None))
        late.close()
        assert len(places) == 1
        with pytest.raises(TooOftenError), places.one_more(Asking("one", "c"), 1, lambda: None):
            pass
    assert not len(places)
    assert not places._here
