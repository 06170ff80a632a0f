"""`photocheck serve` in processes of its own, watched from outside."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import psutil

from tests.support.pages import free_port

EVERY_S = 0.2
"""Between two looks at the memory."""


@dataclass
class Served:
    """A running app.

    Attributes
    ----------
    address : str
    store : Path
        The SQLite file that it keeps its orders in.
    log : Path
        All that it wrote on its standard error.
    resident : list of (int, int)
        Bytes that the largest process and all processes together held, over time (memory that
        processes share is counted for each).
    """

    address: str
    store: Path
    log: Path
    process: subprocess.Popen[str]
    resident: list[tuple[int, int]] = field(default_factory=list)

    def processor_s(self) -> float:
        """Seconds of processor time that all processes have taken."""
        took = 0.0
        root = psutil.Process(self.process.pid)
        for process in (root, *root.children(recursive=True)):
            try:
                times = process.cpu_times()
            except psutil.NoSuchProcess:
                continue
            took += times.user + times.system + times.children_user + times.children_system
        return took

    def look(self) -> None:
        """Note the memory held now."""
        held = []
        root = psutil.Process(self.process.pid)
        for process in (root, *root.children(recursive=True)):
            try:
                held.append(process.memory_info().rss)
            except psutil.NoSuchProcess:
                continue
        self.resident.append((max(held), sum(held)))


@contextmanager
def served(folder: Path) -> Iterator[Served]:
    """The app with an empty store in a folder, until the block is left; then as after Ctrl-C."""
    store, log, port = folder / "orders.sqlite3", folder / "log.txt", free_port()
    command = [sys.executable, "-m", "photocheck", "serve"]
    with log.open("w") as errors:
        process = subprocess.Popen(
            [*command, "--port", str(port), "--store", str(store)],
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
            start_new_session=True,
        )
    left = threading.Event()
    try:
        assert process.stdout is not None
        said = process.stdout.readline()
        address = f"http://127.0.0.1:{port}"
        assert address in said, f"{said}{log.read_text()}"
        app = Served(address, store, log, process)

        def watch() -> None:
            while not left.wait(EVERY_S) and process.poll() is None:
                app.look()

        watching = threading.Thread(target=watch, daemon=True)
        watching.start()
        try:
            yield app
        except BaseException as error:
            error.add_note(f"the server's log:\n{log.read_text()}")
            raise
        left.set()
        watching.join()
        os.killpg(process.pid, signal.SIGINT)
        ended = process.wait(30)
        assert ended == 0, f"the server ended with {ended}: {log.read_text()}"
    finally:
        left.set()
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
