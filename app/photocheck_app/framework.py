"""Everything of Streamlit that is used here and is not its documented interface, and its proof.

What is read of another program's insides moves without a word.  So it is touched in this module
alone, each thing with the version it was read in and a proof that it still holds; the proofs run
when the server starts (`photocheck_app.doors.middleware`), and where one fails the server answers
to nobody but this machine.  Nothing private is imported before it is used: what is gone shall be
told by its proof, and not by a traceback.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any, Final, TypeAlias

import streamlit as st
from streamlit.typing import UploadedFile

from photocheck.server import serving
from photocheck.speech import later, tr

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

Container: TypeAlias = "DeltaGenerator"
"""A part of the page, for annotations alone (delta_generator.py, 1.67.0)."""

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

_GUARDED: Final = frozenset(
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

_SHUT: Final = frozenset(
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


# -- runs and sessions (runtime/scriptrunner_utils/script_run_context.py, 1.67.0) --


def session_id() -> str:
    """The name of the session this run belongs to; empty outside a run."""
    from streamlit.runtime.scriptrunner import get_script_run_ctx

    context = get_script_run_ctx(suppress_warning=True)
    return "" if context is None else context.session_id


def served() -> bool:
    """Whether a server runs, and not a test of a page alone."""
    from streamlit import runtime

    return runtime.exists()


def _runtime() -> Any:
    from streamlit import runtime

    return runtime.get_instance()


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


# -- files that pages show (runtime/media_file_manager.py, 1.67.0) --

_lock: Final = Lock()


def watch_media(given: Callable[[str], None], made: Callable[[str, str], None]) -> None:
    """Be told of every file that a page is given; once for a server, later calls change nothing.

    Parameters
    ----------
    given : function of an address
        Called in the run that shows the file, or promises it.
    made : function of a promise and an address
        Called, in a thread of its own, when a promised file was made.
    """
    manager = _runtime().media_file_mgr
    with _lock:
        if getattr(manager, "photocheck_watched", False):
            return
        manager.photocheck_watched = True
    _watch_manager(manager, given, made)


def _watch_manager(
    manager: Any, given: Callable[[str], None], made: Callable[[str, str], None]
) -> None:
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


def serve_file(content: bytes, kind: str, place: str, name: str) -> str | None:
    """The address of a file that this page shows, or None where no server runs.

    Parameters
    ----------
    kind : str
        As in a Content-Type.
    place : str
        Of the page; another file at the same place takes its turn.
    name : str
        Goes into the hash that the address is made of.
    """
    if not served():
        return None
    return base() + str(_runtime().media_file_mgr.add(content, kind, place, file_name=name))


# -- files that visitors hand in (runtime/memory_uploaded_file_manager.py, 1.67.0) --


def watch_uploads(bounded: Callable[[Any], Any]) -> None:
    """Replace the way files are held, once for a server.

    Parameters
    ----------
    bounded : function of the manager
        Gives what takes the place of its ``add_file``.
    """
    manager = _runtime().uploaded_file_mgr
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
        _runtime().uploaded_file_mgr.remove_file(session, file_id(file))


# -- the command line (web/cli.py, 1.67.0) --


def command_line() -> Callable[..., Any]:
    """What the command ``streamlit`` runs."""
    from streamlit.web.cli import main

    return main


# -- the proofs --


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

    _must(served(), "no runtime")
    _must(type(_runtime().media_file_mgr) is MediaFileManager, "another keeper of media files")
    _must(
        type(_runtime().uploaded_file_mgr) is MemoryUploadedFileManager,
        "another keeper of uploaded files",
    )
    # Found anew by whoever uses them, so that replacing their methods reaches everybody.
    _must(_runtime().media_file_mgr is _runtime().media_file_mgr, "media files kept elsewhere")


def _prove_sessions(_: Any) -> None:
    from streamlit.runtime.scriptrunner import get_script_run_ctx
    from streamlit.runtime.scriptrunner_utils.script_run_context import ScriptRunContext

    _must(get_script_run_ctx(suppress_warning=True) is None, "a run outside any page")
    _must("session_id" in {one.name for one in fields(ScriptRunContext)}, "runs name no session")
    _must(session_id() == "", "a session outside any page")
    _must(not _runtime().is_active_session("photocheck-none"), "sessions that nobody began")


def _prove_websocket(_: Any) -> None:
    from starlette.datastructures import Headers
    from streamlit.web.server.starlette.starlette_websocket import _parse_subprotocols

    def read(asked: bytes) -> tuple[Any, ...]:
        return tuple(_parse_subprotocols(Headers(raw=[(b"sec-websocket-protocol", asked)])))

    asked = b"streamlit, token, session"
    _must(read(asked) == ("streamlit", "token", "session"), "the third protocol is no session")
    kept = without_session(asked, lambda name: name == "session")
    _must(read(kept) == ("streamlit", "token", "session"), "an own session is lost")
    left = without_session(asked, lambda name: False)
    _must(read(left) == ("streamlit", "token", None), "another's session is let through")


def _media_manager() -> Any:
    from streamlit.runtime.media_file_manager import MediaFileManager
    from streamlit.runtime.memory_media_file_storage import MemoryMediaFileStorage

    return MediaFileManager(MemoryMediaFileStorage(MEDIA.rstrip("/")))


@contextmanager
def _outside_runs() -> Iterator[None]:
    """Let nothing be said of what is tried outside any page's run: that is meant here."""
    from streamlit.runtime.scriptrunner_utils import script_run_context

    said = logging.getLogger(script_run_context.__name__)
    said.addFilter(_nothing)
    try:
        yield
    finally:
        said.removeFilter(_nothing)


