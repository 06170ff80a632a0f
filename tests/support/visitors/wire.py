"""Streamlit's own protocol, with the messages of the installed package: one visitor's connection.

What a browser does to the page is done here without one: elements are kept by their place, what is
stale goes when a run ends, values of widgets are sent with every change, and large messages that
the server has sent before are taken from a cache (``streamlit.proto``'s own comments, and the
shipped frontend, are the source).
"""

from __future__ import annotations

import asyncio
import json
import re
import uuid
from collections.abc import Callable
from http.cookies import SimpleCookie
from pathlib import Path
from ssl import create_default_context
from typing import Any

import requests
from requests.adapters import HTTPAdapter
from streamlit.proto.Alert_pb2 import Alert
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.Common_pb2 import FileURLsRequest, UploadedFileInfo
from streamlit.proto.Element_pb2 import Element
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.proto.WidgetStates_pb2 import WidgetState
from websockets.asyncio.client import ClientConnection, connect

PATIENCE_S = 300.0
"""After so long without what was waited for, the visitor gives up."""

AT_ONCE = 6
"""Connections that browsers open to one server at a time (common practice, no source)."""

_ASSET = re.compile(r'(?:src|href)="\.?/?(static/[^"]+\.(?:js|css))"')


class PageError(AssertionError):
    """The page shows an error, or is gone."""


def _told(element: Element) -> WidgetState | None:
    """The value a browser has for a widget as it comes, if it is one that has any."""
    kind = element.WhichOneof("type")
    widget: Any = getattr(element, kind) if kind else None
    if kind == "text_input":
        return WidgetState(id=widget.id, string_value=widget.value or widget.default)
    if kind == "radio" and (widget.raw_value or widget.HasField("default")):
        return WidgetState(
            id=widget.id, string_value=widget.raw_value or widget.options[widget.default]
        )
    if kind == "button_group":
        state = WidgetState(id=widget.id)
        names = [widget.options[number].content for number in widget.default]
        state.string_array_value.data.extend(widget.raw_values or names)
        return state
    if kind == "checkbox":
        return WidgetState(id=widget.id, bool_value=widget.default)
    return None


