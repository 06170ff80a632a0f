"""What pixels and preview tell of a picture's framing, besides its size and its tags."""

from __future__ import annotations

from dataclasses import replace
from math import log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.photo.bars import photo_between_bars
from photocheck.photo.earlier_grid import earlier_grid
from photocheck.photo.photo import Framing
from photocheck.photo.preview import frame_in_preview
from photocheck.photo.whole import (
    CAMERA_SHAPES,
    NAMED_FROM,
    ODD_SHAPE,
    WEIGHED_FROM,
)

Picture = NDArray[np.uint8]

SURE: Final = 0.99
"""Probability of being cut with an earlier grid or a preview that shows more (judgement)."""
OVERWRITTEN: Final = 0.3
"""That of a picture of a camera's shape with bars inside which no camera's shape is left."""
SHOWN_WHOLE: Final = 0.15
"""That of a photo between bars whose shape is a camera's: it may be enlarged on the screen."""


def with_traces(
    framing: Framing, rgb: Picture, preview: Picture | None, *, as_stored: bool = True
) -> Framing:
    """A framing told by size and tags with what pixels and preview add.

    What is as large as cameras save it is not looked at closely: it costs time, and a cut picture
    seldom is.

    Parameters
    ----------
    framing : Framing
    rgb : (H, W, 3) uint8
    preview : (h, w, 3) uint8 or None
        Turned as the picture is.
    as_stored : bool
        Whether the picture lies as the file has it; turned, its present blocks may begin elsewhere
        than at its corner, and earlier ones are not looked for.
    """
    inside = photo_between_bars(rgb)
    if inside is not None:
        return _between_bars(inside, framing, (rgb.shape[1], rgb.shape[0]))
    if framing.cut < WEIGHED_FROM:
        return framing
    if preview is not None and (found := frame_in_preview(rgb, preview)) is not None:
        return Framing(SURE, "preview", *found)
    countable = as_stored or all(side % 8 == 0 for side in rgb.shape[:2])
    if framing.cut < NAMED_FROM and countable and earlier_grid(rgb) is not None:
        return replace(framing, cut=SURE, why="grid")
    return framing


def _between_bars(
    inside: tuple[int, int, int, int], framing: Framing, size: tuple[int, int]
) -> Framing:
    left, top, right, bottom = inside
    if _of_a_camera((right - left, bottom - top)):
        return Framing(SHOWN_WHOLE, photo_px=inside)
    if _of_a_camera(size):  # strips written over a whole picture, as by trail cameras
        return replace(framing, cut=max(framing.cut, OVERWRITTEN))
    return Framing(ODD_SHAPE, "bars", photo_px=inside)


def _of_a_camera(size: tuple[int, int]) -> bool:
    # the end of a bar is found to a pixel or two
    slack = 4.0 / min(size) + 0.01
    return any(abs(log(max(size) / min(size) / each)) < slack for each in CAMERA_SHAPES)
