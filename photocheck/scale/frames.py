"""What is believed of the whole frame that a picture shows all or a part of.

The camera looks at the frame's middle, and its focal length, told as a 35 mm equivalent, belongs
to the frame's diagonal.  Of a picture that is the whole frame both are known; of one that was cut
out, the frame is the smallest that can hold it, grown by an unknown factor, and lies round it by
an unknown shift: two unknowns that belong together, for a frame hardly larger than the picture
cannot have its middle far from the picture's.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, log

import numpy as np
from numpy.typing import NDArray

from photocheck.photo.photo import Framing
from photocheck.photo.whole import NAMED_FROM, in_camera_shift, smallest_frame
from photocheck.scale.priors import (
    CENTRE_SHARE,
    CUT_SHIFT,
    LOG_LOG_GROWTH,
    LOG_LOG_GROWTH_TOLD,
    PREVIEW_SHARE,
    Normal,
)

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Frame:
    """Prior of the frame round one picture.

    Attributes
    ----------
    least_px : (2,)
        Width and height of the smallest frame that can be.
    inside_px : (2,)
        Width and height of the part of the picture that is photo.
    middle_px : (2,)
        Where its middle, or that of a frame whose place is told, lies in the picture.
    growth : Normal or None
        Of ln(ln(frame / least)); None where the frame is `least_px`.
    centre_share : float
        Standard deviation of the principal point from the frame's middle, of its longer side.
    log_focal : Normal
        What is added to ln(focal length) for the shape of the frame.
    """

    least_px: Array
    inside_px: Array
    middle_px: Array
    growth: Normal | None
    centre_share: float
    log_focal: Normal

    def size(self, growth: Array) -> Array:
        """Width and height, (..., 2) or (2,), px, of the frame by the score (...) of its growth."""
        if self.growth is None:  # one for all: nothing is worked out a hundred times over
            return self.least_px
        # beyond e to the 3 no frame can be told from another
        grown = np.exp(np.minimum(np.exp(self.growth.at(growth)), 3.0))
        return np.asarray(self.least_px * grown[..., None])

    def centre(self, score: Array, size: Array) -> Array:
        """The principal point, (..., 2), px, by its scores (..., 2) and the frame's size."""
        own = self.centre_share * np.maximum(size[..., :1], size[..., 1:])
        room = 0.0 if self.growth is None else 0.5 * CUT_SHIFT * (size - self.inside_px)
        return np.asarray(self.middle_px + np.hypot(own, room) * score)


def frame_of(size: tuple[int, int], framing: Framing, *, cut: bool | None = None) -> Frame:
    """The frame of a picture.

    Parameters
    ----------
    size : (int, int)
        Width and height of the picture, px.
    framing : Framing
    cut : bool or None
        Whether to take it as cut; None for what is more probable.
    """
    left, top, right, bottom = framing.photo_px or (0, 0, *size)
    inside = np.array([right - left, bottom - top], float)
    middle = np.array([left + right - 1, top + bottom - 1], float) / 2.0
    cut = framing.cut >= NAMED_FROM if cut is None else cut
    if framing.frame_px is not None and framing.corner_px is not None and cut:
        told = np.array(framing.frame_px, float)
        at = (told - 1.0) / 2.0 - np.array(framing.corner_px)
        return Frame(told, inside, at, None, PREVIEW_SHARE, Normal(0.0, PREVIEW_SHARE))
    shape = (float(inside[0]), float(inside[1]))
    if not cut:
        shift = in_camera_shift(shape)
        focal = Normal(0.5 * shift, 0.5 * shift)
        return Frame(inside, inside, middle, None, CENTRE_SHARE, focal)
    growth = LOG_LOG_GROWTH
    least = smallest_frame(shape)
    if framing.frame_px is not None and framing.why != "smaller":
        wide, high = framing.frame_px
        grown = min(wide / shape[0], high / shape[1])
        least = (wide / grown, high / grown)
        growth = Normal(log(max(log(max(grown, 1.0)), 0.02)), LOG_LOG_GROWTH_TOLD)
    return Frame(np.array(least), inside, middle, growth, CENTRE_SHARE, Normal(0.0, 0.0))


def spread_with(focal: float, frame: Frame) -> float:
    """Standard deviation of ln(focal length) with what the frame's shape leaves open."""
    return hypot(focal, frame.log_focal.spread)
