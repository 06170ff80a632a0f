"""Everything of Streamlit that is used here and is not its documented interface.

What is read of another program's insides moves without a word.  So it is touched in this module
alone, each thing with the version it was read in; that it still holds is proved when the server
starts (`photocheck_app.proofs`).  Nothing private is imported before it is used: what is gone shall
be told by its proof, and not by a traceback.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Callable, Iterable, Mapping
from functools import cache, partial
from math import inf, isfinite
from pathlib import Path
from queue import SimpleQueue
from threading import Lock, Thread
from time import monotonic, sleep
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, TypeAlias, cast

import streamlit as st
from streamlit import config
from streamlit.typing import UploadedFile

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

Container: TypeAlias = "DeltaGenerator"
"""A part of the page, for annotations alone (delta_generator.py, 1.67.0)."""

_lock: Final = Lock()

READ_IN: Final = "1.67.0"
"""The version all of this was last read in."""

INSTALL: Final = "streamlit>=1.67,<1.68"
"""What is known to be as described here."""

# -- addresses (web/server/starlette/starlette_routes.py and its neighbours, 1.67.0) --

MEDIA: Final = "/media/"
"""Where pages' photos and downloads are served."""

UPLOADS: Final = "/_stcore/upload_file/"
"""Where pages put files; the name of their session follows, then the file's."""

STREAM: Final = "/_stcore/stream"
"""The websocket of an open page."""

HEALTH: Final = "/_stcore/health"
HOST_CONFIG: Final = "/_stcore/host-config"
"""What a page asks for before it opens its websocket."""

LOGIN: Final = "/auth/login"
LOGOUT: Final = "/auth/logout"
CALLBACK: Final = "/oauth2callback"
"""Where signing in through a provider begins, ends and comes back to."""

MEDIA_FORM: Final = re.compile(r"/media/[0-9A-Za-z][0-9A-Za-z._-]*")
UPLOAD_FORM: Final = re.compile(r"/_stcore/upload_file/([0-9A-Za-z][0-9A-Za-z._-]*)/[0-9A-Za-z_-]+")
ASSET_FORM: Final = re.compile(
    r"/(?:index\.html|favicon\.png|manifest\.json|static(?:/[0-9A-Za-z_-][0-9A-Za-z._-]*)+)"
)
"""Addresses as Streamlit makes them, without what stands before all of them; no part of one
begins with a dot, and none is empty."""

GUARDED: Final = frozenset(
    {
        HEALTH,
        HOST_CONFIG,
        f"{MEDIA}{{file_id:path}}",
        f"{UPLOADS}{{session_id}}/{{file_id}}",
        STREAM,
        LOGIN,
        LOGOUT,
        CALLBACK,
        "",
    }
)
"""Routes that are let through, each by its own rule; the last are the pages and what they are
made of."""

SHUT: Final = frozenset(
    {
        "/_stcore/metrics",
        "/_stcore/script-health-check",
        "/_stcore/bidi-components/{path:path}",
        "/_stcore/agent/interact",
        "/_stcore/agent/openapi.json",
        "/_stcore/agent/mcp",
        "/component/{path:path}",
        "/app/static/{path:path}",
    }
)
"""Routes that exist and are let through to nobody."""


def base() -> str:
    """What stands before every address of Streamlit: empty, or ``"/name"``."""
    told = str(st.get_option("server.baseUrlPath") or "").strip("/")
    return f"/{told}" if told else ""


# -- cookies (web/server/starlette/starlette_server_config.py, 1.67.0) --

SIGN_IN_COOKIES: Final = ("_streamlit_user", "_streamlit_session")
"""How the names begin of those that carry who signed in through a provider.  The third, a token
against forged requests, is read by the page's own scripts under its own name."""


# -- settings (web/bootstrap.py, file_util.py, 1.67.0) --


