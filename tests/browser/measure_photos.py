"""What a photo loses that the browser makes smaller: ``python -m tests.browser.measure_photos``.

The samples' scenes drawn anew as phones save them, 5760 x 4320 pixels, judged as they are
and as Chromium makes them (`photocheck_app/browser/photos.js`).  Bar: less than 0.1 % of a length.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from PIL import Image
from playwright.sync_api import Page, sync_playwright

import photocheck
from photocheck.phantom import demo
from photocheck.photo.load import load_photo
from photocheck.report.model import Report
from tests.support.browser_photos import made_smaller, maker
from tests.support.pages import FLAGS

PHONE_PX: Final = (5760, 4320)
_EXIF, _PIXEL_X, _PIXEL_Y = 0x8769, 0xA002, 0xA003


@dataclass(frozen=True)
class Lost:
    """What became of one case.

    Attributes
    ----------
    name : str
    bytes_before, bytes_after : int
        Of its photos.
    lengths : ndarray, shape (4,)
        ln of each length after over before.
    doubts : ndarray, shape (4,)
        The same of their standard deviations.
    same_verdict : bool
    """

    name: str
    bytes_before: int
    bytes_after: int
    lengths: np.ndarray
    doubts: np.ndarray
    same_verdict: bool


def _scaled(case: dict[str, Any], share: dict[str, float]) -> dict[str, Any]:
    """A case with every point where it lies in the smaller photo: pixel centres at whole numbers."""
    told: dict[str, Any] = json.loads(json.dumps(case))

    def moved(point: list[float], by: float) -> list[float]:
        return [(value + 0.5) * by - 0.5 for value in point]

    for photo in told["photos"]:
        by = share[photo["file"]]
        for key in ("corners", "points", "outline"):
            if key in photo["reference"]:
                photo["reference"][key] = [moved(one, by) for one in photo["reference"][key]]
        for marking in photo["markings"]:
            marking["marks"] = {name: moved(at, by) for name, at in marking["marks"].items()}
            for bends in marking.get("bends", {}).values():
                bends[:] = [moved(at, by) for at in bends]
    return told


def _judged(folder: Path, case: dict[str, Any]) -> Report:
    file = folder / "case.json"
    file.write_text(json.dumps(case), encoding="utf-8")
    return photocheck.check(photocheck.read_case(file))


def lost(page: Page, folder: Path, out: Path) -> Lost:
    """Of one case whose photos lie in a folder."""
    case = json.loads((folder / "case.json").read_text(encoding="utf-8"))
    out.mkdir(parents=True, exist_ok=True)
    share, before, after = {}, 0, 0
    for photo in case["photos"]:
        whole = (folder / photo["file"]).read_bytes()
        small = made_smaller(page, whole)
        (out / photo["file"]).write_bytes(small)
        was, now = load_photo(whole), load_photo(small)
        assert now.camera == was.camera, (now.camera, was.camera)
        share[photo["file"]] = now.rgb.shape[1] / was.rgb.shape[1]
        before, after = before + len(whole), after + len(small)
    was_report, now_report = _judged(folder, case), _judged(out, _scaled(case, share))
    pairs = list(zip(was_report.spans, now_report.spans, strict=True))
    return Lost(
        folder.name,
        before,
        after,
        np.array([np.log((now.photo_mm or 1) / (was.photo_mm or 1)) for was, now in pairs]),
        np.array([np.log((now.log_spread or 1) / (was.log_spread or 1)) for was, now in pairs]),
        was_report.verdict == now_report.verdict,
    )


def _drawn(folder: Path, wanted: Collection[str]) -> Iterator[Path]:
    """Every sample as a phone would save it, drawn once and kept."""
    demo.PHOTO_PX = PHONE_PX  # type: ignore[misc]  # what the samples are drawn at
    for sample in demo.SAMPLES:
        if wanted and sample.folder not in wanted:
            continue
        place = folder / sample.folder
        if not (place / "truth.json").is_file():
            demo.write_sample(sample, place)
            for file in place.glob("*.jpg"):
                _tell_size(file)
        yield place


def _tell_size(file: Path) -> None:
    """Have the file say how large the camera's picture was, as phones' files do."""
    with Image.open(file) as picture:
        exif = picture.getexif()
        width, height = picture.size
        told = exif.get_ifd(_EXIF)
        told[_PIXEL_X], told[_PIXEL_Y] = width, height
        picture.save(file, "JPEG", quality="keep", exif=exif)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="where the pictures are kept that are drawn")
    parser.add_argument("names", nargs="*", help="of samples; all where none is given")
    told = parser.parse_args()
    folder: Path = told.folder
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        page = maker(browser.new_page())
        found = []
        for place in _drawn(folder, told.names):
            one = lost(page, place, folder / "smaller" / place.name)
            found.append(one)
            print(
                f"{one.name:10} {one.bytes_before / 1e6:5.1f} MB to {one.bytes_after / 1e6:4.1f}; "
                f"lengths {100 * one.lengths.round(5)} %; doubt {100 * one.doubts.round(4)} %"
                f"{'' if one.same_verdict else '; ANOTHER VERDICT'}",
                flush=True,
            )
        off = np.abs(np.array([one.lengths for one in found]))
        print(
            f"{len(found)} cases: lengths moved by {100 * np.median(off):.3f} % in the median, "
            f"{100 * np.max(off):.3f} % at most"
        )
        browser.close()


if __name__ == "__main__":
    main()
