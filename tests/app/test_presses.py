"""What somebody pressed is done, whatever the page asks for meanwhile: `framework.finish_presses`.

Each page here is a script of its own, run by Streamlit as it is served, and waits where it is told
to, so that what comes meanwhile comes meanwhile each time.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from queue import SimpleQueue
from threading import Event
from typing import Any, TypeAlias

import pytest
import streamlit as st
from starlette.testclient import TestClient
from streamlit import config
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ClientState_pb2 import ClientState
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.proto.WidgetStates_pb2 import WidgetState
from streamlit.runtime import Runtime
from streamlit.runtime.app_session import AppSession
from streamlit.runtime.scriptrunner import ScriptRunner, script_runner

from photocheck_app import framework

pytestmark = pytest.mark.slow

PATIENCE_S = 60.0

PRESSED = """
import streamlit as st
import page_of_a_test as told
if st.button("Send", key="send"):
    told.here()
    st.write("is sent")
    told.done.append("sent")
told.done.append("shown")
"""

TYPED = """
import streamlit as st
import page_of_a_test as told
def typed():
    told.here()
    st.session_state["kept"] = st.session_state["name"]
    told.done.append(st.session_state["kept"])
st.text_input("Name", key="name", on_change=typed)
told.done.append("shown")
"""

WAITS = """
import streamlit as st
import page_of_a_test as told
from photocheck_app.framework import heed
told.here()
heed()
if st.button("Send", key="send"):
    told.done.append("sent")
told.done.append("shown")
"""

ASKS = """
import streamlit as st
import page_of_a_test as told
if st.button("Send", key="send"):
    told.done.append("sent")
    ASKS
    told.done.append("went on")