def configure(settings: Mapping[str, Any]) -> None:
    """Set options as the command line's flags would: above every file and variable.

    Parameters
    ----------
    settings : mapping of an option's name to its value
    """
    from streamlit.web.bootstrap import load_config_options

    load_config_options(dict(settings))


def read_lightly() -> None:
    """Have settings read without a lock, and put into what each run begins with from memory.

    Every run of a page reads some two hundred settings in the loop that answers everybody, each
    under one lock, for which all runs that are under way wait as well: of 150 pages opened at once
    the loop answered nobody for 15 s (measured).  Once a server runs, no setting changes: what is
    set or parsed afterwards is read all the same, but not what pages look like.  Later calls change
    nothing.
    """
    from streamlit.runtime import app_session

    reading, sessions = cast(Any, config), cast(Any, app_session)
    with _lock:
        if reading.get_option is not option:
            reading.get_option, reading.get_options_for_section = option, options_of
            if hasattr(sessions, "_populate_theme_msg"):  # else the proofs say so
                sessions._populate_theme_msg = from_memory(sessions._populate_theme_msg)


def option(key: str) -> Any:
    """As `streamlit.get_option`."""
    options = config.get_config_options()
    if key not in options:
        raise RuntimeError(f'Config key "{key}" not defined.')
    return options[key].value


def options_of(section: str) -> dict[str, Any]:
    """As `streamlit.config.get_options_for_section`."""
    options = list(config.get_config_options().values())
    return {one.name: one.value for one in options if one.section == section}


def from_memory(fill: Callable[[Any, str], None]) -> Callable[..., None]:
    """What fills a message with a section's settings, as when it was filled first."""
    filled: dict[str, Any] = {}

    def filling(message: Any, section: str = "theme") -> None:
        if section not in filled:
            made = type(message)()
            fill(made, section)
            filled[section] = made
        # A part that nothing is put into is not there, which differs from an empty one.
        if filled[section].ByteSize():
            message.MergeFrom(filled[section])

    return filling


def most_upload_bytes() -> int:
    """Of one file (starlette_routes.py, 1.67.0)."""
    return int(st.get_option("server.maxUploadSize")) * 1024 * 1024


def static_folder() -> Path:
    """Where the files lie that pages are made of."""
    from streamlit.file_util import get_static_dir

    return Path(get_static_dir())


def static_files() -> frozenset[str]:
    """Their paths below it, each with a stroke before."""
    folder = static_folder()
    return frozenset(f"/{file.relative_to(folder).as_posix()}" for file in folder.rglob("*.*"))


# -- the page itself (static/index.html and static/js, 1.67.0) --

PAGE_PARTS: Final[Mapping[str, re.Pattern[str]]] = MappingProxyType(
    {
        "language": re.compile(r'<html lang="en">'),
        "title": re.compile(r"<title>Streamlit</title>"),
        "icon": re.compile(r'<link rel="shortcut icon" href="\./favicon\.png" />'),
        "letters": re.compile(r'<link\s+rel="preload"\s+href="[^"]+"\s+as="font"[^>]*/>'),
        "programs": re.compile(r'<link rel="service-desc"[^>]*/>'),
        "no scripts": re.compile(r"<noscript>.*?</noscript>", re.DOTALL),
        "root": re.compile(r'<div id="root"></div>'),
    }
)
"""Of the page that every page begins as: the letters it fetches, what it tells other programs, what
it says where scripts are not run, and where they put what they show."""

FIRST_PARTS: Final = (
    *("BidiComponent", "Html", "Button", "ButtonGroup", "Radio", "TextInput", "NumberInput"),
    *("Checkbox", "DownloadButton", "FileUploader", "Selectbox", "Popover", "Progress"),
)
"""Scripts by the first part of their names that the page asks for only when something of the kind
is to be shown, one after another: those that an owner's steps show."""

