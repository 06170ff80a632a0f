"""`photocheck serve`: what it refuses, what it tells the server, and that it ends."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import psutil
import pytest
import requests
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect
from websockets.typing import Origin

from photocheck.errors import PhotocheckError
from photocheck.orders.store import open_store
from photocheck.server import serving
from photocheck.server.access import staff
from photocheck.server.access.provider import NEEDED
from photocheck.server.serving import Doors
from photocheck.server.shop import Shop
from tests.support.command_line import line_of
from tests.support.pages import free_port
from tests.support.served_alone import served_alone
from tests.support.visitors.made import told_by
from tests.support.visitors.owner import Owner, play_all
from tests.support.waiting import until

OTHERS = ["0.0.0.0", "::", "192.168.1.7", "example.org", ""]
HERE = ["127.0.0.1", "127.3.2.1", "::1", "localhost"]


@pytest.mark.parametrize("address", OTHERS)
def test_other_machines_are_kept_out_where_nobody_or_everybody_is_at_the_desk(
    address: str,
) -> None:
    with pytest.raises(serving.ServeError, match="nobody can sign in"):
        serving.refuse_open_desk(address, Doors(), anybody=False)
    with pytest.raises(serving.ServeError, match="could open the orders"):
        serving.refuse_open_desk(address, Doors(open_desk=True), anybody=True)


@pytest.mark.parametrize("address", OTHERS)
def test_other_machines_may_come_where_staff_sign_in(address: str) -> None:
    serving.refuse_open_desk(address, Doors(), anybody=True)
    serving.refuse_open_desk(address, Doors(oidc="provider.toml"), anybody=False)


@pytest.mark.parametrize("address", HERE)
def test_this_machine_may_come_in(address: str) -> None:
    serving.refuse_open_desk(address, Doors(), anybody=False)
    serving.refuse_open_desk(address, Doors(open_desk=True), anybody=False)


def test_an_open_desk_answers_to_this_machines_names_only() -> None:
    # Another site's name could be made to lead here (DNS rebinding) and read the orders.
    told = serving.settings("127.0.0.1", 8599, serving.app_folder(), only_here=True)
    assert told["server.allowedHosts"] == ["localhost", "127.0.0.1", "::1"]
    assert "server.allowedHosts" not in serving.settings("::", 8599, serving.app_folder())


def test_a_taken_port_is_told_with_another() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(serving.ServeError, match=rf"--port {port + 1}|--port 8501"):
            serving.refuse_taken_port("127.0.0.1", port)


def test_no_run_of_a_page_is_looked_through_for_lines_that_show_themselves() -> None:
    told = serving.settings("127.0.0.1", 8599, serving.app_folder())
    # Streamlit walks the whole script for them whenever no page is open but the one that begins.
    assert told["runner.magicEnabled"] is False


def test_nothing_is_left_to_the_users_own_settings() -> None:
    told = serving.settings("127.0.0.1", 8599, serving.app_folder())
    assert (
        told.items()
        >= {
            "browser.gatherUsageStats": False,
            "server.address": "127.0.0.1",
            "server.port": 8599,
            "server.headless": True,
            "client.showErrorDetails": "none",
        }.items()
    )


def _is_free(port: int) -> bool:
    try:
        serving.refuse_taken_port("127.0.0.1", port)
    except serving.ServeError:
        return False
    return True


_AS_FIRST = ("unshare", "--user", "--map-root-user", "--pid", "--fork", "--kill-child")


def _can_be_first() -> bool:
    """Whether this machine lets one have process numbers of one's own."""
    try:
        return subprocess.run([*_AS_FIRST, "true"], check=False).returncode == 0
    except OSError:
        return False


@pytest.mark.slow
@pytest.mark.parametrize("how", ["alone", "whole group", "first process"])
def test_whoever_supervises_it_ends_it_whole(how: str, tmp_path: Path) -> None:
    """SIGTERM to the main process or to its whole group, as systemd (systemd.kill(5)); to the
    first process of a container, which no signal ends that it does not handle (kill(2)).
    """
    if how == "first process" and not _can_be_first():
        pytest.skip("this machine lets nobody have process numbers of one's own")
    with served_alone(tmp_path, before=_AS_FIRST if how == "first process" else ()) as app:
        main = psutil.Process(app.process.pid)
        if how == "first process":
            (main,) = main.children()
        everybody = [main, *main.children(recursive=True)]
        # Somebody has a page open, somebody else says nothing, and a form is on its way.
        with connect(f"ws://127.0.0.1:{app.port}/_stcore/stream", proxy=None):
            silent = socket.create_connection(("127.0.0.1", app.port))
            if how == "whole group":
                os.killpg(app.process.pid, signal.SIGTERM)
            else:
                main.send_signal(signal.SIGTERM)
            assert psutil.wait_procs(everybody, timeout=20)[1] == []
            silent.close()
        if how != "first process":
            assert app.process.wait(20) == 0
        assert _is_free(app.port)
        assert "Traceback" not in app.log.read_text()


