"""`photocheck serve` as a supervisor runs it, with whatever it connects to written down."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tests.support.command_line import line_of
from tests.support.pages import free_port

_WATCHED = """
import os, sys
noted = os.open(sys.argv.pop(1), os.O_WRONLY | os.O_CREAT | os.O_APPEND)
OUT = ("socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr",
       "socket.sendto", "socket.sendmsg", "urllib.Request")
def hook(event, args):
    if event in OUT:
        os.write(noted, (event + " " + repr(args[1:]) + chr(10)).encode())
sys.addaudithook(hook)
exec(sys.argv.pop(1))
from photocheck.cli.main import main
sys.argv[0] = "photocheck"
sys.exit(main())
"""
"""A program that writes down every look-up and every connection of its own (PEP 578)."""


BY_HAND: Final = (
    "import pathlib, photocheck.propose.network as network; "
    "network.FOLDER = pathlib.Path('nowhere')"
)
"""Code of a server that proposes no marks: what people do by hand is tested by itself."""


@dataclass(frozen=True)
class Alone:
    """A server and its address.

    Attributes
    ----------
    process : subprocess.Popen
        Its group is its own.
    port : int
    noted : Path
        What it connected to.
    store, log : Path
    """

    process: subprocess.Popen[str]
    port: int
    noted: Path
    store: Path
    log: Path

    @property
    def address(self) -> str:
        """Where it answers."""
        return f"http://127.0.0.1:{self.port}"


@contextmanager
def served_alone(
    folder: Path, *, before: Sequence[str] = (), options: Sequence[str] = (), code: str = ""
) -> Iterator[Alone]:
    """The app, once it answers; killed at the end where it has not ended by itself.

    Parameters
    ----------
    before : sequence of str
        A command that runs it.
    options : sequence of str
        More for ``serve``.
    code : str
        Python that the process runs first.
    """
    port, noted = free_port(), folder / "connected.txt"
    store, log = folder / "orders.sqlite3", folder / "log.txt"
    command = [*before, sys.executable, "-c", _WATCHED, str(noted), code]
    command += ["serve", "--port", str(port)]
    with log.open("w") as errors:
        process = subprocess.Popen(
            [*command, "--store", str(store), *options],
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
            start_new_session=True,
        )
    try:
        said = line_of(process)
        assert f":{port} " in said, f"{said}{log.read_text()}"
        yield Alone(process, port, noted, store, log)
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
