"""Which of several four-sided shapes is the card or sheet, and how sure that is.

Whatever is printed on a card has sides as sharp as its own, and so has whatever it lies on.
What tells them apart is weighed together: how much of each side is seen; whether light changes
across it for good or only along a line; whether the sides end where they meet or go on past a
corner, as the sides of a card do past the edge of its stripe; whether a camera can see a
rectangle of these measures so; which is the outer one.  The weights are those of a conditional
logit (McFadden 1974) over all shapes found at one mark and the answer "none of them".
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.numerics import median
from photocheck.scale.candidates import Window, edge_share, slope_across
from photocheck.scale.corners import side_lengths, sides_from
from photocheck.scale.light import Floats
from photocheck.scale.shapes import shapes
from photocheck.scale.subpixel import EdgeLine

FEATURES: Final = (
    "seen least", "seen mean", "step least", "step mean", "steady least", "goes on most",
    "goes on mean", "misfit", "tilt", "size", "sharp", "slope", "alike",
    "wrapped", "wraps",
)  # fmt: skip

_SIZE: Final = FEATURES.index("size")
RIVAL_FROM: Final = 0.1  # of the best one's probability: less is not told
_FLAT: Final = 0.005
_BENT: Final = 0.007
"""Sd of corners, of the longer side: a sheet that curls by 7 mm has some of its corners 2 mm off
(judgement).  With no more than a card's, 2 to 4 of 100 sheets near the camera fewer were found."""
_WRAP_MOST: Final = 3.0  # area over area: a frame in its sheet, not a sheet in a room
WEIGHTS: Final = np.array(
    [
        0.04,  # seen least
        2.13,  # seen mean
        2.93,  # step least
        0.38,  # step mean
        1.23,  # steady least
        -5.09,  # goes on most
        -3.06,  # goes on mean
        -3.36,  # misfit
        -5.19,  # tilt
        1.49,  # size
        2.84,  # sharp
        0.04,  # slope
        -0.60,  # alike
        -2.89,  # wrapped
        -2.16,  # wraps
    ]
)
BIAS: Final = -2.71
"""Fitted (ridge 0.1) to what was found in 220 composites (`photocheck.phantom.composites`, seeds
from 0), shapes within 1.8 % of the longer side and 1.2 window px counted as right."""


@dataclass(frozen=True)
class Side:
    """One side of a shape: a straight edge, or two where paper is bowed.

    Attributes
    ----------
    first, second : EdgeLine
        Its halves in turn; the same line twice where it is straight.
    support, steepness : float
        As of an `EdgeLine`, of both halves together.
    """

    first: EdgeLine
    second: EdgeLine

    @property
    def support(self) -> float:
        """Share of it that was seen, 0 to 1."""
        return 0.5 * (self.first.support + self.second.support)

    @property
    def steepness(self) -> float:
        """Slope of the light across it, per px."""
        return 0.5 * (self.first.steepness + self.second.steepness)


@dataclass(frozen=True)
class FittedShape:
    """Four sides fitted in one window.

    Attributes
    ----------
    corners : (4, 2) float
        Clockwise from the top left as seen, px of the photo.
    sides : tuple of four Side
        In px of the window.
    bows : (4,) float
        How far the middle of each side stands out from the straight line, window px.
    window : Window
    """

    corners: Floats
    sides: tuple[Side, ...]
    bows: Floats
    window: Window

    @property
    def in_window(self) -> Floats:
        """Corners in px of the window."""
        return np.asarray((self.corners - self.window.origin) / self.window.scale)


@dataclass(frozen=True)
class Weighed:
    """Which shape it is.

    Attributes
    ----------
    best : FittedShape
    sure : float
        Probability that it is this shape (found in whichever windows), 0 to 1.
    any_of_them : float
        Probability that it is among the shapes found at all.
    rivals : tuple of (float, (4, 2) float)
        Other shapes nearly as likely: probability over the best one's, corners in px of the
        photo in the order that lies nearest to the best one's.
    """

    best: FittedShape
    sure: float
    any_of_them: float
    rivals: tuple[tuple[float, Floats], ...]


