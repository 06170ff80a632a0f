"""A server whose loop does not go round is ended, and no other."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import psutil
import pytest

from photocheck.server import watch
from tests.support.command_line import line_of
from tests.support.waiting import until

SERVER = """
import asyncio, os, signal, sys
from photocheck.server import watch
watch.EVERY_S = 0.05

async def serve(what):
    watched = watch.Watch("It hung.", silent=int(sys.argv[2]))
    watched.begin()
    print(watched._watching.pid, flush=True)
    while what == "hangs":
        pass
    if what == "unwatched":
        os.kill(watched._watching.pid, signal.SIGKILL)
    await asyncio.to_thread(sys.stdin.read)
    watched.end()

asyncio.run(serve(sys.argv[1]))
"""


def _served(what: str, silent: int, log: Path) -> tuple[subprocess.Popen[str], psutil.Process]:
    """A process that does nothing but say that it lives, and the one that watches over it."""
    with log.open("w") as errors:
        process = subprocess.Popen(
            [sys.executable, "-c", SERVER, what, str(silent)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
        )
    return process, psutil.Process(int(line_of(process)))


@pytest.mark.slow
@pytest.mark.parametrize("how", ["hangs", "is stopped"])
def test_one_that_hangs_is_ended_and_says_where(how: str, tmp_path: Path) -> None:
    log = tmp_path / "log"
    process, watching = _served("hangs" if how == "hangs" else "lives", 2, log)
    if how == "is stopped":
        process.send_signal(signal.SIGSTOP)
    assert process.wait(60) == -signal.SIGKILL
    until(lambda: not watching.is_running(), "nothing watches any more")
    said = log.read_text()
    assert said.startswith("It hung.\n")
    # a stopped process can write nothing
    assert ("in serve" in said) == (how == "hangs")


@pytest.mark.slow
def test_one_that_lives_goes_on_and_nothing_is_left_when_it_ends(tmp_path: Path) -> None:
    process, watching = _served("lives", 2, tmp_path / "log")
    for one in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        watching.send_signal(one)  # as to a whole group
    assert process.stdin is not None
    process.stdin.close()
    assert process.wait(60) == 0
    assert not watching.is_running()
    assert (tmp_path / "log").read_text() == ""


@pytest.mark.slow
def test_what_watches_goes_with_the_server_and_the_server_without_it(tmp_path: Path) -> None:
    process, watching = _served("lives", 2, tmp_path / "log")
    process.kill()
    process.wait(60)
    until(lambda: not watching.is_running(), "nothing watches any more")
    process, watching = _served("unwatched", 2, tmp_path / "log")
    until(lambda: watching.status() == psutil.STATUS_ZOMBIE, "nothing watches any more")
    assert process.poll() is None
    assert process.stdin is not None
    process.stdin.close()
    assert process.wait(60) == 0


def test_the_shipped_patience() -> None:
    assert (watch.EVERY_S, watch.SILENT, watch.WRITES_S) == (1.0, 15, 1.0)
