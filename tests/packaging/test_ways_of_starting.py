"""A newcomer's ways to the web app, each from files of its own: clone, editable, wheel, Streamlit.

Dependencies are those of this environment, so that a way takes seconds; `.ci/run` takes the
README's own commands, dependencies and all.
"""

from __future__ import annotations

import asyncio
import os
import shutil
import signal
import subprocess
import sys
import sysconfig
import tarfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.support.pages import free_port
from tests.support.places import ROOT
from tests.support.visitors.wire import Wire

pytestmark = pytest.mark.slow

LEFT_OUT = shutil.ignore_patterns(".git", ".venv", ".*_cache", ".hypothesis", "__pycache__", "dist")


class Newcomer:
    """A clone, and an environment that holds photocheck's dependencies but not photocheck."""

    def __init__(self, folder: Path) -> None:
        self.clone = folder / "clone"
        self.elsewhere = folder / "elsewhere"
        self.environment = folder / "environment"
        self.elsewhere.mkdir()
        shutil.copytree(ROOT, self.clone, ignore=LEFT_OUT)
        subprocess.run(
            [sys.executable, "-m", "venv", "--without-pip", self.environment], check=True
        )
        packages = next((self.environment / "lib").glob("python*")) / "site-packages"
        # A plain path is taken up without the .pth files in it: this checkout's own is not.
        (packages / "dependencies.pth").write_text(sysconfig.get_path("purelib") + "\n")

    def program(self, name: str) -> str:
        return str(self.environment / "bin" / name)

    def install(self, *what: str) -> None:
        subprocess.run(
            [
                *(sys.executable, "-m", "pip", "--python", self.program("python"), "install", "-q"),
                *("--no-deps", "--no-build-isolation", "--no-index", *what),
            ],
            cwd=self.clone,
            check=True,
        )

    def build(self, kind: str) -> Path:
        out = self.elsewhere / "dist"
        code = f"import hatchling.build as b; print(b.build_{kind}({str(out)!r}))"
        out.mkdir(exist_ok=True)
        done = subprocess.run(
            [sys.executable, "-c", code], cwd=self.clone, check=True, text=True, capture_output=True
        )
        return out / done.stdout.split()[-1]


@pytest.fixture
def newcomer(tmp_path: Path) -> Newcomer:
    return Newcomer(tmp_path)


@contextmanager
def started(command: list[str], folder: Path, port: int) -> Iterator[str]:
    """The address of a server that a command starts."""
    log = folder / "log.txt"
    unset = ("PYTHONPATH", "VIRTUAL_ENV")
    environment = {name: value for name, value in os.environ.items() if name not in unset}
    environment["XDG_DATA_HOME"] = str(folder / "data")
    with log.open("w") as said:
        server = subprocess.Popen(
            command, cwd=folder, env=environment, stdout=said, stderr=said, start_new_session=True
        )
    try:
        yield f"http://127.0.0.1:{port}"
    except BaseException as error:
        error.add_note(f"the server said:\n{log.read_text()}")
        raise
    finally:
        if server.poll() is None:
            os.killpg(server.pid, signal.SIGINT)
            try:
                server.wait(20)
            except subprocess.TimeoutExpired:
                os.killpg(server.pid, signal.SIGKILL)


async def first_words(address: str) -> str:
    """What the first page says to a visitor, once the server answers."""
    for _ in range(600):
        page = Wire(address)
        try:
            await page.open()
        except OSError:
            await asyncio.sleep(0.1)
            continue
        try:
            return "\n".join(page.texts())
        finally:
            await page.close()
    raise AssertionError("the server never answered")


def asked(command: list[str], folder: Path, port: int) -> None:
    with started(command, folder, port) as address:
        said = asyncio.run(asyncio.wait_for(first_words(address), 120))
    assert "photocheck" in said or "dog" in said, said


@pytest.mark.parametrize("editable", [False, True])
def test_serve_from_the_very_clone(newcomer: Newcomer, editable: bool) -> None:
    newcomer.install(*(["-e", "."] if editable else ["."]))
    port = free_port()
    asked([newcomer.program("photocheck"), "serve", "--port", str(port)], newcomer.clone, port)
    leftovers = {path.name for path in newcomer.clone.iterdir()} - {p.name for p in ROOT.iterdir()}
    assert leftovers <= {"log.txt", "data"}


def test_serve_from_a_wheel_in_another_folder(newcomer: Newcomer) -> None:
    newcomer.install(str(newcomer.build("wheel")))
    shutil.rmtree(newcomer.clone)
    port = free_port()
    asked([newcomer.program("photocheck"), "serve", "--port", str(port)], newcomer.elsewhere, port)


def test_by_streamlit_itself(newcomer: Newcomer) -> None:
    newcomer.install(".")
    port = free_port()
    command = [newcomer.program("python"), "-m", "streamlit", "run"]
    served = str(Path("app") / "photocheck_app" / "served.py")
    asked([*command, served, "--server.port", str(port), "--server.headless", "true"],
          newcomer.clone, port)  # fmt: skip


def test_a_folder_full_of_other_things_changes_nothing(newcomer: Newcomer) -> None:
    """Modules that lie where one happens to stand are not what is installed."""
    newcomer.install(".")
    for name in ("photocheck", "photocheck_app", "app", "streamlit", "numpy"):
        (newcomer.elsewhere / f"{name}.py").write_text("raise SystemExit('not this one')\n")
    port = free_port()
    asked([newcomer.program("photocheck"), "serve", "--port", str(port)], newcomer.elsewhere, port)


def test_a_wheel_holds_what_a_checkout_does(newcomer: Newcomer) -> None:
    with zipfile.ZipFile(newcomer.build("wheel")) as wheel:
        held = set(wheel.namelist())
    tracked = {
        path.relative_to(newcomer.clone).as_posix()
        for folder in ("photocheck", "app", "sample_images_demo")
        for path in (newcomer.clone / folder).rglob("*")
        if path.is_file()
    }
    # Who teaches the network works in a checkout.
    tracked = {path for path in tracked if not path.startswith("photocheck/train/")}
    wanted = {
        path.removeprefix("app/").replace("sample_images_demo/", "photocheck/sample_images_demo/")
        for path in tracked
    }
    information = {name for name in held if ".dist-info/" in name}
    assert held - information == wanted
    assert {name.partition("/")[0] for name in held - information} == {
        "photocheck",
        "photocheck_app",
    }
    assert any(name.endswith("licenses/photocheck/LICENSE") for name in information)


def test_a_source_distribution_runs_its_own_tests(newcomer: Newcomer) -> None:
    with tarfile.open(newcomer.build("sdist")) as archive:
        archive.extractall(newcomer.elsewhere, filter="data")
    (source,) = newcomer.elsewhere.glob("photocheck-*/")
    among_others = newcomer.elsewhere / "runs"
    among_others.mkdir()
    # As if one of pytest-xdist's processes had started it, which this one may or may not be.
    inherited = {**os.environ, "PYTEST_XDIST_WORKER": "gw0"}
    done = subprocess.run(
        [
            *(sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider"),
            *("--basetemp", str(among_others / "own")),
            *("tests/golden", "tests/case", "tests/test_files.py", "tests/test_speech.py"),
        ],
        cwd=source,
        env={**inherited, "PYTHONPATH": f"{source}:{source / 'app'}"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-3000:]
    # What one run keeps for its tests lies where no other run would take it for its own.
    assert [path.name for path in among_others.iterdir()] == ["own"]
    code = "import photocheck; print(photocheck.__file__)"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=source, check=True, capture_output=True, text=True
    )
    assert Path(done.stdout.strip()).is_relative_to(source)