def weigh(
    found: Sequence[FittedShape],
    size_mm: tuple[float, float],
    picture: tuple[int, ...],
    *,
    bends: bool = False,
) -> Weighed | None:
    """The likeliest of the shapes found at one mark, or None when there are none.

    Parameters
    ----------
    found : sequence of FittedShape
    size_mm : longer and shorter side
    picture : (rows, columns, ...) of the photo
    bends : bool
        Whether it is paper, whose corners may lie a little off those of a flat rectangle.
    """
    if not found:
        return None
    facts = measured(found, size_mm, picture, bends=bends)
    facts[:, _SIZE] -= facts[:, _SIZE].max()
    return chosen(found, facts @ WEIGHTS + BIAS)


def chosen(found: Sequence[FittedShape], score: Floats) -> Weighed:
    """The likeliest of shapes by their scores (n,), logarithms of odds against none of them."""
    top = max(float(score.max()), 0.0)
    odds = np.exp(score - top)
    shares = odds / (float(odds.sum()) + float(np.exp(-top)))
    corners = np.array([one.corners for one in found])
    scales = np.array([one.window.scale for one in found])
    groups = _groups(corners, scales, shares)
    best, own = next(groups)
    sure = float(shares[own].sum())
    rivals: list[tuple[float, Floats]] = []
    for index, same in groups:
        share = float(shares[same].sum()) / max(sure, 1e-9)
        if share < RIVAL_FROM:
            break
        rivals.append((share, nearest_order(corners[index], corners[best])))
    return Weighed(found[best], sure, float(shares.sum()), tuple(rivals))


def apart(
    found: Sequence[FittedShape],
    size_mm: tuple[float, float],
    picture: tuple[int, ...],
    most: int,
    *,
    bends: bool = False,
) -> list[FittedShape]:
    """The likeliest few shapes that do not lie where another does; arguments as of `weigh`."""
    if not found:
        return []
    score = measured(found, size_mm, picture, bends=bends) @ WEIGHTS
    odds = np.exp(score - score.max())
    corners = np.array([one.corners for one in found])
    scales = np.array([one.window.scale for one in found])
    return [found[best] for best, _ in islice(_groups(corners, scales, odds), most)]


def _groups(
    corners: Floats, scales: Floats, shares: Floats
) -> Iterator[tuple[int, NDArray[np.bool_]]]:
    """Shapes that lie in one place, the likeliest place first: which one shows it, and (n,) all."""
    left = np.ones(len(corners), np.bool_)
    while left.any():
        index = int(np.argmax(np.where(left, shares, -1.0)))
        same = left & _alike_to(corners, scales, index)
        same[index] = True
        # Of one shape in several windows the one that shows it largest, if it is as good there.
        good = np.flatnonzero(same & (shares > 0.3 * shares[index]))
        yield (int(good[np.argmin(scales[good])]) if good.size else index), same
        left &= ~same


def _alike_to(corners: Floats, scales: Floats, index: int) -> NDArray[np.bool_]:
    room = 0.012 * float(side_lengths(corners[index]).max()) + 0.8 * np.maximum(
        scales, scales[index]
    )
    ways = [
        np.max(np.abs(corners - np.roll(corners[index], k, axis=0)), axis=(1, 2)) for k in range(4)
    ]
    return np.asarray(np.min(ways, axis=0) < room)


def nearest_order(corners: Floats, to: Floats) -> Floats:
    """Corners (4, 2) begun at whichever lies them nearest to others."""
    ways = [np.roll(corners, k, axis=0) for k in range(4)]
    return min(ways, key=lambda way: float(np.sum((way - to) ** 2)))


