"""Ends a server that hangs, so that whatever supervises it starts another.

A server that has died is seen by everybody: its port is shut, and the proxy asks another.  One that
hangs keeps its port, and whoever comes waits.  So the server says every second that its loop still
goes round, to a small process beside it, for neither a stopped process nor one whose interpreter is
held by something can end itself.  What was acknowledged is in the store, whatever ends the server
(`tests/orders/store/test_store_kill.py`).

This file is run by itself in that process: it imports nothing of photocheck's.
"""

from __future__ import annotations

import asyncio
import faulthandler
import os
import select
import signal
import subprocess
import sys
import time
from typing import Final

EVERY_S: Final = 1.0
"""Between two signs of life."""

SILENT: Final = 15
"""So many times in a row none has come when the server is ended.  Counted, not measured: where all
processes were stopped (Ctrl-Z, a machine that sleeps), it was once (judgement)."""

WRITES_S: Final = 1.0
"""For the server to write down where it hangs, if it can."""


class Watch:
    """What watches over the event loop of this process; nothing on Windows.

    Parameters
    ----------
    said : str
        What is written on the standard error where it ends the server.
    silent : int
        As `SILENT`.
    """

    def __init__(self, said: str, *, silent: int = SILENT) -> None:
        self._said, self._silent = said, silent
        self._sign = -1
        self._watching: subprocess.Popen[bytes] | None = None

    def begin(self) -> None:
        """From now on; called in the loop."""
        if os.name != "posix":
            return
        faulthandler.register(signal.SIGUSR1)
        reads, self._sign = os.pipe()
        os.set_blocking(self._sign, False)
        # Isolated and without packages: it is small, and nothing that lies about is run.
        command = [sys.executable, "-I", "-S", __file__, str(self._silent), self._said]
        self._watching = subprocess.Popen(command, stdin=reads, stdout=subprocess.DEVNULL)
        os.close(reads)
        self._beat()

    def _beat(self) -> None:
        if self._sign < 0:
            return
        try:
            os.write(self._sign, b".")
        except BlockingIOError:
            pass  # it does not read just now: it will find enough
        except OSError:
            return  # it is gone, and nobody watches
        asyncio.get_running_loop().call_later(EVERY_S, self._beat)

    def end(self) -> None:
        """The server has ended."""
        if self._watching is None:
            return
        os.close(self._sign)
        self._sign = -1
        self._watching.wait()
        self._watching = None


def _watch(silent: int, said: str, server: int) -> None:
    for one in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(one, signal.SIG_IGN)  # it goes when the server has gone
    missed = 0
    while missed < silent:
        if select.select([0], [], [], EVERY_S)[0]:
            if not os.read(0, 4096):
                return
            missed = 0
        else:
            missed += 1
    if os.getppid() == server:
        os.write(2, f"{said}\n".encode())
        os.kill(server, signal.SIGUSR1)
        time.sleep(WRITES_S)
    if os.getppid() == server:
        os.kill(server, signal.SIGKILL)


if __name__ == "__main__":
    _watch(int(sys.argv[1]), sys.argv[2], os.getppid())
