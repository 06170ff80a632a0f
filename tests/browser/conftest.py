"""A browser, a server and axe-core for the tests that need them; what is missing fails."""

from __future__ import annotations

import shutil
import subprocess
import tarfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from filelock import FileLock
from playwright.sync_api import Browser, sync_playwright

from tests.support.pages import FLAGS, Visitors, start_server

AXE = "axe-core@4.10.3"


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    where = shutil.which("chromium")
    assert where, "chromium is not installed: apt-get install chromium"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=where, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def _visitors(chromium: Browser) -> Visitors:
    return Visitors(chromium)


@pytest.fixture
def visitors(_visitors: Visitors) -> Iterator[Visitors]:
    yield _visitors
    _visitors.leave()


@pytest.fixture(scope="session")
def serve(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[Path], str]]:
    """Gives the address of a Streamlit server running the script; one server a script."""
    running: dict[Path, tuple[subprocess.Popen[bytes], str]] = {}

    def start(script: Path) -> str:
        if script not in running:
            log = tmp_path_factory.mktemp("server") / "log"
            running[script] = start_server(script, log)
        return running[script][1]

    yield start
    for process, _ in running.values():
        process.terminate()
        process.wait(10)


@pytest.fixture(scope="session")
def axe(request: pytest.FixtureRequest) -> str:
    """axe-core (Deque, MPL-2.0), fetched from npm once and kept in pytest's cache."""
    folder = request.config.cache.mkdir(AXE.replace("@", "-"))
    script = Path(folder) / "package" / "axe.min.js"
    with FileLock(Path(folder) / "lock"):  # several processes may test at once
        if not script.exists():
            npm = shutil.which("npm")
            assert npm, "npm is not installed: it fetches axe-core"
            subprocess.run([npm, "pack", AXE, "--silent"], cwd=folder, check=True, timeout=120)
            (packed,) = Path(folder).glob("*.tgz")
            with tarfile.open(packed) as archive:
                archive.extract("package/axe.min.js", folder, filter="data")
    return script.read_text(encoding="utf-8")
