"""How the desk's first paint grows with the store: ``python tests/browser/measure_desk.py``.

Bar: with 5,000 orders at most 1.5 times that with 50, both in one run.  A store of 50 and one of
5,000 orders are made of one real check, each served by a server of its own; visits to the two
alternate, each by a visitor who was never there, after one to each that counts for nothing.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from statistics import median
from typing import Any

from playwright.sync_api import Browser, sync_playwright

from photocheck.case.samples import samples_folder
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.model import CHOICES, Selection
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.orders.store.database import begun
from photocheck.orders.store.listed import relist
from photocheck.orders.store.rows import as_json, draft_as_json
from photocheck.orders.store.tables import check_photos, checks, decisions, orders, photos
from photocheck.report.file import report_to_dict
from photocheck.server.run import run_check
from photocheck.words import VERDICTS
from tests.support.command_line import line_of
from tests.support.pages import FLAGS, free_port

SIZES = (50, 5000)
TIMES = 7


def filled(store: DatabaseStore, count: int) -> None:
    """Orders that differ in all that the list shows: half wait, some are drafts, some decided."""
    folder = samples_folder() / "flint"
    photo = (folder / "side.jpg").read_bytes()
    case_file = ("case.json", (folder / "case.json").read_bytes())
    first = run_check(store, bring_in(store, case_file, [("side.jpg", photo)]).key, by="owner")
    report = as_json(report_to_dict(first.report))
    rng = random.Random(1)
    with store.writing() as connection:
        for number in range(1, count):
            order_id, _ = begun(connection, "en")
            draft = first.case.but("name", f"{number}, Dog {rng.randrange(count)}")
            draft = draft.but(
                "owner", replace(draft.owner, name=f"Owner {number}", notes="red " * 9)
            )
            written = draft_as_json(draft)
            connection.execute(
                orders.update()
                .where(orders.c.id == order_id)
                .values(draft=written, name=draft.title)
            )
            if rng.random() < 0.85:
                _checked(connection, order_id, first, written, report, draft.title, rng)
            relist(connection, order_id)


def _checked(
    connection: Any, order_id: int, first: Any, case: str, report: str, name: str, rng: Any
) -> None:
    name_of_photo = first.case.photos[0].file
    connection.execute(
        photos.insert().values(
            order_id=order_id,
            name=name_of_photo,
            sha256=f"{order_id:064d}",
            at=first.at,
            content=b"x",
        )
    )
    number = connection.execute(
        checks.insert()
        .values(
            order_id=order_id,
            at=first.at,
            by="owner",
            program=first.program,
            ratios="",
            language="en",
            case=case,
            report=report,
            name=name,
            verdict=rng.choice(VERDICTS),
            worst=rng.random() * 9,
            headline=first.report.headline,
        )
        .returning(checks.c.number)
    ).scalar_one()
    connection.execute(
        check_photos.insert().values(
            check_number=number,
            position=0,
            order_id=order_id,
            name=name_of_photo,
            sha256=f"{order_id:064d}",
        )
    )
    if rng.random() < 0.4:
        connection.execute(
            decisions.insert().values(
                order_id=order_id,
                check_number=number,
                at=first.at,
                by="Ann",
                choice=rng.choice(CHOICES),
                reason="measured",
                message="",
                program="",
                ratios="",
            )
        )


def served(file: Path) -> tuple[subprocess.Popen[str], str]:
    """A server on a store, and its address."""
    port = free_port()
    command = [sys.executable, "-m", "photocheck", "serve", "--open-desk"]
    command += ["--port", str(port), "--store", str(file)]
    server = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=os.environ
    )
    line_of(server)
    return server, f"http://127.0.0.1:{port}/desk?language=en&by=Ann"


def first_paint(browser: Browser, address: str) -> float:
    """Seconds until a new visitor sees the list."""
    context = browser.new_context(viewport={"width": 1366, "height": 768})
    page = context.new_page()
    began = time.monotonic()
    page.goto(address)
    page.locator(".st-key-desk_list button").nth(24).wait_for(timeout=120_000)
    took = time.monotonic() - began
    context.close()
    return took


def asked(store: DatabaseStore) -> float:
    """Seconds for one page of the list with its counts, asked of the store alone."""
    began = time.perf_counter()
    store.listed(Selection(), most=25)
    return time.perf_counter() - began


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        servers, addresses = [], {}
        for size in SIZES:
            file = Path(folder) / f"{size}.sqlite3"
            store = open_store(str(file))
            filled(store, size)
            alone = [asked(store) for _ in range(TIMES)]
            print(
                f"{size:5d} orders: a page of the list {1000 * median(alone):6.1f} ms (store alone)"
            )
            store.close()
            server, addresses[size] = served(file)
            servers.append(server)
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        took: dict[int, list[float]] = {size: [] for size in SIZES}
        for visit in range(TIMES + 1):
            for size in SIZES:
                paint = first_paint(browser, addresses[size])
                if visit:
                    took[size].append(paint)
        browser.close()
        for size, paints in took.items():
            print(
                f"{size:5d} orders: first paint {median(paints):5.2f} s (median of {TIMES}, "
                f"{min(paints):.2f} to {max(paints):.2f})"
            )
        few, many = (median(took[size]) for size in SIZES)
        print(f"ratio {many / few:.2f}; the bar is 1.5")
        for server in servers:
            server.send_signal(signal.SIGINT)
            server.wait(20)


if __name__ == "__main__":
    main()
