"""A photo made ready for a screen: smaller copies, encoded.

The copies keep the photo's outer edges in place, so that stretched over the full photo's
rectangle every pixel lies where it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import blake2b
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.errors import PhotoError
from photocheck.speech import tr

DISPLAY_SIDE: Final = 1600
"""Longer side of the copy shown first, px.  Judgement: sharp on a phone held upright at three
device pixels each, and 0.2 to 0.4 MB on the wire."""

SHARP_SIDE: Final = 4096
"""Longer side of the copy for zooming in and the magnifier, px: a 12 MP photo as it is."""

QUALITY: Final = 86
"""JPEG quality of both.  Judgement: no blocks to be seen when enlarged."""


@dataclass(frozen=True)
class Copy:
    """One encoded copy of a photo.

    Attributes
    ----------
    jpeg : bytes
    width, height : int
        Of the copy, px.
    """

    jpeg: bytes
    width: int
    height: int


@dataclass(frozen=True)
class Shown:
    """All of a photo that a screen needs; its pixels may be let go.

    Attributes
    ----------
    name : str
        Tells this picture from another.
    size_px : (int, int)
        Width and height of the photo itself.
    copies : tuple of Copy
        The smallest first.
    """

    name: str
    size_px: tuple[int, int]
    copies: tuple[Copy, ...]

    @property
    def bytes(self) -> int:
        """What the copies take in memory."""
        return sum(len(copy.jpeg) for copy in self.copies)


def shown(photo_rgb: NDArray[np.uint8], sides: Sequence[int] = (DISPLAY_SIDE, SHARP_SIDE)) -> Shown:
    """A photo made ready for a screen.

    Parameters
    ----------
    photo_rgb : (H, W, 3) uint8
    sides : sequence of int
        As for `display_copies`.

    Raises
    ------
    PhotoError
        When the array is no 8-bit RGB picture.
    """
    copies = display_copies(photo_rgb, sides)
    height, width = photo_rgb.shape[:2]
    return Shown(picture_name(photo_rgb), (width, height), copies)


def picture_name(photo_rgb: NDArray[np.uint8]) -> str:
    """Tells one picture from another by every sixteenth pixel each way; a millisecond for 12 MP."""
    sample = np.ascontiguousarray(photo_rgb[::16, ::16])
    return blake2b(sample.tobytes() + repr(photo_rgb.shape).encode(), digest_size=8).hexdigest()


def display_copies(
    photo_rgb: NDArray[np.uint8], sides: Sequence[int] = (DISPLAY_SIDE, SHARP_SIDE)
) -> tuple[Copy, ...]:
    """Copies of a photo for the screen, the smallest first, none larger than the photo.

    Parameters
    ----------
    photo_rgb : (H, W, 3) uint8
    sides : sequence of int
        Longer sides wanted, px, in rising order.

    Returns
    -------
    tuple of Copy
        At least one; where several sides exceed the photo's, the photo as it is once.

    Raises
    ------
    PhotoError
        When the array is no 8-bit RGB picture.
    """
    import cv2

    if photo_rgb.ndim != 3 or photo_rgb.shape[2] != 3 or photo_rgb.dtype != np.uint8:
        raise PhotoError(tr("this is not an 8-bit colour picture"), do=tr("Load the photo again"))
    height, width = photo_rgb.shape[:2]
    sizes: list[tuple[int, int]] = []
    for side in sides:
        scale = min(1.0, side / max(width, height))
        size = (max(1, round(width * scale)), max(1, round(height * scale)))
        if size not in sizes:
            sizes.append(size)
    copies = []
    for size in sizes:
        small = photo_rgb
        if size != (width, height):
            small = cv2.resize(photo_rgb, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
        bgr = cv2.cvtColor(small, cv2.COLOR_RGB2BGR)
        _, jpeg = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
        copies.append(Copy(jpeg.tobytes(), *size))
    return tuple(copies)