_SCRIPT: Final = re.compile(r'(?:src|href)="\.(/static/js/[^"]+\.js)"')
_STYLE: Final = re.compile(r'href="\.(/static/css/[^"]+\.css)"')
_IMPORTED: Final = re.compile(r'(?:from|import)"\./([^"/]+\.js)"')
_ICONS: Final = re.compile(r"\.\./media/(MaterialSymbols[^)]+\.woff2)")


def _as_it_is(part: str, _: re.Match[str]) -> str:
    return part


def page_with(parts: Mapping[str, str]) -> str:
    """The page with other parts.

    Parameters
    ----------
    parts : mapping of a name in `PAGE_PARTS` to what takes its place
    """
    page = _index()
    for name, part in parts.items():
        page = PAGE_PARTS[name].sub(partial(_as_it_is, part), page, count=1)
    return page


@cache
def first_scripts() -> tuple[str, ...]:
    """Addresses of all scripts that an owner's first steps need, largest first where it matters:
    what the page names itself stands before what it asks for later."""
    return tuple(dict.fromkeys([*_SCRIPT.findall(_index()), *later_scripts()]))


@cache
def later_scripts() -> tuple[str, ...]:
    """Addresses of those that the page does not name itself."""
    folder = static_folder() / "static" / "js"
    waiting = [file.name for part in FIRST_PARTS for file in sorted(folder.glob(f"{part}.*.js"))]
    found = dict.fromkeys(waiting)
    while waiting:
        text = (folder / waiting.pop()).read_text(encoding="utf-8")
        more = [name for name in _IMPORTED.findall(text) if name not in found]
        found.update(dict.fromkeys(more))
        waiting += more
    named = set(_SCRIPT.findall(_index()))
    return tuple(
        path for name in found if (path := f"/static/js/{name}") not in named and _there(path)
    )


@cache
def first_files() -> tuple[str, ...]:
    """Addresses of the style and the pictograms that the page needs."""
    styles = _STYLE.findall(_index())
    text = "".join(
        (static_folder() / path.removeprefix("/")).read_text(encoding="utf-8") for path in styles
    )
    icons = (f"/static/media/{name}" for name in _ICONS.findall(text))
    return tuple(path for path in dict.fromkeys([*styles, *icons]) if _there(path))


def _there(path: str) -> bool:
    return (static_folder() / path.removeprefix("/")).is_file()


@cache
def _index() -> str:
    return (static_folder() / "index.html").read_text(encoding="utf-8")


# -- runs and sessions (runtime/scriptrunner_utils/script_run_context.py, 1.67.0) --


def session_id() -> str:
    """The name of the session this run belongs to; empty outside a run."""
    from streamlit.runtime.scriptrunner import get_script_run_ctx

    context = get_script_run_ctx(suppress_warning=True)
    return "" if context is None else context.session_id


def heed() -> None:
    """Where a page was left, or asked for anew, end what runs for it, as Streamlit's own calls do.

    Streamlit tells a run so only where it shows something.  Nothing is done outside of a run; and
    what somebody pressed ends here only where the page was left (`finish_presses`).
    """
    from streamlit.runtime.scriptrunner import StopException, get_script_run_ctx
    from streamlit.runtime.scriptrunner_utils.script_requests import ScriptRequestType

    run: Any = get_script_run_ctx(suppress_warning=True)
    if run is not None:
        if run.script_requests is not None and run.script_requests._state is ScriptRequestType.STOP:
            raise StopException
        run.session_state._yield_callback()


def went_through_history() -> bool:
    """Whether this run was asked for by the browser's back or forward button."""
    from streamlit.runtime.scriptrunner import get_script_run_ctx

    run = get_script_run_ctx(suppress_warning=True)
    return run is not None and run.is_history_navigation


def served() -> bool:
    """Whether a server runs, and not a test of a page alone."""
    from streamlit.runtime import exists

    return exists()


def runtime() -> Any:
    """What serves all pages; raises where no server runs."""
    from streamlit.runtime import get_instance

    return get_instance()


# -- threads that runs begin in (runtime/scriptrunner/script_runner.py, 1.67.0) --