class Wire:
    """One visitor's connection and what is on the visitor's page.

    Parameters
    ----------
    address, locale : str
    trusted : Path, optional
        The certificate by which the server is known, over HTTPS.
    source : str, optional
        The address that the visitor comes from, as a proxy of this machine tells it.

    Attributes
    ----------
    session : str
        As the server calls it.
    query : str
        The query part of the address, as the page itself sets it.
    asked : int
        Bytes that went to the visitor.
    """

    def __init__(
        self,
        address: str,
        *,
        locale: str = "en-GB",
        trusted: Path | None = None,
        source: str | None = None,
    ) -> None:
        self.address, self.locale, self._trusted = address, locale, trusted
        self._via = {"X-Forwarded-For": source} if source else {}
        self.session, self.query, self.asked = "", "", 0
        self._http = requests.Session()
        self._http.trust_env = False  # never through a proxy: the page is on this machine
        if trusted is not None:
            self._http.verify = str(trusted)
        # A kept connection that the server closed just then: asked again (RFC 9112, 9.3.1).
        for scheme in ("http://", "https://"):
            self._http.mount(scheme, HTTPAdapter(pool_maxsize=AT_ONCE, max_retries=1))
        self._http.headers.update(self._via)
        self._script, self._run, self._runs_done = "", "", 0
        self._elements: dict[tuple[int, ...], tuple[str, Element]] = {}
        self._values: dict[str, WidgetState] = {}
        self._messages: dict[str, tuple[int, ForwardMsg]] = {}
        self._message_age = 2
        self._answers: dict[str, Any] = {}
        self._waiting: set[asyncio.Event] = set()
        self._broken: BaseException | None = None
        self._socket: ClientConnection | None = None
        self._listener: asyncio.Task[None] | None = None

    # --- coming and going ----------------------------------------------------

    async def open(self, path: str = "/") -> None:
        """Load the page and wait for its first run."""
        self.query = path.partition("?")[2]
        page = await asyncio.to_thread(self._get, path, "text/html,*/*;q=0.8")
        room = asyncio.Semaphore(AT_ONCE)

        async def load(asset: str) -> None:
            async with room:
                await asyncio.to_thread(self._get, f"/{asset}")

        await asyncio.gather(*map(load, _ASSET.findall(page.decode("utf-8", "replace"))))
        for path in ("/_stcore/health", "/_stcore/host-config"):
            await asyncio.to_thread(self._get, path)
        # A browser's script reads the token from the cookie and sends it as a sub-protocol.
        token = self._http.cookies.get("_streamlit_xsrf", "PLACEHOLDER")
        cookies = "; ".join(f"{cookie.name}={cookie.value}" for cookie in self._http.cookies)
        self._socket = await connect(
            self.address.replace("http", "ws", 1) + "/_stcore/stream",
            origin=self.address,  # type: ignore[arg-type]
            subprotocols=["streamlit", token],  # type: ignore[list-item]
            additional_headers=self._via | ({"Cookie": cookies} if cookies else {}),
            ssl=None if self._trusted is None else create_default_context(cafile=self._trusted),
            max_size=None,
            proxy=None,
            open_timeout=PATIENCE_S,
        )
        # A server between gives cookies with this answer too.
        assert self._socket.response is not None
        for given in self._socket.response.headers.get_all("Set-Cookie"):
            for name, cookie in SimpleCookie(given).items():
                self._http.cookies.set(name, cookie.value)
        self._listener = asyncio.create_task(self._listen())
        await self.run()

    async def close(self) -> None:
        """Leave; the server learns of it."""
        if self._listener is not None:
            self._listener.cancel()
        if self._socket is not None:
            await self._socket.close()
        self._http.close()

    def _get(self, path: str, accept: str = "*/*") -> bytes:
        wanted = {"Accept": accept}
        answer = self._http.get(self.address + path, headers=wanted, timeout=PATIENCE_S)
        answer.raise_for_status()
        self.asked += len(answer.content)
        return answer.content

    async def fetch(self, path: str) -> bytes:
        """A picture or file of the page."""
        return await asyncio.to_thread(self._get, path)

    def cookie(self, name: str) -> str:
        """The value of a cookie that the visitor was given, or nothing."""
        return next((one.value or "" for one in self._http.cookies if one.name == name), "")

    # --- what the visitor does -----------------------------------------------

    async def run(self, *changed: WidgetState) -> None:
        """Send changed values, if any, and wait until the page has been run for them."""
        await self.begin_run(*changed)
        await self.run_done()

    async def begin_run(self, *changed: WidgetState) -> None:
        """Send changed values and wait for nothing."""
        for state in changed:
            self._values[state.id] = state
        message = BackMsg()
        rerun = message.rerun_script
        rerun.query_string, rerun.page_script_hash = self.query, self._script
        rerun.widget_states.widgets.extend(self._values.values())
        rerun.cached_message_hashes.extend(self._messages)
        rerun.context_info.locale = self.locale
        rerun.context_info.timezone, rerun.context_info.timezone_offset = "UTC", 0
        rerun.context_info.url = f"{self.address}/?{self.query}"
        self._done_before = self._runs_done
        await self._send(message)
        for state in changed:
            if state.WhichOneof("value") == "trigger_value":
                del self._values[state.id]

    async def run_done(self) -> None:
        """Wait until the run that was asked for last has ended, with nothing left to run."""
        await self.until(lambda: self._runs_done > self._done_before)

    async def press(self, label: str, *, wait: bool = True) -> None:
        """A button, by its whole label; several of one label are an error."""
        state = WidgetState(id=self.the("button", label).id, trigger_value=True)
        await (self.run(state) if wait else self.begin_run(state))

    async def type(self, label: str, text: str) -> None:
        """Into a field."""
        await self.run(WidgetState(id=self.the("text_input", label).id, string_value=text))

    async def choose(self, label: str, option: str) -> None:
        """One of a list, by the end of its title: a drawing may stand before it."""
        radio = self.the("radio", label)
        (title,) = [title for title in radio.options if title.endswith(option)]
        await self.run(WidgetState(id=radio.id, string_value=title))

    async def upload(self, label: str, name: str, content: bytes) -> None:
        """A file: ask where to, put it there, tell the page."""
        widget = self.the("file_uploader", label)
        asked = FileURLsRequest(request_id=uuid.uuid4().hex, session_id=self.session)
        asked.file_names.append(name)
        await self._send(BackMsg(file_urls_request=asked))
        await self.until(lambda: asked.request_id in self._answers)
        answer = self._answers.pop(asked.request_id)
        if answer.error_msg:
            raise PageError(answer.error_msg)
        (urls,) = answer.file_urls
        await asyncio.to_thread(self._put, urls.upload_url, name, content)
        state = WidgetState(id=widget.id)
        info = UploadedFileInfo(name=name, size=len(content), file_id=urls.file_id, file_urls=urls)
        state.file_uploader_state_value.uploaded_file_info.append(info)
        await self.run(state)

    def _put(self, path: str, name: str, content: bytes) -> None:
        answer = self._http.put(
            self.address + path,
            files={name: (name, content, "image/jpeg")},
            headers={"X-Xsrftoken": str(self._http.cookies.get("_streamlit_xsrf", ""))},
            timeout=PATIENCE_S,
        )
        answer.raise_for_status()

    async def set_component(self, name: str, **values: Any) -> None:
        """Values of a component of the app's own, as its script sets them."""
        state = WidgetState(id=self.component(name).id, json_value=json.dumps(values))
        await self.run(state)

    # --- what is on the page -------------------------------------------------

    def all(self, kind: str) -> list[Any]:
        """All elements of a kind that are on the page, from top to bottom."""
        return [
            getattr(element, kind)
            for _, (_, element) in sorted(self._elements.items())
            if element.WhichOneof("type") == kind
        ]

    def the(self, kind: str, label: str) -> Any:
        """The one element of a kind with this label."""
        found = [element for element in self.all(kind) if element.label == label]
        if len(found) != 1:
            labels = [element.label for element in self.all(kind)]
            raise PageError(f"{len(found)} of {kind} {label!r} are here; there are {labels}")
        return found[0]

    def component(self, name: str) -> Any:
        """A component of the app's own, by the end of its name."""
        (found,) = [c for c in self.all("bidi_component") if c.component_name.endswith(name)]
        return found

    def texts(self) -> list[str]:
        """The texts of alerts and markdown on the page."""
        return [element.body for kind in ("alert", "markdown") for element in self.all(kind)]

    def shows(self, text: str) -> bool:
        """Whether a text is on the page."""
        return any(text in body for body in self.texts())

    # --- messages ------------------------------------------------------------

    async def until(self, there: Callable[[], bool]) -> None:
        """Wait for something on the page; what was wrong with the page is raised."""
        event = asyncio.Event()
        self._waiting.add(event)
        try:
            async with asyncio.timeout(PATIENCE_S):
                while not there():
                    if self._broken is not None:
                        raise PageError(f"{self._broken!r}") from self._broken
                    event.clear()
                    await event.wait()
        except TimeoutError as error:
            said = f"nothing came for {PATIENCE_S:.0f} s; the page shows {self.texts()}"
            raise PageError(said) from error
        finally:
            self._waiting.discard(event)

    async def _send(self, message: BackMsg) -> None:
        assert self._socket is not None, "not open"
        await self._socket.send(message.SerializeToString())

    async def _listen(self) -> None:
        try:
            assert self._socket is not None
            async for data in self._socket:
                assert isinstance(data, bytes)
                self.asked += len(data)
                self._take(ForwardMsg.FromString(data))
                for event in self._waiting:
                    event.set()
            raise PageError("the server closed the connection")
        except Exception as error:  # whatever it is, the visitor is told and not left waiting
            self._broken = error
            for event in self._waiting:
                event.set()

    def _take(self, message: ForwardMsg) -> None:
        if message.WhichOneof("type") == "ref_hash":
            known = ForwardMsg()
            known.CopyFrom(self._messages[message.ref_hash][1])
            known.metadata.CopyFrom(message.metadata)
            self._messages[message.ref_hash] = (self._runs_done, known)
            message = known
        elif message.metadata.cacheable:
            self._messages[message.hash] = (self._runs_done, message)
        kind = message.WhichOneof("type")
        if kind == "new_session":
            self._begin(message)
        elif kind == "delta":
            self._draw(tuple(message.metadata.delta_path), message.delta)
        elif kind == "page_info_changed":
            self.query = message.page_info_changed.query_string
        elif kind == "file_urls_response":
            answer = message.file_urls_response
            self._answers[answer.response_id] = answer
        elif kind == "session_event":
            if message.session_event.WhichOneof("type") == "script_compilation_exception":
                raise PageError(str(message.session_event))
        elif kind == "script_finished":
            self._end(message.script_finished)

    def _begin(self, message: ForwardMsg) -> None:
        told = message.new_session
        self._script, self._run = told.page_script_hash, message.metadata.run.script_run_id
        self._message_age = told.config.max_cached_message_age
        self.session = told.initialize.session_id or self.session

    def _draw(self, path: tuple[int, ...], delta: Any) -> None:
        kind = delta.WhichOneof("type")
        if kind == "new_transient":
            return  # a spinner, in front of what is there
        if kind == "add_block":
            self._elements.pop(path, None)
            return
        for other in [p for p in self._elements if len(p) > len(path) and p[: len(path)] == path]:
            del self._elements[other]
        element = delta.new_element
        self._elements[path] = (self._run, element)
        what = element.WhichOneof("type")
        if what == "exception" or (what == "alert" and element.alert.format == Alert.ERROR):
            raise PageError(f"the page shows an error: {getattr(element, what)}")
        state = _told(element)
        if state is not None and (
            state.id not in self._values or getattr(getattr(element, str(what)), "set_value", False)
        ):
            self._values[state.id] = state

    def _end(self, status: int) -> None:
        if status == ForwardMsg.FINISHED_WITH_COMPILE_ERROR:
            raise PageError("the page's script does not compile")
        if status != ForwardMsg.FINISHED_SUCCESSFULLY:
            return  # another run follows
        self._elements = {p: e for p, e in self._elements.items() if e[0] == self._run}
        there = {
            getattr(getattr(element, str(element.WhichOneof("type"))), "id", "")
            for _, element in self._elements.values()
        }
        self._values = {name: state for name, state in self._values.items() if name in there}
        self._runs_done += 1
        self._messages = {
            name: kept
            for name, kept in self._messages.items()
            if self._runs_done - kept[0] <= self._message_age
        }
