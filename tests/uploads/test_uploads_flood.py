"""The memory of the server under a flood of the largest photos it takes."""

import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from PIL import Image

from photocheck.photo.kind import MAX_BYTES
from photocheck.photo.load import MAX_PIXELS
from photocheck.uploads import LIMITS, take_upload
from photocheck.uploads.gate import Gate
from photocheck.uploads.take import PLACES
from tests.support.memory import Watch, resident_mb
from tests.support.pictures import encoded

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif("sys.platform != 'linux'", reason="memory is read from /proc"),
]


def largest(kind: str) -> bytes:
    """As many pixels as are taken, and for JPEG as many bytes."""
    width, height = 10320, 7740
    assert 0.99 * MAX_PIXELS < width * height <= MAX_PIXELS
    grain = np.random.default_rng(0).integers(0, 255, (height // 8, width // 8, 3), dtype=np.uint8)
    image = Image.fromarray(grain).resize((width, height), Image.Resampling.BILINEAR)
    if kind == "WEBP":  # the hungriest decoder
        return encoded(image, "WEBP", quality=60, method=0)
    data = encoded(image, quality=97, subsampling=0)
    assert 0.9 * MAX_BYTES < len(data) <= MAX_BYTES
    return data


def test_memory_is_bounded_under_a_flood_of_the_largest_photos(thorough):
    for kind in ("JPEG", "WEBP"):
        flood(kind, 12 if thorough else 5)


def flood(kind: str, many: int) -> None:
    photo = largest(kind)
    # As many places as there are by default; on a busy machine more patience.
    gate = Gate(places=PLACES, waiting=many, patience_s=900)
    before, watch = resident_mb("self"), Watch()
    began = time.perf_counter()
    watch.start()
    with ThreadPoolExecutor(many) as visitors:
        # Each visitor's result is let go at once, as a page that stores it does.
        sizes = list(
            visitors.map(lambda _: len(take_upload(photo, gate=gate).content), range(many))
        )
    watch.over.set()
    watch.join()
    print(
        f"{many} x {kind} of {len(photo) / 1e6:.0f} MB in {time.perf_counter() - began:.0f} s: "
        f"this process {before:.0f} MB before, {watch.own:.0f} MB at most; children "
        f"{watch.theirs:.0f} MB at most, {watch.many} at once"
    )
    assert len(set(sizes)) == 1
    assert watch.many <= PLACES
    assert watch.theirs < PLACES * LIMITS.memory_bytes / 1e6
    # Two answers of at most MAX_BYTES on their way, once as they come and once as they are read.
    assert watch.own - before < 4 * MAX_BYTES / 1e6
