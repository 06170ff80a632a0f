"""Traces of an earlier JPEG compression whose blocks do not begin at the picture's corner.

A camera's JPEG is made of blocks of 8 x 8 pixels counted from its top left corner.  Cut out of it
and saved anew, the picture still has them, counted from somewhere else.  In blocks laid as the
camera laid them the cosine transform's coefficients stand at multiples of the camera's steps, in
any others they do not (T. Bianchi and A. Piva, Detection of nonaligned double JPEG compression
based on integer periodicity maps, IEEE Transactions on Information Forensics and Security 7
(2012) 842-848; idea by its title and abstract).  Here the periodicity of nine low frequencies is
held against that of the 48 other places where blocks could begin inside the present ones.

It sees nothing where the later compression was the coarser one, nor after the picture was made
smaller, nor where a cut falls on the grid itself or on the middle of a side of its blocks (3 in
64): silence is no evidence of a whole picture.
"""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.numerics import median

Picture = NDArray[np.uint8]
Array = NDArray[np.float64]

FREQUENCIES: Final = ((0, 1), (1, 0), (1, 1), (0, 2), (2, 0), (1, 2), (2, 1), (2, 2), (0, 3))
STEPS: Final = tuple(range(2, 21))
"""Steps looked for, codes: those of low frequencies at JPEG qualities 60 to 95."""
SIDE_PX: Final = 768
"""Of the middle of the picture that is looked at."""
CLIP: Final = 12.0
"""Beyond this many standard deviations one frequency counts no more."""
LEAST_SUM: Final = 32.0
LEAST_LEAD: Final = 1.4
"""The sum over the frequencies from which a grid is believed, and its lead over the next place
(chosen on the sample photos cut at random, quality 75 to 95, and on whole ones)."""
LEAST_LEAD_OF_MIRROR: Final = 1.7
"""The same of a place that shares a row or a column with the present blocks, over its mirror."""
_LITTLE = 5.0
_QUARTERS, _REACH = 4, 200
_FEWEST = 300


def earlier_grid(rgb: Picture) -> tuple[int, int] | None:
    """Where earlier blocks begin, (x, y) from 0 to 7 px, not both 0; None where none are seen.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
        With its present blocks, if any, counted from its corner.
    """
    sums = periodicity(rgb)
    inner = sums[1:, 1:]
    order = np.argsort(inner, axis=None)[::-1]
    best, rival = (float(inner.flat[order[k]]) for k in (0, 1))
    if best >= LEAST_SUM and best >= LEAST_LEAD * rival:
        y, x = divmod(int(order[0]), 7)
        return _unless_turned((x + 1, y + 1), rgb)
    # Where x or y is 0 the present blocks share a side with earlier ones and leave marks of their
    # own, but the same ones in the place as far from the other side.
    for line, along_x in ((sums[0], True), (sums[:, 0], False)):
        lead = line[1:] / np.maximum(line[:0:-1], _LITTLE)
        k = int(np.argmax(lead)) + 1
        if line[k] >= LEAST_SUM and lead[k - 1] >= LEAST_LEAD_OF_MIRROR:
            return _unless_turned((k, 0) if along_x else (0, k), rgb)
    return None


def _unless_turned(place: tuple[int, int], rgb: Picture) -> tuple[int, int] | None:
    """None for blocks that were counted from another corner of this very picture.

    A program that turned the whole picture and saved it anew leaves those.
    """
    sides = (rgb.shape[1], rgb.shape[0])
    return (
        None if all(at in (0, side % 8) for at, side in zip(place, sides, strict=True)) else place
    )


def periodicity(rgb: Picture) -> Array:
    """How much likelier each place (y, x) is to be a grid's than the others, (8, 8)."""
    height, width = rgb.shape[:2]
    top, left = (max(0, (side - SIDE_PX) // 2) // 8 * 8 for side in (height, width))
    part = np.ascontiguousarray(rgb[top : top + SIDE_PX, left : left + SIDE_PX])
    light = cv2.cvtColor(part, cv2.COLOR_RGB2YCrCb)[..., 0].astype(np.float32) - 128.0
    rows, columns = ((side - 7) // 8 * 8 for side in light.shape)
    found = np.zeros(64)
    if rows < 64 or columns < 64:
        return found.reshape(8, 8)
    bins = 2 * _QUARTERS * _REACH + 1
    # where the histogram of each pixel's place begins; whole numbers, exact in 32 bits
    first = (8 * (np.arange(rows)[:, None] % 8) + np.arange(columns)[None, :] % 8) * bins
    first = first.astype(np.float32)
    value = np.arange(bins) / _QUARTERS - _REACH
    steps = np.array(STEPS)
    used = np.abs(value)[:, None] >= steps / 2
    combs = np.where(used, np.cos(2.0 * np.pi * value[:, None] / steps), 0.0)
    used = used.astype(np.float64)
    inner = np.array([y % 8 > 0 and x % 8 > 0 for y in range(8) for x in range(8)])
    for across, down in FREQUENCIES:
        wave = cv2.sepFilter2D(
            light, -1, _basis(across), _basis(down), anchor=(0, 0), borderType=cv2.BORDER_REPLICATE
        )[:rows, :columns]
        # in place: the passes over half a million pixels are what this costs
        wave += _REACH
        wave *= _QUARTERS
        np.rint(wave, out=wave)
        np.clip(wave, 0, bins - 1, out=wave)
        wave += first
        counts = np.bincount(wave.astype(np.intp).ravel(), minlength=64 * bins)
        counts = counts.reshape(64, bins).astype(np.float64)
        # all steps at once, (64, steps): how many count, and how well they lie on multiples
        numbers, sums = counts @ used, counts @ combs
        enough = numbers.min(axis=0) >= _FEWEST
        comb = (sums[:, enough] / np.sqrt(numbers[:, enough] / 2.0)).T
        middle = median(comb[:, inner])[:, None]
        spread = np.maximum(1.4826 * median(np.abs(comb[:, inner] - middle)), 1.0)
        score = np.max((comb - middle) / spread[:, None], axis=0, initial=0.0)
        found += np.minimum(score, CLIP)
    return found.reshape(8, 8)


def _basis(frequency: int) -> NDArray[np.float32]:
    """A cosine of the 8-point transform (ITU-T T.81, A.3.3)."""
    wave = np.cos((2 * np.arange(8) + 1) * frequency * np.pi / 16)
    return np.asarray(wave * (np.sqrt(1 / 8) if frequency == 0 else 0.5), np.float32)