told.done.append("shown")
"""

Opened: TypeAlias = Callable[..., Any]


@dataclass
class Told:
    """What a page and its test tell each other.

    Attributes
    ----------
    waits : bool
        Whether the page waits where it says that it is.
    done : list of str
        What it did.
    """

    waits: bool = False
    done: list[str] = field(default_factory=list)
    reached: Event = field(default_factory=Event)
    goes_on: Event = field(default_factory=Event)
    beats: SimpleQueue[bool] = field(default_factory=SimpleQueue)

    def here(self) -> None:
        if self.waits:
            self.waits = False
            self.reached.set()
            assert self.goes_on.wait(PATIENCE_S)


class Page:
    """One open page, as a browser has it."""

    def __init__(self, socket: Any, told: Told) -> None:
        self._socket, self._told = socket, told
        self._receives = ThreadPoolExecutor(1)
        self._fields: dict[str, str] = {}

    def ask(self, **values: Any) -> None:
        """For a run, with the value of a field."""
        asked = ClientState(query_string="")
        for name, value in values.items():
            kind = "trigger_value" if value is True else "string_value"
            asked.widget_states.widgets.append(WidgetState(id=self._fields[name], **{kind: value}))
        self._socket.send_bytes(BackMsg(rerun_script=asked).SerializeToString())

    def _next(self) -> bytes:
        content: bytes = self._socket.receive_bytes()
        return content

    def heard(self) -> None:
        """Wait until the server has heard all that was asked for so far."""
        self._socket.send_bytes(BackMsg(app_heartbeat=True).SerializeToString())
        assert self._told.beats.get(timeout=PATIENCE_S)

    def leave(self) -> None:
        """As Streamlit takes it where a connection ends."""
        self._socket.send_bytes(BackMsg(stop_script=True).SerializeToString())

    def until_done(self, *done: str) -> None:
        """Wait until the page has done so much, and nothing runs."""
        ended = False
        while not (ended and len(self._told.done) >= len(done)):
            message = ForwardMsg.FromString(self._receives.submit(self._next).result(PATIENCE_S))
            element = message.delta.new_element
            kind = element.WhichOneof("type")
            if kind in ("button", "text_input"):
                name = getattr(element, kind).id
                self._fields[name.rpartition("-")[2]] = name
            if message.WhichOneof("type") == "script_finished":
                ended = message.script_finished == ForwardMsg.FINISHED_SUCCESSFULLY
        assert self._told.done == list(done)


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> Told:
    told = Told()
    monkeypatch.setitem(sys.modules, "page_of_a_test", told)  # type: ignore[arg-type]
    return told


@pytest.fixture
def opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, told: Told) -> Opened:
    monkeypatch.setattr(Runtime, "_instance", None)
    monkeypatch.setattr(config, "_main_script_path", None)
    monkeypatch.setattr(config, "_server_mode", None)
    monkeypatch.setattr(ScriptRunner, "start", ScriptRunner.start)
    runs: Any = script_runner
    monkeypatch.setattr(runs, "ScriptRequests", runs.ScriptRequests)  # as it was, afterwards
    monkeypatch.setattr(AppSession, "_handle_app_heartbeat_request", lambda _: told.beats.put(True))
    framework.finish_presses()
    framework.configure({"runner.fastReruns": False})

    @contextmanager
    def open_page(script: str, *script_shows: str) -> Iterator[Page]:
        file = tmp_path / "page.py"
        file.write_text(script, encoding="utf-8")
        with (
            TestClient(st.App(str(file)), "http://127.0.0.1:8501") as visitor,
            visitor.websocket_connect("/_stcore/stream", subprotocols=["streamlit"]) as socket,
        ):
            page = Page(socket, told)
            page.ask()
            page.until_done(*script_shows)
            yield page

    return open_page


def _asked_meanwhile(page: Page, told: Told, first: dict[str, Any], then: dict[str, Any]) -> None:
    """Ask for a run, and for another while it waits."""
    told.waits = True
    page.ask(**first)
    assert told.reached.wait(PATIENCE_S)
    page.ask(**then)
    page.heard()
    told.goes_on.set()


def test_what_was_pressed_is_done_before_what_the_page_asks_for_next(
    opened: Opened, told: Told
) -> None:
    with opened(PRESSED, "shown") as page:
        _asked_meanwhile(page, told, {"send": True}, {})
        page.until_done("shown", "sent", "shown", "shown")


def test_what_was_pressed_before_its_run_began_is_done(
    opened: Opened, told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    with opened(PRESSED, "shown") as page:
        waiting: list[ScriptRunner] = []
        start = ScriptRunner.start
        monkeypatch.setattr(ScriptRunner, "start", lambda run: waiting.append(run))
        page.ask(send=True)
        page.ask()
        page.heard()
        (run,) = waiting  # one for both
        start(run)
        page.until_done("shown", "sent", "shown")


def test_what_is_done_about_a_changed_field_is_done_to_its_end(opened: Opened, told: Told) -> None:
    with opened(TYPED, "shown") as page:
        _asked_meanwhile(page, told, {"name": "Rex"}, {"name": "Rexy"})
        page.until_done("shown", "Rex", "Rexy", "shown")


def test_what_was_pressed_waits_on_though_the_page_asks_anew(opened: Opened, told: Told) -> None:
    with opened(WAITS, "shown") as page:
        _asked_meanwhile(page, told, {"send": True}, {})
        page.until_done("shown", "sent", "shown", "shown")


def test_a_run_that_nothing_was_pressed_for_waits_no_longer(opened: Opened, told: Told) -> None:
    with opened(WAITS, "shown") as page:
        _asked_meanwhile(page, told, {}, {})
        page.until_done("shown", "shown")


def test_what_waits_for_its_turn_ends_where_its_page_is_left(opened: Opened, told: Told) -> None:
    with opened(WAITS, "shown") as page:
        told.waits = True
        page.ask(send=True)
        assert told.reached.wait(PATIENCE_S)
        page.leave()
        page.heard()
        told.goes_on.set()
        page.until_done("shown")


@pytest.mark.parametrize("asks", ["st.rerun()", "st.stop()"])
def test_what_a_run_asks_for_itself_it_has(opened: Opened, told: Told, asks: str) -> None:
    with opened(ASKS.replace("ASKS", asks), "shown") as page:
        page.ask(send=True)
        after = ["shown"] if asks == "st.rerun()" else []
        page.until_done("shown", "sent", *after)
