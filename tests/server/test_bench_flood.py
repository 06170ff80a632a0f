"""The memory of the server while many visitors bring the largest photos through the whole way."""

import io
import json
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from photocheck.case.samples import samples_folder
from photocheck.orders.draft import Draft
from photocheck.orders.filling import renamed
from photocheck.orders.store import open_store
from photocheck.orders.taking import take_photo
from photocheck.photo.kind import MAX_BYTES
from photocheck.photo.load import MAX_PIXELS
from photocheck.server import bench
from photocheck.server.run import check_order
from photocheck.uploads import BusyError
from tests.support.memory import Watch, resident_mb
from tests.support.waiting import patiently

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif("sys.platform != 'linux'", reason="memory is read from /proc"),
]
SAMPLE = "nettle"
"""With a card: looking for its edges takes more memory than any other reference."""


def enlarged(name: str) -> tuple[dict, bytes]:
    """A sample with as many pixels as are taken, and nearly as many bytes."""
    folder = samples_folder() / name
    case = json.loads((folder / "case.json").read_text(encoding="utf-8"))
    case["photos"] = case["photos"][:1]
    (told,) = case["photos"]
    with Image.open(folder / told["file"]) as image:
        times = 0.999 * (MAX_PIXELS / (image.width * image.height)) ** 0.5
        size = round(image.width * times), round(image.height * times)
        exif = image.getexif().tobytes()
        pixels = np.asarray(image.resize(size, Image.Resampling.BICUBIC), np.int16)
    assert 0.99 * MAX_PIXELS < size[0] * size[1] <= MAX_PIXELS
    # Grain as of a sensor in dim light, so that the file becomes large.
    tile = np.random.default_rng(3).normal(0.0, 4.5, (1000, 1000, 3)).astype(np.int16)
    times_over = [-(-side // 1000) for side in pixels.shape[:2]]
    grain = np.tile(tile, (*times_over, 1))[: pixels.shape[0], : pixels.shape[1]]
    noisy = np.clip(pixels + grain, 0, 255).astype(np.uint8)
    held = io.BytesIO()
    Image.fromarray(noisy).save(held, "JPEG", quality=95, subsampling=0, exif=exif)
    assert 0.6 * MAX_BYTES < held.tell() <= MAX_BYTES, held.tell()

    def times_larger(value):
        if isinstance(value, dict):
            return {k: times_larger(v) for k, v in value.items()}
        return [times_larger(v) for v in value] if isinstance(value, list) else value * times

    for marking in told["markings"]:
        for part in {"marks", "bends"} & marking.keys():
            marking[part] = times_larger(marking[part])
    for part in {"corners", "near"} & told["reference"].keys():
        told["reference"][part] = times_larger(told["reference"][part])
    return case, held.getvalue()


def test_memory_is_bounded_while_many_come_with_the_largest_photos(tmp_path: Path, thorough: bool):
    many = 12 if thorough else 5
    case, photo = enlarged(SAMPLE)
    store = open_store(str(tmp_path / "orders.sqlite3"))
    reports, lock = [], threading.Lock()

    def visit(_: int) -> None:
        key = store.open()
        name = patiently(lambda: take_photo(store, key, photo, name="side.jpg"), BusyError)
        draft = renamed(Draft.from_dict(case), {case["photos"][0]["file"]: name})
        store.save_draft(key, draft)
        reference = draft.photos[0].reference
        assert patiently(lambda: bench.shown(store, key, name, (900,)), BusyError).copies
        looked = patiently(lambda: bench.look(store, key, name, reference, draft.unit), BusyError)
        assert looked.found, looked.problem
        assert len(patiently(lambda: bench.shown(store, key, name), BusyError).copies) == 2

        def check():
            with bench.at_work():
                return check_order(store, key, memory=bench.PHOTOS)

        report = patiently(check, BusyError)
        assert patiently(lambda: bench.picture(store, key, 1, report, 0), BusyError)
        with lock:
            reports.append(report)
        bench.forget(store, key)

    # What other tests of this process looked at is nothing of these visitors'.
    bench.drop()
    before, watch = resident_mb("self"), Watch()
    began = time.perf_counter()
    watch.start()
    with ThreadPoolExecutor(many) as visitors:
        list(visitors.map(visit, range(many)))
    watch.over.set()
    watch.join()
    print(
        f"{many} visitors with {len(photo) / 1e6:.0f} MB and {MAX_PIXELS / 1e6:.0f} MP each "
        f"in {time.perf_counter() - began:.0f} s: this process {before:.0f} MB before, "
        f"{watch.own:.0f} MB at most, {resident_mb('self'):.0f} MB after; children "
        f"{watch.theirs:.0f} MB at most"
    )
    assert len({report.spans for report in reports}) == 1
    assert bench.PHOTOS.bytes_held == bench.COPIES.bytes_held == 0
    # What is held, what each place may take, and files on their way into the store.
    bound = bench.PHOTOS_BYTES + bench.PLACES * bench.PLACE_BYTES + 6 * MAX_BYTES
    assert watch.own - before < bound / 1e6
