"""What a server holds of orders' photos has a bound in bytes, and few are worked on at once."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

import photocheck
from photocheck.case.samples import samples_folder
from photocheck.errors import PhotoError
from photocheck.orders.draft import Draft, ReferenceTold
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.photo.load import load_photo
from photocheck.photo.photo import Photo
from photocheck.server import bench
from photocheck.server.access.linked import LinkedStore
from photocheck.server.memory import Memory
from photocheck.server.run import check_order
from photocheck.speech import speaking
from photocheck.uploads import BusyError
from photocheck.uploads.gate import Gate
from tests.support.pictures import encoded, quarters
from tests.support.waiting import until


@pytest.fixture
def kept(tmp_path: Path) -> DatabaseStore:
    """A store for photos alone."""
    return open_store(str(tmp_path / "orders.sqlite3"))


def with_photo(store: DatabaseStore) -> tuple[str, str]:
    key = store.open()
    return key, store.keep_photo(key, encoded(quarters()))


# -- what is held ---------------------------------------------------------------------


def test_what_is_held_has_a_bound_in_bytes_and_the_longest_unused_goes() -> None:
    memory: Memory[bytes] = Memory(100, len)
    made = []

    def get(name: str, size: int) -> bytes:
        def make() -> bytes:
            made.append(name)
            return bytes(size)

        return memory.get("order", name, make)

    get("a", 40), get("b", 40), get("a", 40), get("c", 40)
    assert memory.bytes_held == 80
    get("a", 40), get("b", 40)
    assert made == ["a", "b", "c", "b"]
    assert len(get("larger than all", 101)) == 101
    assert memory.bytes_held <= 100


def test_what_many_ask_for_at_once_is_made_once() -> None:
    memory: Memory[bytes] = Memory(100, len)
    made: list[int] = []
    asked: list[int] = []
    all_here = threading.Barrier(8)

    def make() -> bytes:
        until(lambda: len(asked) == 8, "all have asked")
        made.append(1)
        return b"photo"

    def ask(_: int) -> bytes:
        all_here.wait(10)
        asked.append(1)
        return memory.get("order", "name", make)

    with ThreadPoolExecutor(8) as visitors:
        assert set(visitors.map(ask, range(8))) == {b"photo"}
    assert len(made) == 1


def test_a_failure_is_not_held_and_each_hears_of_it_in_their_language() -> None:
    memory: Memory[bytes] = Memory(100, len)
    began, other_asks = threading.Event(), threading.Event()

    def fail() -> bytes:
        began.set()
        assert other_asks.wait(10)
        raise BusyError(photocheck.speech.tr("many photos are being read just now"))

    def ask(language: str) -> str:
        if language == "de":
            other_asks.set()
        with speaking(language), pytest.raises(BusyError) as caught:
            memory.get("order", "name", fail)
        return caught.value.wrong

    with ThreadPoolExecutor(2) as visitors:
        first = visitors.submit(ask, "en")
        began.wait(10)
        assert visitors.submit(ask, "de").result() != first.result()
    assert memory.get("order", "name", lambda: b"now") == b"now"


def test_what_is_dropped_while_it_is_made_is_not_held() -> None:
    memory: Memory[bytes] = Memory(100, len)

    def make() -> bytes:
        memory.drop("order")
        return b"photo"

    assert memory.get("order", "name", make) == b"photo"
    assert memory.bytes_held == 0
    memory.get("order", "name", lambda: b"again")
    memory.get("other", "name", lambda: b"other")
    memory.drop("order")
    assert memory.known("order", "name") is None
    assert memory.known("other", "name") == b"other"


# -- the bench ------------------------------------------------------------------------


def test_what_is_held_needs_no_place_and_the_rest_is_told_to_wait(
    kept: DatabaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    gate = Gate(places=1, waiting=0, patience_s=0, full=bench.GATE._full)
    monkeypatch.setattr(bench, "GATE", gate)
    key, name = with_photo(kept)
    shown = bench.shown(kept, key, name)
    assert shown.size_px == (320, 200)
    with gate.place():
        assert bench.shown(kept, key, name) is shown
        other = with_photo(kept)
        for work in (
            lambda: bench.shown(kept, *other),
            lambda: bench.look(kept, key, name, ReferenceTold(kind="marker_sheet"), "cm"),
            lambda: bench.at_work().__enter__(),
        ):
            with pytest.raises(BusyError, match=r"nothing of yours is lost. Wait a minute"):
                work()
    assert bench.shown(kept, *other)


def test_a_forgotten_order_leaves_nothing_in_memory(kept: DatabaseStore) -> None:
    from photocheck.server.access.passes import link_for

    key, name = with_photo(kept)
    kept.save_draft(key, Draft.from_dict({"photos": [{"file": name}]}))
    link, owners = link_for(kept, key, by="Robin"), LinkedStore(kept)
    shown = bench.shown(owners, link, name)
    # The desk and the owner look at the same one.
    assert bench.shown(kept, key, name) is shown
    before = bench.COPIES.bytes_held
    bench.forget(owners, link)
    assert bench.COPIES.bytes_held == before - shown.bytes
    assert bench.PHOTOS.known(key, (name, None)) is None
    with pytest.raises(photocheck.orders.model.OrderError):
        bench.shown(kept, key, name)


def test_an_order_forgotten_elsewhere_leaves_nothing_in_memory_either(kept: DatabaseStore) -> None:
    stays, goes = with_photo(kept), with_photo(kept)
    held = [bench.shown(kept, *one) for one in (stays, goes)]
    bench.shown_photo("a learner", "own.jpg", encoded(quarters()))
    before = bench.COPIES.bytes_held
    bench.drop_forgotten(kept)
    assert bench.COPIES.bytes_held == before
    kept.forget(goes[0])  # by a command, or another server
    bench.drop_forgotten(kept)
    assert bench.COPIES.bytes_held == before - held[1].bytes
    assert bench.PHOTOS.known(goes[0], (goes[1], None)) is None
    assert bench.shown(kept, *stays) is held[0]
    bench.drop("a learner")


def test_a_photo_that_cannot_be_decoded_is_told_in_a_sentence(kept: DatabaseStore) -> None:
    key = kept.open()
    name = kept.keep_photo(key, encoded(quarters())[:900])  # as a disk may leave it
    with pytest.raises(PhotoError, match=r"^photo-1\.jpg: .*damaged"):
        bench.shown(kept, key, name)


@pytest.mark.slow
def test_an_order_is_checked_with_one_of_its_photos_in_memory(
    kept: DatabaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = samples_folder() / "rowan"
    photos = [(path.name, path.read_bytes()) for path in sorted(folder.glob("*.jpg"))]
    key = bring_in(kept, ("case.json", (folder / "case.json").read_bytes()), photos).key
    decoded, alive = [], []

    def load(content: bytes, **more: Any) -> object:
        photo = load_photo(content, **more)
        decoded.append(1)
        alive.append(photo.rgb.nbytes)
        return photo

    monkeypatch.setattr(bench, "load_photo", load)
    roomy = check_order(kept, key)
    assert len(decoded) == len(photos)
    one = max(alive)
    small: Memory[Photo] = Memory(one, lambda photo: photo.rgb.nbytes)
    assert check_order(kept, key, memory=small) == roomy
    assert len(decoded) > 2 * len(photos)
    assert small.bytes_held <= one


def test_a_photo_no_store_holds_is_let_go_with_its_owner() -> None:
    content = encoded(Image.fromarray(quarters()))
    assert bench.shown_photo("visitor", "own.jpg", content).size_px == (320, 200)
    assert bench.PHOTOS.known("visitor", "decoded") is not None
    bench.drop("visitor")
    assert bench.PHOTOS.known("visitor", "decoded") is None
    assert bench.COPIES.known("visitor", "shown") is None


def test_checks_go_before_pictures_that_came_earlier() -> None:
    gate = Gate(places=1, waiting=5, patience_s=20.0)
    came: list[str] = []

    def go(name: str, rank: int) -> None:
        with gate.place(rank):
            came.append(name)

    def waits(number: int) -> bool:
        return len(gate._waiting) == number

    asked = (("picture", 1), ("another picture", 1), ("check", 0), ("another check", 0))
    with gate.place():
        threads = [threading.Thread(target=go, args=one) for one in asked]
        for number, thread in enumerate(threads, start=1):
            thread.start()
            until(partial(waits, number), "it waits")
    for thread in threads:
        thread.join(20)
    assert came == ["check", "another check", "picture", "another picture"]