AGAIN_S: Final = 0.1
"""Until a thread is asked for again where the system had none (judgement)."""

Starting: TypeAlias = Callable[[Any], None]


def begin_runs_elsewhere() -> None:
    """Have the threads that runs are in begun by a thread of their own; later calls change nothing.

    Who begins a thread waits until it has begun, and it begins once those that work let it: of the
    loop that answers everybody that took a quarter of all its time where many pages asked at once.
    """
    from streamlit.runtime.scriptrunner import ScriptRunner

    runs: Any = ScriptRunner
    with _lock:
        if not hasattr(runs.start, "photocheck_starts"):
            runs.start = begun_elsewhere(runs.start, ScriptRunner)


def begun_elsewhere(start: Starting, of: type) -> Starting:
    """What has a run begun, and does not wait for it.

    Parameters
    ----------
    start : function of a run
        Begins it, and raises RuntimeError where there is no thread for it.
    of : type
        Of the runs that are begun so; others, which tests of a page alone make of it, are begun at
        once, for whoever begins them waits for their end.
    """
    wanted: SimpleQueue[Any] = SimpleQueue()

    def beginning() -> None:
        while True:
            begin(start, wanted.get())

    Thread(target=beginning, name="begins runs", daemon=True).start()

    def starting(run: Any) -> None:
        (wanted.put if type(run) is of else start)(run)

    # By which `begin_runs_elsewhere` knows it; mypy knows no attributes of functions.
    starting.photocheck_starts = start  # type: ignore[attr-defined]
    return starting


def begin(start: Starting, run: Any) -> None:
    """Have one begun, as soon as there is a thread for it."""
    while True:
        try:
            start(run)
            return
        except RuntimeError as error:  # threading: there is none just now
            logging.getLogger(__name__).warning("a run waits: %s", error)
            run._script_thread = None
            sleep(AGAIN_S)


# -- what a page asks for while it runs (runtime/scriptrunner_utils/script_requests.py, 1.67.0) --


def finish_presses() -> None:
    """Have what somebody pressed done to its end, whatever the page asks for meanwhile; later calls
    change nothing.

    Streamlit ends a run as soon as its page asks for another, and the other knows nothing of what
    was pressed: of presses after which something else of the page spoke at once six in twenty were
    lost (measured), and the more the busier the server.  What is done about a changed field was
    broken off in its middle.  The setting `runner.fastReruns` has to be off, by which one page
    would be run by two threads at a time.
    """
    from streamlit.runtime.scriptrunner import script_runner

    runs: Any = script_runner
    with _lock:
        runs.ScriptRequests = finishing_requests()


@cache
def finishing_requests() -> type:
    """What a run asks whether it is still wanted, with presses that are finished."""
    from streamlit.runtime.scriptrunner import get_script_run_ctx
    from streamlit.runtime.scriptrunner_utils.script_requests import (
        RerunData,
        ScriptRequest,
        ScriptRequests,
        ScriptRequestType,
        _has_active_trigger_value,
    )

    class Finishing(ScriptRequests):
        """Of one run after another; all but what pages ask is called by the run's own thread."""

        def __init__(self) -> None:
            super().__init__()
            self._pressed = self._asked_itself = False

        def request_stop(self) -> None:
            self._note_whose()
            super().request_stop()

        def request_rerun(self, new_data: RerunData) -> bool:
            self._note_whose()
            return super().request_rerun(new_data)

        def request_rerun_batch(self, rerun_batch: list[RerunData]) -> bool:
            self._note_whose()
            return super().request_rerun_batch(rerun_batch)

        def on_scriptrunner_ready(self) -> ScriptRequest:
            return self._given(super().on_scriptrunner_ready())

        def on_scriptrunner_yield(self) -> ScriptRequest | None:
            if not self._asked_itself and (self._pressed or not self._begun()):
                return None
            given = super().on_scriptrunner_yield()
            return None if given is None else self._given(given)

        def _note_whose(self) -> None:
            # What a run asks for itself, by `streamlit.rerun`, it waits for.
            run = get_script_run_ctx(suppress_warning=True)
            self._asked_itself |= run is not None and run.script_requests is self

        def _begun(self) -> bool:
            """Whether what is done about changed fields is done, and the page being shown."""
            run = get_script_run_ctx(suppress_warning=True)
            return run is None or run.has_script_started

        def _given(self, request: ScriptRequest) -> ScriptRequest:
            states = None
            if request.type is ScriptRequestType.RERUN:
                states = request.rerun_data.widget_states
            self._pressed = states is not None and any(
                map(_has_active_trigger_value, states.widgets)
            )
            self._asked_itself = False
            return request

    return Finishing