def measured(
    found: Sequence[FittedShape],
    size_mm: tuple[float, float],
    picture: tuple[int, ...],
    *,
    bends: bool = False,
) -> Floats:
    """What is weighed, (n, len(FEATURES)), each of order 1; arguments as of `weigh`."""
    corners = np.array([one.corners for one in found])
    scales = np.array([one.window.scale for one in found])
    run = np.roll(corners, -1, axis=1) - corners
    lengths = np.hypot(run[..., 0], run[..., 1])
    spread = np.hypot(0.5 * scales, (_BENT if bends else _FLAT) * lengths.max(axis=1))
    judged = shapes(corners, size_mm, picture, spread)
    rows = []
    for k, one in enumerate(found):
        seen = np.array([side.support for side in one.sides])
        slope = np.array([side.steepness for side in one.sides])
        step, steady, sharp, alike = _across(one)
        past = _past_corners(one)
        rows.append(
            [
                float(seen.min()), float(seen.mean()), float(step.min()), float(step.mean()),
                float(steady.min()), float(past.max()), float(past.mean()),
                float(np.log1p(judged.misfit[k])),
                float(-np.log(max(np.cos(judged.tilt[k]), 0.2))),
                0.5 * float(np.log(cv2.contourArea(one.corners.astype(np.float32)))),
                float(sharp.min()), float(np.log(max(slope.min(), 1e-4))), float(alike),
            ]
        )  # fmt: skip
    facts = np.array(rows)
    worth = (
        facts[:, 0] * np.minimum(facts[:, 2], 1.0) * np.exp(-0.25 * np.minimum(judged.misfit, 12))
    )
    around = _around(corners, scales)
    wrapped = np.max(np.where(around, worth[:, None], 0.0), axis=0)
    wraps = np.max(np.where(around, worth[None, :], 0.0), axis=1)
    return np.column_stack([facts, wrapped, wraps])


def _around(corners: Floats, scales: Floats) -> NDArray[np.bool_]:
    """Whether shape i lies around shape k at all its corners, and not much larger, (n, n)."""
    run = np.roll(corners, -1, axis=1) - corners
    unit = run / np.maximum(np.hypot(run[..., 0], run[..., 1]), 1e-9)[..., None]
    to = corners[None, :, None, :, :] - corners[:, None, :, None, :]  # i, k, side of i, corner of k
    inward = unit[:, None, :, None, 0] * to[..., 1] - unit[:, None, :, None, 1] * to[..., 0]
    room = np.maximum(scales[:, None], scales[None, :])
    within = np.min(inward, axis=(2, 3)) > -1.5 * room
    # Larger by more than what one line is known to, on some side.
    within &= np.max(np.min(inward, axis=3), axis=2) > 2.5 * room
    area = np.array([cv2.contourArea(quad.astype(np.float32)) for quad in corners])
    return np.asarray(within & (area[:, None] < _WRAP_MOST * area[None, :]))


def lab_at(window: Window, points: Floats) -> tuple[Floats, Floats]:
    """Lab (..., 3) at the nearest pixel of points (..., 2), and whether each is in the window."""
    rows, columns = window.lab.shape[:2]
    x, y = np.rint(points[..., 0]).astype(int), np.rint(points[..., 1]).astype(int)
    inside = (x >= 0) & (y >= 0) & (x < columns) & (y < rows)
    lab = window.lab[np.clip(y, 0, rows - 1), np.clip(x, 0, columns - 1)].astype(np.float64)
    return lab * np.array([100 / 255, 1.0, 1.0]), inside.astype(np.float64)


