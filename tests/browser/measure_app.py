"""How long an owner waits: ``python tests/browser/measure_app.py``.

Bars, on an idle machine of two cores: the first usable screen within 2.5 s, the verdict within
1.5 s of pressing the button after the last mark, with a photo of 12 megapixels.
"""

from __future__ import annotations

import io
import json
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import Any

from PIL import Image
from playwright.sync_api import Page, sync_playwright

from photocheck.case.samples import samples_folder
from photocheck.orders.draft import Draft
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.server.access.passes import link_for
from tests.support.command_line import line_of
from tests.support.pages import FLAGS, free_port

TIMES = 5
PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 3,
    "has_touch": True,
    "is_mobile": True,
    "locale": "en-GB",
}


def twelve_megapixels(store: DatabaseStore, name: str) -> tuple[str, list[float]]:
    """A sample enlarged to 4000 x 3000 px as an order without its last mark, and that mark."""
    folder = samples_folder() / name
    data = json.loads((folder / "case.json").read_text(encoding="utf-8"))
    photo = Image.open(folder / "side.jpg")
    large = photo.resize((2 * photo.width, 2 * photo.height), Image.Resampling.BICUBIC)
    content = io.BytesIO()
    large.save(content, "JPEG", quality=92, exif=photo.getexif())
    marks = data["photos"][0]["markings"][0]["marks"]
    for mark, (x, y) in marks.items():
        marks[mark] = [2 * x + 0.5, 2 * y + 0.5]
    case_file = ("case.json", json.dumps(data).encode())
    key = bring_in(store, case_file, [("side.jpg", content.getvalue())]).key
    draft = store.draft(key).to_dict()
    last = draft["photos"][0]["markings"][0]["marks"].pop("tail_base")
    store.save_draft(key, Draft.from_dict(draft))
    return key, last


def first_screen(page: Page, address: str) -> float:
    began = time.monotonic()
    page.goto(address)
    page.locator('a[href*="begin=quick"]').wait_for()
    return time.monotonic() - began


def verdict(page: Page, address: str, store: DatabaseStore, name: str) -> tuple[float, float]:
    """Seconds from the last mark's tap to the draft, and from the button to the verdict."""
    key, (x, y) = twelve_megapixels(store, name)
    link = link_for(store, key, by="measurement")
    page.goto(f"{address}/?order={link}&step=marks")
    page.wait_for_selector(".stage[data-ready=yes]", timeout=60_000)
    picture = page.locator(".photo image").first
    picture.scroll_into_view_if_needed()
    box = picture.bounding_box()
    assert box is not None
    scale = box["width"] / 4000
    began = time.monotonic()
    page.touchscreen.tap(box["x"] + (x + 0.5) * scale, box["y"] + (y + 0.5) * scale)
    page.get_by_text("All marks are placed.").wait_for()
    kept = time.monotonic() - began
    began = time.monotonic()
    page.get_by_role("button", name="See the result", exact=True).click()
    page.locator(".stAlert h2").wait_for(timeout=60_000)
    return kept, time.monotonic() - began


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        file, port = Path(folder) / "orders.sqlite3", free_port()
        server = subprocess.Popen(
            [
                *(sys.executable, "-m", "photocheck", "serve"),
                *("--port", str(port), "--store", str(file)),
            ],
            stdout=subprocess.PIPE,
            text=True,
        )
        line_of(server)
        address = f"http://127.0.0.1:{port}"
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        store = open_store(str(file))
        screens = []
        for _ in range(TIMES):
            context = browser.new_context(**PHONE)
            screens.append(first_screen(context.new_page(), address))
            context.close()
        print(f"first screen of a fresh server        {screens[0]:5.2f} s")
        print(f"first screen, each a new visitor      {median(screens[1:]):5.2f} s (median)")
        context = browser.new_context(**PHONE)
        page = context.new_page()
        for name in ("flint", "bramble"):
            both = [verdict(page, address, store, name) for _ in range(TIMES)]
            kept, said = ([one[k] for one in both] for k in (0, 1))
            print(f"{name}: last mark told and kept {' ':7} {median(kept):5.2f} s (median)")
            print(
                f"{name}: verdict after the button {' ':6} {median(said):5.2f} s (median), "
                f"{max(said):.2f} s at most"
            )
        browser.close()
        store.close()
        server.send_signal(signal.SIGINT)
        server.wait(20)


if __name__ == "__main__":
    main()