# A page asks by "Sec-WebSocket-Protocol" for three things in turn: the protocol, its token and
# the session it goes on with (web/server/starlette/starlette_websocket.py, 1.67.0).


def without_session(asked: bytes, owned: Callable[[str], bool]) -> bytes:
    """The protocols a page asks for, with its session left out unless it may have it.

    Parameters
    ----------
    asked : bytes
        Of the header.
    owned : function of a session's name
    """
    parts = [part.strip() for part in asked.split(b",")]
    if len(parts) > 2 and not owned(parts[2].decode("latin-1")):
        parts = parts[:2]
    return b", ".join(parts)


# -- values of a page's fields (runtime/state/session_state.py, 1.67.0) --

MOST_DEEP: Final = 20
"""Objects and lists within each other of what a page sends; ours have four at most.  Streamlit
copies them by calls within calls, of which some three hundred are too many (judgement)."""

Reading: TypeAlias = Callable[[Any, str], Any]


def take_no_odd_values() -> None:
    """Have a value that its field cannot hold taken for none, and told in one line; later calls
    change nothing.

    Streamlit believes what a page says of its fields: a number where a text belongs, JSON that is
    none, a name that no field has.  A run then failed in the middle of reading it, outside of what
    a page shows, and wrote a traceback; a page of ours never sends such a thing.
    """
    from streamlit.runtime.state.session_state import WStates

    values: Any = WStates
    with _lock:
        if not hasattr(values.__getitem__, "photocheck_reads"):
            values.__getitem__ = no_odd_value(values.__getitem__)
            values.set_widget_from_proto = no_odd_name(values.set_widget_from_proto)


def no_odd_name(keep: Callable[[Any, Any], None]) -> Callable[[Any, Any], None]:
    """What keeps a value that came, where it has the name of a field; never one of the program's
    own, which stand beside them (runtime/state/common.py, components/v2/bidi_component/main.py).

    Parameters
    ----------
    keep : function of the values and what came
    """
    from streamlit.runtime.state.common import is_element_id
    from streamlit.runtime.state.session_state import STREAMLIT_INTERNAL_KEY_PREFIX

    def keeping(values: Any, came: Any) -> None:
        if is_element_id(came.id) or came.id.startswith(STREAMLIT_INTERNAL_KEY_PREFIX):
            keep(values, came)
        else:
            logging.getLogger(__name__).warning("a page sent a value of no field; it is left out")

    return keeping


def no_odd_value(read: Reading) -> Reading:
    """What reads a field's value, as if none had come where it is none of that field's.

    Parameters
    ----------
    read : function of the values and a field's name
    """
    from streamlit.runtime.state.session_state import Serialized, Value

    def reading(values: Any, name: str) -> Any:
        came, field = values.states.get(name), values.widget_metadata.get(name)
        if field is None or not isinstance(came, Serialized):
            return read(values, name)
        odd = _odd(came.value, field.value_type)
        if not odd:
            try:
                value = read(values, name)
                if not _deeper(value, MOST_DEEP):
                    # Reading takes the kind of what came for the field's, and none for none.
                    values.set_widget_metadata(field)
                    return value
                odd = "too deep"
            except Exception as error:  # of any kind: it is a stranger's, read by the framework
                odd = type(error).__name__
        logging.getLogger(__name__).warning(
            "a page sent what its field cannot hold (%s); it is taken for none", odd
        )
        nothing = field.deserializer(None)
        values.states[name] = Value(nothing)
        return nothing

    # By which `take_no_odd_values` knows it; mypy knows no attributes of functions.
    reading.photocheck_reads = read  # type: ignore[attr-defined]
    return reading