@pytest.mark.slow
def test_its_sudden_death_leaves_nothing_behind(tmp_path: Path) -> None:
    with served_alone(tmp_path) as app:
        everybody = psutil.Process(app.process.pid).children(recursive=True)
        app.process.kill()
        app.process.wait(20)
        assert psutil.wait_procs(everybody, timeout=20)[1] == []
        assert _is_free(app.port)


@pytest.mark.slow
def test_what_is_on_its_way_is_finished_first(tmp_path: Path) -> None:
    with served_alone(tmp_path) as app:
        line = socket.create_connection(("127.0.0.1", app.port))
        head = "POST /staff HTTP/1.1\r\nHost: here\r\nContent-Length: 9\r\n"
        head += "Content-Type: application/x-www-form-urlencoded\r\n\r\nact=in"
        line.sendall(head.encode())
        # Answered, so that the first has been begun with as well.
        urllib.request.urlopen(f"{app.address}/_stcore/health", timeout=10).close()
        app.process.terminate()
        until(lambda: _is_free(app.port), "nobody new is let in")
        line.sendall(b"&a=")
        assert line.recv(12) == b"HTTP/1.1 401"
        line.close()
        assert app.process.wait(20) == 0


@pytest.mark.slow
def test_nothing_leaves_the_machine(tmp_path: Path) -> None:
    """Whatever visitors and strangers say, the server looks up no name and connects to nobody."""
    with served_alone(tmp_path) as app:
        owner = Owner(app.address, told_by(0))
        play_all([owner])
        assert owner.headline
        own = app.address
        for origin in ("http://other.example", "null", "https://8.8.8.8", own.upper(), f"{own}/"):
            place = f"ws://127.0.0.1:{app.port}/_stcore/stream"
            with pytest.raises(InvalidStatus) as refused:
                connect(place, origin=Origin(origin), proxy=None)
            assert refused.value.response.status_code == 403
            for path in ("/", "/_stcore/health", "/_stcore/host-config", "/staff"):
                said = requests.get(f"{own}{path}", headers={"Origin": origin}, timeout=10)
                assert said.status_code == 403
        # another name for the same machine, as after DNS rebinding, and none at all
        for host in ("other.example", "127.0.0.1.other.example:80", ""):
            requests.get(f"{own}/desk", headers={"Host": host}, timeout=10)
        app.process.terminate()
        assert app.process.wait(20) == 0
        assert app.noted.read_text() == ""


@pytest.mark.slow
def test_it_serves_says_where_and_ends_with_ctrl_c(tmp_path: Path) -> None:
    port = free_port()
    command = [sys.executable, "-m", "photocheck", "serve", "--port", str(port)]
    server = subprocess.Popen(
        [*command, "--store", str(tmp_path / "orders.sqlite3")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
        start_new_session=True,
    )
    try:
        assert line_of(server) == (
            f"photocheck is open at http://127.0.0.1:{port} (Ctrl-C ends it).\n"
        )
        addresses = line_of(server)
        assert f"http://127.0.0.1:{port}/ " in addresses
        assert f"http://127.0.0.1:{port}/desk\n" in addresses
        assert "photocheck staff add" in line_of(server)
        page = urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=10)
        assert page.status == 200
        again = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, check=False)
        assert again.returncode == 2
        assert f"port {port} cannot be used" in again.stderr
        # A terminal's Ctrl-C reaches every process in it.
        os.killpg(server.pid, signal.SIGINT)
        assert server.wait(15) == 0
        assert server.stderr is not None
        assert "Traceback" not in server.stderr.read()
    finally:
        if server.poll() is None:
            os.killpg(server.pid, signal.SIGKILL)
    with pytest.raises(OSError):  # noqa: PT011
        urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=2)


class Begun:
    """Stands in for where the web app begins: notes with what."""

    def __init__(self, ends: int | BaseException = 0) -> None:
        self.ends, self.told = ends, dict[str, Any]()

    def run(self, told: dict[str, Any], *, on_ready: Callable[[], None]) -> int:
        self.told = told
        self.term = signal.getsignal(signal.SIGTERM)
        on_ready()
        if isinstance(self.ends, BaseException):
            raise self.ends
        return self.ends


