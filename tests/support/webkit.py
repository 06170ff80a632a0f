"""WebKit, which every browser of an iPhone is made of, as Debian ships it (WebKitGTK).

It is told what to do as the W3C's WebDriver has it (https://www.w3.org/TR/webdriver2/, 8 on).
The library for that brings ten more packages, one of which warns in every run of any test.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import requests

from tests.support.pages import free_port
from tests.support.waiting import until

PACKAGES: Final = "apt-get install webkit2gtk-driver xvfb"
_MINI: Final = "webkit2gtk-4.*/MiniBrowser"
_WAIT_S: Final = 60.0
_ELEMENT: Final = "element-6066-11e4-a52e-4f735466cecf"
"""How an answer names an element (section 12.3 of the standard)."""
_NOT_YET: Final = ("stale element", "not interactable", "click intercepted")
"""Said while the page draws something anew, or does not stand yet."""
_WRONGS: Final = """
window.wrongs = window.wrongs ?? [];
addEventListener('error', (event) => wrongs.push(event.message));
addEventListener('unhandledrejection', (event) => wrongs.push(String(event.reason)));
"""
_FRAMES: Final = """
const done = arguments[0];
let left = 12;
const frame = () => (left-- ? requestAnimationFrame(frame) : done());
frame();
"""
_ALL_TEXT: Final = """
let all = document.body.innerText;
const within = (root) => root.querySelectorAll('*').forEach((one) => {
  if (one.shadowRoot) { all += one.shadowRoot.textContent; within(one.shadowRoot); }
});
within(document);
return all;
"""


class _RefusedError(AssertionError):
    """The driver's answer is an error."""


class Phone:
    """A window as wide as a phone's.

    Parameters
    ----------
    driver : str
        Where the driver answers.
    binary : Path
        The browser.
    """

    def __init__(self, driver: str, binary: Path) -> None:
        self._http = requests.Session()
        self._http.trust_env = False  # never through a proxy: it is on this machine
        self._at = f"{driver}/session"
        options = {"binary": str(binary), "args": ["--automation"]}
        wanted = {"alwaysMatch": {"webkitgtk:browserOptions": options}}
        self._at += "/" + self._ask("POST", "", capabilities=wanted)["sessionId"]

    def _ask(self, method: str, path: str, **told: Any) -> Any:
        body = told if method == "POST" else None
        answer = self._http.request(method, self._at + path, json=body, timeout=_WAIT_S)
        value = answer.json()["value"]
        if not answer.ok:
            raise _RefusedError(f"{path}: {value}")
        return value

    def open(self, address: str, *, wide: int = 430, high: int = 900) -> None:
        """Go to a page, in a window of that size."""
        self._ask("POST", "/window/rect", width=wide, height=high)
        self._ask("POST", "/url", url=address)

    def close(self) -> None:
        """End it."""
        self._ask("DELETE", "")
        self._http.close()

    def address(self) -> str:
        """Where it is."""
        return str(self._ask("GET", "/url"))

    def run(self, script: str) -> Any:
        """What a script returns, run within the page."""
        return self._ask("POST", "/execute/sync", script=script, args=[])

    def watch(self) -> None:
        """Note from now on what goes wrong in the page's scripts."""
        self.run(_WRONGS)

    def wrongs(self) -> list[str]:
        """What went wrong."""
        return list(self.run("return wrongs"))

    def shows(self, text: str) -> None:
        """Wait until a text is on the page."""
        try:
            self.until(lambda: text in self.run(_ALL_TEXT), text)
        except AssertionError as error:
            error.add_note(f"the page shows: {self.run(_ALL_TEXT)}")
            raise

    def until(self, what: Callable[[], bool], said: str) -> None:
        """Wait for something."""
        until(what, said, patience_s=_WAIT_S)

    def press(self, selector: str, text: str = "") -> None:
        """The first element of a kind that has a text, once it is there."""
        self._with(selector, text, lambda at: self._ask("POST", f"{at}/click"))

    def type(self, selector: str, text: str) -> None:
        """Into the first of a kind: keys, or where a file lies."""
        self._with(selector, "", lambda at: self._ask("POST", f"{at}/value", text=text))

    def _with(self, selector: str, text: str, act: Callable[[str], Any]) -> None:
        def done() -> bool:
            found = self._ask("POST", "/elements", using="css selector", value=selector)
            for at in (f"/element/{one[_ELEMENT]}" for one in found):
                try:
                    if text in self._ask("GET", f"{at}/text"):
                        act(at)
                        return True
                except _RefusedError as error:
                    if not any(one in str(error) for one in _NOT_YET):
                        raise
            return False

        self.until(done, f"{selector} {text!r}")

    def at_rest(self, where: str) -> list[float]:
        """Where something lies by a script, once frames have been drawn and it still lies there."""
        lies: list[float] = []

        def rests() -> bool:
            before = self.run(where)
            self._ask("POST", "/execute/async", script=_FRAMES, args=[])
            lies[:] = before or []
            return bool(before) and self.run(where) == before

        self.until(rests, "what moves to rest")
        return lies

    def press_at(self, x: float, y: float) -> None:
        """Where a finger would, in CSS px of the window."""
        move = {"type": "pointerMove", "x": round(x), "y": round(y)}
        press = [{"type": each, "button": 0} for each in ("pointerDown", "pointerUp")]
        pointer = {"id": "hand", "type": "pointer", "actions": [move, *press]}
        self._ask("POST", "/actions", actions=[pointer])


@contextmanager
def webkit(log: Path) -> Iterator[Phone]:
    """Such a window, in English and with centimetres; gone with the block."""
    driver, screen = shutil.which("WebKitWebDriver"), shutil.which("Xvfb")
    window = next(iter(sorted(Path("/usr/lib").glob(f"*/{_MINI}"))), None)
    assert driver is not None, f"WebKit is not installed: {PACKAGES}"
    assert window is not None, f"WebKit is not installed: {PACKAGES}"
    assert screen is not None, f"no screen is installed: {PACKAGES}"
    with _screen(screen) as display, log.open("w") as said:
        port = free_port()
        where = os.environ | {"DISPLAY": display, "LANG": "en_GB.UTF-8"}
        with subprocess.Popen(
            [driver, f"--port={port}"], env=where, stdout=said, stderr=said
        ) as driving:
            try:
                at = f"http://127.0.0.1:{port}"
                until(lambda: _answers(at), "the driver", patience_s=_WAIT_S)
                phone = Phone(at, window)
                try:
                    yield phone
                finally:
                    phone.close()
            finally:
                driving.terminate()


@contextmanager
def _screen(program: str) -> Iterator[str]:
    """What nobody looks at."""
    read, write = os.pipe()
    with subprocess.Popen(
        [program, "-displayfd", str(write), "-screen", "0", "1400x1000x24", "-nolisten", "tcp"],
        pass_fds=(write,),
        stderr=subprocess.DEVNULL,
    ) as shown:
        os.close(write)
        try:
            with os.fdopen(read) as said:
                number = said.readline().strip()
            assert number, "Xvfb gave no display"
            yield f":{number}"
        finally:
            shown.terminate()


def _answers(at: str) -> bool:
    try:
        return bool(requests.get(f"{at}/status", timeout=_WAIT_S).json()["value"]["ready"])
    except requests.ConnectionError:
        return False
