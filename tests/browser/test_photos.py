"""A phone's photo made smaller by its browser is to the check what the camera saved.

Held against Pillow's own reading of orientation.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps
from playwright.sync_api import Browser, Page, expect

import photocheck
from photocheck.case.samples import samples_folder
from photocheck.photo.clean import clean
from photocheck.photo.load import load_photo
from photocheck.scale.sheet import LAYOUT, marker_cells
from photocheck.scale.tag_layout import TAG_IDS
from tests.support.browser_photos import address_of, as_phone, enlarged, made_smaller, maker
from tests.support.pages import Visitors, rests
from tests.support.served_alone import Alone, served_alone

pytestmark = pytest.mark.browser

SAMPLE = "flint"
"""Photographed with the marker sheet, which stands free."""
USUAL = (4000, 3000)
LARGE = (5600, 4200)
MOST_MOVED = 0.001
"""Of a length."""


@pytest.fixture(scope="module")
def page(chromium: Browser) -> Iterator[Page]:
    page = maker(chromium.new_page())
    yield page
    page.close()


def _sample() -> bytes:
    return (samples_folder() / SAMPLE / "side.jpg").read_bytes()


@pytest.fixture(scope="module")
def usual() -> np.ndarray:
    return enlarged(_sample(), USUAL)


@pytest.fixture(scope="module")
def large() -> np.ndarray:
    return enlarged(_sample(), LARGE)


def _lengths(folder: Path, content: bytes) -> np.ndarray:
    """The check's four lengths by a photo of the sample, ln mm, as kept by a server."""
    case: dict[str, Any] = json.loads((samples_folder() / SAMPLE / "case.json").read_text())
    folder.mkdir()
    (folder / "side.jpg").write_bytes(clean(content).content)
    by = max(Image.open(io.BytesIO(content)).size) / max(Image.open(io.BytesIO(_sample())).size)
    for marking in case["photos"][0]["markings"]:
        marks = marking["marks"].items()
        marking["marks"] = {name: [(v + 0.5) * by - 0.5 for v in at] for name, at in marks}
    (folder / "case.json").write_text(json.dumps(case))
    spans = photocheck.check(photocheck.read_case(folder / "case.json")).spans
    return np.log([span.photo_mm or np.nan for span in spans])


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_the_picture_is_the_same_and_so_is_what_the_file_says(
    page: Page, large: np.ndarray, orientation: int
) -> None:
    whole = as_phone(large, orientation=orientation)
    small = made_smaller(page, whole)
    assert len(small) < 0.8 * len(whole)
    was, now = load_photo(whole), load_photo(small)
    assert now.camera == was.camera
    assert (now.camera.focal_35mm, now.camera.framing.cut) == (26.0, 0.0)
    assert now.rgb.shape == large.shape
    expected = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(whole))), float)
    assert np.abs(now.rgb.astype(float) - expected).mean() < 3.0  # of 255; turned wrongly: 40


def test_no_length_moves_by_a_thousandth(
    page: Page, usual: np.ndarray, large: np.ndarray, tmp_path: Path
) -> None:
    for name, picture in (("usual", usual), ("large", large)):
        whole = as_phone(picture)
        small = made_smaller(page, whole)
        assert small != whole
        moved = _lengths(tmp_path / f"{name} small", small) - _lengths(tmp_path / name, whole)
        assert np.abs(moved).max() < MOST_MOVED, name


@pytest.mark.parametrize("odd", ["no sheet", "a part of it hidden", "mirrored", "a tag beside it"])
def test_without_the_whole_sheet_alone_it_is_sent_as_it_is(
    page: Page, usual: np.ndarray, odd: str
) -> None:
    picture = usual.copy()
    left, top, right, bottom = _sheet_in(picture)
    if odd == "no sheet":
        picture[top:bottom, left:right] = (200, 190, 180)
    elif odd == "a part of it hidden":
        picture[bottom - (bottom - top) // 8 : bottom, left:right] = (120, 100, 80)
    elif odd == "mirrored":
        picture = picture[:, ::-1].copy()
    else:
        tag = np.full((8, 8), 255, np.uint8)
        tag[1:7, 1:7] = np.where(marker_cells(TAG_IDS["last_rib"]), 20, 230)
        side = 160
        small = cv2.resize(tag, (side, side), interpolation=cv2.INTER_NEAREST)
        picture[100 : 100 + side, 200 : 200 + side] = small[..., None]
    content = as_phone(picture)
    assert made_smaller(page, content) == content


def _sheet_in(picture: np.ndarray) -> tuple[int, int, int, int]:
    """Where the sheet's markers are, by OpenCV's own detector: left, top, right, bottom, px."""
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    corners, ids, _ = detector.detectMarkers(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY))
    seen = zip(corners, ids.ravel(), strict=True)
    mine = [one for one, name in seen if name in LAYOUT.marker_ids]
    assert len(mine) == len(LAYOUT.marker_ids)
    points = np.concatenate([np.asarray(one).reshape(-1, 2) for one in mine])
    (left, top), (right, bottom) = points.min(axis=0) - 8, points.max(axis=0) + 8
    return int(left), int(top), int(right), int(bottom)


