"""How quick the marking surface is on a 12 MP photo: ``python tests/browser/measure_surface.py``.

A fresh visitor each time, at a phone's size with three device pixels to a CSS pixel.  "Page to
photo" runs from opening the address to the photo shown and ready for a tap, server and
encoding included.  "Frame" is the time between two pictures on the screen while a mark is
dragged with the magnifier open, and "work" the script's own share of one.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np
from playwright.sync_api import Browser, sync_playwright

from photocheck.photo.load import load_photo
from photocheck.shown.display import display_copies
from tests.support.pages import FLAGS, Visitors, start_server
from tests.support.places import SAMPLES
from tests.support.surface import MARKS, PAGE, PHONE, Surface

WATCH = """() => {
  window.frames_ms = [];
  let last = 0;
  const tick = (now) => { if (last) frames_ms.push(now - last); last = now;
    window.watching = requestAnimationFrame(tick); };
  window.watching = requestAnimationFrame(tick);
  window.work_ms = 0;
  const real = window.requestAnimationFrame;
  window.requestAnimationFrame = (call) => real((now) => {
    const start = performance.now(); call(now); window.work_ms += performance.now() - start; });
}"""


def measured(browser: Browser, address: str) -> dict[str, list[float]]:
    began = time.perf_counter()
    phone = Surface(Visitors(browser), address, "photo=large", **PHONE, device_scale_factor=3)
    found = {"page to photo, ms": [1000 * (time.perf_counter() - began)]}
    wanted = {name: (2 * x, 2 * y) for name, (x, y) in MARKS.items()}
    for xy in wanted.values():
        phone.tap(xy)
    phone.expect_marks(wanted, off=1)
    x, y = phone.screen(wanted["last_rib"])
    phone.page.evaluate(WATCH)
    phone.fingers("touchStart", [(x, y)])
    for k in range(120):
        phone.fingers("touchMove", [(x - k / 2, y + k / 3)])
    frames, work = phone.page.evaluate("[frames_ms, work_ms]")
    phone.fingers("touchEnd", [])
    phone.context.close()
    return {**found, "frame, ms": frames, "work in a frame, ms": [work / len(frames)]}


def encoding() -> list[float]:
    flint = SAMPLES / "flint" / "side.jpg"
    photo = cv2.resize(load_photo(flint).rgb, (4000, 3000)).astype(np.uint8)
    times = []
    for _ in range(5):
        began = time.perf_counter()
        display_copies(photo)
        times.append(1000 * (time.perf_counter() - began))
    return times


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--visitors", type=int, default=5)
    visitors = parser.parse_args().visitors
    process, address = start_server(PAGE, Path(tempfile.mkdtemp()) / "log")
    figures: dict[str, list[float]] = {"both copies encoded, ms": encoding()}
    try:
        with sync_playwright() as playwright:
            where = shutil.which("chromium")
            browser = playwright.chromium.launch(executable_path=where, args=FLAGS)
            for _ in range(visitors):
                for name, values in measured(browser, address).items():
                    figures.setdefault(name, []).extend(values)
            browser.close()
    finally:
        process.terminate()
    for name, values in figures.items():
        middle, worst = statistics.median(values), np.percentile(values, 95)
        print(f"{name:24} median {middle:7.1f}   95 % below {worst:7.1f}   n {len(values)}")


if __name__ == "__main__":
    main()
