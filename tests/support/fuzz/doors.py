"""What comes through the doors: requests, cookies, forms, links, what pages send and are given."""

from __future__ import annotations

import asyncio
import atexit
import json
import logging
import os
import random
import secrets
import shutil
import tempfile
from collections.abc import Mapping
from contextlib import ExitStack, suppress
from functools import cache, partial
from pathlib import Path
from typing import Any
from unittest.mock import patch
from urllib.parse import quote, unquote_to_bytes

from argon2 import PasswordHasher
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route, WebSocketRoute
from starlette.types import Message
from starlette.websockets import WebSocket, WebSocketDisconnect
from streamlit.testing.v1 import AppTest

import photocheck_app
from photocheck.orders.draft import Draft
from photocheck.orders.filling import Blank, owners_hand, settled, typed_at, with_typed
from photocheck.orders.gaps import gaps
from photocheck.orders.model import STORE_VARIABLE
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.server.access import door_secret, known_browsers, passes, staff
from photocheck.server.access.linked import LinkedStore
from photocheck.server.access.rates import Rates
from photocheck.server.pace import Pace
from photocheck.server.serving import DESK_VARIABLE
from photocheck.server.turns import Lines
from photocheck.words import LANDMARKS, READINGS
from photocheck_app.doors import middleware, open_pages, sign_in
from photocheck_app.doors.middleware import Guard
from photocheck_app.marking import surface
from tests.support.fuzz.texts import Job, mutated, mutated_case, typed_text

PASSWORD = "four brown ropes drying"


_MAIN = str(Path(photocheck_app.__file__).parent / "main.py")


@cache
def _kept() -> DatabaseStore:
    """A store with somebody at the desk, for as long as the process runs."""
    # In memory where that can be: not what a disk keeps is tried here.
    memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    folder = Path(tempfile.mkdtemp(prefix="photocheck_fuzz_", dir=memory))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    os.environ.setdefault(door_secret.SECRET_VARIABLE, str(folder / "secret"))
    store = open_store(str(folder / "orders.sqlite3"))
    staff.add(store, "Ada", PASSWORD)
    return store


@cache
def _link() -> str:
    return LinkedStore(_kept()).open("en")


@cache
def _carried() -> tuple[str, ...]:
    """What opens something, and what once did."""
    ada = passes.desk_pass(_kept(), "ada")
    ended = passes.desk_pass(_kept(), "ada")
    passes.sign_out(_kept(), ended)
    return ada, ended, _link(), known_browsers.remembered("ada")


@cache
def _hasher() -> PasswordHasher:
    return PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)


# --- requests ----------------------------------------------------------------------


async def _page(request: Request) -> Response:
    return Response(await request.body() or b"<p>page", media_type="text/html")


async def _socket(socket: WebSocket) -> None:
    asked = socket.scope["subprotocols"]
    await socket.accept(asked[0] if asked else None)
    try:
        while True:
            await socket.receive_bytes()
    except WebSocketDisconnect:
        return


_APP = Starlette(
    routes=[
        *sign_in.ROUTES,
        Route("/_stcore/upload_file/{session}/{name}", _page, methods=["PUT", "DELETE"]),
        WebSocketRoute("/_stcore/stream", _socket),
        Route("/{path:path}", _page, methods=["GET", "HEAD", "POST", "PUT", "PATCH"]),
    ],
    middleware=[Middleware(Guard, self_test=lambda _: ())],
)

_PATHS = [
    *("/", "/staff", "/staff", "/staff", "/desk", "/owner", "/sheet/", "/health2", "/media/x.jpg"),
    *("/_stcore/stream", "/_stcore/stream", "/_stcore/health", "/_stcore/upload_file/s/f", "//"),
    *("/static/index.html", "/static/../main.py", "/oauth2callback", "/auth/login", "/component/x"),
]

_BYTES = [
    *(b"", b"a", b"\xff", b"\0", b"%00", b"%ff", b"%", b"+", b"&", b"=", b";", b",", b'"', b"\r\n"),
    *(b"{}", b"\xc3\xa4", b"%ed%a0%80", b"..", b"/", b"//", b"\\", b"@", b"?", b"#", b"[", b"\x7f"),
    *(b"act=in", b"name=Ada", b"password=x", b"then=/desk", b"language=de", b"order=", b"q=1e999"),
    *(b"application/x-www-form-urlencoded", b"multipart/form-data", b"; boundary=", b"--x\r\n"),
    *(b"99999999999999999999", b"-1", b"1e3", b"chunked", b"shop.example", b"https://", b"null"),
]


