"""What a proposal costs: processor time over a plain decode of the same photo, and memory."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Final

import numpy as np

from photocheck.benchmark.speed import twelve_megapixel_case
from photocheck.photo.load import load_photo
from photocheck.propose import propose
from photocheck.propose.network import FOLDER, WEIGHTS, shared

_MORE: Final = """
import sys
from photocheck.photo.load import load_photo
from photocheck.propose import propose
def mb():
    with open("/proc/self/status") as told:
        return int(next(line.split()[1] for line in told if line.startswith("VmRSS"))) / 1024
photo = load_photo(sys.argv[1])
before = mb()
for _ in range(3):
    propose(photo)
print(mb() - before)
"""


def report(runs: int) -> str:
    """Time both in turn on one thread, and lay the ratio out as Markdown.

    Processor time, for others work on the machine as well; it still grows by what they do to caches
    and shared cores, which the decode beside it shows.
    """
    import cv2
    from PIL import Image

    cv2.setNumThreads(1)
    network = shared()
    with tempfile.TemporaryDirectory() as folder:
        twelve_megapixel_case(Path(folder))
        path = str(Path(folder) / "side.jpg")
        photo = load_photo(path)
        proposal = propose(photo, network)
        decode, looks = [], []
        for _ in range(runs):
            start = time.process_time()
            with Image.open(path) as picture:
                picture.convert("RGB").load()
            middle = time.process_time()
            propose(photo, network)
            looks.append(time.process_time() - middle)
            decode.append(middle - start)
        more = subprocess.run(
            [sys.executable, "-c", _MORE, path], check=True, capture_output=True, text=True
        )
    ratios = np.array(looks) / np.array(decode)
    size = (FOLDER / WEIGHTS).stat().st_size / 1e6
    return (
        f"12 MP JPEG, {len(proposal.needed)} marks proposed: once it is decoded, a proposal takes "
        f"{np.median(ratios):.2f} times the processor time of a plain Pillow decode of the file "
        f"({ratios.min():.2f} to {ratios.max():.2f} over {runs} rounds; medians "
        f"{1000 * np.median(looks):.0f} ms and {1000 * np.median(decode):.0f} ms, fastest "
        f"{1000 * min(looks):.0f} ms and {1000 * min(decode):.0f} ms). A process that proposes "
        f"takes {float(more.stdout):.0f} MB more than before; the weights are {size:.1f} MB."
    )
