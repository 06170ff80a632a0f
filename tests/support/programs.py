"""Another program beside the desk: it asks over HTTP, and listens to what it is told."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import requests

from tests.support.places import ROOT

SORREL = ROOT / "sample_images_demo" / "sorrel"
"""An invented order whose readings agree."""


def sorrel(file: str = "") -> dict[str, Any]:
    """Its case; without photos, or with its one photo called so."""
    case: dict[str, Any] = json.loads((SORREL / "case.json").read_text(encoding="utf-8"))
    if file:
        case["photos"][0]["file"] = file
    else:
        del case["photos"]
    return case


@dataclass
class Program:
    """One that has a token.

    Attributes
    ----------
    address : str
        Of the server.
    token : str
        Empty for none.
    """

    address: str
    token: str

    def ask(self, method: str, path: str, **more: Any) -> requests.Response:
        """Ask for a path below the interface's own."""
        headers = {"Authorization": f"Bearer {self.token}"} if self.token else {}
        headers |= more.pop("headers", {})
        url = f"{self.address}/api/v1{path}"
        return requests.request(
            method, url, headers=headers, timeout=60, allow_redirects=False, **more
        )

    def told(self, method: str, path: str, status: int, **more: Any) -> Any:
        """What is answered, where it has that status."""
        said = self.ask(method, path, **more)
        assert said.status_code == status, said.text
        return said.json() if said.content else None

    def whole_order(self, number: str) -> str:
        """Sorrel's order, from its beginning to the check; gives its key."""
        new = {"number": number, "case": sorrel()}
        order = str(self.told("POST", "/orders", 201, json=new)["order"])
        kind = {"Content-Type": "image/jpeg"}
        photo = (SORREL / "side.jpg").read_bytes()
        name = self.told("POST", f"/orders/{order}/photos", 201, data=photo, headers=kind)["photo"]
        self.told("PUT", f"/orders/{order}/case", 200, json=sorrel(name))
        self.told("POST", f"/orders/{order}/checks", 201)
        return order


@dataclass
class Heard:
    """One call."""

    headers: dict[str, str]
    body: bytes


@dataclass
class Listener:
    """Where a program is told of changes.

    Attributes
    ----------
    port : int
    heard : list of Heard
    answers : function of the number of calls before
        Gives the status to answer with, or None to hang up.
    """

    port: int = 0
    heard: list[Heard] = field(default_factory=list)
    answers: Callable[[int], int | None] = lambda before: 204

    @property
    def address(self) -> str:
        """Where to call."""
        return f"http://127.0.0.1:{self.port}/told?by=photocheck"


@contextmanager
def listening_program(port: int = 0) -> Iterator[Listener]:
    """One that hears what it is told, until the block is left."""
    listener = Listener()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            status = listener.answers(len(listener.heard))
            listener.heard.append(Heard(dict(self.headers), body))
            if status is None:
                self.close_connection = True
                return
            self.send_response(status)
            if 300 <= status < 400:
                self.send_header("Location", f"http://127.0.0.1:{listener.port}/elsewhere")
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", port), Handler)
    server.daemon_threads = True
    listener.port = server.server_address[1]
    serving = threading.Thread(target=server.serve_forever, daemon=True)
    serving.start()
    try:
        yield listener
    finally:
        server.shutdown()
        server.server_close()
        serving.join()


def page(name: str) -> str:
    """One of the pages of help."""
    folder = Path(ROOT) / "app" / "photocheck_app" / "help"
    return (folder / name).read_text(encoding="utf-8")
