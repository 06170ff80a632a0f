"""A phone's photo made smaller by its browser is to the check what the camera saved.

Held against Pillow's own reading of orientation (its `ImageOps.exif_transpose`) and resampling.
"""

from __future__ import annotations

import io
from collections.abc import Iterator

import numpy as np
import pytest
from PIL import Image, ImageOps
from playwright.sync_api import Browser, Page

from photocheck.photo.load import load_photo
from tests.support.browser_photos import made_smaller, maker

pytestmark = pytest.mark.browser

PHONE = (5760, 4320)
SMALLER = (4000, 3000)
"""Of the same shape, and still as many pixels as cameras write (`photocheck.photo.whole`)."""

_ORIENTATION, _EXIF = 0x0112, 0x8769


@pytest.fixture(scope="module")
def page(chromium: Browser) -> Iterator[Page]:
    page = maker(chromium.new_page())
    yield page
    page.close()


@pytest.fixture(scope="module")
def scene() -> Image.Image:
    """Smooth shapes and some grain, so that the file is as large as a phone's."""
    grain = np.random.default_rng(4).normal(0.0, 9.0, (PHONE[1], PHONE[0], 1))
    y, x = np.mgrid[0 : PHONE[1], 0 : PHONE[0]] / 400.0
    shapes = np.stack([np.sin(x) * np.cos(y), np.sin(x + y), np.cos(x / 2)], axis=2)
    return Image.fromarray(np.clip(128 + 90 * shapes + grain, 0, 255).astype(np.uint8))


def photo(scene: Image.Image, *, orientation: int = 1, tags: dict[int, int] | None = None) -> bytes:
    """A file as a phone writes it."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Fell", "F1"
    exif[_ORIENTATION] = orientation
    if tags is None:
        tags = {0xA405: 26, 0xA002: scene.width, 0xA003: scene.height}
    exif[_EXIF] = tags
    held = io.BytesIO()
    scene.save(held, "JPEG", quality=92, exif=exif)
    return held.getvalue()


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_the_picture_is_the_same_and_so_is_what_the_file_says(
    page: Page, scene: Image.Image, orientation: int
) -> None:
    whole = photo(scene, orientation=orientation)
    small = made_smaller(page, whole)
    assert len(small) < 0.8 * len(whole)
    was, now = load_photo(whole), load_photo(small)
    assert now.camera == was.camera
    assert (now.camera.focal_35mm, now.camera.framing.cut) == (26.0, 0.0)
    size = SMALLER if orientation in (1, 3) else SMALLER[::-1]
    assert now.rgb.shape[1::-1] == size
    upright = ImageOps.exif_transpose(Image.open(io.BytesIO(whole)))
    expected = np.asarray(upright.resize(size, Image.Resampling.BOX), float)
    assert np.abs(now.rgb.astype(float) - expected).mean() < 4.0  # of 255; turned wrongly: 60


@pytest.mark.parametrize(
    "odd",
    ["cut", "as large as most", "png", "no size told", "garbled", "not a picture", "two exif blocks"],
)
def test_what_is_odd_in_any_way_is_sent_as_it_is(page: Page, scene: Image.Image, odd: str) -> None:
    kind = "image/png" if odd == "png" else "image/jpeg"
    content = photo(scene)
    if odd == "cut":
        content = photo(scene.crop((0, 0, 5501, 4126)))
    elif odd == "as large as most":
        content = photo(scene.resize((4032, 3024)))
    elif odd == "no size told":
        content = photo(scene, tags={0xA405: 26})
    elif odd == "garbled":
        content = content[:30] + b"\xff" * 400 + content[430:]
    elif odd == "not a picture":
        content = content[:4] + bytes(3_000_000)
    elif odd == "two exif blocks":
        at = content.index(b"\xff\xe1")
        length = int.from_bytes(content[at + 2 : at + 4], "big") + 2
        content = content[:at] + content[at : at + length] + content[at:]
    assert made_smaller(page, content, kind) == content
