"""What ``photocheck serve`` runs: the server, once all is loaded that one would wait for."""

from __future__ import annotations

import gc
import logging
import os
import signal
import socket
import sys
import threading
from collections.abc import Callable, Mapping
from importlib import import_module
from types import FrameType
from typing import Any, Final

import uvicorn

from photocheck.server.serving import listening
from photocheck.server.watch import SILENT, Watch
from photocheck.speech import tr
from photocheck_app import framework
from photocheck_app.doors import connections
from photocheck_app.doors.logs import bound_logs

SLOW = (
    "pandas",
    "photocheck.checking",
    "photocheck.shown.picture",
    "photocheck.orders.store",
    "photocheck.report.file",
)
"""Modules that take long to load.  Not the pages: their parts want the server running."""

ANSWERS_END_WITHIN_S: Final = 4
"""What is being handed in or answered when the server is told to end."""

ENDS_WITHIN_S: Final = 9.5
"""All of it: a container is killed after 10 s (`docker stop`), a service after 90 (systemd)."""

SWITCH_S: Final = 0.001

LOOP: Final = "asyncio" if sys.platform == "win32" else "uvloop"
"""Whose loop answers.  asyncio's lets go of the interpreter for every message, to say so to itself,
and waits for each thread that works before it has it again: under two hundred pages that ask for
results, its answers took six times as long (measured side by side)."""

MOST_BUFFERED_BYTES: Final = 2**20
"""Of a message before anything looks at it: more than `photocheck.orders.bounds` lets pages send,
so that whoever sends too much is told why."""

PING_S: Final = 10
"""An open page is asked so often whether it is still there; a proxy in between hears by that
whether the server is."""

PONG_S: Final = 30
"""So long it may take to answer: a phone in a lift."""

HEADERS_BYTES: Final = 32_000
"""Of a request: a browser sends some 3,000, with a provider's cookies 10,000."""


class Server(uvicorn.Server):
    """The server underneath, which says when it answers and never hangs at the end.

    Parameters
    ----------
    config : uvicorn.Config
    on_ready : function
    """

    def __init__(self, config: uvicorn.Config, on_ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._on_ready = on_ready
        self._watch = Watch(
            tr("The server did not go on for {seconds} s and was ended.", seconds=SILENT)
        )

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to answer."""
        await super().startup(sockets)
        if self.started:
            self._watch.begin()
            self._on_ready()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End; what takes too long is ended all the same (`handle_exit`)."""
        try:
            await super().shutdown(sockets)
        finally:
            self._watch.end()

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Begin to end; the second time at once."""
        if self.should_exit:
            self.force_exit = True
        else:
            watch = threading.Timer(ENDS_WITHIN_S, os._exit, (1,))
            watch.daemon = True
            watch.start()
        super().handle_exit(sig, frame)


def run(settings: Mapping[str, Any], *, on_ready: Callable[[], None] = lambda: None) -> int:
    """Load, then serve until the process is told to end; only from its main thread.

    Parameters
    ----------
    settings : mapping of a Streamlit option's name to its value
    on_ready : function
        Called once the server answers.

    Returns
    -------
    int
        0, or another code when it could not start.
    """
    for name in SLOW:
        import_module(name)
    framework.configure(settings)
    # After the settings, which say where its files are.
    app = import_module("photocheck_app.served").app

    # What was loaded stays: the collector need not look through it again and again.
    gc.collect()
    gc.freeze()
    # How long the thread that answers waits for each that runs a page.
    sys.setswitchinterval(SWITCH_S)
    files = connections.raise_descriptors()
    connections.ROOM.in_all = max(1, min(connections.IN_ALL, files - connections.RESERVED))
    config = uvicorn.Config(
        app,
        http=connections.Http,
        ws=connections.Websocket,
        loop=LOOP,
        log_level="warning",
        access_log=False,
        use_colors=False,
        server_header=False,
        ws_max_size=MOST_BUFFERED_BYTES,
        ws_ping_interval=PING_S,
        ws_ping_timeout=PONG_S,
        ws_per_message_deflate=False,
        h11_max_incomplete_event_size=HEADERS_BYTES,
        timeout_keep_alive=connections.IDLE_S,
        timeout_graceful_shutdown=ANSWERS_END_WITHIN_S,
        backlog=connections.BACKLOG,
    )
    bound_logs()
    logging.getLogger("websockets").setLevel(logging.ERROR)
    server = Server(config, on_ready)
    with listening(str(settings["server.address"]), int(settings["server.port"])) as listener:
        if hasattr(signal, "SIGHUP") and signal.getsignal(signal.SIGHUP) is signal.SIG_DFL:
            # The terminal was closed.
            signal.signal(signal.SIGHUP, server.handle_exit)
        try:
            server.run([listener])
        except SystemExit as ended:
            return int(ended.code or 0) if isinstance(ended.code, int | None) else 1
    return 0 if server.started else 1