def _nothing(_: logging.LogRecord) -> bool:
    return False


@_outside_runs()
def _prove_media(_: Any) -> None:
    manager, given = _media_manager(), list[str]()
    made = list[tuple[str, str]]()
    _watch_manager(manager, given.append, lambda promise, address: made.append((promise, address)))
    first = manager.add(b"a photo", "image/jpeg", "here", file_name="one")
    other = manager.add(b"a photo", "image/jpeg", "there", file_name="two")
    _must(given == [first, other], "files are shown without a word")
    _must(MEDIA_FORM.fullmatch(first) and first.endswith(".jpg"), f"the address {first}")
    _must(first != other, "a file's name is not in its address")
    _must(manager._storage.get_file(first.removeprefix(MEDIA)).content == b"a photo", "lost files")
    promise = manager.add_deferred(lambda: b"a record", "text/html", "below", file_name="r.html")
    _must(given[2:] == [promise], "files are promised without a word")
    address = manager.execute_deferred(promise)
    _must(made == [(promise, address)], "promised files are made without a word")
    _must(MEDIA_FORM.fullmatch(address) and address.endswith(".html"), f"the address {address}")


def _prove_uploads(_: Any) -> None:
    from streamlit.proto.Common_pb2 import FileURLs
    from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager
    from streamlit.runtime.uploaded_file_manager import UploadedFileRec

    manager: Any = MemoryUploadedFileManager(UPLOADS.rstrip("/"))
    (place,) = manager.get_upload_urls("session-1", ["dog.jpg"])
    form = UPLOAD_FORM.fullmatch(place.upload_url)
    _must(form and form[1] == "session-1", f"the address {place.upload_url}")
    _must(place.delete_url == place.upload_url, f"the address {place.delete_url}")
    held = manager.add_file
    manager.add_file = lambda session_id, file: held(session_id, emptied(file, "none"))
    record = UploadedFileRec(place.file_id, "dog.jpg", "image/jpeg", b"a photo")
    manager.add_file(session_id="session-1", file=record)
    held(session_id="session-2", file=record)
    _must(held_bytes(manager) == {"session-1": 0, "session-2": 7}, "files are held elsewhere")
    (kept,) = manager.get_files("session-1", [place.file_id])
    file = UploadedFile(kept, FileURLs())
    _must((file_id(file), file.type) == (place.file_id, "none"), "files lose their names")
    manager.remove_file("session-2", place.file_id)
    _must(held_bytes(manager)["session-2"] == 0, "files are not let go")


def _prove_routes(app: Any) -> None:
    before = base()
    found = set()
    for route in app.routes:
        if str(getattr(getattr(route, "endpoint", None), "__module__", "")).startswith(
            "photocheck_app."
        ):
            continue
        path = str(route.path)
        _must(path.startswith(before), f"the route {path}")
        found.add(path.removeprefix(before).rstrip("/"))
        if path == before + STREAM:
            _must(type(route).__name__ == "WebSocketRoute", "pages have no websocket")
    _must(not found - _GUARDED - _SHUT, f"the routes {sorted(found - _GUARDED - _SHUT)}")
    _must(not _GUARDED - found, f"no routes {sorted(_GUARDED - found)}")


def _prove_assets(_: Any) -> None:
    from streamlit import file_util

    folder = Path(file_util.get_static_dir())
    files = [f"/{file.relative_to(folder).as_posix()}" for file in folder.rglob("*.*")]
    _must("/index.html" in files, "the page has gone")
    odd = [file for file in files if not ASSET_FORM.fullmatch(file)]
    _must(not odd, f"the files {odd[:3]}")


def _prove_command_line(_: Any) -> None:
    _must("run" in getattr(command_line(), "commands", ()), "no command to serve")


def _prove_settings(_: Any) -> None:
    folder = Path(__file__).parent
    for flag in serving.flags(serving.ADDRESS, serving.PORT, folder, only_here=True):
        # Raises for a setting that is not known.
        st.get_option(flag.partition("=")[0].removeprefix("--"))


PRIVATE: Final[Sequence[Private]] = (
    Private(later("the server's memory of what it serves"), "1.67.0", _prove_runtime),
    Private(later("the sessions of pages"), "1.67.0", _prove_sessions),
    Private(later("how a page goes on with its session"), "1.67.0", _prove_websocket),
    Private(later("the files that pages show"), "1.67.0", _prove_media),
    Private(later("the files that visitors hand in"), "1.67.0", _prove_uploads),
    Private(later("the addresses of the server"), "1.67.0", _prove_routes),
    Private(later("the files that pages are made of"), "1.67.0", _prove_assets),
    Private(later("the command that serves"), "1.67.0", _prove_command_line),
    Private(later("the settings of the server"), "1.67.0", _prove_settings),
)
"""Every private thing, in the order it is tried."""
