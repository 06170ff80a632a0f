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

from tests.support.behind_proxy import behind_proxy
from tests.support.pages import free_port
from tests.support.store_database import new_database

EVERY_S = 0.2
"""Between two looks at the memory."""


@dataclass
class Served:
    """A running app.

    Attributes
    ----------
    address : str
    store : Path or str
        The SQLite file that it keeps its orders in, or the address of another store.
    log : Path
        All that it wrote on its standard error.
    processes : list of subprocess.Popen
        The servers, and what is before them.
    certificate : Path or None
        By which it is known over HTTPS.
    resident : list of (int, int)
        Bytes that the largest process and all processes together held, over time (memory that
        processes share is counted for each).
    """

    address: str
    store: Path | str
    log: Path
    processes: list[subprocess.Popen[str]]
    certificate: Path | None = None
    resident: list[tuple[int, int]] = field(default_factory=list)

    def processor_s(self) -> float:
        """Seconds of processor time that all processes have taken."""
        took = 0.0
        for process in self._all():
            try:
                times = process.cpu_times()
            except psutil.NoSuchProcess:
                continue
            took += times.user + times.system + times.children_user + times.children_system
        return took

    def look(self) -> None:
        """Note the memory held now."""
        held = []
        for process in self._all():
            try:
                held.append(process.memory_info().rss)
            except psutil.NoSuchProcess:
                continue
        self.resident.append((max(held), sum(held)))

    def _all(self) -> list[psutil.Process]:
        roots = [psutil.Process(process.pid) for process in self.processes]
        return [one for root in roots for one in (root, *root.children(recursive=True))]

    @contextmanager
    def watched(self) -> Iterator[None]:
        """Its memory looked at for as long as the block lasts, or the first server runs."""
        left = threading.Event()

        def watch() -> None:
            while not left.wait(EVERY_S) and self.processes[0].poll() is None:
                self.look()

        watching = threading.Thread(target=watch, daemon=True)
        watching.start()
        try:
            yield
        finally:
            left.set()
            watching.join()


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
    try:
        assert process.stdout is not None
        said = process.stdout.readline()
        address = f"http://127.0.0.1:{port}"
        assert address in said, f"{said}{log.read_text()}"
        app = Served(address, store, log, [process])
        try:
            with app.watched():
                yield app
        except BaseException as error:
            error.add_note(f"the server's log:\n{log.read_text()}")
            raise
        os.killpg(process.pid, signal.SIGINT)
        ended = process.wait(30)
        assert ended == 0, f"the server ended with {ended}: {log.read_text()}"
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()


@contextmanager
def served_by_two(folder: Path) -> Iterator[Served]:
    """Two servers on one PostgreSQL behind nginx, as the help for workshops has them."""
    databases = new_database()
    with behind_proxy(next(databases), folder) as behind:
        app = Served(
            behind.address,
            behind.store,
            folder / "all.log",
            behind.processes,
            certificate=behind.certificate,
        )
        with app.watched():
            yield app
        logs = [behind.log(name).read_text() for name in behind.ports]
        app.log.write_text("".join([*logs, (folder / "nginx.log").read_text()]))
    next(databases, None)