@pytest.fixture
def begun(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Begun:
    made = Begun()
    monkeypatch.setattr(serving, "import_module", lambda name: made)
    monkeypatch.setattr(serving.os, "environ", dict(os.environ))
    monkeypatch.setattr(serving.sys, "path", ["/elsewhere", *sys.path])
    monkeypatch.chdir(tmp_path)
    return made


@pytest.mark.parametrize("ends", [0, 3, KeyboardInterrupt()])
def test_the_app_is_begun_in_this_process_and_its_end_is_told(
    begun: Begun, tmp_path: Path, ends: int | BaseException
) -> None:
    begun.ends = ends
    ready: list[tuple[str, bool]] = []
    port, before = free_port(), signal.getsignal(signal.SIGTERM)
    store = str(tmp_path / "orders.sqlite3")
    code = serving.serve(port=port, store=store, on_ready=lambda *said: ready.append(said))
    assert code == (ends if isinstance(ends, int) else 0)
    assert ready == [(f"http://127.0.0.1:{port}", False)]
    assert (begun.told["server.address"], begun.told["server.port"]) == ("127.0.0.1", port)
    assert "server.allowedHosts" not in begun.told
    assert begun.told["server.headless"] is True
    assert begun.told["logger.enableRich"] is False
    assert os.environ["PHOTOCHECK_STORE"] == store
    # until it has ended, SIGTERM ends it as Ctrl-C does
    assert signal.getsignal(signal.SIGTERM) == before
    assert callable(begun.term)
    with pytest.raises(KeyboardInterrupt):
        begun.term(signal.SIGTERM, None)


def test_who_is_let_in_is_told_to_the_app(begun: Begun, tmp_path: Path) -> None:
    ready: list[bool] = []
    store = str(tmp_path / "orders.sqlite3")

    def serve(doors: Doors) -> str:
        port = free_port()
        serving.serve(
            port=port, store=store, doors=doors, on_ready=lambda _, anybody: ready.append(anybody)
        )
        return " ".join(os.environ[name] or "-" for name in names)

    names = ("PHOTOCHECK_DESK", "PHOTOCHECK_INVITED_ONLY", "PHOTOCHECK_KEEP_ALL")
    assert serve(Doors()) == "- - -"
    assert serve(Doors(open_desk=True)) == "open - -"
    assert begun.told["server.allowedHosts"] == ["localhost", "127.0.0.1", "::1"]
    assert serve(Doors(invited_only=True)) == "- yes -"
    assert serve(Doors(keep_all=True)) == "- - yes"
    with closing(open_store(store)) as opened:
        staff.add(opened, "Ada", "four brown ropes drying")
    serve(Doors())
    assert ready == [False, True, False, False, True]


@pytest.mark.parametrize("library", [True, False])
def test_a_provider_needs_its_file_and_its_library(
    begun: Begun, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, library: bool
) -> None:
    store, file = str(tmp_path / "orders.sqlite3"), tmp_path / "provider.toml"
    find = serving.find_spec
    monkeypatch.setattr(
        serving,
        "find_spec",
        lambda name: (object() if library else None) if name == "authlib" else find(name),
    )
    doors = Doors(oidc=str(file))
    with pytest.raises(PhotocheckError, match="cannot be read"):
        serving.serve(port=free_port(), store=store, doors=doors)
    auth = "\n".join(f'{name} = "x/oauth2callback"' for name in NEEDED)
    file.write_text(f'staff = ["ada@example.org"]\n[auth]\n{auth}\n')
    if library:
        ready: list[bool] = []
        serving.serve(
            port=free_port(),
            store=store,
            doors=doors,
            on_ready=lambda _, anybody: ready.append(anybody),
        )
        assert ready == [True]
        assert os.environ["PHOTOCHECK_OIDC"] == str(file)
    else:
        with pytest.raises(serving.ServeError, match="not installed"):
            serving.serve(port=free_port(), store=store, doors=doors)
        assert begun.told == {}


def test_nothing_begins_where_something_is_wrong(begun: Begun, tmp_path: Path) -> None:
    store = str(tmp_path / "orders.sqlite3")
    with closing(serving.listening("127.0.0.1", 0)) as taken:
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(serving.ServeError, match=f"--port {port + 1}"):
            serving.serve(port=port, store=store)
    with pytest.raises(PhotocheckError, match="no colour"):
        serving.serve(port=free_port(), store=store, shop=Shop(colour="teal"))
    with pytest.raises(serving.ServeError, match="nobody can sign in"):
        serving.serve(address="0.0.0.0", port=free_port(), store=store)
    assert begun.told == {}


def test_what_lies_where_one_stands_is_not_what_is_installed(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    for first, needed, left in (
        ("", (), ["b"]),
        (str(tmp_path), (), ["b"]),
        ("/elsewhere", (), ["/elsewhere", "b"]),
        ("", (tmp_path,), ["", "b"]),
    ):
        monkeypatch.setattr(serving.sys, "path", [first, "b"])
        serving.leave_out_where_one_stands(*needed)
        assert serving.sys.path == left
    monkeypatch.setattr(serving.sys, "path", [])
    serving.leave_out_where_one_stands()


def test_both_kinds_of_address_are_listened_at_together() -> None:
    if not socket.has_dualstack_ipv6():
        pytest.skip("this machine has no IPv6")
    with closing(serving.listening("::", 0)) as listener:
        assert not listener.getblocking()
        assert listener.getsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY) == 0
        assert listener.getsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR)
    with closing(serving.listening("127.0.0.1", 0)) as listener:
        assert (listener.family, listener.proto) == (socket.AF_INET, socket.IPPROTO_TCP)
