"""Streamlit's insides: touched in one module, proved at the start, and shut where they moved."""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from math import inf
from pathlib import Path
from threading import Event, Thread
from types import ModuleType
from typing import Any, ClassVar

import pytest
import streamlit as st
from packaging.requirements import Requirement
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.testclient import TestClient
from streamlit import config
from streamlit.runtime import Runtime, media_file_manager, memory_uploaded_file_manager
from streamlit.runtime.scriptrunner_utils import script_run_context
from streamlit.web import bootstrap
from streamlit.web.server.starlette import (
    starlette_app,
    starlette_routes,
    starlette_server_config,
    starlette_websocket,
)

from photocheck.orders.model import STORE_VARIABLE
from photocheck_app import framework, proofs
from photocheck_app.doors import settings
from photocheck_app.doors.middleware import Guard
from photocheck_app.doors.sign_in import ROUTES
from tests.support.places import APP

# -- touched in one place -----------------------------------------------------------------

DOCUMENTED = {"streamlit", "streamlit.typing"}
"""Modules of Streamlit that its documentation has people import."""

_INSIDE = re.compile(r"streamlit(\.[a-z_0-9]+)+|/?_stcore/.*|/media/.*|/?component/.*|.*/auth/.*")
"""Names of private modules and addresses, as texts."""


def private_things(source: str) -> list[str]:
    """What a module's text touches of Streamlit that is not documented."""
    tree = ast.parse(source)
    roots, found = set(), []
    walked: list[Any] = list(ast.walk(tree))
    said = {id(node.body[0].value) for node in walked if _has_docstring(node)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for name in node.names:
                if name.name.split(".")[0] == "streamlit":
                    roots.add((name.asname or name.name).split(".")[0])
                    if name.name not in DOCUMENTED:
                        found.append(f"{node.lineno}: import {name.name}")
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "streamlit":
            roots |= {name.asname or name.name for name in node.names}
            for name in node.names:
                whole = f"{node.module}.{name.name}"
                module = isinstance(getattr(st, name.name, None), ModuleType)
                if (
                    node.module not in DOCUMENTED
                    or name.name.startswith("_")
                    or (node.module == "streamlit" and module and whole not in DOCUMENTED)
                ):
                    found.append(f"{node.lineno}: from {whole}")
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute):
            names = _chain(node)
            if names[:1] and names[0] in roots and any(_is_private(name) for name in names[1:]):
                found.append(f"{node.lineno}: {'.'.join(names)}")
        elif (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and id(node) not in said
            and _INSIDE.fullmatch(node.value)
            and node.value not in DOCUMENTED
        ):
            found.append(f"{node.lineno}: {node.value!r}")
    return found


def _has_docstring(node: ast.AST) -> bool:
    body = getattr(node, "body", None)
    return isinstance(body, list) and bool(body) and isinstance(body[0], ast.Expr)


def _chain(node: ast.expr) -> list[str]:
    names: list[str] = []
    while isinstance(node, ast.Attribute):
        names.append(node.attr)
        node = node.value
    return [node.id, *reversed(names)] if isinstance(node, ast.Name) else []


def _is_private(name: str) -> bool:
    """By its underscore, or as a module that is there only because Streamlit itself imports it."""
    module = isinstance(getattr(st, name, None), ModuleType)
    if name in ("__version__", "components", "column_config", "typing"):
        return False
    return name.startswith("_") or module


def test_what_is_private_is_touched_in_one_module() -> None:
    # The proofs try each thing that the module uses.
    inside = {Path(framework.__file__), Path(proofs.__file__)}
    modules = [path for path in APP.rglob("*.py") if path not in inside]
    assert len(modules) > 40
    found = {str(p.relative_to(APP)): private_things(p.read_text("utf-8")) for p in modules}
    assert {name: things for name, things in found.items() if things} == {}
    assert private_things(Path(framework.__file__).read_text("utf-8"))


@pytest.mark.parametrize(
    "planted",
    [
        "from streamlit.runtime.scriptrunner import get_script_run_ctx",
        "import streamlit.runtime",
        "import streamlit.web.cli as cli",
        "from streamlit import runtime",
        "from streamlit import config as settings",
        "def f():\n    from streamlit.web.cli import main",
        "import streamlit as st\nst._main.write('x')",
        "import streamlit\nstreamlit.session_state._state",
        "import streamlit as st\nst.runtime.exists()",
        "import streamlit as st\nst.context._headers",
        "from streamlit import session_state as kept\nkept._keys()",
        "import importlib\nimportlib.import_module('streamlit.web.cli')",
        "path = '/_stcore/upload_file/'",
        "path = '/media/' + name",
        "from streamlit.typing import _x",
    ],
)
def test_a_private_thing_elsewhere_is_found(planted: str) -> None:
    assert private_things(planted)