@pytest.mark.parametrize(
    "odd",
    ["small", "no size told", "no camera data", "garbled", "not a picture", "two of camera data"],
)
def test_what_is_odd_in_any_way_is_sent_as_it_is(page: Page, usual: np.ndarray, odd: str) -> None:
    content = as_phone(usual)
    at = content.index(b"\xff\xe1")
    length = int.from_bytes(content[at + 2 : at + 4], "big") + 2
    if odd == "small":
        content = as_phone(cv2.resize(usual, (2000, 1500), interpolation=cv2.INTER_AREA))
    elif odd == "no size told":
        content = as_phone(usual, tags={0xA405: 26})
    elif odd == "no camera data":
        content = content[:at] + content[at + length :]
    elif odd == "garbled":
        content = content[:30] + b"\xff" * 400 + content[430:]
    elif odd == "not a picture":
        content = content[:4] + bytes(3_000_000)
    else:
        content = content[:at] + content[at : at + length] + content[at:]
    assert made_smaller(page, content) == content


def test_where_the_work_cannot_be_done_it_is_sent_as_it_is(
    chromium: Browser, usual: np.ndarray
) -> None:
    content = as_phone(usual)
    page = maker(chromium.new_page())
    try:
        page.evaluate("delete window.OffscreenCanvas")
        assert made_smaller(page, content) == content
        page.reload()
        page.evaluate("() => { window.Worker = undefined; }")
        assert made_smaller(page, content) == content
    finally:
        page.close()


def test_the_markers_looked_for_are_those_that_are_printed(page: Page) -> None:
    def code(marker: int) -> int:
        cells = ~marker_cells(marker)[1:5, 1:5]
        return int("".join("01"[cell] for cell in cells.ravel().astype(int)), 2)

    sheet, tags = page.evaluate(
        "script => import(script).then((it) => [it.SHEET, it.TAGS])", address_of("markers.js")
    )
    assert sheet == [code(marker) for marker in LAYOUT.marker_ids]
    assert sorted(tags) == sorted(code(marker) for marker in TAG_IDS.values())


# -- in the app --


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Alone]:
    with served_alone(tmp_path_factory.mktemp("photos")) as app:
        yield app


@pytest.mark.parametrize("without", ["", "smaller", "sending"])
def test_an_owners_photo_comes_smaller_or_as_it_is(
    served: Alone, visitors: Visitors, usual: np.ndarray, without: str
) -> None:
    """Whatever of our scripts is missing, the photo arrives and its sheet is found."""
    page = visitors.come(viewport={"width": 390, "height": 844}, locale="en").new_page()
    if without:
        page.route(re.compile(rf"/static/photocheck/{without}\."), lambda route: route.abort())
    page.goto(f"{served.address}/?begin=quick")
    page.locator(".st-key-ways_on").wait_for(timeout=60_000)
    page.goto(re.sub("step=[^&]*", "step=photo", page.url))
    field = page.locator("input[type=file]").first
    field.wait_for(state="attached", timeout=30_000)
    rests(page)
    content = as_phone(usual, orientation=6)
    sent: list[int] = []
    page.on(
        "requestfinished",
        lambda one: (
            sent.append(one.sizes()["requestBodySize"]) if "upload_file" in one.url else None
        ),
    )
    field.set_input_files({"name": "dog.jpg", "mimeType": "image/jpeg", "buffer": content})
    expect(page.get_by_text("Found, where it is outlined")).to_be_visible(timeout=60_000)
    (size,) = sent
    if without:
        assert size > len(content)
    else:
        assert size < 0.8 * len(content)