def _bytes(rng: random.Random, most: int = 6) -> bytes:
    return b"".join(rng.choices(_BYTES, k=rng.randrange(most)))


def _wounded(rng: random.Random, text: bytes) -> bytes:
    if rng.random() < 0.5:
        return text
    at = rng.randrange(len(text) + 1)
    return text[:at] + _bytes(rng, 3) + text[at + rng.choice([0, 1, 1, 7]) :]


def _cookies(rng: random.Random) -> bytes:
    names = ["photocheck_desk", "photocheck_known", "photocheck_visitor", "_streamlit_user"]
    names += [f"__Host-{name}" for name in names] + ["", "photocheck_", "$Version"]
    told = []
    for _ in range(rng.randrange(4)):
        carried = _wounded(rng, rng.choice(_carried()).encode())
        told.append(rng.choice(names).encode() + rng.choice([b"=", b"=", b""]) + carried)
    return rng.choice([b"; ", b"; ", b";", b","]).join(told)


def _form(rng: random.Random) -> bytes:
    given = {
        "act": rng.choice(["in", "in", "in", "out", typed_text(rng)]),
        # wide letters that compare as the others do
        "name": rng.choice(["Ada", "ada", "ＡＤＡ", typed_text(rng)]),  # noqa: RUF001
        "password": rng.choice([PASSWORD, typed_text(rng), "x" * 3000]),
        "then": rng.choice(["/desk", "/desk?case=a", "//evil.example", typed_text(rng)]),
    }
    names = rng.sample(list(given), rng.randrange(5))
    told = [f"{name}={quote(given[name].encode('utf-8', 'replace'))}" for name in names]
    return _wounded(rng, "&".join(told).encode())


def _multipart(rng: random.Random) -> bytes:
    part = b'--x\r\nContent-Disposition: form-data; name="act"'
    part += rng.choice([b"", b'; filename="a"', b"; filename*=utf-8''%ff", b'; name="b"'])
    part += b"\r\n\r\nin\r\n"
    return _wounded(rng, part * rng.choice([1, 2, 12]) + rng.choice([b"--x--\r\n", b"--x", b""]))


def _headers(rng: random.Random) -> list[tuple[bytes, bytes]]:
    forms = [b"application/x-www-form-urlencoded", b"multipart/form-data; boundary=x"]
    often = {
        b"host": b"shop.example",
        b"cookie": _cookies(rng),
        b"content-type": _wounded(rng, rng.choice(forms)),
        b"accept": b"text/html",
        b"accept-language": _wounded(rng, b"de-DE,de;q=0.9,en;q=0.8"),
        b"origin": rng.choice([b"http://shop.example", b"https://shop.example", _bytes(rng)]),
    }
    seldom = [
        *(b"content-length", b"transfer-encoding", b"sec-fetch-site", b"if-none-match", b"range"),
        *(b"x-forwarded-for", b"x-forwarded-proto", b"accept-encoding", b"cookie", b"origin"),
        *(b"sec-websocket-protocol", b"x-xsrftoken", b"authorization", b"upgrade", b"host"),
    ]
    told = [(name, text) for name, text in often.items() if rng.random() < 0.85]
    told += [(rng.choice(seldom), _bytes(rng)) for _ in range(rng.randrange(3))]
    rng.shuffle(told)
    return told


