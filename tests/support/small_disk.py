"""A real filesystem of a few megabytes, which a test can fill up."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

_AS_ROOT = () if os.name != "posix" or os.geteuid() == 0 else ("--user", "--map-root-user")
_FILL = """
import os, sys
with open(sys.argv[1], "ab", buffering=0) as file:
    size = 2**20
    while size:
        try:
            file.write(b"x" * size)
        except OSError:
            size //= 2
"""
_SIZE = "import os, sys; it = os.statvfs(sys.argv[1]); print(it.f_bavail * it.f_frsize)"


@dataclass(frozen=True)
class SmallDisk:
    """One that only processes begun by `inside` see.

    Attributes
    ----------
    folder : Path
        Where it is.
    inside : sequence of str
        A command that runs another where the disk is.
    """

    folder: Path
    inside: Sequence[str]

    def run(
        self, *command: str | Path, timeout_s: float = 120
    ) -> subprocess.CompletedProcess[bytes]:
        """A command, once it has ended."""
        told = [*self.inside, *map(str, command)]
        return subprocess.run(told, capture_output=True, check=False, timeout=timeout_s)

    def fill(self) -> None:
        """To the last byte."""
        done = self.run(sys.executable, "-c", _FILL, self.folder / "filling")
        assert done.returncode == 0, done.stderr
        assert self.free() < 4096

    def make_room(self) -> None:
        """Take away what filled it."""
        assert self.run("rm", self.folder / "filling").returncode == 0

    def free(self) -> int:
        """Bytes."""
        return int(self.run(sys.executable, "-c", _SIZE, self.folder).stdout)

    def files(self) -> set[str]:
        """The names of all that lies there, hidden ones too."""
        said = self.run("find", self.folder, "-type", "f", "-printf", "%f\\n")
        return set(said.stdout.decode().split())


@contextmanager
def small_disk(folder: Path, megabytes: int) -> Iterator[SmallDisk]:
    """One that is there until the block is left; skipped where this machine lets nobody mount."""
    mount = f'mount -t tmpfs -o size={megabytes}m,mode=0700 none "$0" && echo there && exec cat'
    command = ["unshare", *_AS_ROOT, "--mount", "sh", "-c", mount, str(folder)]
    try:
        holding = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
    except OSError as error:
        pytest.skip(f"no filesystem can be mounted here: {error}")
    with holding:
        assert holding.stdin is not None
        assert holding.stdout is not None
        assert holding.stderr is not None
        try:
            if holding.stdout.readline() != b"there\n":
                said = holding.stderr.read().decode().strip()
                pytest.skip(f"no filesystem can be mounted here: {said}")
            spaces = ["--mount", *(["--user", "--preserve-credentials"] if _AS_ROOT else [])]
            yield SmallDisk(folder, ("nsenter", "--target", str(holding.pid), *spaces))
        finally:
            holding.stdin.close()  # it ends, and the disk with it