_NUMBERS: Final = frozenset({"int_value", "double_value"})
"""A field for numbers is one kind here, and sends either (static/js, NumberInput)."""


def _odd(came: Any, wanted: str) -> str:
    """What tells at once that a value is none of its field's; empty where nothing does."""
    kind = came.WhichOneof("value")
    if kind not in (None, wanted) and not {kind, wanted} <= _NUMBERS:
        return f"{kind}, not {wanted}"
    if kind == "double_value" and not isfinite(came.double_value):
        return "no number"
    # Of a component's state an object is taken; of a text in it Streamlit makes a traceback.
    if kind == "json_value" and not came.json_value.lstrip().startswith("{"):
        return "no object"
    return ""


def _deeper(value: Any, most: int) -> bool:
    if isinstance(value, Mapping):
        value = value.values()
    elif not isinstance(value, list):
        return False
    return most == 0 or any(_deeper(part, most - 1) for part in value)


def is_strangers(error: BaseException | None) -> bool:
    """Whether what Streamlit tells with a traceback is a visitor's own doing: a message that is
    none, a file that nobody promised."""
    from google.protobuf.message import DecodeError
    from streamlit.runtime.media_file_storage import MediaFileStorageError

    return isinstance(error, DecodeError | MediaFileStorageError)


# -- what pages are sent (runtime/runtime.py, runtime/app_session.py, 1.67.0) --

MOST_TOGETHER: Final = 100
"""Messages for one page; its connection holds five times as many, and is cut off beyond."""

OTHERS_WAIT_S: Final = 0.02
"""So long messages are sent before all else that waits in the server has a turn (judgement)."""

Sending: TypeAlias = Callable[[Any, Any], bool]


def send_together() -> None:
    """Have what waits for a page sent all at once; later calls change nothing.

    One loop of Streamlit's sends to all pages, and has all else that waits in the server go first
    after every single message.  A first page has thirty, and a hundred visitors waited seconds for
    nothing but their turns.
    """
    from streamlit.runtime.app_session import AppSession

    sessions: Any = AppSession
    with _lock:
        if not hasattr(sessions.flush_browser_queue, "photocheck_sends"):
            sessions.flush_browser_queue = together(sessions.flush_browser_queue, send_now)


def send_now(session: Any, message: Any) -> bool:
    """Send one message to a session's page, as Streamlit's loop does; whether it is still there."""
    from streamlit.runtime.session_manager import SessionClientDisconnectedError

    here = runtime()
    page = here._session_mgr.get_active_session_info(session.id)
    if page is None:
        return False
    try:
        here._send_message(page, message)
    except SessionClientDisconnectedError:
        return False
    return True


def together(
    waiting: Callable[[Any], list[Any]], send: Sending, clock: Callable[[], float] = monotonic
) -> Callable[[Any], list[Any]]:
    """What sends a session's messages, and gives those that it leaves to Streamlit's loop.

    Parameters
    ----------
    waiting : function of a session
        Gives what waits for its page, once.
    send : function of a session and a message
        Whether the page is still there.
    clock : function
        Seconds from any moment on.
    """
    since, others_go = -inf, False

    def sending(session: Any) -> list[Any]:
        nonlocal since, others_go
        messages = waiting(session)
        now = clock()
        if others_go:  # and have gone, for this is the loop's next step
            since = now
        # After each message that it is left the loop has all others go.
        left = max(len(messages) - MOST_TOGETHER, int(now - since > OTHERS_WAIT_S))
        at = 0
        for message in messages[: max(0, len(messages) - left)]:
            if not send(session, message):
                break  # the loop meets the same, and takes it as it should
            at += 1
        others_go = at < len(messages)
        return messages[at:]

    # By which `send_together` knows it; mypy knows no attributes of functions.
    sending.photocheck_sends = waiting  # type: ignore[attr-defined]
    return sending


