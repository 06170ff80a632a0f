"""How long a shop's own figures and its learning take, among few orders and among many."""

from __future__ import annotations

import json
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

import numpy as np
from sqlalchemy import insert

from photocheck.case.file import read_case
from photocheck.case.model import Reading
from photocheck.case.samples import samples_folder
from photocheck.checking import check
from photocheck.orders.own_figures import OwnFigures, own_figures
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.orders.store.tables import checks, decisions, orders, outcomes
from photocheck.orders.taught import learn_from_store
from photocheck.report.file import report_to_dict
from photocheck.report.model import Report

SAMPLE: Final = "sorrel"
BREEDS: Final = 12
ROUNDS: Final = 3


def report(orders_there: int) -> str:
    """Time both among growing numbers of invented orders and lay it out as Markdown."""
    made = check(read_case(samples_folder() / SAMPLE / "case.json"))
    sizes = [n for n in (0, 1, 5, 50, 500) if n < orders_there] + [orders_there]
    lines = [
        "| orders | own figures, s | ms an order | learning, s | memory of the figures, MB |",
        "| --- | --- | --- | --- | --- |",
    ]
    took: dict[int, float] = {}
    with tempfile.TemporaryDirectory() as folder:
        for count in sizes:
            path = Path(folder) / f"{count}.db"
            with closing(open_store(str(path))) as store:
                _fill(store, made, count)
                figures = _median(partial(_figures, store))
                nowhere = Path(folder) / "none.json"
                learning = _median(partial(learn_from_store, store, nowhere, write=False))
                memory = _peak_mb(partial(_figures, store))
            took[count] = figures
            each = f"{1000 * figures / count:.2f}" if count else ""
            lines.append(f"| {count} | {figures:.3f} | {each} | {learning:.2f} | {memory:.1f} |")
    ratio = took[sizes[-1]] / sizes[-1] / (took[50] / 50) if 50 in took else float("nan")
    return "\n".join(
        [
            *lines,
            "",
            f"One order among {sizes[-1]} costs the figures {ratio:.2f} times what it costs among "
            "50. Orders are copies of one sample's check with readings drawn anew, checked once, "
            "accepted, most of them heard of; each figure is the median of "
            f"{ROUNDS} runs in one process, on SQLite.",
        ]
    )


def _figures(store: DatabaseStore) -> OwnFigures:
    return own_figures(store.whole())


def _median(work: Callable[[], object]) -> float:
    took = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        work()
        took.append(time.perf_counter() - start)
    return float(np.median(took))


def _peak_mb(work: Callable[[], object]) -> float:
    tracemalloc.start()
    work()
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak / 1e6


def _fill(store: DatabaseStore, made: Report, count: int) -> None:
    """Invented orders in one transaction, without photos: neither reads one."""
    rng = np.random.default_rng(1)
    begun = datetime(2026, 1, 1, tzinfo=UTC)
    rows: dict[str, list[dict[str, Any]]] = {"orders": [], "checks": [], "decisions": []}
    heard: list[dict[str, Any]] = []
    for k in range(1, count + 1):
        at = begun + timedelta(hours=k)
        one = _drawn(made, rng, k)
        rows["orders"].append(
            {
                "id": k,
                "key": sha256(str(k).encode()).hexdigest()[:43],
                "opened": at,
                "language": "en",
                "draft": "{}",
                "name": f"Invented {k}",
                "touched": at,
                "photos_given": 0,
            }
        )
        rows["checks"].append(
            {
                "number": k,
                "order_id": k,
                "at": at,
                "by": "owner",
                "program": one.version,
                "ratios": "",
                "language": "en",
                "case": "{}",
                "report": json.dumps(report_to_dict(one)),
                "name": f"Invented {k}",
                "verdict": one.verdict,
                "worst": 0.0,
                "headline": one.headline,
            }
        )
        rows["decisions"].append(
            {
                "order_id": k,
                "check_number": k,
                "at": at + timedelta(hours=3),
                "by": "invented",
                "choice": "accepted",
                "reason": "",
                "message": "",
                "program": one.version,
                "ratios": "",
            }
        )
        if k % 3:
            heard.append(
                {
                    "order_id": k,
                    "check_number": k,
                    "at": at + timedelta(days=20),
                    "day": date(2026, 2, 1),
                    "by": "owner",
                    "from_owner": True,
                    "result": "returned" if k % 20 == 1 else "fitted",
                    "felt": "{}",
                    "measured": "{}",
                    "words": "",
                }
            )
    with store.writing() as connection:
        for table in (orders, checks, decisions):
            if rows[table.name]:
                connection.execute(insert(table), rows[table.name])
        if heard:
            connection.execute(insert(outcomes), heard)


def _drawn(made: Report, rng: np.random.Generator, k: int) -> Report:
    """The same dog as another of its breed, whose tape was led a little otherwise."""
    shift = 0.05 * np.sin(k % BREEDS)
    readings = {
        name: Reading(one.mm * float(np.exp(shift + rng.normal(0, 0.02))), one.typed, one.unit)
        for name, one in made.case.readings.items()
    }
    dog = replace(made.case.dog, breed=f"invented {k % BREEDS}")
    return replace(made, case=replace(made.case, readings=readings, dog=dog))