def _across(one: FittedShape) -> tuple[Floats, Floats, Floats, float]:
    """What happens across each side: (4,) steps, how steadily, how sharply; and inner likeness.

    A step is the lasting difference, in shares of a plain one (12 Lab units), between 1.5 to 5
    px inside and outside; a printed line has none.  Steadily is the share of the side's length
    along which the step has the side's own direction.
    """
    corners = one.in_window
    along = np.linspace(0.12, 0.88, 24)
    offsets = np.array([-5.0, -4.0, -3.0, -2.0, 0.0, 2.0, 3.0, 4.0, 5.0])  # outward positive
    run, normal = sides_from(corners)
    points = corners[:, None, :] + along[None, :, None] * run[:, None, :]
    points = points + bowed(one.bows, along)[:, :, None] * normal[:, None, :]
    points = points[:, :, None, :] + offsets[None, None, :, None] * normal[:, None, None, :]
    lab, _ = lab_at(one.window, points)
    inner, outer = lab[:, :, :4].mean(axis=2), lab[:, :, 5:].mean(axis=2)
    step = inner - outer
    typical = median(np.swapaxes(step, 1, 2))
    size = np.linalg.norm(typical, axis=1)
    agree = np.einsum("skc,sc->sk", step, typical) / np.maximum(size, 1e-6)[:, None]
    steady = np.mean(agree > 0.35 * size[:, None], axis=1) * np.minimum(size / 3.0, 1.0)
    # near the edge against farther off: a soft shadow goes on changing
    close = lab[:, :, 3] - lab[:, :, 5]
    far = lab[:, :, 0] - lab[:, :, 8]
    near_size = np.linalg.norm(median(np.swapaxes(close, 1, 2)), axis=1)
    far_size = np.linalg.norm(median(np.swapaxes(far, 1, 2)), axis=1)
    sharp = near_size / np.maximum(np.maximum(far_size, near_size), 1.0)
    tones = median(np.swapaxes(inner, 1, 2))
    alike = float(np.max(np.linalg.norm(tones - median(tones.T), axis=1))) / 30.0
    return np.clip(size / 12.0, 0, 2), steady, np.minimum(sharp, 1.5), min(alike, 2.0)


def bowed(bows: Floats, along: Floats) -> Floats:
    """How far sides with those bows (4,) stand out at fractions (n,) of their length, (4, n)."""
    return np.asarray(bows[:, None] * 4.0 * along * (1.0 - along))


def _past_corners(one: FittedShape) -> Floats:
    """How much, 0 to 1, both sides that end at each side's corners go on beyond it, (4,)."""
    corners = one.in_window
    run = np.roll(corners, -1, axis=0) - corners
    length = np.hypot(*run.T)
    unit = run / np.maximum(length, 1e-9)[:, None]
    # Beyond corner k + 1 along side k, and beyond corner k back along it.
    forward = _beyond(one.window, np.roll(corners, -1, axis=0), unit, length)
    backward = _beyond(one.window, corners, -unit, length)
    # Side k lies between side k - 1 (forward past corner k) and k + 1 (back past corner k + 1).
    return np.minimum(np.roll(forward, 1), np.roll(backward, -1))


def _beyond(window: Window, start: Floats, unit: Floats, length: Floats) -> Floats:
    """Edge along rays (4,) from just past a corner, over what lies beside them; 0 to 1."""
    reach = np.clip(0.16 * length, 5.0, 30.0)
    part = np.linspace(0.25, 1.0, 8)
    normal = unit[:, ::-1] * [1.0, -1.0]
    points = start[:, None, :] + (part[None, :, None] * reach[:, None, None]) * unit[:, None, :]
    # Three strips of three lines: along the ray, and to either side of it.
    shifts = np.add.outer([0.0, -5.0, 5.0], [-1.0, 0.0, 1.0])[..., None, None, None]
    at = points + shifts * normal[:, None, :]
    nx, ny = normal[:, None, 0], normal[:, None, 1]
    edge = edge_share(slope_across(window, at[..., 0], at[..., 1], nx, ny))
    along, before, after = np.max(edge, axis=1).mean(axis=2)
    return np.asarray(np.clip(along - 0.5 * (before + after), 0.0, 1.0))
