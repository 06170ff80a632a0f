"""Chromium's flags, its visitors, and a server for a page."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from photocheck.server.serving import DESK_VARIABLE

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def start_server(
    script: Path, log: Path, port: int | None = None
) -> tuple[subprocess.Popen[bytes], str]:
    port = port or free_port()
    command = [sys.executable, "-m", "streamlit", "run", str(script)]
    options = {
        "server.port": port,
        "server.address": "127.0.0.1",
        "server.headless": "true",
        "server.fileWatcherType": "none",
        "browser.gatherUsageStats": "false",
    }
    command += [part for name, value in options.items() for part in (f"--{name}", str(value))]
    # Nobody signs in here: test_apart.py does, at the server that owners and staff have.
    environment = {**os.environ, DESK_VARIABLE: "open"}
    with log.open("wb") as out:
        process = subprocess.Popen(command, stdout=out, stderr=subprocess.STDOUT, env=environment)
    address = f"http://127.0.0.1:{port}"
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and process.poll() is None:
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2):
                return process, address
        except OSError:
            time.sleep(0.2)
    process.kill()
    raise AssertionError(f"the server did not start: {log.read_text(errors='replace')}")


SAID = """document.body.innerText + ' ' +
    [...document.querySelectorAll('input, textarea')].map((e) => e.value).join(' ') + ' ' +
    [...document.querySelectorAll('img')].map((e) => e.alt).join(' ')"""
"""All that a page says, with what stands in its fields."""


def rests(page: Page) -> None:
    """Wait until the server has nothing more to say: no run is under way, and between two looks
    nothing that the page says or where it stands has changed.
    """
    page.evaluate("window.saidBefore = undefined")
    page.wait_for_function(
        f"""() => {{
            const state = document.querySelector('[data-test-script-state]');
            const main = document.querySelector('[data-testid=stMain]');
            const said = {SAID} + [main?.scrollTop, main?.scrollHeight, innerWidth];
            const same = said === window.saidBefore;
            window.saidBefore = said;
            return same && state?.dataset.testScriptState === 'notRunning';
        }}""",
        polling=300,
        timeout=60_000,
    )


def until_on_page(page: Page, so: Callable[[], object], what: str, *, patience_s: float) -> None:
    """`tests.support.waiting.until` for what a page must go on working for meanwhile."""
    deadline = time.monotonic() + patience_s
    while not so():
        assert time.monotonic() < deadline, f"waited {patience_s:.0f} s in vain: {what}"
        page.wait_for_timeout(50)


class Visitors:
    """Browser contexts, each for one visitor at a time.

    One that another visitor has left is given anew, without cookies or pages: it has
    Streamlit's own scripts already, whose loading takes a second.
    """

    def __init__(self, browser: Browser) -> None:
        self._browser = browser
        self._left: dict[str, list[BrowserContext]] = {}
        self._here: list[tuple[str, BrowserContext]] = []

    def come(self, **options: Any) -> BrowserContext:
        kind = repr(sorted(options.items()))
        left = self._left.setdefault(kind, [])
        context = left.pop() if left else self._browser.new_context(**options)
        self._here.append((kind, context))
        return context

    def leave(self) -> None:
        """All who are here."""
        while self._here:
            kind, context = self._here.pop()
            for page in context.pages:
                page.close()
            context.clear_cookies()
            self._left[kind].append(context)
