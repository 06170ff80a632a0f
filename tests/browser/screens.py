"""Every screen's picture: ``python -m tests.browser.screens FOLDER``.

In every language, light and dark, on a phone and at a desk, whole from top to bottom, with one
page of all of them (``index.html``) to look through.  What axe-core finds is the tests' business.
"""

from __future__ import annotations

import argparse
import re
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from html import escape
from itertools import product
from pathlib import Path
from typing import Any, Final

from playwright.sync_api import Page, sync_playwright

from photocheck.case.samples import samples_folder
from photocheck.orders.draft import Draft
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.screens import MARKS
from photocheck.orders.store import open_store
from photocheck.server.access.passes import link_for
from photocheck.server.run import run_check
from photocheck.speech import LANGUAGES
from photocheck_app.owner.way import PAGES
from tests.support.command_line import line_of
from tests.support.pages import FLAGS, free_port, rests
from tests.support.tagged_photo import order_with_tags

DEVICES: Final[dict[str, dict[str, Any]]] = {
    "phone": {
        "viewport": {"width": 390, "height": 844},
        "device_scale_factor": 2,
        "has_touch": True,
        "is_mobile": True,
    },
    "lying": {
        "viewport": {"width": 844, "height": 390},
        "device_scale_factor": 2,
        "has_touch": True,
        "is_mobile": True,
    },
    "desk": {"viewport": {"width": 1280, "height": 900}},
}
SCHEMES: Final = ("light", "dark")
FILLED: Final = "flint"
"""The sample whose order is shown filled in; another is empty."""

TALLEST_PX: Final = 4000


def of_server(store_file: Path) -> dict[str, str]:
    """Every screen's name and address below the server's."""
    with closing(open_store(str(store_file))) as store:
        folder = samples_folder() / FILLED
        key = bring_in(
            store,
            ("case.json", (folder / "case.json").read_bytes()),
            [("side.jpg", (folder / "side.jpg").read_bytes())],
        ).key
        run_check(store, key, by="owner")
        empty = store.open("en")
        store.save_draft(empty, Draft())
        links = {
            name: link_for(store, one, by="screens")
            for name, one in (("filled", key), ("empty", empty), ("tags", order_with_tags(store)))
        }
    asked = {
        f"owner-{screen}-{name}": f"?order={link}&step={screen}"
        for (name, link), screen in product(links.items(), PAGES)
        if name != "tags" or screen == MARKS
    }
    return {
        "first": "",
        "welcome": "owner",
        "sample": "?step=sample",
        **asked,
        "lost": "?order=nothing",
        "sheet": "sheet",
        "practise": "practise",
        "staff": "staff",
        "desk": "desk",
        "desk-order": f"desk?case={key}",
    }


@contextmanager
def server(folder: Path) -> Iterator[tuple[str, Path]]:
    """The app with an open desk, its address and its store's file."""
    port, file = free_port(), folder / "orders.sqlite3"
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "photocheck", "serve", "--open-desk"),
            *("--port", str(port), "--store", str(file)),
        ],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        line_of(process)
        yield f"http://127.0.0.1:{port}", file
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(20)


def shoot(page: Page, address: str, file: Path) -> None:
    """One screen's picture, as tall as what it shows."""
    page.goto(address)
    page.locator("h1, h2, [role=alert]").first.wait_for(timeout=60_000)
    if page.locator("#root").count():
        rests(page)
    page.evaluate("document.fonts.ready")
    height = page.evaluate(
        "(document.querySelector('[data-testid=stMain]') ?? document.documentElement).scrollHeight"
    )
    size = page.viewport_size
    assert size is not None
    page.set_viewport_size({**size, "height": max(size["height"], min(height, TALLEST_PX))})
    if page.locator("#root").count():
        rests(page)  # the surface draws itself anew at another size
    page.screenshot(path=file)
    page.set_viewport_size(size)


def index(folder: Path, names: Sequence[str]) -> None:
    """One page that shows all pictures of a folder."""
    shown = "".join(
        f'<figure><img loading="lazy" src="{escape(name)}.png" alt=""><figcaption>{escape(name)}'
        "</figcaption></figure>"
        for name in names
    )
    style = (
        "body{font:14px sans-serif;display:flex;flex-wrap:wrap;gap:1rem;background:#888}"
        "figure{margin:0}img{height:36rem}"
    )
    page = f"<!doctype html><meta charset=utf-8><title>Screens</title><style>{style}</style>{shown}"
    (folder / "index.html").write_text(page, encoding="utf-8")


def main() -> None:
    """Make them all."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", default="", help="screens whose names match this expression")
    parser.add_argument("--device", choices=list(DEVICES), action="append")
    parser.add_argument("--scheme", choices=SCHEMES, action="append")
    parser.add_argument("--language", choices=list(LANGUAGES), action="append")
    told = parser.parse_args()
    told.folder.mkdir(parents=True, exist_ok=True)
    made = []
    with (
        tempfile.TemporaryDirectory() as folder,
        server(Path(folder)) as (address, file),
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        wanted = {
            name: path for name, path in of_server(file).items() if re.search(told.only, name)
        }
        for language, scheme, device in product(
            told.language or list(LANGUAGES),
            told.scheme or SCHEMES,
            told.device or ("phone", "desk"),
        ):
            context = browser.new_context(
                **DEVICES[device], color_scheme=scheme, locale=language, reduced_motion="reduce"
            )
            page = context.new_page()
            for name, path in wanted.items():
                made.append(f"{name}-{language}-{scheme}-{device}")
                shoot(page, f"{address}/{path}", told.folder / f"{made[-1]}.png")
            context.close()
            print(f"{language}, {scheme}, {device}: {len(wanted)} screens", flush=True)
        browser.close()
    index(told.folder, made)
    print(f"{told.folder / 'index.html'}: {len(made)} pictures")


if __name__ == "__main__":
    main()