def test_what_is_documented_may_be_used() -> None:
    assert not private_things(
        '"""streamlit.runtime"""\n'
        "import streamlit as st\nfrom streamlit.typing import UploadedFile\n"
        "st.components.v2.component('x')\nst.session_state['_x']\nst.context.cookies\n"
        "st.query_params.from_dict({})\nst.column_config.Column()\n"
    )


# -- proved at the start ------------------------------------------------------------------


@pytest.fixture
def app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """The app as it is served, before it starts: only one can be in a process."""
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "orders.sqlite3"))
    monkeypatch.setattr(Runtime, "_instance", None)
    monkeypatch.setattr(config, "_main_script_path", None)
    monkeypatch.setattr(config, "_server_mode", None)
    script = tmp_path / "page.py"
    script.write_text("import streamlit as st\nst.write('a page')\n", encoding="utf-8")
    yield st.App(str(script), routes=ROUTES, middleware=[st_middleware()])
    settings.close_stores()


def st_middleware() -> Any:
    from starlette.middleware import Middleware

    return Middleware(Guard)


OTHERS = ("203.0.113.7", 50000)
HERE = ("127.0.0.1", 50000)


def answers(app: Any, path: str = "/_stcore/health", client: tuple[str, int] = OTHERS) -> int:
    with TestClient(app, "http://127.0.0.1:8501", client=client) as visitor:
        return visitor.get(path).status_code


