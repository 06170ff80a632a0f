"""From a chosen photo to the question about it: ``python -m tests.browser.measure_upload``.

An owner's phone chooses a photo of 12 or 24 million pixels; what is waited for is the screen that
asks where the reference stood, or whether what was found without a sheet is right.  Browser and
server share one machine, so nothing of it is a line's; each figure is the median of new orders.
"""

from __future__ import annotations

import re
import tempfile
from pathlib import Path
from statistics import median
from time import monotonic
from typing import Final

from playwright.sync_api import Browser, sync_playwright

from photocheck.case.samples import samples_folder
from tests.browser.measure_app import PHONE, TIMES
from tests.support.browser_photos import as_phone, enlarged
from tests.support.pages import FLAGS, rests
from tests.support.served_alone import Alone, served_alone

SIZES: Final = {"12 million": (4000, 3000), "24 million": (5600, 4200)}
ASKED: Final = re.compile("Where was it|right\\?|Which of these|Tap once inside")
PHOTOS: Final = {"flint": "with the marker sheet", "nettle": "with a card"}


def one(browser: Browser, app: Alone, content: bytes) -> tuple[float, str]:
    """Seconds, and what was asked."""
    context = browser.new_context(**PHONE)
    page = context.new_page()
    page.goto(f"{app.address}/?begin=quick")
    page.locator(".st-key-ways_on").wait_for(timeout=60_000)
    page.goto(re.sub("step=[^&]*", "step=photo", page.url))
    field = page.locator(".st-key-take_photo input[type=file]").first
    field.wait_for(state="attached", timeout=60_000)
    rests(page)
    began = monotonic()
    field.set_input_files({"name": "dog.jpg", "mimeType": "image/jpeg", "buffer": content})
    asked = page.get_by_text(ASKED).first
    asked.wait_for(timeout=120_000)
    took = monotonic() - began
    said = asked.inner_text()
    context.close()
    return took, said


def main() -> None:
    """Measure and print."""
    with (
        tempfile.TemporaryDirectory() as folder,
        served_alone(Path(folder)) as app,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        for name, what in PHOTOS.items():
            sample = (samples_folder() / name / "side.jpg").read_bytes()
            for size, size_px in SIZES.items():
                content = as_phone(enlarged(sample, size_px))
                found = [one(browser, app, content) for _ in range(TIMES)]
                took = [seconds for seconds, _ in found]
                print(
                    f"{what}, {size} pixels, {len(content) / 1e6:.1f} MB: {median(took):.1f} s in "
                    f"the median, {max(took):.1f} at most ({found[0][1]!r})",
                    flush=True,
                )
        browser.close()


if __name__ == "__main__":
    main()
