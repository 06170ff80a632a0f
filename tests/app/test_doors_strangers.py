"""What strangers send: other sites' pages, bodies without end, floods; and what is kept from them.

What stands behind the doors here notes whatever reaches it.
"""

from __future__ import annotations

import asyncio
import errno
import os
from collections.abc import Iterator
from contextlib import ExitStack
from functools import partial
from math import inf
from typing import Any

import pytest
from limits import parse
from starlette.types import Message, Receive, Scope, Send

from photocheck.orders.model import StoreError
from photocheck.server.access.browsers import known_apart, new_browser
from photocheck.server.access.passes import AccessError
from photocheck.server.access.rates import MEGABYTE, Rates, TooOftenError
from photocheck.server.pace import PROVIDER_OF_ADDRESS, Bucket, Pace
from photocheck.server.turns import Line, Lines
from photocheck_app import framework
from photocheck_app.doors import bodies, middleware, open_pages, sessions
from photocheck_app.doors.middleware import Guard
from photocheck_app.doors.open_pages import Asking, Places
from tests.support.waiting import until_in_loop

COOKIE = "a-cookie"
UPLOAD = "/_stcore/upload_file/session-2/file-1"
STREAM = "/_stcore/stream"
reached: list[str] = []


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


async def _behind(scope: Scope, receive: Receive, send: Send) -> None:
    reached.append(scope["path"])
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.accept"})
        while (await receive())["type"] == "websocket.receive":
            reached.append("a message")
        return
    came, more = 0, True
    while more:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise ConnectionError("gone")
        came, more = came + len(message["body"]), message.get("more_body", False)
    headers = [
        (b"set-cookie", b"_streamlit_user=me; HttpOnly; Path=/check; SameSite=lax"),
        (b"set-cookie", b"_streamlit_xsrf=token; Path=/; SameSite=Lax"),
    ]
    told = dict(scope["headers"]).get(b"cookie", b"")
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": b"%d %b" % (came, told)})


@pytest.fixture(autouse=True)
def counts(monkeypatch: pytest.MonkeyPatch) -> Iterator[Rates]:
    fresh = Rates()
    monkeypatch.setattr(middleware, "COUNTS", fresh)
    monkeypatch.setattr(sessions, "_sessions", {"session-2": COOKIE})
    for name in ("REQUESTS", "PAGES"):
        monkeypatch.setattr(middleware, name, Lines(Pace(1000, 1000)))
    monkeypatch.setattr(open_pages, "WORK", Lines(Pace(1000, 1000)))
    reached.clear()
    yield fresh
    assert not len(open_pages.OPEN)
    assert not len(open_pages.ANSWERED)


def _scope(path: str, headers: dict[str, str], **more: Any) -> Scope:
    said = {"host": "shop.example", "cookie": f"photocheck_visitor={COOKIE}"} | headers
    return {
        "type": "http",
        "method": "GET",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "root_path": "",
        "headers": [(name.encode(), value.encode()) for name, value in said.items()],
        "client": ("203.0.113.7", 50000),
        **more,
    }


def _ask(
    path: str, headers: dict[str, str] | None = None, parts: tuple[bytes, ...] = (), **more: Any
) -> tuple[int | str, list[tuple[str, str]], bytes]:
    """Status, or how a websocket was answered; headers; content."""
    sent: list[Message] = []
    scope = _scope(path, headers or {}, **more)
    if scope["type"] == "websocket":
        told: list[dict[str, Any]] = [{"type": "websocket.connect"}]
        told += [{"type": "websocket.receive", "bytes": part} for part in parts]
        told.append({"type": "websocket.disconnect", "code": 1005})
    else:
        told = [{"type": "http.request", "body": part, "more_body": True} for part in parts]
        told.append({"type": "http.request", "body": b"", "more_body": False})
    waiting = iter(told)

    async def receive() -> Message:
        return next(waiting)

    async def send(message: Message) -> None:
        sent.append(message)

    asyncio.run(Guard(_behind, self_test=lambda _: ())(scope, receive, send))
    if scope["type"] == "websocket":
        return sent[0]["type"].partition(".")[2], [], b""
    got = [(key.decode().lower(), value.decode()) for key, value in sent[0]["headers"]]
    return sent[0]["status"], got, b"".join(one.get("body", b"") for one in sent[1:])


async def _quietly(path: str, headers: dict[str, str]) -> None:
    """Ask, among others who ask at the same time."""

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(_: Message) -> None:
        pass

    await Guard(_behind, self_test=lambda _: ())(_scope(path, headers), receive, send)


# -- whose page asks (RFC 6454, 7; RFC 6455, 10.2) ----------------------------------------

KINDS = [
    {"type": "websocket", "path": STREAM},
    {"method": "PUT", "path": UPLOAD},
    {"method": "DELETE", "path": UPLOAD},
    {"method": "OPTIONS", "path": UPLOAD},
    {"method": "POST", "path": "/staff"},
    {"path": "/"},
    {"path": "/_stcore/health"},
    {"path": "/static/any.js"},
]
ELSEWHERE = [
    "http://shop.example:8638",  # another port of the same host
    "https://shop.example",  # another scheme
    "http://other.example",
    "http://shop.example.other.example",
    "http://SHOP.example",  # browsers write it small; what is behind compares letters
    "http://shop.example:80",
    "http://shop.example/",
    "http://localhost",
    "null",
    "",
    "http://shop.example, http://shop.example",
]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("origin", ELSEWHERE)
def test_another_sites_page_reaches_nothing(kind: dict[str, str], origin: str) -> None:
    asked: dict[str, Any] = dict(kind)
    said = _ask(asked.pop("path"), {"origin": origin}, **asked)
    assert said[0] in (403, "close")
    assert reached == []


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("scheme", ["http", "https"])
@pytest.mark.parametrize("host", ["shop.example", "127.0.0.1:8631", "[::1]:8501"])
def test_this_servers_own_page_is_let_through(kind: dict[str, str], scheme: str, host: str) -> None:
    asked: dict[str, Any] = {"scheme": scheme, **kind}
    if asked.get("type") == "websocket":
        asked["scheme"] = {"http": "ws", "https": "wss"}[scheme]
    headers = {"origin": f"{scheme}://{host}", "host": host, "sec-fetch-site": "same-origin"}
    headers["cookie"] = f"photocheck_visitor={COOKIE}; __Host-photocheck_visitor={COOKIE}"
    assert _ask(asked.pop("path"), headers, **asked)[0] in (200, "accept")


