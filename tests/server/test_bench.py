"""What a server holds of orders' photos has a bound in bytes, and few are worked on at once."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
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


@pytest.fixture
def worked(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, int, Any]]:
    """Whatever looks at pixels: what it was, how many places were free then, and with what."""
    noted: list[tuple[str, int, Any]] = []
    gate = Gate(places=2, waiting=0, patience_s=0)
    monkeypatch.setattr(bench, "GATE", gate)

    def noting(name: str, gives: Any) -> Any:
        def work(*asked: Any, **_: Any) -> Any:
            noted.append((name, gate._free, asked))
            return gives

        return work

    photo = SimpleNamespace(rgb=np.arange(24).reshape(4, 6, 1))
    monkeypatch.setattr(bench, "_photo", noting("photo", photo))
    monkeypatch.setattr(bench, "decoded", noting("photo", photo))
    monkeypatch.setattr(bench, "shared", noting("network", "network"))
    for module, name in (
        (bench, "first_look"),
        (bench, "propose"),
        (bench.finding, "tags_found"),
        (bench.taking, "kinds_seen"),
        (bench.taking, "things_sighted"),
    ):
        monkeypatch.setattr(module, name, noting(name, name))
    return noted


LOOKS: dict[str, Callable[[Any], object]] = {
    "first_look": lambda store: bench.look(store, "k", "n", ReferenceTold(), "cm"),
    "tags_found": lambda store: bench.tags_found(store, "k", "n"),
    "tags_found again": lambda store: bench.tags_in(b"x", "side"),
    "propose": lambda store: bench.proposed(store, "k", "n"),
    "kinds_seen": lambda store: bench.kinds_seen(store, "k", "n", (1.0, 2.0)),
    "things_sighted": lambda store: bench.things_sighted(store, "k", "n"),
}


@pytest.mark.parametrize("name", LOOKS)
def test_whatever_looks_at_pixels_has_a_place_for_it(
    worked: list[tuple[str, int, Any]], name: str
) -> None:
    assert LOOKS[name](None) == name.split()[0]
    assert [(what, free) for what, free, _ in worked if what != "network"] == [
        ("photo", 1),
        (name.split()[0], 1),
    ]
    # where nothing can be proposed at all, that is told before anything is decoded
    assert worked[0][0] == ("network" if name == "propose" else "photo")
    assert bench.GATE._free == 2


def test_a_part_of_a_photo_is_that_part(
    worked: list[tuple[str, int, Any]], monkeypatch: pytest.MonkeyPatch, kept: DatabaseStore
) -> None:
    seen: list[Any] = []

    def shown(rgb: Any, sides: Any) -> Any:
        seen.append((rgb.tolist(), tuple(sides)))
        return bench.Shown("x", (1, 1), ())

    monkeypatch.setattr(bench, "shown_of", shown)
    key = kept.open()
    whole = np.arange(24).reshape(4, 6, 1)
    for _ in range(2):
        bench.shown_part(kept, key, "n", (1, 2, 4, 3), (9,))
    bench.shown_part(kept, key, "n", (1, 2, 4, 4), (9,))
    assert seen == [(whole[2:3, 1:4].tolist(), (9,)), (whole[2:4, 1:4].tolist(), (9,))]
    bench.drop(key)
    bench.shown_part(kept, key, "n", (1, 2, 4, 3), (9,))
    assert len(seen) == 3
    assert {free for _, free, _ in worked} == {1}
    bench.drop(key)


def test_tags_mark_the_photos_that_nobody_has_and_a_broken_one_keeps_no_other(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[tuple[str, str]] = []

    def found(store: object, key: str, name: str, view: str) -> object:
        asked.append((name, view))
        if name == "broken":
            raise PhotoError("x")
        return name

    told: list[Any] = []

    def told_by(draft: Draft, find: Callable[[Any], object]) -> Draft:
        told.extend(find(photo) for photo in draft.photos)
        return draft

    monkeypatch.setattr(bench, "tags_found", found)
    monkeypatch.setattr(bench.finding, "told_by_tags", told_by)
    photos = [{"file": "broken"}, {"file": "a"}, {"file": "b", "view": "front"}]
    bench.told_by_tags(None, "k", Draft.from_dict({"photos": photos}))  # type: ignore[arg-type]
    assert told == [bench.FoundTags(), "a", "b"]
    assert asked == [("broken", "side"), ("a", "side"), ("b", "front")]


def test_a_fault_of_the_program_is_blamed_on_no_photo(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    for error, said in ((PhotoError("damaged"), "damaged"), (KeyError("x"), "not to blame")):

        def fails(*_: Any, error: Exception = error, **__: Any) -> None:
            raise error

        monkeypatch.setattr(bench, "load_photo", fails)
        with pytest.raises(PhotoError, match=said):
            bench.decoded(b"x", name="side.jpg")
    assert len(caplog.records) == 1
