"""Processes side by side, each with one order at a time, so that one that dies takes no other
order with it."""

from __future__ import annotations

import faulthandler
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from concurrent.futures import ProcessPoolExecutor as Pool
from contextlib import contextmanager
from multiprocessing.connection import wait as wait_for
from typing import Any, Final, ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")

RECYCLED_AFTER: Final = 200
"""Calls after which a process is replaced: whatever a library leaks is given back.  A new one
costs about as much time as two orders."""
PATIENCE_S: Final = 600.0
"""How long one call may take before its process is ended, s (judgement: a thousand times the
usual)."""

_ONE_THREAD: Final = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"), "1")


class Lanes(Executor):
    """`count` single processes.

    A process that dies breaks the future of its own call, if it has one, with `BrokenExecutor` and
    is replaced at the next one.  `submit` waits until a lane is free, so that no more than `count`
    calls are under way.  Processes are spawned: what is called and given must be importable and
    picklable.  When this process is killed, they end too.
    """

    def __init__(
        self, count: int, *, recycled_after: int = RECYCLED_AFTER, patience_s: float = PATIENCE_S
    ) -> None:
        self._lanes = [_Lane() for _ in range(count)]
        self._recycled_after = recycled_after
        self._patience_s = patience_s

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Call `fn` in the next free lane."""
        while not (free := [lane for lane in self._lanes if lane.future.done()]):
            wait([lane.future for lane in self._lanes], return_when=FIRST_COMPLETED)
        # The least used, so that not all are replaced at the same time.
        lane = min(free, key=lambda lane: lane.calls)
        if lane.calls >= self._recycled_after:
            lane.replace()
        try:
            call = lane.pool.submit(_watched, self._patience_s, fn, *args, **kwargs)
        except BrokenExecutor:  # its process died, in its last call or since
            lane.replace()
            call = lane.pool.submit(_watched, self._patience_s, fn, *args, **kwargs)
        lane.calls += 1
        lane.future = call
        return call

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the processes, once they are done with what they do."""
        for lane in self._lanes:
            lane.pool.shutdown(wait, cancel_futures=cancel_futures)


class _Lane:
    def __init__(self) -> None:
        self.future: Future[Any] = Future()
        self.future.set_result(None)
        self.calls = 0
        self.pool = _pool()

    def replace(self) -> None:
        self.pool.shutdown(wait=False)
        self.pool = _pool()
        self.calls = 0


def _pool() -> Pool:
    context = multiprocessing.get_context("spawn")
    return Pool(1, mp_context=context, initializer=_begin)


@contextmanager
def one_thread_each() -> Iterator[None]:
    """What is spawned inside this block does arithmetic with one thread for each process."""
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ.update(_ONE_THREAD)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def _begin() -> None:
    import cv2

    cv2.setNumThreads(1)
    # Ctrl-C reaches every process of the terminal; the first one decides what becomes of it.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    # A pool's process never notices by itself that its parent was killed.
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait_for([parent.sentinel])
        os._exit(1)


def _watched(patience_s: float, fn: Callable[..., T], /, *args: Any, **kwargs: Any) -> T:
    with open(os.devnull, "w") as nowhere:
        # Ends the process from a thread of its own, whatever hangs.
        faulthandler.dump_traceback_later(patience_s, exit=True, file=nowhere)
        try:
            return fn(*args, **kwargs)
        finally:
            faulthandler.cancel_dump_traceback_later()