@pytest.mark.parametrize("kind", KINDS)
def test_a_program_without_origin_is_let_through(kind: dict[str, str]) -> None:
    asked: dict[str, Any] = dict(kind)
    assert _ask(asked.pop("path"), **asked)[0] in (200, "accept")


@pytest.mark.parametrize("site", ["cross-site", "same-site", "anything"])
def test_a_browser_that_names_another_site_changes_nothing(site: str) -> None:
    said = {"sec-fetch-site": site}
    assert _ask(STREAM, said, type="websocket")[0] == "close"
    for method in ("PUT", "POST", "DELETE", "PATCH"):
        assert _ask("/staff", said, method=method)[0] == 403
    assert reached == []
    # a link in a message leads here
    assert _ask("/", said)[0] == 200


def test_two_hosts_or_origins_are_nobodys() -> None:
    for name in (b"host", b"origin"):
        scope = _scope("/", {"origin": "http://shop.example"})
        scope["headers"].append((name, dict(scope["headers"])[name]))
        assert middleware.is_foreign(middleware.HTTPConnection(scope)), name


# -- what is brought along ----------------------------------------------------------------


def test_a_form_is_read_only_so_far() -> None:
    parts = (b"&" * 4096,) * 4
    assert _ask("/staff", parts=(b"a=b",), method="POST")[2].startswith(b"3 ")
    status, headers, _ = _ask("/staff", parts=parts, method="POST")
    assert (status, dict(headers)["connection"]) == (413, "close")
    reached.clear()
    # one that says so at once is not even begun with
    assert _ask("/staff", {"content-length": "8000000"}, parts, method="POST")[0] == 413
    assert reached == []
    # nor is a body believed that comes in chunks
    assert _ask("/staff", {"transfer-encoding": "chunked"}, parts, method="POST")[0] == 413


@pytest.mark.parametrize("path", ["/", "/staff", "/api/v1/orders", "/static/x.js"])
def test_who_says_two_lengths_is_answered_and_let_go(path: str) -> None:
    """RFC 9112, 6.1: a request with both may be refused, and the connection must be closed after
    the answer.  What lay behind it was answered as a request of its own."""
    lie = {"content-length": "3", "transfer-encoding": "chunked"}
    reached.clear()
    status, headers, said = _ask(path, lie, (b"a=b",), method="POST")
    assert (status, dict(headers)["connection"]) == (400, "close")
    assert (b"in two ways" in said, reached) == (True, [])


@pytest.mark.parametrize("path", ["/_stcore/health", UPLOAD, "/auth/login"])
def test_what_brings_nothing_brings_nothing(path: str) -> None:
    assert _ask(path, parts=(b"x" * 20_000,), method="GET")[0] == 413


def test_an_upload_is_as_large_as_a_photo_may_be(monkeypatch: pytest.MonkeyPatch) -> None:
    assert bodies.most_bytes("upload", "PUT") == framework.most_upload_bytes() + 2**20
    monkeypatch.setattr(framework, "most_upload_bytes", lambda: 1000)
    part = b"x" * 2**19
    assert _ask(UPLOAD, parts=(part,), method="PUT")[0] == 200
    assert _ask(UPLOAD, parts=(part, part, part), method="PUT")[0] == 413