def _scope(rng: random.Random) -> tuple[dict[str, Any], list[bytes]]:
    raw = rng.choice(_PATHS).encode()
    raw = _wounded(rng, raw) if rng.random() < 0.3 else raw
    raw = raw if raw.startswith(b"/") else b"/" + raw
    websocket = raw.startswith(b"/_stcore/stream") and rng.random() < 0.8
    scope: dict[str, Any] = {
        "type": "websocket" if websocket else "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "scheme": rng.choice(["http", "http", "https"]),
        # As the server underneath gives it.
        "path": unquote_to_bytes(raw).decode("utf-8", "replace"),
        "raw_path": raw,
        "root_path": rng.choice(["", "", "", "", "/x"]),
        "query_string": _bytes(rng),
        "headers": _headers(rng),
        "client": rng.choice([("203.0.113.7", 4711), ("2001:db8::1", 1), ("127.0.0.1", 1), None]),
        "server": ("127.0.0.1", 8501),
    }
    if websocket:
        scope["scheme"] = scope["scheme"].replace("http", "ws")
        scope["subprotocols"] = ["streamlit"] * rng.randrange(2)
        return scope, [rng.randbytes(rng.choice([0, 1, 40, 3000])) for _ in range(rng.randrange(4))]
    scope["method"] = rng.choice(["GET", "POST", "POST", "POST", "PUT", "HEAD", "DELETE", "X"])
    body = rng.choice([_form, _form, _multipart, _bytes])(rng)
    cut = rng.randrange(len(body) + 1)
    return scope, [body[:cut], body[cut:]]


class _Complaints(logging.Handler):
    """Tracebacks that were written into the log and shown to nobody."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        if record.exc_info:
            self.found.append(record.getMessage())


async def _asked(scope: Mapping[str, Any], parts: list[bytes]) -> int:
    """The status of the answer, or 0 for a page's connection."""
    websocket = scope["type"] == "websocket"
    coming: list[Message] = [{"type": "websocket.connect"}] if websocket else []
    for number, part in enumerate(parts):
        if websocket:
            coming.append({"type": "websocket.receive", "bytes": part})
        else:
            more = number + 1 < len(parts)
            coming.append({"type": "http.request", "body": part, "more_body": more})
    coming.append({"type": "websocket.disconnect" if websocket else "http.disconnect"})
    said: list[Message] = []

    async def receive() -> Message:
        return coming.pop(0) if len(coming) > 1 else coming[0]

    async def send(message: Message) -> None:
        said.append(message)

    await _APP(dict(scope), receive, send)
    begun = [one["status"] for one in said if one["type"] == "http.response.start"]
    assert len(begun) == (0 if websocket else 1), said
    return int(begun[0]) if begun else 0


@cache
def _loop() -> asyncio.AbstractEventLoop:
    return asyncio.new_event_loop()


def requests(rng: random.Random) -> Job:
    """A request or a page's connection, through the guard and the page where staff sign in."""
    _kept()
    scope, parts = _scope(rng)

    def job() -> None:
        wide = partial(Lines, Pace(1e9, 1e9))
        complaints = _Complaints()
        with ExitStack() as stack:
            for module in (middleware, sign_in):
                stack.enter_context(patch.object(module, "COUNTS", Rates()))
            for name in ("REQUESTS", "PAGES"):
                stack.enter_context(patch.object(middleware, name, wide()))
            stack.enter_context(patch.object(open_pages, "WORK", wide()))
            stack.enter_context(patch.object(sign_in, "the_store", _kept))
            stack.enter_context(patch.object(staff, "_hasher", _hasher))
            logging.getLogger().addHandler(complaints)
            stack.callback(logging.getLogger().removeHandler, complaints)
            status = _loop().run_until_complete(_asked(scope, parts))
        assert status < 500, status
        assert not complaints.found, complaints.found

    return repr((scope, parts)).encode(), job


# --- links -------------------------------------------------------------------------


def links(rng: random.Random) -> Job:
    """What somebody carries in a link or cookie: it opens its own, or is told to open nothing."""
    _kept()
    true = rng.choice(_carried())
    given = true
    for _ in range(rng.choice([0, 1, 1, 2])):
        at = rng.randrange(len(given) + 1)
        given = given[:at] + typed_text(rng)[: rng.choice([1, 5, 300])] + given[at + 1 :]
    given = rng.choice([given, given, typed_text(rng)])

    def job() -> None:
        opened = []
        for opens in (passes.order_of, passes.at_desk):
            with suppress(passes.AccessError):
                opened.append(opens(_kept(), given))
        # The last letter of a signature has two bits that say nothing.
        same = given[:-1] == true[:-1] and len(given) == len(true)
        assert not opened or same
        if known_browsers.known_browser(given, "ada"):
            assert same

    return given, job


# --- pages -------------------------------------------------------------------------


