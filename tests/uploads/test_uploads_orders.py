"""Photos on their way into an order: written anew, and never more than it may hold."""

from __future__ import annotations

import io
import json
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from PIL import Image

from photocheck.case.samples import samples_folder
from photocheck.errors import PhotocheckError, PhotoError
from photocheck.orders.draft import Draft
from photocheck.orders.intake.bring import bring
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.intake.entries import Entry
from photocheck.orders.store import DatabaseStore, database, open_store
from photocheck.orders.store.brought import put_order
from photocheck.orders.taking import take_photo
from photocheck.photo.load import load_photo
from photocheck.uploads import Limits, Quota
from tests.support.pictures import encoded
from tests.support.store_orders import JPEG
from tests.support.strangers import SECRET, talkative


def photo(shade: int) -> bytes:
    return encoded(np.full((120, 160, 3), shade, np.uint8))


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> Callable[[Quota], None]:
    """Makes the store hold less of each order."""
    return lambda quota: monkeypatch.setattr(database, "QUOTA", quota)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_an_order_keeps_nothing_of_the_owner_but_the_picture(
    store: DatabaseStore, kind: str
) -> None:
    key = store.open()
    content = talkative(kind)
    kept = store.photo(key, take_photo(store, key, content, name="side.jpg"))
    assert SECRET in content
    assert SECRET not in kept
    with Image.open(io.BytesIO(kept)) as image:
        assert not image.getexif().get_ifd(0x8825)  # CIPA DC-008: the GPS directory
    assert load_photo(kept).size == load_photo(content).size
    assert load_photo(kept).camera == load_photo(content).camera


@pytest.mark.usefixtures("decoded_here")
def test_the_same_file_again_is_the_same_photo(store: DatabaseStore) -> None:
    key = store.open()
    assert take_photo(store, key, photo(9)) == take_photo(store, key, photo(9))
    assert len(store.photo_bytes(key)) == 1


def test_a_store_tells_what_an_order_holds(store: DatabaseStore) -> None:
    key, other = store.open(), store.open()
    contents = [JPEG + bytes(size) for size in (5, 0, 7000)]
    for content in contents:
        store.keep_photo(key, content)
    store.keep_photo(other, b"x")
    assert store.photo_bytes(key) == tuple(map(len, contents))
    assert store.photo_bytes(store.open()) == ()
    with pytest.raises(PhotocheckError, match="no such order"):
        store.photo_bytes("x" * 43)


@pytest.mark.every_journal
def test_photos_that_come_at_once_do_not_slip_past_each_other(address: str, small) -> None:
    small(Quota(photos=3, total_bytes=1000))
    # Each with connections of its own, as processes have.
    stores = [open_store(address) for _ in range(4)]
    key, start = stores[0].open(), threading.Barrier(4)

    def come(number: int) -> int:
        start.wait(30)
        kept = 0
        for turn in range(3):
            try:
                stores[number].keep_photo(key, JPEG + bytes([number, turn]) * 100)
                kept += 1
            except PhotoError:
                continue
        return kept

    with ThreadPoolExecutor(4) as visitors:
        assert sum(visitors.map(come, range(4))) == 3
    assert len(stores[0].photo_bytes(key)) == 3
    # What it holds already is no more, and another order has room of its own.
    other = stores[0].open()
    name = stores[0].keep_photo(other, JPEG + bytes(600))
    with pytest.raises(PhotoError, match="together"):
        stores[1].keep_photo(other, JPEG + bytes(393))
    stores[1].keep_photo(other, JPEG + bytes(391))
    assert stores[1].keep_photo(other, JPEG + bytes(600)) == name
    for store in stores:
        store.close()


@pytest.mark.usefixtures("decoded_here")
def test_a_refusal_by_the_store_names_the_owners_file(store: DatabaseStore, small) -> None:
    small(Quota(photos=1))
    key = store.open()
    take_photo(store, key, photo(1))
    with pytest.raises(PhotoError, match=r"^tail\.jpg: this order holds 1 photo already"):
        take_photo(store, key, photo(2), name="tail.jpg")
    assert len(store.photo_bytes(key)) == 1


