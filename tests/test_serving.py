"""`photocheck serve`: what it refuses, what it tells the server, and that it ends."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from photocheck import serving


@pytest.mark.parametrize("address", ["0.0.0.0", "::", "192.168.1.7", "example.org", ""])
def test_other_machines_are_kept_out(address: str) -> None:
    with pytest.raises(serving.ServeError, match="log in"):
        serving.refuse_open_address(address)


@pytest.mark.parametrize("address", ["127.0.0.1", "127.3.2.1", "::1", "localhost"])
def test_this_machine_may_come_in(address: str) -> None:
    serving.refuse_open_address(address)


def test_a_taken_port_is_told_with_another() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(serving.ServeError, match=rf"--port {port + 1}|--port 8501"):
            serving.refuse_taken_port("127.0.0.1", port)


def test_nothing_is_left_to_the_users_own_settings() -> None:
    flags = serving.flags("127.0.0.1", 8599, serving.app_folder())
    assert {
        "--browser.gatherUsageStats=false",
        "--server.address=127.0.0.1",
        "--server.port=8599",
        "--server.headless=true",
        "--client.showErrorDetails=none",
    } <= set(flags)
    assert len({flag.partition("=")[0] for flag in flags}) == len(flags)


@pytest.mark.slow
def test_it_serves_says_where_and_ends_with_ctrl_c(tmp_path: Path) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "photocheck.cli", "serve", "--port", str(port)]
    server = subprocess.Popen(
        [*command, "--store", str(tmp_path / "orders.sqlite3")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
        start_new_session=True,
    )
    try:
        assert server.stdout.readline() == (
            f"photocheck is open at http://127.0.0.1:{port} (Ctrl-C ends it).\n"
        )
        page = urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=10)
        assert page.status == 200
        again = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, check=False)
        assert again.returncode == 2
        assert f"port {port} cannot be used" in again.stderr
        # A terminal's Ctrl-C reaches every process in it.
        os.killpg(server.pid, signal.SIGINT)
        assert server.wait(15) == 0
        assert "Traceback" not in server.stderr.read()
    finally:
        if server.poll() is None:
            os.killpg(server.pid, signal.SIGKILL)
    with pytest.raises(OSError):  # noqa: PT011
        urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=2)