# -- files that pages show (runtime/media_file_manager.py, 1.67.0) --


def watch_media(given: Callable[[str], None], made: Callable[[str, str], None]) -> None:
    """Be told of every file that a page is given; once for a server, later calls change nothing.

    Parameters
    ----------
    given : function of an address
        Called in the run that shows the file, or promises it.
    made : function of a promise and an address
        Called, in a thread of its own, when a promised file was made.
    """
    manager = runtime().media_file_mgr
    with _lock:
        if getattr(manager, "photocheck_watched", False):
            return
        manager.photocheck_watched = True
    watch_manager(manager, given, made)


def watch_manager(
    manager: Any, given: Callable[[str], None], made: Callable[[str, str], None]
) -> None:
    """Be told of what one keeper of media files is given; `watch_media` says how."""
    add, add_deferred, execute_deferred = (
        manager.add,
        manager.add_deferred,
        manager.execute_deferred,
    )

    def adding(*args: Any, **kwargs: Any) -> str:
        address: str = add(*args, **kwargs)
        given(address)
        return address

    def promising(*args: Any, **kwargs: Any) -> str:
        promise: str = add_deferred(*args, **kwargs)
        given(promise)
        return promise

    def making(file_id: str) -> str:
        address: str = execute_deferred(file_id)
        made(file_id, address)
        return address

    manager.add, manager.add_deferred, manager.execute_deferred = adding, promising, making


def shown_bytes(manager: Any) -> dict[str, int]:
    """How many bytes of files each session's page shows, by the session's name.

    Parameters
    ----------
    manager : streamlit.runtime.media_file_manager.MediaFileManager
    """
    return {
        who: sum(
            len(file.content) for name in list(theirs.values()) if (file := manager.read_file(name))
        )
        for who, theirs in list(manager._files_by_session_and_coord.items())
    }


def serve_file(content: bytes, kind: str, coordinates: str, name: str) -> str | None:
    """The address of a file that this page shows, or None where no server runs.

    Parameters
    ----------
    kind : str
        As in a Content-Type.
    coordinates : str
        Where on the page; another file at the same takes its turn.
    name : str
        Goes into the hash that the address is made of.
    """
    if not served():
        return None
    return base() + str(runtime().media_file_mgr.add(content, kind, coordinates, file_name=name))


# -- files that visitors hand in (runtime/memory_uploaded_file_manager.py, 1.67.0) --


def watch_uploads(bounded: Callable[[Any], Any]) -> None:
    """Replace the way files are held, once for a server.

    Parameters
    ----------
    bounded : function of the manager
        Gives what takes the place of its ``add_file``.
    """
    manager = runtime().uploaded_file_mgr
    with _lock:
        if getattr(manager, "photocheck_bound", False):
            return
        manager.photocheck_bound = True
    manager.add_file = bounded(manager)


def held_bytes(manager: Any) -> dict[str, int]:
    """How many bytes of files each session holds, by the session's name."""
    return {
        who: sum(len(file.data) for file in list(theirs.values()))
        for who, theirs in list(manager.file_storage.items())
    }


def emptied(file: Any, kind: str) -> Any:
    """A file as it was handed in, without its content and of another kind."""
    return file._replace(data=b"", type=kind)


def file_id(file: UploadedFile) -> str:
    """What tells one file that was handed in from another."""
    return str(file.file_id)


def let_go(files: Iterable[UploadedFile]) -> None:
    """Hold files of this run's session no longer."""
    session = session_id()
    if not session or not served():
        return
    for file in files:
        runtime().uploaded_file_mgr.remove_file(session, file_id(file))