def test_all_holds_in_the_streamlit_that_is_installed(
    app: Any, capsys: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    with TestClient(app, "http://shop.example", client=OTHERS) as visitor:
        assert caplog.records == []
        assert proofs.self_test(app._starlette_app) == ()
        assert visitor.get("/_stcore/health").text == "ok"
        page = visitor.get("/desk", headers={"Accept": "text/html"})
        assert (page.status_code, '<div id="root">' in page.text) == (200, True)
        (script,) = re.findall(r'src="\.(/static/js/[^"]+)"', page.text)
        assert visitor.get(script).status_code == 200
        for path in ("/_stcore/media/x.jpg", "/_stcore/metrics", "/component/x/y", "/nowhere"):
            assert visitor.get(path).status_code == 404, path
        sockets = visitor.websocket_connect("/_stcore/stream", subprotocols=["streamlit"])
        with sockets as socket:
            assert socket.accepted_subprotocol == "streamlit"
    assert capsys.readouterr().err == ""


def test_no_module_takes_the_place_of_another() -> None:
    """`streamlit run` puts the folder of `served.py` first where modules are looked for."""
    ours = {path.stem for path in APP.glob("*.py")} | {path.name for path in APP.iterdir()}
    taken = set(sys.stdlib_module_names) | packages_distributions().keys()
    assert len(taken) > 200
    assert ours & (taken - {"photocheck_app"}) == set()


def test_each_thing_says_where_it_was_read() -> None:
    minor = st.__version__.rpartition(".")[0]
    assert len(proofs.PRIVATE) == len({one.title for one in proofs.PRIVATE})
    for one in proofs.PRIVATE:
        assert one.read_in == framework.READ_IN
        assert one.read_in.rpartition(".")[0] == minor
    allowed = Requirement(framework.INSTALL).specifier
    assert allowed.contains(framework.READ_IN)
    major, second, _ = framework.READ_IN.split(".")
    assert not allowed.contains(f"{major}.{int(second) + 1}.0")


async def _nothing(_: Any) -> Response:
    return Response("")


def _moved(module: Any, name: str, value: str) -> Any:
    return lambda patch: patch.setattr(module, name, value)


def _elsewhere(patch: pytest.MonkeyPatch) -> None:
    """Media are served below another path, as a later version might."""
    patch.setattr(starlette_app, "BASE_ROUTE_MEDIA", "_stcore/media")
    patch.setattr(starlette_routes, "_ROUTE_MEDIA", "_stcore/media/{file_id:path}")


def _another_form(patch: pytest.MonkeyPatch) -> None:
    from streamlit.runtime.memory_media_file_storage import MemoryMediaFileStorage

    patch.setattr(MemoryMediaFileStorage, "get_url", lambda self, file_id: f"/files?id={file_id}")


def _without_a_name(patch: pytest.MonkeyPatch) -> None:
    from streamlit.runtime import memory_media_file_storage as storage

    made = storage._calculate_file_id
    patch.setattr(storage, "_calculate_file_id", lambda data, kind, filename=None: made(data, kind))


def _session_second(patch: pytest.MonkeyPatch) -> None:
    def parse(headers: Any) -> tuple[str | None, str | None, str | None]:
        parts = [*headers["sec-websocket-protocol"].split(", "), None, None]
        return parts[0], parts[2], parts[1]

    patch.setattr(starlette_websocket, "_parse_subprotocols", parse)


def _no_parser(patch: pytest.MonkeyPatch) -> None:
    patch.delattr(starlette_websocket, "_parse_subprotocols")


def _other_keywords(patch: pytest.MonkeyPatch) -> None:
    def add_file(self: Any, owner: str, record: Any) -> None:
        self.file_storage[owner][record.file_id] = record

    patch.setattr(memory_uploaded_file_manager.MemoryUploadedFileManager, "add_file", add_file)


def _held_elsewhere(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(
        memory_uploaded_file_manager.MemoryUploadedFileManager,
        "add_file",
        lambda self, session_id, file: None,
    )


def _other_address_of_uploads(patch: pytest.MonkeyPatch) -> None:
    manager = memory_uploaded_file_manager.MemoryUploadedFileManager
    urls = manager.get_upload_urls
    patch.setattr(
        manager,
        "get_upload_urls",
        lambda self, session, names: [
            one._replace(upload_url=f"{self.endpoint}?{session}")
            for one in urls(self, session, names)
        ],
    )


def _no_promises(patch: pytest.MonkeyPatch) -> None:
    patch.delattr(media_file_manager.MediaFileManager, "add_deferred")


def _another_keeper(patch: pytest.MonkeyPatch) -> None:
    class Another(media_file_manager.MediaFileManager):
        pass

    from streamlit.runtime import runtime

    patch.setattr(runtime, "MediaFileManager", Another)


def _new_route(patch: pytest.MonkeyPatch) -> None:
    made = starlette_routes.create_health_routes
    patch.setattr(
        starlette_app,
        "create_health_routes",
        lambda *given: [*made(*given), Route("/_stcore/files/{name}", _nothing)],
    )


def _mounted(patch: pytest.MonkeyPatch) -> None:
    made = starlette_routes.create_health_routes
    patch.setattr(
        starlette_app,
        "create_health_routes",
        lambda *given: [Mount("/_stcore/more", routes=[]), *made(*given)],
    )


def _no_stream(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(starlette_websocket, "_ROUTE_WEBSOCKET_STREAM", "_stcore/socket")


def _no_session(patch: pytest.MonkeyPatch) -> None:
    class Context:
        __dataclass_fields__: ClassVar[dict[str, Any]] = {}

    patch.setattr(script_run_context, "ScriptRunContext", Context)


def _no_loader(patch: pytest.MonkeyPatch) -> None:
    patch.delattr(bootstrap, "load_config_options")


def _other_cookie(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(starlette_server_config, "USER_COOKIE_NAME", "streamlit_id")


def _no_setting(patch: pytest.MonkeyPatch) -> None:
    get = st.get_option

    def get_option(name: str) -> Any:
        if name == "server.address":
            raise RuntimeError("no such option")
        return get(name)

    patch.setattr(st, "get_option", get_option)


def _other_assets(patch: pytest.MonkeyPatch) -> None:
    from streamlit import file_util

    patch.setattr(file_util, "get_static_dir", lambda: str(APP))


def _otherwise_sent(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(Runtime, "_send_message", lambda self, message: None)


def _kept_waiting(patch: pytest.MonkeyPatch) -> None:
    from streamlit.runtime.forward_msg_queue import ForwardMsgQueue

    patch.setattr(ForwardMsgQueue, "flush", lambda self: list(self._queue))


def _no_themes(patch: pytest.MonkeyPatch) -> None:
    from streamlit.runtime import app_session

    patch.delattr(app_session, "_populate_theme_msg")


def _values_lost(patch: pytest.MonkeyPatch) -> None:
    from streamlit.runtime.state.session_state import WStates

    patch.setattr(WStates, "set_widget_from_proto", lambda self, came: None)


def _runs_go_on(patch: pytest.MonkeyPatch) -> None:
    from streamlit.runtime.scriptrunner_utils.script_requests import ScriptRequests

    patch.setattr(ScriptRequests, "request_stop", lambda self: None)


@pytest.mark.parametrize(
    ("plant", "title"),
    [
        (_no_themes, "settings of the server"),
        (_runs_go_on, "how runs of pages end"),
        (_values_lost, "values of a page's fields"),
        (_otherwise_sent, "what pages are sent"),
        (_kept_waiting, "what pages are sent"),
        (_elsewhere, "addresses of the server"),
        (_new_route, "addresses of the server"),
        (_mounted, "addresses of the server"),
        (_no_stream, "addresses of the server"),
        (_another_form, "files that pages show"),
        (_without_a_name, "files that pages show"),
        (_no_promises, "files that pages show"),
        (_another_keeper, "memory of what it serves"),
        (_session_second, "goes on with its session"),
        (_no_parser, "goes on with its session"),
        (_other_keywords, "files that visitors hand in"),
        (_held_elsewhere, "files that visitors hand in"),
        (_other_address_of_uploads, "files that visitors hand in"),
        (_no_session, "sessions of pages"),
        (_no_loader, "settings of the server"),
        (_other_cookie, "cookies of the server"),
        (_no_setting, "settings of the server"),
        (_other_assets, "files that pages are made of"),
    ],
)
def test_where_something_has_moved_other_machines_are_refused(
    app: Any,
    plant: Any,
    title: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    plant(monkeypatch)
    with TestClient(app, "http://127.0.0.1:8501", client=OTHERS) as visitor:
        for path in ("/", "/desk", "/staff", "/_stcore/health", "/_stcore/media/x.jpg"):
            answer = visitor.get(path)
            assert answer.status_code == 503
            assert "only to the machine it runs on" in answer.text
    (line,) = [one for one in capsys.readouterr().err.splitlines() if "turned away" in one]
    assert title in line
    assert f"Streamlit {st.__version__}" in line
    # Said before anybody asked, and this machine goes on.
    here = TestClient(app, "http://127.0.0.1:8501", client=HERE)
    assert here.get("/_stcore/media/x.jpg").status_code == 404
    assert here.get("/staff").status_code == 200


def test_a_server_that_was_never_told_to_start_is_tested_all_the_same(
    app: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    _no_parser(monkeypatch)
    # No `with`: no lifespan, as where another server runs the app.
    visitor = TestClient(app, "http://127.0.0.1:8501", client=OTHERS)
    assert visitor.get("/_stcore/health").status_code == 503


# -- what pages are sent ------------------------------------------------------------------


class Sender:
    """Some page's messages, a clock, and what became of each."""

    def __init__(self) -> None:
        self.now = 0.0
        self.waiting, self.sent = list[int](), list[int]()
        self.sending = framework.together(lambda _: self.waiting, self._send, lambda: self.now)

    def _send(self, _: object, one: int) -> bool:
        self.sent.append(one)
        return True

    def left(self, messages: int, *, at_s: float) -> int:
        """How many are left to Streamlit's loop, which has all others go after each."""
        self.now, self.waiting = at_s, list(range(messages))
        self.sent.clear()
        left = self.sending(None)
        assert [*self.sent, *left] == self.waiting
        return len(left)


def test_what_waits_for_a_page_is_sent_at_once() -> None:
    sender, often = Sender(), framework.OTHERS_WAIT_S
    assert sender.left(30, at_s=100.0) == 1  # others waited for who knows how long
    # from then on, however long those took
    assert sender.left(30, at_s=200.0) == 0
    assert sender.left(30, at_s=200.0 + 0.9 * often) == 0
    assert sender.left(30, at_s=200.0 + 1.1 * often) == 1
    assert sender.left(30, at_s=300.0) == 0
    # and no connection holds more than so many
    assert sender.left(250, at_s=300.0) == 150
    assert sender.left(0, at_s=900.0) == 0


def test_a_page_that_has_gone_is_left_to_streamlits_loop() -> None:
    asked = list[int]()

    def send(_: object, one: int) -> bool:
        asked.append(one)
        return one != 2

    sending = framework.together(lambda _: [1, 2, 3, 4], send, lambda: 0.0)
    assert (sending(None), asked) == ([2, 3, 4], [1, 2])


def test_the_shipped_turns_of_what_is_sent() -> None:
    assert (framework.MOST_TOGETHER, framework.OTHERS_WAIT_S) == (100, 0.02)
    # of what a connection holds before it is cut off
    queue = starlette_server_config.WEBSOCKET_MAX_SEND_QUEUE_SIZE
    assert queue == 5 * framework.MOST_TOGETHER


def test_settings_are_read_while_others_hold_their_lock(monkeypatch: pytest.MonkeyPatch) -> None:
    """The loop waits for no run that reads some; and each page is told the same as ever."""
    from streamlit.proto.NewSession_pb2 import NewSession
    from streamlit.runtime import app_session

    def told() -> bytes:
        session: Any = NewSession()
        app_session._populate_config_msg(session.config)
        app_session._populate_theme_msg(session.custom_theme)
        for part in ("light", "dark", "sidebar"):
            app_session._populate_theme_msg(getattr(session.custom_theme, part), f"theme.{part}")
        return bytes(session.SerializeToString(deterministic=True))

    for module, name in (
        (config, "get_option"),
        (config, "get_options_for_section"),
        (app_session, "_populate_theme_msg"),
    ):
        monkeypatch.setattr(module, name, getattr(module, name))  # as it was, afterwards
    config.set_option("theme.primaryColor", "#336655")
    try:
        before = told()
        framework.read_lightly()
        assert told() == before
        read = list[bytes]()
        with config._config_lock:
            reading = Thread(target=lambda: read.append(told()), daemon=True)
            reading.start()
            reading.join(60)
        assert read == [before]
        with pytest.raises(RuntimeError, match="not defined"):
            config.get_option("theme.none")
    finally:
        config.set_option("theme.primaryColor", None)


class Run:
    """What begins as a run of a page does."""

    def __init__(self, had: int = 0) -> None:
        self._script_thread: Any = None
        self.begins, self.begun, self.failed = Event(), Event(), had

    def start(self) -> None:
        if self._script_thread is not None:
            raise AssertionError("begun twice")
        self._script_thread = "one"
        self.begins.wait(60)
        if self.failed:
            self.failed -= 1
            raise RuntimeError("can't start new thread")
        self.begun.set()


def test_nobody_waits_for_a_run_to_begin(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(framework, "AGAIN_S", 0.001)
    start = framework.begun_elsewhere(Run.start, Run)
    first, second = Run(had=2), Run()
    second.begins.set()
    start(first)
    start(second)
    assert not first.begun.is_set()
    assert not second.begun.is_set()  # after the first
    first.begins.set()
    assert second.begun.wait(60)
    assert first.begun.is_set()
    # Where the system had no thread, it is told and asked for again.
    assert [said for said in caplog.messages if "can't start" in said] == [
        "a run waits: can't start new thread"
    ] * 2

    class RunOfTest(Run):
        """As tests of a page alone have it, which wait for its end."""

    third = RunOfTest()
    third.begins.set()
    start(third)
    assert third.begun.is_set()


FIELD = "$$ID-0123-dog"


def _came(**value: Any) -> Any:
    from streamlit.proto.WidgetStates_pb2 import WidgetState

    return WidgetState(id=FIELD, **value)


def _values_of(kind: Any, read: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """What a page sends for one field, read as the running server reads it."""
    from streamlit.runtime.state.common import WidgetMetadata
    from streamlit.runtime.state.session_state import WStates

    for name in ("__getitem__", "set_widget_from_proto"):
        monkeypatch.setattr(WStates, name, getattr(WStates, name))  # as it was, afterwards
    framework.take_no_odd_values()
    reading = WStates.__getitem__
    framework.take_no_odd_values()
    assert WStates.__getitem__ is reading
    values = WStates()
    values.set_widget_metadata(WidgetMetadata(FIELD, read, str, kind))
    return values


def _text(came: Any) -> str:
    return "nothing" if came is None else str(came.strip())


def _place(came: Any) -> int:
    return 0 if came is None else ["a", "b"].index(came)


def _number(came: Any) -> Any:
    return 5 if came is None else came


def _state(came: Any) -> dict[str, Any]:
    return dict(came or {})


@pytest.mark.parametrize(
    ("kind", "read", "came", "value", "told"),
    [
        ("string_value", _text, {"string_value": " typed "}, "typed", ""),
        ("string_value", _text, {}, "nothing", ""),
        ("string_value", _text, {"int_value": 7}, "nothing", "int_value, not string_value"),
        ("string_value", _place, {"string_value": "b"}, 1, ""),
        ("string_value", _place, {"string_value": "c"}, 0, "ValueError"),
        ("double_value", _number, {"int_value": 7}, 7, ""),
        ("double_value", _number, {"double_value": 7.5}, 7.5, ""),
        ("double_value", _number, {"double_value": float("nan")}, 5, "no number"),
        ("double_value", _number, {"double_value": inf}, 5, "no number"),
        ("json_value", _state, {"json_value": ' {"a": [1]}'}, {"a": [1]}, ""),
        ("json_value", _state, {"json_value": '"a"'}, {}, "no object"),
        ("json_value", _state, {"json_value": "{"}, {}, "JSONDecodeError"),
        ("json_value", _state, {"json_value": '{"a":' + "[" * 90_000}, {}, "RecursionError"),
        ("json_value", _state, {"json_value": '{"a":' + "9" * 5000 + "}"}, {}, "ValueError"),
        (
            "json_value",
            _state,
            {"json_value": '{"a":' + "[" * 21 + "]" * 21 + "}"},
            {},
            "too deep",
        ),
    ],
)
def test_a_value_that_its_field_cannot_hold_is_none(
    kind: str,
    read: Any,
    came: dict[str, Any],
    value: Any,
    told: str,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    values = _values_of(kind, read, monkeypatch)
    values.set_widget_from_proto(_came(**came))
    assert values[FIELD] == values[FIELD] == value
    assert values.widget_metadata[FIELD].value_type == kind
    (line,) = caplog.messages or [""]
    assert told in line
    assert bool(told) == bool(line)
    assert not [record for record in caplog.records if record.exc_info]


def test_what_is_no_field_has_no_value(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Names of our own stand beside the fields' in what a page keeps, and all of them are read."""
    from streamlit.proto.WidgetStates_pb2 import WidgetState

    values = _values_of("string_value", _text, monkeypatch)
    for name in ("photocheck store away", "", "x" * 5000):
        values.set_widget_from_proto(WidgetState(id=name, string_value="forged"))
    values.set_widget_from_proto(_came(string_value="typed"))
    assert list(values) == [FIELD]
    assert len(caplog.messages) == 3
    assert all(len(line) < 100 for line in caplog.messages)


@pytest.mark.slow
def test_a_served_page_is_sent_its_messages_together(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from streamlit.proto.BackMsg_pb2 import BackMsg
    from streamlit.proto.ClientState_pb2 import ClientState
    from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
    from streamlit.runtime.app_session import AppSession
    from streamlit.runtime.scriptrunner import ScriptRunner

    monkeypatch.setattr(Runtime, "_instance", None)
    monkeypatch.setattr(config, "_main_script_path", None)
    monkeypatch.setattr(config, "_server_mode", None)
    monkeypatch.setattr(AppSession, "flush_browser_queue", _unpatched(AppSession))
    monkeypatch.setattr(ScriptRunner, "start", ScriptRunner.start)
    framework.begin_runs_elsewhere()
    begin: Any = ScriptRunner.start
    framework.begin_runs_elsewhere()
    assert ScriptRunner.start is begin
    script = tmp_path / "page.py"
    script.write_text(
        "import streamlit as st\nfor number in range(40):\n    st.write(number)\n", encoding="utf-8"
    )
    monkeypatch.setattr(framework, "OTHERS_WAIT_S", inf)
    framework.send_together()
    flush: Any = AppSession.flush_browser_queue
    framework.send_together()
    assert AppSession.flush_browser_queue is flush
    left = list[Any]()

    def flushing(session: Any) -> list[Any]:
        left.extend(told := flush(session))
        return list(told)

    monkeypatch.setattr(AppSession, "flush_browser_queue", flushing)
    asked = BackMsg(rerun_script=ClientState(query_string="")).SerializeToString()
    with TestClient(st.App(str(script)), "http://127.0.0.1:8501") as visitor:
        sockets = visitor.websocket_connect("/_stcore/stream", subprotocols=["streamlit"])
        with sockets as socket:
            socket.send_bytes(asked)
            kinds = list[str]()
            while "script_finished" not in kinds:
                kinds.append(str(ForwardMsg.FromString(socket.receive_bytes()).WhichOneof("type")))
    assert kinds.count("delta") >= 40
    assert left == []  # of each it would be one


def _unpatched(session: Any) -> Any:
    flush = session.flush_browser_queue
    return getattr(flush, "photocheck_sends", flush)