def test_heic_is_taken_in_where_the_server_says_so(store: DatabaseStore) -> None:
    key, content = store.open(), talkative("HEIF")
    with pytest.raises(PhotoError, match=r"HEIC picture.*Most Compatible"):
        take_photo(store, key, content, name="IMG_0001.heic")
    name = take_photo(store, key, content, name="IMG_0001.heic", limits=Limits(heic=True))
    assert name.endswith(".jpg")
    assert load_photo(store.photo(key, name)).file_format == "JPEG"


# -- brought in -----------------------------------------------------------------------


def rowan() -> tuple[tuple[str, bytes], list[tuple[str, bytes]]]:
    folder = samples_folder() / "rowan"
    photos = [(path.name, path.read_bytes()) for path in sorted(folder.glob("*.jpg"))]
    return ("case.json", (folder / "case.json").read_bytes()), photos


@pytest.mark.usefixtures("decoded_here")
def test_marks_of_a_case_lie_where_they_lay(store: DatabaseStore) -> None:
    case, photos = rowan()
    draft = store.draft(bring_in(store, case, photos).key).to_dict()
    (line,) = store.lines()
    told = json.loads(case[1])["photos"]
    for (_, given), before, after in zip(photos, told, draft["photos"], strict=True):
        kept = load_photo(store.photo(line.key, after["file"]))
        assert kept.size == load_photo(given).size
        assert after["markings"] == before["markings"]


@pytest.mark.usefixtures("decoded_here")
@pytest.mark.parametrize("quota", [Quota(photos=2), Quota(total_bytes=600_000)])
def test_of_more_than_an_order_may_hold_nothing_comes_in(
    store: DatabaseStore, small, quota: Quota
) -> None:
    small(quota)
    with pytest.raises(PhotoError):
        bring_in(store, *rowan())
    assert store.lines() == ()


@pytest.mark.usefixtures("decoded_here")
def test_one_bad_photo_of_a_case_leaves_nothing(store: DatabaseStore) -> None:
    case, photos = rowan()
    photos[2] = (photos[2][0], photos[2][1][:5000])
    with pytest.raises(PhotoError, match=rf"^{photos[2][0]}: .*damaged"):
        bring_in(store, case, photos)
    assert store.lines() == ()


def entry(*shades: int) -> Entry:
    files = [(f"{shade}.jpg", photo(shade)) for shade in shades]
    photos = [{"file": name, "reference": {"kind": "a4"}, "markings": []} for name, _ in files]
    draft = {"unit": "cm", "readings": {}, "photos": photos}
    told = Draft.from_dict(draft)
    origin, content = "o" * 64, "c" * 64
    return Entry("line 1", "Juno", (), origin, content, told, read=dict(files).__getitem__)


@pytest.mark.usefixtures("decoded_here")
def test_an_import_has_the_same_bound(store: DatabaseStore, small) -> None:
    small(Quota(photos=2))
    (result,) = bring(store, [entry(1, 2, 3)], language="en")
    assert result.outcome == "held_back"
    assert "holds 2 photos" in result.problems[0]
    assert store.lines() == ()
    (result,) = bring(store, [entry(1, 2)], language="en")
    assert result.outcome == "new"
    assert len(store.photo_bytes(result.key)) == 2


@pytest.mark.usefixtures("decoded_here")
def test_photos_that_an_import_brings_later_count_too(store: DatabaseStore, small) -> None:
    key, _ = put_order(
        store, Draft(written=("photos",)), {}, origin="o" * 64, content="c" * 64, language="en"
    )
    small(Quota(photos=2))
    (result,) = bring(store, [entry(1, 2, 3)], language="en")
    assert result.outcome == "held_back"
    assert "holds 2 photos" in result.problems[0]
    assert store.photo_bytes(key) == ()
    assert store.order(key).draft.to_dict()["photos"] == []
