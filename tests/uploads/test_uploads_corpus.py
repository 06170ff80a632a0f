"""Pillow's own test pictures, the broken ones among them, through the whole of an upload.

They come with Pillow's source distribution, which pip downloads here; a machine that cannot
download fails these tests.
"""

import subprocess
import sys
import tarfile
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from importlib.metadata import version
from pathlib import Path

import pytest

from photocheck.errors import PhotoError
from photocheck.photo import load
from photocheck.photo.clean import clean
from photocheck.photo.load import load_photo
from photocheck.uploads import Limits, take_upload
from photocheck.uploads.gate import Gate

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def corpus(tmp_path_factory) -> list[Path]:
    folder = tmp_path_factory.mktemp("pillow")
    wanted = f"pillow=={version('pillow')}"
    pip = [sys.executable, "-m", "pip", "download", "--no-deps", "--no-binary", "pillow"]
    subprocess.run([*pip, "--dest", str(folder), wanted], check=True)
    with tarfile.open(next(folder.glob("*.tar.gz"))) as archive:
        archive.extractall(folder, filter="data")
    return sorted(path for path in folder.glob("*/Tests/**/*") if path.is_file())


def test_every_file_ends_in_a_photo_or_a_clear_refusal(corpus, thorough, monkeypatch):
    assert len(corpus) > 1000
    # A process for every file takes minutes; without one all are tried below.
    tried = corpus if thorough else corpus[::4]
    limits, gate = Limits(heic=True), Gate(places=2, waiting=2, patience_s=600)

    def outcome(path: Path) -> str:
        refusal: PhotoError | None = None
        try:
            upload = take_upload(path.read_bytes(), limits=limits, gate=gate)
        except PhotoError as error:
            refusal = error
        if refusal is not None:
            assert refusal.wrong, path
            assert refusal.do, path
            # Faults of ours: none of these files is large.
            for fault in ("just now", "too long", "too much memory", "cannot be decoded"):
                assert fault not in refusal.wrong, path
            return "too small" if "has only" in refusal.wrong else refusal.wrong
        photo = load_photo(upload.content)
        assert photo.size == upload.size_px, path
        assert photo.camera == upload.camera, path
        return "taken"

    with ThreadPoolExecutor(2) as threads:
        outcomes = Counter(threads.map(outcome, tried))
    print(len(tried), "files:", dict(outcomes.most_common()))
    assert outcomes["taken"] > len(tried) / 10
    the_small_ones_too(corpus, monkeypatch)


def the_small_ones_too(corpus, monkeypatch):
    # Half of the pictures are smaller than any photo; their decoders are tried all the same.
    monkeypatch.setattr(load, "MIN_SIDE_PX", 1)
    outcomes: Counter[str] = Counter()
    for path in corpus:
        try:
            done = clean(path.read_bytes())
        except PhotoError as error:
            outcomes[error.wrong] += 1
            continue
        outcomes["taken"] += 1
        assert load_photo(done.content).camera == done.camera, path
    print(len(corpus), "files:", dict(outcomes.most_common()))
    assert outcomes["taken"] > 400
