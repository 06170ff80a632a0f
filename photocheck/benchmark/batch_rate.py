"""The rate of a batch on several processes over that on one, and its memory over time."""

from __future__ import annotations

import os
import shutil
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from photocheck.batch.lanes import Lanes, one_thread_each
from photocheck.batch.many import Task, run
from photocheck.batch.results import Results
from photocheck.benchmark.speed import twelve_megapixel_case
from photocheck.orders.intake.case_files import CaseSource

SAMPLED_S = 0.25
"""How often the memory is looked at (Linux only)."""


def report(orders: int, rounds: int, jobs: int) -> str:
    """Time both in turn, whole with results written, and lay it out as Markdown."""
    with tempfile.TemporaryDirectory() as place, one_thread_each():
        folder = Path(place)
        tasks = _tasks(folder, orders)
        with Lanes(1) as one, Lanes(jobs) as many, Results(folder / "out.jsonl") as results:
            for lanes, count in ((one, 1), (many, jobs)):  # imports
                run(tasks[: 2 * count], lanes, at_once=count, on_line=results.add)
            size = -(-orders // rounds)
            took: dict[int, list[float]] = {1: [], jobs: []}
            memory: dict[int, list[float]] = {1: [], jobs: []}
            for begin in range(0, orders, size):
                part = tasks[begin : begin + size]
                for lanes, count in ((one, 1), (many, jobs)):
                    with _sampling(memory[count]):
                        start = time.perf_counter()
                        run(part, lanes, at_once=count, on_line=results.add)
                        took[count].append((time.perf_counter() - start) / len(part))
            bad = [line for line in results.last.values() if line["outcome"] != "checked"]
    if bad:
        raise AssertionError(f"an order could not be checked: {bad[0]}")
    ratios = np.array(took[1]) / np.array(took[jobs])
    return (
        f"{orders} orders with a 12 MP photo each, results written and synced: "
        f"{1 / np.mean(took[1]):.2f} orders/s with one process, {1 / np.mean(took[jobs]):.2f} "
        f"with {jobs}: {np.mean(took[1]) / np.mean(took[jobs]):.2f} times as many "
        f"({ratios.min():.2f} to {ratios.max():.2f} over {len(ratios)} rounds in turn; "
        f"{os.cpu_count()} cores). {_told(memory[jobs])}"
    )


def _tasks(folder: Path, count: int) -> list[Task]:
    """Copies of one order, each with files of its own."""
    first = folder / "0"
    first.mkdir()
    twelve_megapixel_case(first)
    for number in range(1, count):
        shutil.copytree(first, folder / str(number))
    return [Task(source=CaseSource(folder / str(number) / "case.json")) for number in range(count)]


@contextmanager
def _sampling(into: list[float]) -> Iterator[None]:
    """Memory of this process and all it has started, MB, until the block ends."""
    done = threading.Event()

    def look() -> None:
        while not done.wait(SAMPLED_S):
            into.append(sum(map(_resident_mb, _family())))

    thread = threading.Thread(target=look)
    thread.start()
    try:
        yield
    finally:
        done.set()
        thread.join()


def _family() -> list[int]:
    found = [os.getpid()]
    for task in Path(f"/proc/{os.getpid()}/task").glob("*/children"):
        try:
            found += map(int, task.read_text().split())
        except OSError:
            continue
    return found


def _resident_mb(process: int) -> float:
    try:
        status = Path(f"/proc/{process}/status").read_text()
    except OSError:
        return 0.0
    return sum(int(line.split()[1]) for line in status.splitlines() if line[:6] == "VmRSS:") / 1024


def _told(memory: list[float]) -> str:
    if len(memory) < 8:
        return "Too short to say anything of the memory."
    quarters = [part.mean() for part in np.array_split(np.array(memory), 4)]
    return (
        "Resident memory of all processes together, mean of each quarter of the run: "
        f"{', '.join(f'{mb:.0f}' for mb in quarters)} MB, at most {max(memory):.0f} MB."
    )
