"""`photocheck serve`: what it refuses, what it tells the server, and that it ends."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import psutil
import pytest

from photocheck.server import serving
from photocheck.server.serving import Doors
from tests.support.command_line import line_of
from tests.support.pages import free_port

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


@pytest.mark.slow
def test_a_supervisor_that_ends_it_leaves_no_server_behind(tmp_path: Path) -> None:
    port = free_port()
    command = [sys.executable, "-m", "photocheck", "serve", "--port", str(port)]
    server = subprocess.Popen(
        [*command, "--store", str(tmp_path / "orders.sqlite3")],
        stdout=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
        start_new_session=True,
    )
    try:
        assert f":{port} " in line_of(server)
        started = psutil.Process(server.pid).children(recursive=True)
        assert started
        server.terminate()
        assert server.wait(20) == 0
        assert psutil.wait_procs(started, timeout=20)[1] == []
    finally:
        if server.poll() is None:
            os.killpg(server.pid, signal.SIGKILL)


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
