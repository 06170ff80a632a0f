"""The proofs that Streamlit is still as `photocheck_app.framework` has it.

They run when the server starts (`photocheck_app.doors.middleware`), each by trying the thing
itself, and where one fails the server answers to nobody but this machine.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields
from inspect import signature
from pathlib import Path
from threading import Event, current_thread
from types import SimpleNamespace
from typing import Any, Final

import streamlit as st
from streamlit.typing import UploadedFile

from photocheck.server import serving
from photocheck.speech import later, tr
from photocheck_app import framework

PATIENCE_S: Final = 10.0
"""For a thread to begin."""


class MovedError(Exception):
    """Something of Streamlit is not as it was read."""


@dataclass(frozen=True)
class Private:
    """One private thing.

    Attributes
    ----------
    title : str
        For whoever runs the server.
    read_in : str
        The version of Streamlit.
    proof : function of the served Starlette application
        Tries it; raises whatever comes when it no longer holds.
    """

    title: str
    read_in: str
    proof: Callable[[Any], None]


def self_test(app: Any) -> tuple[str, ...]:
    """What of Streamlit is no longer as it was read; empty when all of it holds.

    Parameters
    ----------
    app : starlette.applications.Starlette
        As it is about to be served.
    """
    doubts = []
    for private in PRIVATE:
        try:
            private.proof(app)
        # Whatever a part that moved may raise: nothing that comes of it is let pass.
        except Exception as error:
            doubts.append(f"{tr(private.title)} ({type(error).__name__}: {error})")
    return tuple(doubts)


def _must(holds: object, said: str) -> None:
    if not holds:
        raise MovedError(said)


def _prove_runtime(_: Any) -> None:
    from streamlit.runtime.media_file_manager import MediaFileManager
    from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager

    _must(framework.served(), "no runtime")
    _must(
        type(framework.runtime().media_file_mgr) is MediaFileManager,
        "another keeper of media files",
    )
    _must(
        type(framework.runtime().uploaded_file_mgr) is MemoryUploadedFileManager,
        "another keeper of uploaded files",
    )
    # Found anew by whoever uses them, so that replacing their methods reaches everybody.
    _must(
        framework.runtime().media_file_mgr is framework.runtime().media_file_mgr,
        "media files kept elsewhere",
    )


def _prove_sessions(_: Any) -> None:
    from streamlit.runtime.scriptrunner import get_script_run_ctx
    from streamlit.runtime.scriptrunner_utils.script_run_context import ScriptRunContext

    _must(get_script_run_ctx(suppress_warning=True) is None, "a run outside any page")
    _must("session_id" in {one.name for one in fields(ScriptRunContext)}, "runs name no session")
    _must(framework.session_id() == "", "a session outside any page")
    _must(
        not framework.runtime().is_active_session("photocheck-none"), "sessions that nobody began"
    )


def _prove_beginning(_: Any) -> None:
    from streamlit.runtime.scriptrunner import ScriptRunner

    begun = Event()
    run: Any = ScriptRunner.__new__(ScriptRunner)
    run._script_thread, run._run_script_thread = None, begun.set
    start = getattr(ScriptRunner.start, "photocheck_starts", ScriptRunner.start)
    framework.begin(start, run)
    _must(begun.wait(PATIENCE_S), "runs begin otherwise")
    try:
        start(run)
    except RuntimeError:
        # What went wrong before is told by that kind, and what begins twice by the name.
        run._script_thread.join(PATIENCE_S)
    else:
        _must(False, "runs begin twice")


def _prove_sending(_: Any) -> None:
    from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
    from streamlit.runtime.app_session import AppSession, AppSessionState
    from streamlit.runtime.forward_msg_queue import ForwardMsgQueue

    here, sent = framework.runtime(), list[str]()
    _must(
        here._session_mgr.get_active_session_info("photocheck-none") is None,
        "sessions that nobody began",
    )
    _must(len(signature(here._send_message).parameters) == 2, "messages are sent otherwise")
    _must(not framework.send_now(SimpleNamespace(id="photocheck-none"), None), "pages of nobody")
    session: Any = AppSession.__new__(AppSession)
    session._state, session.id = AppSessionState.SHUTDOWN_REQUESTED, "photocheck-none"
    session._browser_queue = ForwardMsgQueue()

    def send(_: Any, message: Any) -> bool:
        sent.append(message.hash)
        return True

    waiting = framework.together(AppSession.flush_browser_queue, send, lambda: 0.0)
    for number in range(3):
        message = ForwardMsg(hash=str(number))
        message.page_info_changed.query_string = str(number)
        session._browser_queue.enqueue(message)
    left = [message.hash for message in waiting(session)]
    _must(sent + left == ["0", "1", "2"], f"of three messages {sent + left}")
    _must(not AppSession.flush_browser_queue(session), "messages that wait twice")


def _prove_runs(_: Any) -> None:
    from streamlit.runtime.scriptrunner import ScriptRunner, StopException
    from streamlit.runtime.scriptrunner_utils.script_requests import ScriptRequests
    from streamlit.runtime.state import SafeSessionState, SessionState

    run: Any = ScriptRunner.__new__(ScriptRunner)
    run._requests, run._script_thread, run._execing = ScriptRequests(), current_thread(), True
    state = SafeSessionState(SessionState(), run._maybe_handle_execution_control_request)
    state._yield_callback()
    run._requests.request_stop()
    try:
        state._yield_callback()
    except StopException:
        return
    raise MovedError("a run that is wanted no more goes on")


def _prove_presses(_: Any) -> None:
    from streamlit.proto.WidgetStates_pb2 import WidgetState, WidgetStates
    from streamlit.runtime.scriptrunner import script_runner
    from streamlit.runtime.scriptrunner_utils.script_requests import RerunData
    from streamlit.runtime.scriptrunner_utils.script_run_context import ScriptRunContext

    runs: Any = script_runner
    requests = framework.finishing_requests()()
    _must(
        issubclass(framework.finishing_requests(), runs.ScriptRequests), "runs are asked elsewhere"
    )
    _must(type(runs.ScriptRequests()._state) is type(requests._state), "runs are asked otherwise")
    set_here = serving.settings(serving.ADDRESS, serving.PORT, Path(__file__).parent)
    _must(not set_here["runner.fastReruns"], "two runs of a page at a time")
    press = WidgetStates(widgets=[WidgetState(id="photocheck-none", trigger_value=True)])
    requests.request_rerun(RerunData(widget_states=press))
    requests.request_rerun(RerunData(widget_states=WidgetStates()))
    given = requests.on_scriptrunner_ready().rerun_data.widget_states
    _must(given == press, "a press is lost before its run began")
    requests.request_rerun(RerunData(widget_states=WidgetStates()))
    _must(requests.on_scriptrunner_yield() is None, "a press is broken off")
    requests.on_scriptrunner_ready()
    requests.request_rerun(RerunData())
    _must(requests.on_scriptrunner_yield() is not None, "a run that is wanted no more goes on")
    kinds = {one.name for one in fields(ScriptRunContext)}
    _must(
        {"script_requests", "is_history_navigation"} <= kinds, "runs do not say what they are for"
    )


def _prove_values(_: Any) -> None:
    from streamlit.proto.WidgetStates_pb2 import WidgetState
    from streamlit.runtime.state.common import WidgetMetadata
    from streamlit.runtime.state.session_state import WStates

    # As they are once the server runs; it is proved before.
    patched = {
        "__getitem__": framework.no_odd_value(WStates.__getitem__),
        "set_widget_from_proto": framework.no_odd_name(WStates.set_widget_from_proto),
    }
    values: Any = type("Values", (WStates,), patched)()
    field, none = "$$ID-photocheck-none", "photocheck none"
    for name in (field, none):
        values.set_widget_metadata(
            WidgetMetadata(name, lambda came: came or "nothing", str, "string_value")
        )
    with _unsaid(framework.__name__):
        for name in (field, none):
            values.set_widget_from_proto(WidgetState(id=name, string_value="typed"))
        _must(values.get(field) == "typed", "a value that came is lost")
        _must(values.get(none) is None, "what is no field has a value")
        values.set_widget_from_proto(WidgetState(id=field, int_value=7))
        _must(values.get(field) == "nothing", "a number is taken for a text")


def _prove_websocket(_: Any) -> None:
    from starlette.datastructures import Headers
    from streamlit.web.server.starlette.starlette_websocket import _parse_subprotocols

    def read(asked: bytes) -> tuple[Any, ...]:
        return tuple(_parse_subprotocols(Headers(raw=[(b"sec-websocket-protocol", asked)])))

    asked = b"streamlit, token, session"
    _must(read(asked) == ("streamlit", "token", "session"), "the third protocol is no session")
    kept = framework.without_session(asked, lambda name: name == "session")
    _must(read(kept) == ("streamlit", "token", "session"), "an own session is lost")
    left = framework.without_session(asked, lambda name: False)
    _must(read(left) == ("streamlit", "token", None), "another's session is let through")


def _media_manager() -> Any:
    from streamlit.runtime.media_file_manager import MediaFileManager
    from streamlit.runtime.memory_media_file_storage import MemoryMediaFileStorage

    return MediaFileManager(MemoryMediaFileStorage(framework.MEDIA.rstrip("/")))


@contextmanager
def _unsaid(module: str) -> Iterator[None]:
    """Let a module say nothing of what is tried: that is meant here."""
    said = logging.getLogger(module)
    said.addFilter(_nothing)
    try:
        yield
    finally:
        said.removeFilter(_nothing)


def _nothing(_: logging.LogRecord) -> bool:
    return False


@_unsaid("streamlit.runtime.scriptrunner_utils.script_run_context")
def _prove_media(_: Any) -> None:
    manager, given = _media_manager(), list[str]()
    made = list[tuple[str, str]]()
    framework.watch_manager(
        manager, given.append, lambda promise, address: made.append((promise, address))
    )
    first = manager.add(b"a photo", "image/jpeg", "here", file_name="one")
    other = manager.add(b"a photo", "image/jpeg", "there", file_name="two")
    _must(given == [first, other], "files are shown without a word")
    _must(framework.MEDIA_FORM.fullmatch(first) and first.endswith(".jpg"), f"the address {first}")
    _must(first != other, "a file's name is not in its address")
    _must(
        manager._storage.get_file(first.removeprefix(framework.MEDIA)).content == b"a photo",
        "lost files",
    )
    shown = framework.shown_bytes(manager)
    _must(list(shown.values()) == [14], "what a page shows is kept elsewhere")
    promise = manager.add_deferred(lambda: b"a record", "text/html", "below", file_name="r.html")
    _must(given[2:] == [promise], "files are promised without a word")
    _must(framework.shown_bytes(manager) == shown, "what is promised is made at once")
    address = manager.execute_deferred(promise)
    _must(made == [(promise, address)], "promised files are made without a word")
    _must(
        framework.MEDIA_FORM.fullmatch(address) and address.endswith(".html"),
        f"the address {address}",
    )


def _prove_uploads(_: Any) -> None:
    from streamlit.proto.Common_pb2 import FileURLs
    from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager
    from streamlit.runtime.uploaded_file_manager import UploadedFileRec

    manager: Any = MemoryUploadedFileManager(framework.UPLOADS.rstrip("/"))
    # The server's own says where; files are tried with another, which nobody else has.
    (place,) = framework.runtime().uploaded_file_mgr.get_upload_urls("session-1", ["dog.jpg"])
    form = framework.UPLOAD_FORM.fullmatch(place.upload_url)
    _must(form and form[1] == "session-1", f"the address {place.upload_url}")
    _must(place.delete_url == place.upload_url, f"the address {place.delete_url}")
    held = manager.add_file
    manager.add_file = lambda session_id, file: held(session_id, framework.emptied(file, "none"))
    record = UploadedFileRec(place.file_id, "dog.jpg", "image/jpeg", b"a photo")
    manager.add_file(session_id="session-1", file=record)
    held(session_id="session-2", file=record)
    _must(
        framework.held_bytes(manager) == {"session-1": 0, "session-2": 7},
        "files are held elsewhere",
    )
    (kept,) = manager.get_files("session-1", [place.file_id])
    file = UploadedFile(kept, FileURLs())
    _must((framework.file_id(file), file.type) == (place.file_id, "none"), "files lose their names")
    manager.remove_file("session-2", place.file_id)
    _must(framework.held_bytes(manager)["session-2"] == 0, "files are not let go")


def _prove_routes(app: Any) -> None:
    before = framework.base()
    found = set()
    for route in app.routes:
        if str(getattr(getattr(route, "endpoint", None), "__module__", "")).startswith(
            "photocheck_app."
        ):
            continue
        path = str(route.path)
        _must(path.startswith(before), f"the route {path}")
        found.add(path.removeprefix(before).rstrip("/"))
        if path == before + framework.STREAM:
            _must(type(route).__name__ == "WebSocketRoute", "pages have no websocket")
    _must(
        not found - framework.GUARDED - framework.SHUT,
        f"the routes {sorted(found - framework.GUARDED - framework.SHUT)}",
    )
    _must(not framework.GUARDED - found, f"no routes {sorted(framework.GUARDED - found)}")


def _prove_assets(_: Any) -> None:
    files = framework.static_files()
    _must("/index.html" in files, "the page has gone")
    odd = [file for file in files if not framework.ASSET_FORM.fullmatch(file)]
    _must(not odd, f"the files {odd[:3]}")


def _prove_page(_: Any) -> None:
    page = framework.page_with({})
    for name, part in framework.PAGE_PARTS.items():
        _must(len(part.findall(page)) == 1, f"the page's {name}")
    _must(len(framework.first_scripts()) > 1, "the page names no scripts")
    _must(framework.later_scripts(), "no scripts of the page's parts")


def _prove_cookies(_: Any) -> None:
    from streamlit.web.server.starlette import starlette_server_config as config

    for name in (config.USER_COOKIE_NAME, config.TOKENS_COOKIE_NAME, config.SESSION_COOKIE_NAME):
        _must(name.startswith(framework.SIGN_IN_COOKIES), f"the cookie {name}")
    _must(
        not config.XSRF_COOKIE_NAME.startswith(framework.SIGN_IN_COOKIES),
        f"the cookie {config.XSRF_COOKIE_NAME}",
    )


def _prove_settings(_: Any) -> None:
    from streamlit.config import get_options_for_section
    from streamlit.proto.NewSession_pb2 import CustomThemeConfig
    from streamlit.runtime import app_session
    from streamlit.web import bootstrap

    _must(callable(bootstrap.load_config_options), "settings are set elsewhere")
    folder = Path(__file__).parent
    for name in serving.settings(serving.ADDRESS, serving.PORT, folder, only_here=True):
        # Raises for a setting that is not known.
        st.get_option(name)
        _must(framework.option(name) == st.get_option(name), "settings are read otherwise")
    section = framework.options_of("server")
    _must(section == get_options_for_section("server"), "settings are read otherwise")
    for theme in ("theme", "theme.dark.sidebar"):
        filled, again = CustomThemeConfig(), CustomThemeConfig()
        app_session._populate_theme_msg(filled, theme)
        framework.from_memory(app_session._populate_theme_msg)(again, theme)
        _must(filled == again, "what pages look like is told otherwise")
    _must(framework.most_upload_bytes() > 0, "no bound for files that are handed in")


PRIVATE: Final[Sequence[Private]] = (
    Private(later("the server's memory of what it serves"), "1.67.0", _prove_runtime),
    Private(later("the sessions of pages"), "1.67.0", _prove_sessions),
    Private(later("how runs of pages begin"), "1.67.0", _prove_beginning),
    Private(later("what pages are sent"), "1.67.0", _prove_sending),
    Private(later("how runs of pages end"), "1.67.0", _prove_runs),
    Private(later("how runs of pages are asked for"), "1.67.0", _prove_presses),
    Private(later("the values of a page's fields"), "1.67.0", _prove_values),
    Private(later("how a page goes on with its session"), "1.67.0", _prove_websocket),
    Private(later("the files that pages show"), "1.67.0", _prove_media),
    Private(later("the files that visitors hand in"), "1.67.0", _prove_uploads),
    Private(later("the addresses of the server"), "1.67.0", _prove_routes),
    Private(later("the files that pages are made of"), "1.67.0", _prove_assets),
    Private(later("the page that all pages begin as"), "1.67.0", _prove_page),
    Private(later("the cookies of the server"), "1.67.0", _prove_cookies),
    Private(later("the settings of the server"), "1.67.0", _prove_settings),
)
"""Every private thing, in the order it is tried."""
