"""What a photo loses that the browser makes smaller: ``python -m tests.browser.measure_photos``.

Phantoms photographed beside the marker sheet, drawn as phones save them (24 and 12 million pixels,
JPEG at 93), judged by the same marks as they are and as Chromium makes them
(`photocheck_app/browser/smaller.js`), both as a server keeps them.  Bar: less than 0.1 % of a
length.  The quality was chosen on seed 501, the figures are by another.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from playwright.sync_api import Page, sync_playwright

import photocheck
from photocheck.case.model import Point
from photocheck.phantom.look import COATS, FLOORS, WALLS, Look
from photocheck.phantom.plan import random_plan
from photocheck.phantom.render import PICTURE_RESOLUTION, render
from photocheck.phantom.scene import observe, random_scene
from photocheck.phantom.solid import make_dog
from photocheck.phantom.tape import tape_truth
from photocheck.photo.clean import clean
from photocheck.photo.load import load_photo
from photocheck.report.model import Report
from photocheck.words import SPANS
from tests.support.browser_photos import as_phone, made_smaller, maker
from tests.support.pages import FLAGS

SEED: Final = 503
SIZES: Final = {"24 million": (5712, 4284), "12 million": (4032, 3024)}
LINE_BITS_S: Final = 1.6e6
BLUR_PX: Final = {"24 million": 0.9, "12 million": 0.7}
"""Of the lens, judgement."""


@dataclass(frozen=True)
class Shot:
    """One photo with what is told of it."""

    size: str
    content: bytes
    case: dict[str, Any]
    truth_mm: np.ndarray


def drawn(seed: int, number: int) -> Iterator[Shot]:
    """One phantom and scene, photographed at each size."""
    rng = np.random.default_rng([seed, number])
    dog = make_dog(random_plan(rng, posture="square"), PICTURE_RESOLUTION)
    truth = tape_truth(dog)
    state = rng.bit_generator.state
    for size, size_px in SIZES.items():
        rng.bit_generator.state = state
        place = str(rng.choice(["near_feet", "middle", "far_feet"]))
        scene = random_scene(
            rng, dog=dog, kind="marker_sheet", place=place, exif=True, size_px=size_px
        )
        seen = observe(scene, rng, 3.0, 0.0, helpers=False)
        look = Look(
            seed=int(rng.integers(1_000_000)),
            coat=str(rng.choice(list(COATS))),
            floor=str(rng.choice(FLOORS)),
            wall=str(rng.choice(WALLS)),
            sun=(float(rng.uniform(-0.6, 0.6)), 0.8, 0.55),
            sun_share=float(rng.uniform(0.3, 0.6)),
            blur_px=BLUR_PX[size],
            noise=2.5,
        )
        content = as_phone(render(scene, look), orientation=int(rng.choice([1, 1, 6, 8, 3])))
        bar = seen.reference.bar_mm
        reference = {"kind": "marker_sheet", "place": place}
        if bar:
            reference["bar"] = f"{bar:g} mm"
        photo = {
            "file": "side.jpg",
            "reference": reference,
            "markings": [{"marks": dict(seen.marking.marks), "spread_mm": 4}],
        }
        case = {
            "format": "photocheck-case/1",
            "unit": "cm",
            "readings": {span: f"{truth[span] / 10:.1f}" for span in SPANS},
            "dog": {"coat": dog.plan.coat, "build": dog.plan.build},
            "photos": [photo],
        }
        yield Shot(size, content, case, np.array([truth[span] for span in SPANS]))


def judged(folder: Path, shot: Shot, content: bytes, by: float) -> Report:
    """The check of a photo as a server keeps it, its sides `by` times the camera's."""

    def moved(at: Point) -> list[float]:
        # pixel centres are at whole numbers
        return [(value + 0.5) * by - 0.5 for value in at]

    case = json.loads(json.dumps(shot.case))
    for marking in case["photos"][0]["markings"]:
        marking["marks"] = {name: moved(at) for name, at in marking["marks"].items()}
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "side.jpg").write_bytes(clean(content).content)
    (folder / "case.json").write_text(json.dumps(case), encoding="utf-8")
    return photocheck.check(photocheck.read_case(folder / "case.json"))


def lengths(report: Report) -> np.ndarray:
    """ln of the photo's lengths and of their standard deviations, (2, 4)."""
    return np.log([[s.photo_mm or np.nan, s.log_spread or np.nan] for s in report.spans]).T


def measure(page: Page, folder: Path, seed: int, phantoms: int) -> None:
    """Measure and print."""
    found: dict[str, list[tuple[float, float, np.ndarray, np.ndarray, np.ndarray]]] = {}
    kept = otherwise = 0
    for number in range(phantoms):
        for shot in drawn(seed, number):
            small = made_smaller(page, shot.content)
            if small == shot.content:
                kept += 1
                print(f"{number} {shot.size}: sent as it is", flush=True)
                continue
            was, now = load_photo(shot.content), load_photo(small)
            if was.camera != now.camera:
                raise AssertionError((was.camera, now.camera))
            by = now.rgb.shape[1] / was.rgb.shape[1]
            before_report = judged(folder, shot, shot.content, 1.0)
            after_report = judged(folder, shot, small, by)
            before, after = lengths(before_report), lengths(after_report)
            sizes = (len(shot.content) / 1e6, len(small) / 1e6)
            if before_report.outliers != after_report.outliers:
                otherwise += 1
                print(f"{number} {shot.size}: the check believed only one of the two", flush=True)
            off = np.abs([one[0] - np.log(shot.truth_mm) for one in (before, after)])
            found.setdefault(shot.size, []).append((*sizes, *(after - before), off[1] - off[0]))
            moved = 100 * (after - before)[0]
            print(f"{number} {shot.size}: {sizes[0]:.2f} to {sizes[1]:.2f} MB; {moved.round(3)} %")
    for size, rows in found.items():
        moved = 100 * np.abs([row[2] for row in rows])
        doubt = 100 * np.abs([row[3] for row in rows])
        worse = 100 * np.array([row[4] for row in rows])
        before_mb, after_mb = (float(np.median([row[k] for row in rows])) for k in (0, 1))
        print(
            f"{size} pixels, {len(rows)} photos: {before_mb:.1f} to {after_mb:.1f} MB in the "
            f"median, {8e6 * before_mb / LINE_BITS_S:.0f} to {8e6 * after_mb / LINE_BITS_S:.0f} s "
            "at 1.6 Mbit/s; "
            f"lengths moved by {np.median(moved):.3f} % in the median, {np.max(moved):.3f} at "
            f"most, their doubt by {np.max(doubt):.2f} % of itself at most; "
            f"off the truth by {worse.mean():+.3f} % more on average"
        )
    print(f"sent as they are: {kept}; one of the two believed: {otherwise}")


def main() -> None:
    """As the command."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="for what is being judged")
    parser.add_argument("--phantoms", type=int, default=12)
    parser.add_argument("--seed", type=int, default=SEED)
    told = parser.parse_args()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        measure(maker(browser.new_page()), told.folder, told.seed, told.phantoms)
        browser.close()


if __name__ == "__main__":
    main()
