"""Squares of a photo as the network looks at them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
Frame = tuple[float, float, float, float]
"""Left, top, right, bottom."""

SMALL_PX: Final = 800
"""Least longer side of the copy that looks are cut from: a dog that takes a third of the photo then
has as many px as a look (judgement).  Photos are halved, for that takes an eighth of the time."""

GREY: Final = (124, 116, 104)
"""What lies beyond the photo, RGB: the mean of ImageNet's pictures, so that the network, which
takes that off, sees nothing there."""

ROOM: Final = 1.15
"""Side of a square about the dog over the longer side of its frame (in training the dog takes 30 to
97 % of a look)."""
MORE_ROOM: Final = 1.45
"""The same of the one that is looked at in a mirror: what depends on size or side differs there."""

LEAST: Final = 0.05
"""Of the photo's longer side, which a frame has at least: a smaller one is no dog to measure."""


@dataclass(frozen=True)
class SquareLook:
    """One square of a photo.

    Attributes
    ----------
    rgb : (side, side, 3) uint8
    left, top : float
        Its corner, px of the photo, where the photo's own corner is (0, 0) and not, as for
        points, the centre of its first pixel.
    side : float
        Px of the photo.
    mirrored : bool
        Whether left and right are exchanged in `rgb`.
    """

    rgb: Picture
    left: float
    top: float
    side: float
    mirrored: bool = False

    @property
    def other(self) -> SquareLook:
        """The same in a mirror."""
        turned = np.ascontiguousarray(self.rgb[:, ::-1])
        return SquareLook(turned, self.left, self.top, self.side, not self.mirrored)

    def in_photo(self, frame: NDArray[np.float32]) -> Frame:
        """A frame in parts of the look, as px of the photo."""
        x0, y0, x1, y1 = (float(value) for value in np.clip(frame, 0.0, 1.0))
        if self.mirrored:
            x0, x1 = 1.0 - x1, 1.0 - x0
        # pixels reach half a pixel beyond their centres
        left, top = self.left - 0.5, self.top - 0.5
        side = self.side
        return left + x0 * side, top + y0 * side, left + x1 * side, top + y1 * side


@dataclass(frozen=True)
class Small:
    """A small copy of a photo.

    Attributes
    ----------
    rgb : (h, w, 3) uint8
    scale : float
        Px of the photo for one of the copy.
    """

    rgb: Picture
    scale: float

    @classmethod
    def of(cls, photo_rgb: Picture) -> Small:
        """The copy of a photo (H, W, 3); the photo itself where that is small."""
        copy, scale = photo_rgb, 1.0
        while max(copy.shape[:2]) >= 2 * SMALL_PX and min(copy.shape[:2]) > 1:
            height, width = (side // 2 for side in copy.shape[:2])
            even = copy[: 2 * height, : 2 * width]
            half = cv2.resize(even, (width, height), interpolation=cv2.INTER_AREA)
            copy, scale = np.asarray(half, np.uint8), 2.0 * scale
        return cls(copy, scale)

    def whole(self, side_px: int) -> SquareLook:
        """All of the photo, in the middle of a square."""
        height, width = self.rgb.shape[:2]
        longer = max(height, width)
        return self._square((width - longer) // 2, (height - longer) // 2, longer, side_px)

    def about(self, frame: Frame, room: float, side_px: int) -> SquareLook:
        """A square about a frame, px of the photo.

        Parameters
        ----------
        frame : Frame
        room : float
            The square's side over the longer side of the frame.
        side_px : int
            Of the look.
        """
        x0, y0, x1, y1 = ((value + 0.5) / self.scale for value in frame)
        least = LEAST * max(self.rgb.shape[:2])
        side = max(1, round(room * max(x1 - x0, y1 - y0, least)))
        left, top = round((x0 + x1 - side) / 2), round((y0 + y1 - side) / 2)
        return self._square(left, top, side, side_px)

    def _square(self, left: int, top: int, side: int, side_px: int) -> SquareLook:
        height, width = self.rgb.shape[:2]
        x0, y0 = max(left, 0), max(top, 0)
        x1, y1 = min(left + side, width), min(top + side, height)
        cut = self.rgb[y0:y1, x0:x1]
        beyond = (y0 - top, top + side - y1, x0 - left, left + side - x1)
        if any(beyond):
            cut = np.asarray(
                cv2.copyMakeBorder(cut, *beyond, cv2.BORDER_CONSTANT, value=GREY), np.uint8
            )
        shrinks = cv2.INTER_AREA if side > side_px else cv2.INTER_LINEAR
        look = np.asarray(cv2.resize(cut, (side_px, side_px), interpolation=shrinks), np.uint8)
        return SquareLook(look, left * self.scale, top * self.scale, side * self.scale)
