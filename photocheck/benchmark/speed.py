"""Speed and memory: a 12 MP JPEG read, and its whole check, over a plain decode of that file."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from photocheck.case.file import case_to_dict, read_case
from photocheck.case.model import Case, DogFacts, PhotoEntry, Reading, Reference
from photocheck.checking import check
from photocheck.phantom.look import Look
from photocheck.phantom.phone import save_photo
from photocheck.phantom.render import PICTURE_RESOLUTION, render
from photocheck.phantom.scene import observe, random_scene
from photocheck.phantom.solid import make_dog, random_plan
from photocheck.phantom.tape import tape_truth
from photocheck.photo.load import load_photo

_ALONE = """
import sys
from photocheck import check, read_case
check(read_case(sys.argv[1]))
# not getrusage: its maximum is handed down from the process that started this one
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""


def twelve_megapixel_case(folder: Path) -> Path:
    """A rendered order with a marker sheet beside the dog, 4032 x 3024 px; its case file."""
    rng = np.random.default_rng(3)
    dog = make_dog(random_plan(rng, posture="square"), PICTURE_RESOLUTION)
    scene = random_scene(rng, dog=dog, kind="marker_sheet", place="middle", oblique=False)
    marking = observe(scene, rng, 4.0, 1.0, helpers=False).marking
    path = folder / "side.jpg"
    look = Look()
    save_photo(path, render(scene, look), look, scene.camera.focal_35mm)
    truth = tape_truth(dog)
    readings = {s: Reading(mm, f"{mm / 10:.1f} cm", "cm") for s, mm in truth.items()}
    entry = PhotoEntry(str(path), Reference("marker_sheet", "middle"), (marking,))
    facts = DogFacts(coat=dog.plan.coat, build=dog.plan.build)
    target = folder / "case.json"
    target.write_text(json.dumps(case_to_dict(Case((entry,), readings, dog=facts), folder)))
    return target


def _on_its_side(jpeg: bytes) -> bytes:
    """The same coded picture, said to lie on its side (Exif, CIPA DC-008, tag 0x0112: 6)."""
    from PIL import Image

    exif = Image.Exif()
    exif[0x0112] = 6
    block = b"Exif\0\0" + exif.tobytes().removeprefix(b"Exif\0\0")
    # JPEG (ITU-T T.81, annex B): a segment's length counts its own two bytes; the first of two
    # Exif blocks is the one that is read.
    return jpeg[:2] + b"\xff\xe1" + (len(block) + 2).to_bytes(2, "big") + block + jpeg[2:]


def report(runs: int) -> str:
    """Time both in turn and lay the ratio out as Markdown."""
    from PIL import Image

    with tempfile.TemporaryDirectory() as folder:
        file = twelve_megapixel_case(Path(folder))
        case = read_case(file)
        path = case.photos[0].path
        size = Path(path).stat().st_size / 1e6
        check(case)  # imports and caches
        upright = Path(path).read_bytes()
        on_its_side = _on_its_side(upright)
        decode, read, read_turned, whole = [], [], [], []
        # By turns, so that what else runs on the machine meets all alike.
        for _ in range(runs):
            start = time.perf_counter()
            with Image.open(path) as picture:
                picture.convert("RGB").load()
            middle = time.perf_counter()
            verdict = check(case).verdict
            checked = time.perf_counter()
            load_photo(upright)
            loaded = time.perf_counter()
            load_photo(on_its_side)
            read_turned.append(time.perf_counter() - loaded)
            read.append(loaded - checked)
            whole.append(checked - middle)
            decode.append(middle - start)
        alone = subprocess.run(
            [sys.executable, "-c", _ALONE, str(file)], check=True, capture_output=True, text=True
        )
    ratios = np.array(whole) / np.array(decode)
    reading, turning = (float(np.median(np.divide(s, decode))) for s in (read, read_turned))
    return (
        f"12 MP JPEG of {size:.1f} MB with a marker sheet, verdict {verdict!r}: the whole check "
        f"takes {np.median(ratios):.2f} times a plain Pillow decode of the same file "
        f"({ratios.min():.2f} to {ratios.max():.2f} over {runs} rounds; medians "
        f"{1000 * np.median(whole):.0f} ms and {1000 * np.median(decode):.0f} ms); reading it "
        f"takes {reading:.2f} times, {turning:.2f} where it lies on its side. "
        f"Peak memory of a process that only checks it: {float(alone.stdout) / 1024:.0f} MB."
    )