def pages(rng: random.Random) -> Job:
    """The address of a page, with anything in its query."""
    words = [_link(), "readings", "again", "dog", "photo", "marks", "result", "sample", "de", "1"]
    names = ["order", "step", "language", "by", "case", "do", "state", "embed", "", typed_text(rng)]
    told = {
        name: rng.choice([rng.choice(words), rng.choice(words), typed_text(rng)])
        for name in rng.sample(names, rng.randrange(5))
    }
    told = {
        # Half of a pair cannot be in an address.
        name.encode(errors="replace").decode(): text.encode(errors="replace").decode()
        for name, text in told.items()
    }
    held, desk = rng.choice(words), rng.choice(["", "open"])

    def job() -> None:
        complaints = _Complaints()
        with ExitStack() as stack:
            # Links that lead nowhere are soon too many: it is not the count that is tried here.
            stack.enter_context(patch.object(Rates, "refuse_beyond", lambda *_: None))
            stack.enter_context(patch.object(Rates, "count", lambda *_, **__: None))
            environment = {STORE_VARIABLE: str(_kept().engine.url.database), DESK_VARIABLE: desk}
            stack.enter_context(patch.dict(os.environ, environment))
            logging.getLogger().addHandler(complaints)
            stack.callback(logging.getLogger().removeHandler, complaints)
            app = AppTest.from_file(_MAIN, default_timeout=60)
            for name, text in told.items():
                app.query_params[name] = text
            app.session_state["order"] = held
            app.run()
        assert not app.exception
        assert not complaints.found, complaints.found
        assert "This should not have happened" not in [one.value for one in app.header]

    return told, job


# --- drafts ------------------------------------------------------------------------


_BLANKS = [
    *(Blank("order", name) for name in ("name", "unit")),
    *(Blank("readings", name, take=take) for name in READINGS for take in (0, 1)),
    *(Blank("dog", name) for name in ("name", "breed", "weight", "girth", "coat", "age_months")),
]


def drafts(rng: random.Random) -> Job:
    """A draft as anything may have left it, filled in further, kept and read again."""
    _kept()
    told = mutated_case(rng) if rng.random() < 0.6 else mutated({"dog": {}, "photos": []}, rng)
    told = told if isinstance(told, dict) else {"x": told}
    blanks = rng.choices(_BLANKS, k=rng.randrange(4))
    typed = [(blank, _typed(blank, rng)) for blank in blanks]

    def edit(draft: Draft) -> Draft:
        for blank, text in typed:
            draft = with_typed(draft, blank, text, owners_hand())
            typed_at(draft, blank)
        return settled(draft)

    def job() -> None:
        owners = LinkedStore(_kept())
        owners.save_draft(_link(), Draft.from_dict(told))
        owners.change_draft(_link(), edit)
        kept = owners.draft(_link())
        assert kept == Draft.from_dict(json.loads(json.dumps(kept.to_dict())))
        for gap in gaps(kept):
            assert str(gap.sentence).isprintable()

    return told, job


def _typed(blank: Blank, rng: random.Random) -> Any:
    """As the field of a blank gives it: one is for a whole number."""
    if rng.random() < 0.1:
        return None
    return rng.randrange(-5, 10**6) if blank.name == "age_months" else typed_text(rng)


# --- the marking surface -----------------------------------------------------------


def placed(rng: random.Random) -> Job:
    """What a browser sends for the marks: understood within the photo, or not at all."""
    whole = {
        "mount": secrets.token_hex(2),
        "shape": "corners",
        "marks": {name: [rng.uniform(-9, 5000), rng.uniform(-9, 4000)] for name in LANDMARKS},
        "bends": {"front_length": [[1, 2], [3, 4]]},
        "reference": [[0, 0], [9, 0], [9, 9], [0, 9]],
    }
    given = json.loads(json.dumps(mutated(whole, rng)))

    def job() -> None:
        if not isinstance(given, Mapping):
            return
        found = surface._understood(given, LANDMARKS, (4000, 3000), "corners", 4)
        if found is None:
            return
        points = [*found.marks.values(), *found.reference]
        points += [point for line in found.bends.values() for point in line]
        assert all(0 <= x <= 3999 and 0 <= y <= 2999 for x, y in points)

    return given, job
