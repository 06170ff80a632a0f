"""The memory that this process and its children have, watched while something runs."""

from __future__ import annotations

import os
import threading
import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path


def resident_mb(pid: str) -> float:
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    except (OSError, IndexError):  # it has just ended
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def command(pid: str) -> bytes:
    """As it was started; nothing once it has ended."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return b""


def children() -> list[str]:
    found = []
    for task in Path("/proc/self/task").iterdir():
        try:
            found += (task / "children").read_text().split()
        except OSError:
            continue
    return found


class Watch(threading.Thread):
    """Looks at this process and its new children twenty times a second."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.own, self.theirs, self.many = 0.0, 0.0, 0
        self.over = threading.Event()
        # Helpers of Python's own that earlier tests have left to this process.
        self.others = set(children())

    def run(self) -> None:
        own = command("self")
        while not self.over.wait(0.05):
            # One that has not become its program yet shares this process's memory: counted with
            # it, that of a long run of tests would be taken for the child's. Asked before its
            # memory, as what is its own program now stays so.
            each = [
                0.0 if command(pid) == own else resident_mb(pid)
                for pid in children()
                if pid not in self.others
            ]
            self.own = max(self.own, resident_mb("self"))
            self.theirs = max(self.theirs, sum(each))
            self.many = max(self.many, len(each))


@dataclass
class Room:
    """The most that was asked for at any moment while something ran, bytes."""

    most: int = 0


@contextmanager
def most_room() -> Iterator[Room]:
    """Counts what Python, NumPy and (through NumPy's arrays) OpenCV ask for; no clock is read.

    Pillow's own pictures are not counted.
    """
    room = Room()
    tracemalloc.start()
    try:
        yield room
    finally:
        room.most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