def test_what_comes_in_pieces_counts_by_what_came(counts: Rates) -> None:
    counts.rates["megabytes from address"] = parse("10/hour")
    part = b"x" * (MEGABYTE // 2)
    assert _ask(UPLOAD, parts=(part,) * 9, method="PUT")[0] == 200  # 4.5: five
    assert _ask(UPLOAD, parts=(part,) * 8, method="PUT")[0] == 200
    assert _ask(UPLOAD, parts=(part,) * 4, method="PUT")[0] == 429  # the tenth, and one more
    assert _ask(UPLOAD, parts=(b"x",), method="PUT")[0] == 429


def test_the_shipped_bounds_of_bodies() -> None:
    assert bodies.SMALL == 16_000
    assert framework.most_upload_bytes() in (60 * 2**20, 200 * 2**20)  # as served, and without


def test_what_a_full_disk_cannot_hold_is_told(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    async def full(scope: Scope, receive: Receive, send: Send) -> None:
        await receive()
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setitem(globals(), "_behind", full)
    status, headers, said = _ask(UPLOAD, parts=(b"x",), method="PUT")
    assert (status, dict(headers)["connection"]) == (507, "close")
    assert said == b"There is no room for this just now. Nothing is lost; try again later."
    assert [record.exc_info for record in caplog.records] == [None]

    async def fails(scope: Scope, receive: Receive, send: Send) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setitem(globals(), "_behind", fails)
    with pytest.raises(OSError, match="Input/output"):
        _ask(UPLOAD, parts=(b"x",), method="PUT")


# -- floods -------------------------------------------------------------------------------


def _script() -> str:
    folder = framework.static_folder()
    return f"/{next(folder.rglob('index.*.js')).relative_to(folder).as_posix()}"


def test_files_that_pages_are_made_of_use_up_no_requests(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    file = _script()
    monkeypatch.setattr(middleware, "REQUESTS", Lines(Pace(0.001, 1)))
    status, headers, content = _ask(file, {"accept-encoding": "gzip, br"})
    told = dict(headers)
    assert (status, told["content-encoding"], told["content-type"]) == (
        200,
        "gzip",
        "text/javascript",
    )
    assert "immutable" in told["cache-control"]
    assert told["x-content-type-options"] == "nosniff"
    plain = _ask(file)[2]
    assert plain == (framework.static_folder() / file[1:]).read_bytes()
    assert len(content) < len(plain) / 2
    assert reached == []  # from memory
    assert _ask(file, method="HEAD")[0] == 200
    asked = UPLOAD.replace("file-1", "file-2")
    monkeypatch.setattr(open_pages, "LONGEST_WAIT_S", 0.01)
    assert [_ask(asked, method="DELETE")[0] for _ in range(2)] == [200, 429]


def test_a_page_that_a_browser_still_holds_is_not_sent_again() -> None:
    status, headers, content = _ask("/sheet", {"accept": "text/html"})
    tag = dict(headers)["etag"]
    assert (status, b"<title>" in content, reached) == (200, True, [])
    assert _ask("/practise", {"if-none-match": tag})[::2] == (304, b"")
    assert _ask("/practise", {"if-none-match": '"other"'})[0] == 200
    assert _ask("/desk/")[0] == 200
    assert reached == ["/desk/"]  # Streamlit leads on


@pytest.mark.parametrize("name", ["REQUESTS", "PAGES", "FILES", "WORK", "PROVIDER"])
def test_one_address_waits_its_turn_and_another_does_not(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = Clock()
    visits = name == "WORK"
    most = {"WORK": open_pages.VISIT_S, "FILES": open_pages.FILE_S}.get(name, 1)
    lines = Lines(Pace(most, most), clock)
    if name in ("WORK", "FILES"):  # one line for both
        monkeypatch.setattr(open_pages, "WORK", lines)
    else:
        monkeypatch.setattr(middleware, name, lines)
    monkeypatch.setattr(open_pages, "LONGEST_WAIT_S", 0.01)
    monkeypatch.setattr(open_pages, "LONGEST_VISIT_S", 0.01)
    kind: dict[str, Any] = {
        "REQUESTS": {"path": "/_stcore/upload_file/session-2/x", "method": "DELETE"},
        "PAGES": {"path": "/sheet"},
        "FILES": {"path": _script()},
        "WORK": {"path": STREAM, "type": "websocket"},
        "PROVIDER": {"path": framework.LOGIN},
    }[name]
    refused = "close" if visits else 429
    let_in = _ask(**kind)[0]
    assert let_in != refused
    assert [_ask(**kind)[0] for _ in range(2)] == [refused] * 2
    assert _ask(**kind, client=("203.0.113.8", 1))[0] == let_in
    clock.now = 1.0
    assert _ask(**kind)[0] == let_in


def test_whose_page_is_open_does_not_wait_for_those_who_ask_without_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    lines = Lines(Pace(a_second=50, at_once=1))
    monkeypatch.setattr(middleware, "REQUESTS", lines)
    own = {"cookie": f"photocheck_visitor={new_browser()}"}

    async def asked() -> list[str]:
        answered: list[str] = []

        async def one(who: str, headers: dict[str, str]) -> None:
            await _quietly("/_stcore/health", headers)
            answered.append(who)

        flood = [asyncio.create_task(one("flood", {"cookie": ""})) for _ in range(30)]
        line = lines.of("203.0.113.7")
        await until_in_loop(lambda: len(line), "others wait")
        await one("own", own)
        for task in flood:
            task.cancel()
        return answered

    assert asyncio.run(asked()).index("own") <= 2


def test_who_opens_a_page_does_not_wait_for_those_who_ask_for_files_without_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    lines = Lines(Pace(a_second=50 * open_pages.FILE_S, at_once=open_pages.VISIT_S))
    monkeypatch.setattr(open_pages, "WORK", lines)
    flood, own = (Asking("203.0.113.7", one) for one in ("flood", "own"))

    async def served() -> tuple[int, int]:
        files = [asyncio.create_task(open_pages.may_have_file(flood, 0)) for _ in range(100)]
        line = lines.of("203.0.113.7")
        await until_in_loop(lambda: len(line), "files are waited for")
        before = sum(task.done() for task in files)
        await open_pages.may_visit(own)
        during = sum(task.done() for task in files) - before
        for task in files:
            task.cancel()
        return during, sum(not task.done() for task in files)

    # A visit costs as much as ten files; before its turn the files have had no more than that.
    during, left = asyncio.run(served())
    assert during <= open_pages.VISIT_S / open_pages.FILE_S + 1
    assert left > 70


def test_a_file_counts_by_what_is_sent_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """By their number alone one address had 700 MB a second of large ones."""
    folder = framework.static_folder()
    files = sorted((folder / "static" / "js").glob("*.js"), key=lambda file: file.stat().st_size)
    small, large = (f"/{files[k].relative_to(folder).as_posix()}" for k in (0, -1))
    megabytes = files[-1].stat().st_size / MEGABYTE
    assert megabytes > 1
    cost = open_pages.FILE_S + open_pages.FILE_MEGABYTE_S * megabytes
    monkeypatch.setattr(open_pages, "LONGEST_WAIT_S", 0.01)

    def given(file: str, headers: dict[str, str], times: int) -> list[Any]:
        lines = Lines(Pace(a_second=1e-9, at_once=2.5 * cost), Clock())
        monkeypatch.setattr(open_pages, "WORK", lines)
        return [_ask(file, headers)[0] for _ in range(times)]

    assert given(large, {}, 3) == [200, 200, 429]
    packed = {"accept-encoding": "gzip"}
    assert given(large, packed, 4) == [200] * 4
    assert given(small, {}, 12) == [200] * 12
    tag = dict(_ask(large, packed)[1])["etag"]
    assert given(large, {"if-none-match": tag}, 12) == [304] * 12


def test_messages_of_an_open_page_wait_their_turn(monkeypatch: pytest.MonkeyPatch) -> None:
    waited: list[float] = []

    async def sleep(seconds: float) -> None:
        waited.append(seconds)

    monkeypatch.setattr(open_pages.asyncio, "sleep", sleep)
    own = Pace(a_second=1, at_once=2)

    def still(pace: Pace) -> Bucket:
        return Bucket(pace, clock=lambda: 0.0)

    monkeypatch.setattr(open_pages, "Bucket", still)
    monkeypatch.setattr(open_pages, "MESSAGES_OF_PAGE", own)
    taken: list[tuple[str, str, float]] = []

    class Shared(Line):
        async def turn(
            self, browser: str, cost: float = 1, *, kind: str = "", most_s: float = inf
        ) -> None:
            taken.append((kind, browser, cost))

    class SharedLines(Lines):
        def of(self, who: str) -> Line:
            return Shared(Pace(1, 1))

    monkeypatch.setattr(open_pages, "WORK", SharedLines(Pace(1, 1)))
    visit, one = open_pages.VISIT_S, open_pages.MESSAGE_S
    _ask(STREAM, parts=(b"",) * 4, type="websocket")
    assert waited == [1.0, 2.0]  # by its own
    # And by its address': what it begins with is part of opening it.
    assert taken == [("visit", "", visit), *[("message", "", one)] * 3]
    large = b"x" * (3 * open_pages.BYTES_OF_ONE)
    carried = new_browser()
    _ask(STREAM, {"cookie": f"photocheck_visitor={carried}"}, (large,), type="websocket")
    assert waited[2:] == [2.0]  # which counts four times
    known = known_apart(carried)
    assert taken[4:] == [("visit", known, visit), ("message", known, 4 * one)]  # however it begins
    assert reached.count("a message") == 5  # nothing is lost


@pytest.mark.parametrize(
    ("took_s", "counts_s"), [(0.03, 0.03), (open_pages.RUN_MOST_S, 0.05), (7.0, 0.05)]
)
@pytest.mark.parametrize(("first", "kind"), [(True, "visit"), (False, "message")])
def test_what_a_run_took_is_waited_for_by_whoever_comes_next(
    monkeypatch: pytest.MonkeyPatch, took_s: float, counts_s: float, first: bool, kind: str
) -> None:
    owed: list[tuple[str, str, float]] = []

    class Owing(Line):
        def owe(self, browser: str, cost: float, *, kind: str = "") -> None:
            owed.append((kind, browser, cost))

    class OwingLines(Lines):
        def of(self, who: str) -> Line:
            assert who == "203.0.113.7"
            return Owing(Pace(1, 1))

    async def receive() -> Message:
        raise AssertionError

    async def send(message: Message) -> None:
        raise AssertionError

    async def opened() -> None:
        open_pages.Page(receive, send, Asking("203.0.113.7"))
        # From the thread that the page runs in.
        ran = partial(open_pages.ran, Asking("203.0.113.7", "own"), took_s, first=first)
        await asyncio.to_thread(ran)
        await until_in_loop(lambda: owed, "it is owed")

    monkeypatch.setattr(open_pages, "WORK", OwingLines(Pace(1, 1)))
    asyncio.run(opened())
    assert owed == [(kind, "own", counts_s)]
    # A server that has ended is owed nothing, and nobody stumbles.
    open_pages.ran(Asking("203.0.113.7", "own"), took_s, first=first)
    monkeypatch.setattr(open_pages, "_loop", None)
    open_pages.ran(Asking("203.0.113.7", "own"), took_s, first=first)
    assert len(owed) == 1


def test_a_page_that_sends_text_is_shut() -> None:
    sent: list[Message] = []
    told = iter([{"type": "websocket.connect"}, {"type": "websocket.receive", "text": "x"}])

    async def receive() -> Message:
        return next(told)

    async def send(message: Message) -> None:
        sent.append(message)

    scope = _scope(STREAM, {}, type="websocket")
    asyncio.run(Guard(_behind, self_test=lambda _: ())(scope, receive, send))
    assert [one["type"] for one in sent] == ["websocket.accept", "websocket.close"]
    assert reached == [STREAM]


def test_a_page_that_was_shut_is_asked_for_nothing_more() -> None:
    coming: list[Message] = [{"type": "websocket.receive", "text": "x"}]
    sent: list[Message] = []

    async def receive() -> Message:
        return coming.pop()  # raises where it is asked once more

    async def send(message: Message) -> None:
        sent.append(message)

    async def read() -> list[Message]:
        page = open_pages.Page(receive, send, Asking("203.0.113.7"))
        assert not page.left
        told = [await page.receive() for _ in range(3)]
        assert page.left
        return told

    told = asyncio.run(read())
    assert {one["type"] for one in told} == {"websocket.disconnect"}
    # RFC 6455, 7.4.1: a kind of data that is not accepted; then, that no code came
    assert [one["code"] for one in told] == [1003, 1005, 1005]
    assert [one["type"] for one in sent] == ["websocket.close"]


def test_the_shipped_places_of_an_address() -> None:
    assert (open_pages.MOST_PAGES, open_pages.MOST_REQUESTS) == (150, 100)
    assert (open_pages.LONGEST_WAIT_S, open_pages.LONGEST_VISIT_S) == (4, 10)


HONEST = "203.0.113.7"


def _taken(places: Places, most: int, *browsers: str) -> tuple[ExitStack, list[int]]:
    """All places of an address, by silent ones of these browsers; and who of them left."""
    held, left = ExitStack(), list[int]()
    for number, browser in enumerate(browsers):
        place = held.enter_context(
            places.one_more(Asking(HONEST, browser), most, partial(left.append, number))
        )
        held.enter_context(place.waited_for())
    return held, left


def test_who_has_many_places_gives_one_to_who_has_fewer() -> None:
    places = Places()
    held, left = _taken(places, 4, "many", "few", "many", "many")
    with held:
        with places.one_more(Asking(HONEST, "new"), 4, lambda: None):
            assert left == [0]  # the one silent for longest
            # as many as the others: one of those; more than they: none
            with places.one_more(Asking(HONEST, "few"), 4, lambda: None):
                assert left == [0, 2]
                with pytest.raises(TooOftenError), places.one_more(Asking(HONEST, "few"), 4, print):
                    pass
        with places.one_more(Asking("203.0.113.8", ""), 4, lambda: None):
            pass
    assert not len(places)


def test_who_is_not_known_apart_takes_the_place_of_none_that_has_one() -> None:
    places = Places()
    held, left = _taken(places, 3, "one", "two", "three")
    with held:
        with pytest.raises(TooOftenError), places.one_more(Asking(HONEST), 3, print):
            pass
        assert left == []
    held, left = _taken(places, 3, "", "", "one")
    with held, places.one_more(Asking(HONEST, "two"), 3, lambda: None):
        assert left == [0]


def test_what_is_under_way_is_not_broken_off() -> None:
    places = Places()
    with ExitStack() as held:
        for _ in range(3):
            held.enter_context(places.one_more(Asking(HONEST), 3, pytest.fail))
        with places.one_more(Asking(HONEST, "own"), 3, pytest.fail):
            assert len(places) == 4
        with pytest.raises(TooOftenError), places.one_more(Asking(HONEST), 3, pytest.fail):
            pass


def test_a_crowd_that_is_busy_costs_nobody_the_only_page() -> None:
    places = Places()
    held, left = _taken(places, 3, "own")
    with held, ExitStack() as busy:
        for _ in range(2):
            busy.enter_context(places.one_more(Asking(HONEST), 3, pytest.fail))
        with places.one_more(Asking(HONEST, "new"), 3, pytest.fail):
            assert (left, len(places)) == ([], 4)


def test_of_those_who_have_as_many_one_leaves_that_did_nothing_yet() -> None:
    places = Places()
    left: list[str] = []
    with ExitStack() as held:
        for browser in ("own", "idle"):
            asking = Asking(HONEST, browser)
            place = held.enter_context(places.one_more(asking, 2, partial(left.append, browser)))
            held.enter_context(place.waited_for())
            place.used = browser == "own"
        with places.one_more(Asking(HONEST, "new"), 2, pytest.fail):
            assert left == ["idle"]


async def _unsent(_: Message) -> None:
    pytest.fail("nothing is answered here")


def test_a_page_is_used_once_more_is_asked_for_than_it_began_with() -> None:
    async def receive() -> Message:
        return {"type": "websocket.receive", "bytes": b"x"}

    async def read() -> list[bool]:
        asking = Asking("203.0.113.9", "own")
        page, used = open_pages.Page(receive, _unsent, asking), []
        with open_pages.OPEN.one_more(asking, 1, page.send_away) as page.place:
            for _ in range(3):
                await page.receive()
                used.append(page.place.used)
        return used

    assert asyncio.run(read()) == [False, True, True]


def _anybody_silent() -> bool:
    both = (open_pages.OPEN, open_pages.ANSWERED)
    return any(one.silent for places in both for here in places._here.values() for one in here)


async def _one_of_two(
    path: str, first: dict[str, str], second: dict[str, str], **more: Any
) -> tuple[list[Message], list[Message]]:
    """What is answered to one who brings nothing more, once another asks as well."""
    told: tuple[list[Message], list[Message]] = ([], [])
    begins = {"type": "websocket.connect"} if more.get("type") == "websocket" else None

    async def ask(number: int, headers: dict[str, str]) -> None:
        coming = [begins] if begins else [{"type": "http.request", "body": b"a", "more_body": True}]

        async def receive() -> Message:
            if coming:
                return coming.pop()
            await asyncio.Event().wait()
            raise AssertionError

        async def send(message: Message) -> None:
            told[number].append(message)

        guard = Guard(_behind, self_test=lambda _: ())
        await guard(_scope(path, headers, **more), receive, send)

    tasks = [asyncio.create_task(ask(0, first))]
    await until_in_loop(_anybody_silent, "the first is waited for")
    tasks.append(asyncio.create_task(ask(1, second)))
    await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED, timeout=30)
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    return told


def test_a_page_that_is_sent_away_is_told_to_come_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(middleware, "MOST_PAGES", 1)
    own = {"cookie": f"photocheck_visitor={new_browser()}"}
    kind: dict[str, Any] = {"path": STREAM, "type": "websocket"}
    first, second = asyncio.run(_one_of_two(first={"cookie": ""}, second=own, **kind))
    assert first == [
        {"type": "websocket.accept"},
        {"type": "websocket.close", "code": open_pages.AWAY_CODE},
    ]
    assert second == [{"type": "websocket.accept"}]


def test_a_form_that_does_not_come_on_makes_room(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(middleware, "MOST_REQUESTS", 1)
    own = {"cookie": f"photocheck_visitor={new_browser()}"}
    kind: dict[str, Any] = {"path": "/staff", "method": "POST"}
    first, second = asyncio.run(_one_of_two(first={"cookie": ""}, second=own, **kind))
    assert first[0]["status"] == 429
    assert (b"connection", b"close") in first[0]["headers"]
    assert second == []  # its own is still read


# -- cookies over HTTPS (RFC 6265bis, 4.1.3.2) ----------------------------------------------


def test_over_https_cookies_are_this_hosts_own() -> None:
    _, headers, _ = _ask("/", {"accept": "text/html", "cookie": ""}, scheme="https")
    (visitor,) = [value for name, value in headers if name == "set-cookie"]
    assert visitor.startswith("__Host-photocheck_visitor=")
    assert {"Path=/", "Secure", "HttpOnly", "SameSite=Lax"} <= set(visitor.split("; "))
    assert "domain" not in visitor.lower()
    _, headers, _ = _ask("/auth/login", scheme="https")
    user, token = [value for name, value in headers if name == "set-cookie"]
    assert user == "__Host-_streamlit_user=me; Path=/; HttpOnly; SameSite=lax; Secure"
    assert token == "_streamlit_xsrf=token; Path=/; SameSite=Lax; Secure"  # read by the page


def test_over_https_planted_cookies_are_nobodys() -> None:
    planted = "photocheck_desk=evil; _streamlit_user=evil; photocheck_visitor=evil"
    own = "__Host-photocheck_desk=mine; __Host-_streamlit_user=me; _streamlit_xsrf=t; other=o"
    said = _ask("/auth/login", {"cookie": f"{planted}; {own}; {planted}"}, scheme="https")[2]
    assert said == b"0 photocheck_desk=mine; _streamlit_user=me; _streamlit_xsrf=t; other=o"


def test_without_https_cookies_keep_their_names() -> None:
    _, headers, said = _ask("/auth/login", {"cookie": "photocheck_desk=mine"})
    assert said == b"0 photocheck_desk=mine"
    assert [value[:16] for name, value in headers if name == "set-cookie"] == [
        "_streamlit_user=",
        "_streamlit_xsrf=",
    ]


# -- what every answer is given -------------------------------------------------------------


def test_every_answer_is_kept_from_other_sites() -> None:
    """OWASP ASVS 5.0, 3.4: by these headers, whatever is answered."""
    for asked in (
        {"path": "/"},
        {"path": "/sheet"},
        {"path": "/nowhere"},
        {"path": "/auth/login"},
        {"path": _script()},
        {"path": "/", "headers": {"origin": "http://other.example"}},
        {"path": "/staff", "method": "POST", "parts": (b"x" * 20_000,)},
    ):
        given = dict(_ask(**asked)[1])
        for name, value in middleware.SAFE_HEADERS.items():
            own_policy = asked["path"] == "/" and name == "Content-Security-Policy"
            assert (given[name.lower()] == value) or own_policy, (asked, name)
        assert "strict-transport-security" not in given
        secure = dict(_ask(**asked, scheme="https")[1])  # type: ignore[arg-type]
        assert secure["strict-transport-security"] == "max-age=31536000"


@pytest.mark.parametrize(
    ("cookie", "accept", "given"),
    [
        ("", "text/html,*/*", True),
        ("photocheck_desk=x", "text/html", True),
        ("photocheck_visitor=made up", "text/html", False),  # it stays as it is
        ("", "*/*", False),
        ("", "image/png", False),
    ],
)
def test_a_browser_is_told_apart_from_its_first_page_on(
    cookie: str, accept: str, given: bool
) -> None:
    _, headers, _ = _ask("/", {"cookie": cookie, "accept": accept})
    told = [value for name, value in headers if name == "set-cookie"]
    assert len(told) == given
    if given:
        name, _, value = told[0].partition(";")[0].partition("=")
        assert (name, bool(known_apart(value))) == ("photocheck_visitor", True)
        assert told[0].partition("; ")[2] == "Path=/; HttpOnly; SameSite=Lax"


@pytest.mark.parametrize(
    ("headers", "length"),
    [
        ({}, None),
        ({"content-length": "0"}, 0),
        ({"content-length": "9" * 15}, 10**15 - 1),
        ({"content-length": "9" * 16}, None),
        ({"content-length": "-1"}, None),
        ({"content-length": "1.5"}, None),
        ({"content-length": ""}, None),
        ({"content-length": "7", "transfer-encoding": "chunked"}, None),
    ],
)
def test_what_is_said_of_a_size_counts_where_the_server_holds_to_it(
    headers: dict[str, str], length: int | None
) -> None:
    assert middleware._length(middleware.HTTPConnection(_scope("/", headers))) == length


@pytest.mark.parametrize(
    ("open_desk", "carried", "at_desk", "count"),
    [
        (True, "", "", ("of staff", HONEST)),
        (True, "x", "Ada", ("of staff", HONEST)),
        (False, "", "Ada", ("from address", HONEST)),
        (False, "x", "Ada", ("of staff", "Ada")),
        (False, "x", AccessError("no longer"), ("from address", HONEST)),
        (False, "x", StoreError("away"), ("from address", HONEST)),
    ],
)
def test_whose_count_an_upload_goes_to(
    monkeypatch: pytest.MonkeyPatch,
    open_desk: bool,
    carried: str,
    at_desk: str | Exception,
    count: tuple[str, str],
) -> None:
    def who(_: object, cookie: str) -> str:
        assert cookie == carried
        if isinstance(at_desk, Exception):
            raise at_desk
        return at_desk

    monkeypatch.setattr(middleware, "desk_is_open", lambda: open_desk)
    monkeypatch.setattr(middleware, "the_store", lambda: None)
    monkeypatch.setattr(middleware, "at_desk", who)
    headers = {"cookie": f"photocheck_desk={carried}"} if carried else {}
    wanted = middleware.HTTPConnection(_scope("/", headers))
    assert middleware._who_brings(wanted, HONEST) == count


@pytest.mark.parametrize(
    ("announced", "came", "costs"),
    [
        (None, (1, MEGABYTE, MEGABYTE + 1, 3 * MEGABYTE), [1, 1, 1]),
        (3 * MEGABYTE, (1, MEGABYTE + 1, 3 * MEGABYTE), [3]),
        (3 * MEGABYTE + 1, (3 * MEGABYTE + 1,), [4]),
        (0, (1,), [0, 1]),
        (1, (4 * MEGABYTE,), [1, 3]),
    ],
)
def test_each_megabyte_that_comes_is_counted_once(
    monkeypatch: pytest.MonkeyPatch, announced: int | None, came: tuple[int, ...], costs: list[int]
) -> None:
    counted: list[tuple[str, str, int]] = []

    class Noting(Rates):
        def count(self, what: str, who: str, *, cost: int = 1) -> None:
            counted.append((what, who, cost))

    monkeypatch.setattr(middleware, "COUNTS", Noting())
    count = middleware._counting(("of staff", "Ada"), announced)
    for so_far in came:
        count(so_far)
    assert counted == [("megabytes of staff", "Ada", cost) for cost in costs]


def test_photos_are_counted_however_they_are_brought_and_nothing_else_is(counts: Rates) -> None:
    counted: list[str] = []

    class Noting(Rates):
        def count(self, what: str, who: str, *, cost: int = 1) -> None:
            counted.append(what)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(middleware, "COUNTS", Noting())
        for method in ("PUT", "POST"):
            _ask(UPLOAD, parts=(b"x",), method=method)
            assert counted == ["photos from address", "megabytes from address"], method
            counted.clear()
        for path, method in ((UPLOAD, "DELETE"), ("/staff", "POST"), ("/auth/login", "GET")):
            _ask(path, method=method)
        assert counted == []


@pytest.mark.parametrize(
    ("status", "headers"),
    [
        (429, {"retry-after": "60", "connection": "close"}),
        (413, {"connection": "close"}),
        (507, {"connection": "close"}),
        (404, {}),
    ],
)
@pytest.mark.parametrize("path", ["/nowhere", "/api/v1/orders", "/api/v1x"])
def test_who_is_turned_away_is_told_so_that_pages_and_programs_understand(
    path: str, status: int, headers: dict[str, str]
) -> None:
    sent: list[Message] = []

    async def send(message: Message) -> None:
        sent.append(message)

    async def receive() -> Message:
        raise AssertionError

    scope = _scope(path, {})
    asyncio.run(middleware._turned_away(scope, receive, send, status, "Said so."))
    given = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    assert sent[0]["status"] == status
    assert {name: given.get(name) for name in headers} == headers
    assert ("connection" in given) == bool(headers)
    program = path.startswith("/api/v1/")
    assert given["content-type"].startswith("application/problem+json" if program else "text/plain")
    assert (sent[1]["body"] == b"Said so.") is not program


@pytest.mark.parametrize(
    ("kind", "kept"),
    [
        ("image/jpeg", "no-store"),
        ("image/png", "no-store"),
        ("application/pdf", "private, no-cache"),
        ("", "private, no-cache"),
    ],
)
def test_photos_of_peoples_dogs_stay_in_no_cache(kind: str, kept: str) -> None:
    """OWASP ASVS 5.0, 14.3.2"""
    sent: list[Message] = []

    async def send(message: Message) -> None:
        sent.append(message)

    for purpose in ("media", "page"):
        sent.clear()
        wanted = middleware.HTTPConnection(scope := _scope("/media/x", {}))
        safely = middleware._safely(scope, wanted, purpose, send)  # type: ignore[arg-type]
        start = {"type": "http.response.start", "status": 200}
        start |= {"headers": [(b"content-type", kind.encode())]} if kind else {}
        asyncio.run(safely(start))  # type: ignore[arg-type]
        given = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
        assert given.get("cache-control") == (kept if purpose == "media" else None)


@pytest.mark.parametrize(
    ("path", "leads", "there"),
    [
        (framework.CALLBACK, "/", "/desk"),
        (framework.CALLBACK, "/elsewhere", "/elsewhere"),
        ("/auth/login", "/", "/"),
    ],
)
def test_who_signed_in_by_the_provider_comes_to_the_desk(path: str, leads: str, there: str) -> None:
    sent: list[Message] = []

    async def send(message: Message) -> None:
        sent.append(message)

    wanted = middleware.HTTPConnection(scope := _scope(path, {}))
    start = {"type": "http.response.start", "headers": [(b"location", leads.encode())]}
    asyncio.run(middleware._safely(scope, wanted, "provider", send)(start))  # type: ignore[arg-type]
    assert dict(sent[0]["headers"])[b"location"] == there.encode()


class SlipError(Exception):
    """Of the program."""


def test_a_page_that_fails_is_told_unless_its_visitor_has_left(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def stumbles(scope: Scope, receive: Receive, send: Send) -> None:
        while (await receive())["type"] != "websocket.disconnect":
            pass
        raise SlipError

    async def fails(scope: Scope, receive: Receive, send: Send) -> None:
        await receive()
        raise SlipError

    async def accepts(scope: Scope, receive: Receive, send: Send) -> None:
        await stumbles(scope, receive, send)

    for behind, told in ((stumbles, False), (accepts, False), (fails, True)):
        monkeypatch.setitem(globals(), "_behind", behind)
        if told:
            with pytest.raises(SlipError):
                _ask(STREAM, type="websocket")
        else:
            with pytest.raises(IndexError):  # nothing was answered, and nothing raised
                _ask(STREAM, type="websocket")


def test_a_stay_is_silent_only_while_it_is_waited_for() -> None:
    async def wait() -> list[bool]:
        coming = asyncio.Event()
        leaving = open_pages.Leaving()
        seen: list[bool] = []

        async def receive() -> Message:
            seen.append(bool(leaving.place and leaving.place.silent))
            await coming.wait()
            return {"type": "http.request"}

        with open_pages.OPEN.one_more(Asking("203.0.113.9"), 1, leaving.send_away) as place:
            leaving.place = place
            one = asyncio.create_task(leaving.next(receive))
            await until_in_loop(lambda: place.silent, "it is waited for")
            coming.set()
            assert await one == {"type": "http.request"}
            assert not place.silent
            coming.clear()
            two = asyncio.create_task(leaving.next(receive))
            await until_in_loop(lambda: place.silent, "it is waited for")
            leaving.send_away()
            assert await two is None
            assert not place.silent
            leaving.place = None
            coming.set()
            assert await leaving.next(receive) == {"type": "http.request"}  # it may stay
        return seen

    assert len(asyncio.run(wait())) == 3


def test_who_has_gone_is_sent_nothing_more() -> None:
    async def receive() -> Message:
        return {"type": "websocket.disconnect", "code": 1001}

    async def gone(_: Message) -> None:
        raise OSError("gone")

    async def read() -> None:
        for leaves_first in (True, False):
            page = open_pages.Page(receive, gone, Asking("203.0.113.9"))
            if leaves_first:
                await page.receive()
                assert page.left
            with pytest.raises(OSError, match=r"^$|gone"):
                await page.send({"type": "websocket.send"})
            assert page.left

    asyncio.run(read())


def test_what_waits_to_be_written_as_its_page_is_sent_away_is_no_failure() -> None:
    """uvicorn takes what comes after a close for the program's mistake, and all was logged."""
    closed, waits = asyncio.Event(), asyncio.Event()

    async def receive() -> Message:
        return {"type": "websocket.receive", "text": "no bytes"}

    async def write(message: Message) -> None:
        if message["type"] == "websocket.close":
            closed.set()
            return
        waits.set()
        await closed.wait()
        raise RuntimeError("Unexpected ASGI message")

    async def leave() -> None:
        page = open_pages.Page(receive, write, Asking("203.0.113.9"))
        sending = asyncio.create_task(page.send({"type": "websocket.send"}))
        await waits.wait()
        assert (await page.receive())["type"] == "websocket.disconnect"
        with pytest.raises(OSError, match=r"^$"):
            await sending
        closed.set()
        page = open_pages.Page(receive, write, Asking("203.0.113.9"))
        with pytest.raises(RuntimeError):  # while it is there, a mistake is one
            await page.send({"type": "websocket.send"})

    asyncio.run(asyncio.wait_for(leave(), 60))


def test_an_answer_that_has_begun_is_ended_by_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    """Too much that comes after it is cut off; and who answers nothing is told of by the server."""
    sent: list[str] = []

    async def answers_first(scope: Scope, receive: Receive, send: Send) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        while (await receive())["type"] == "http.request":
            pass
        await send({"type": "http.response.body", "body": b"all the same"})

    async def answers_nothing(scope: Scope, receive: Receive, send: Send) -> None:
        await receive()

    async def ask() -> None:
        async def receive() -> Message:
            return {"type": "http.request", "body": b"x" * 10_000, "more_body": True}

        async def send(message: Message) -> None:
            sent.append(message["type"])

        guard = Guard(_behind, self_test=lambda _: ())
        await guard(_scope("/staff", {}, method="POST"), receive, send)

    monkeypatch.setitem(globals(), "_behind", answers_first)
    asyncio.run(ask())
    assert sent == ["http.response.start", "http.response.body"]
    sent.clear()
    monkeypatch.setitem(globals(), "_behind", answers_nothing)
    asyncio.run(ask())
    assert sent == []


@pytest.mark.parametrize("path", [framework.LOGIN, framework.LOGOUT, framework.CALLBACK])
def test_one_address_does_not_have_the_provider_asked_without_end(
    path: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each time nobody else is answered for a tenth of a second: sixty connections of one address
    made a page of another's take 22 s."""
    monkeypatch.setattr(middleware, "PROVIDER", Lines(PROVIDER_OF_ADDRESS, Clock()))
    monkeypatch.setattr(open_pages, "LONGEST_WAIT_S", 0.01)
    reached.clear()
    answered = [_ask(path)[0] for _ in range(20)]
    assert answered.count(429) == 20 - len(reached) >= 14
    assert _ask(path, client=("203.0.113.8", 1))[0] != 429
