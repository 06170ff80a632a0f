"""Straight edges to a fraction of a pixel: strips across an edge, and lines fitted in them.

Everything is measured in linear light.  A lens blurs light, not the encoded
values a picture file holds; in encoded values the half-way level of a blurred
edge sits on the dark side of it, and every dark thing looks too small.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Picture = NDArray[np.uint8]


def _srgb_table() -> NDArray[np.float32]:
    code = np.arange(256) / 255.0
    light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return light.astype(np.float32)


SRGB_TO_LIGHT: Final = _srgb_table()
"""(256,) linear light 0..1 of each 8-bit code: IEC 61966-2-1 (sRGB), from memory.

Phones bend the curve further to taste; what is left of the error is a common
growth or shrinking of dark shapes of a few hundredths of a pixel.
"""

_STEP: Final = 0.5  # px between samples across an edge
_ON_LINE_PX: Final = 1.0  # pure noise would put a third of the blocks this near
_LEAST_STEP_LIGHT: Final = 0.01  # an edge fainter than this share of white is noise


@dataclass(frozen=True)
class EdgeLine:
    """A straight edge fitted near one side of a shape.

    Attributes
    ----------
    start, end : (2,) float
        The ends of the rough side moved onto the fitted line, px.
    support : float
        Share of the sampled stretch (0..1) where the edge was found on the line.
    contrast : float
        Linear light just inside minus just outside, as a share of the brighter side,
        along the colour direction that tells the two sides apart best (so it may be
        positive for either polarity when the picture has colour).
    steepness : float
        Median slope of the light across the edge, per px: a shadow's edge is less steep.
    scatter_px : float
        Standard deviation of the block positions around the line, px.
    start_spread_px, end_spread_px : float
        Standard error of the line, across it, at its two ends, px.
    """

    start: Floats
    end: Floats
    support: float
    contrast: float
    steepness: float
    scatter_px: float
    start_spread_px: float
    end_spread_px: float


@dataclass(frozen=True)
class Strip:
    """Samples across one side.

    Attributes
    ----------
    light : (n, k, c) float32
        Linear light; row i at `along[i]`, column j at `across[j]`.
    along : (n,) float
        Fraction of the way from start to end.
    across : (k,) float
        Distance from the rough side along the outward normal, px.
    inside_picture : (n,) bool
        False where a row leaves the picture.
    """

    light: NDArray[np.float32]
    along: Floats
    across: Floats
    inside_picture: NDArray[np.bool_]


def outward_normal(start: Floats, end: Floats) -> Floats:
    """Unit normal (2,) of a side of a shape walked clockwise as seen, pointing out of it."""
    run = end - start
    length = float(np.hypot(run[0], run[1]))
    return np.array([run[1], -run[0]]) / max(length, 1e-9)


def sample_rows(
    picture: Picture, points: Floats, normals: Floats, across: Floats
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Linear light along a short line through each point.

    Parameters
    ----------
    picture : (H, W) or (H, W, 3) uint8
    points, normals : (n, 2) float
        px; unit normals.
    across : (k,) float
        Distances along the normal, px.

    Returns
    -------
    light : (n, k, c) float32
    inside : (n,) bool
        Whether the whole row lies in the picture.
    """
    xs = points[:, :1] + normals[:, :1] * across[None, :]
    ys = points[:, 1:] + normals[:, 1:] * across[None, :]
    height, width = picture.shape[:2]
    inside = np.all((xs >= 0) & (ys >= 0) & (xs <= width - 1) & (ys <= height - 1), axis=1)
    left = int(np.clip(np.floor(xs.min()) - 2, 0, width - 1))
    top = int(np.clip(np.floor(ys.min()) - 2, 0, height - 1))
    right = int(np.clip(np.ceil(xs.max()) + 3, left + 1, width))
    bottom = int(np.clip(np.ceil(ys.max()) + 3, top + 1, height))
    crop = SRGB_TO_LIGHT[picture[top:bottom, left:right]]
    light = cv2.remap(
        crop,
        (xs - left).astype(np.float32),
        (ys - top).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    rows = np.asarray(light, dtype=np.float32).reshape(xs.shape[0], xs.shape[1], -1)
    return rows, np.asarray(inside)


def sample_strip(
    picture: Picture, start: Floats, end: Floats, reach_px: float, trim: tuple[float, float]
) -> Strip:
    """Samples across the side from `start` to `end`, leaving out its ends.

    Parameters
    ----------
    picture : (H, W) or (H, W, 3) uint8
    start, end : (2,) float
        px, walking the shape clockwise as seen.
    reach_px : float
        How far to look to either side, px.
    trim : (float, float)
        Fractions of the side left out at its start and its end.
    """
    run = end - start
    length = float(np.hypot(run[0], run[1]))
    rows = int(np.clip(length * (1 - sum(trim)), 12, 400))
    along = np.linspace(trim[0], 1.0 - trim[1], rows, dtype=np.float64)
    half = int(np.ceil(reach_px / _STEP))
    across: Floats = np.arange(-half, half + 1, dtype=np.float64) * _STEP
    points = start[None, :] + along[:, None] * run[None, :]
    normals = np.broadcast_to(outward_normal(start, end), points.shape)
    light, inside = sample_rows(picture, points, normals, across)
    return Strip(light, along, across, inside)


def one_channel(light: NDArray[np.float32]) -> tuple[Floats, float]:
    """Colour samples (n, k, c) on the direction that tells inside from outside best.

    Returns the (n, k) projection and the contrast, inside minus outside as a share of
    the brighter (for grey its sign is that of the step; for colour it is positive).
    """
    third = max(light.shape[1] // 3, 1)
    inner = np.median(light[:, :third], axis=(0, 1))
    outer = np.median(light[:, -third:], axis=(0, 1))
    brighter = max(float(np.linalg.norm(inner)), float(np.linalg.norm(outer)), 0.01)
    if light.shape[2] == 1:
        return light[:, :, 0].astype(np.float64), float(inner[0] - outer[0]) / brighter
    step = inner - outer
    size = float(np.linalg.norm(step))
    contrast = size / brighter
    if size < _LEAST_STEP_LIGHT:
        step, size = np.full(light.shape[2], 1.0), float(np.sqrt(light.shape[2]))
    return (light @ (step / size)).astype(np.float64), contrast


def gradient_across(scalar: Floats, sigma_px: float = 1.0) -> Floats:
    """Derivative of (n, k) samples along their second axis after a Gaussian, light per px."""
    sigma = sigma_px / _STEP
    reach = int(np.ceil(3 * sigma))
    u = np.arange(-reach, reach + 1)
    kernel = -u * np.exp(-0.5 * (u / sigma) ** 2)
    kernel = kernel / np.sum(kernel * -u) / _STEP
    # filter2D correlates, so the kernel is turned round to get a derivative.
    return np.asarray(
        cv2.filter2D(scalar, cv2.CV_64F, kernel[::-1][None, :], borderType=cv2.BORDER_REPLICATE)
    )


def peak_position(rows: Floats, centre: int, half: int) -> tuple[Floats, Floats]:
    """Sub-sample position and height of the largest value of each row near a column.

    Parameters
    ----------
    rows : (n, k) float
    centre, half : int
        Columns ``centre - half`` to ``centre + half`` are searched.

    Returns
    -------
    position : (n,) float
        Columns from `centre`, from the parabola through the peak and its neighbours;
        nan where the largest value lies at the border of the search.
    height : (n,) float
    """
    low, high = max(centre - half, 1), min(centre + half, rows.shape[1] - 2)
    window = rows[:, low : high + 1]
    best = np.argmax(window, axis=1) + low
    index = np.arange(rows.shape[0])
    before, at, after = rows[index, best - 1], rows[index, best], rows[index, best + 1]
    bend = before - 2 * at + after
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where(bend < 0, 0.5 * (before - after) / bend, np.nan)
    edge = (best == low) | (best == high) | (np.abs(shift) > 1)
    return np.where(edge, np.nan, best + shift - centre), at


def fit_side(
    picture: Picture,
    start: Floats,
    end: Floats,
    *,
    reach_px: float,
    trim: tuple[float, float] = (0.1, 0.1),
    window_px: float = 3.0,
    polarity: int = 0,
    stay: float = 0.0,
) -> EdgeLine | None:
    """Fit the straight edge that runs nearest along the side from `start` to `end`.

    First the line (an offset at either end) with the strongest mean gradient
    across it is looked for; rows are clipped so that a few strong details (print,
    a finger) cannot outweigh a long faint edge.  Then blocks of rows are
    averaged along that line, the gradient's peak is found in each (parabola),
    and a straight line is fitted to the peaks with Tukey's biweight.

    Parameters
    ----------
    picture : (H, W) or (H, W, 3) uint8
    start, end : (2,) float
        px, walking the shape clockwise as seen.
    reach_px : float
        How far off the edge may be, px.
    trim : (float, float)
        Fractions of the side left out at its start and end (rounded corners).
    window_px : float
        How far from the first line a block's edge may lie, px.
    polarity : int
        +1 if the shape must be brighter than its surroundings, -1 if darker, 0 if
        either.  Grey pictures only.
    stay : float
        How much to prefer lines near the rough side: a Gaussian weight of this
        many standard deviations at `reach_px`; 0 for no preference.

    Returns
    -------
    EdgeLine or None
        None when no edge rises above the noise.
    """
    strip = sample_strip(picture, start, end, reach_px + window_px + 3.0, trim)
    usable = strip.inside_picture
    if np.count_nonzero(usable) < 8:
        return None
    scalar, contrast = one_channel(strip.light[usable])
    along = strip.along[usable]
    gradient = gradient_across(scalar)
    first = _strongest_line(gradient, strip.across, along, reach_px, polarity, stay)
    if first is None:
        return None
    offsets, sign = first
    return _refine_line(
        scalar,
        strip.across,
        along,
        offsets,
        sign,
        window_px,
        start,
        end,
        contrast,
        len(strip.along),
    )


def _strongest_line(
    gradient: Floats,
    across: Floats,
    along: Floats,
    reach_px: float,
    polarity: int,
    stay: float,
) -> tuple[Floats, int] | None:
    """Offsets (2,) px at start and end of the line with the strongest mean gradient."""
    ceiling = 2.0 * float(np.median(np.max(np.abs(gradient), axis=1))) + 1e-6
    clipped = np.clip(gradient, -ceiling, ceiling)
    spacing = max(_STEP, reach_px / 20.0)
    if spacing > 1.0:
        # Coarser steps than the gradient's own width would step over the edge.
        clipped = np.asarray(
            cv2.GaussianBlur(clipped, (0, 0), sigmaX=spacing / _STEP / 2, sigmaY=1e-3), np.float64
        )
    tries = np.arange(-reach_px, reach_px + 1e-9, spacing)
    if along.size > 100:
        pick = np.linspace(0, along.size - 1, 100).astype(int)
        clipped, along = clipped[pick], along[pick]
    first, second = (grid.ravel() for grid in np.meshgrid(tries, tries, indexing="ij"))
    where = first[:, None] * (1 - along)[None, :] + second[:, None] * along[None, :]
    column = np.clip(np.rint((where - across[0]) / _STEP).astype(int), 0, across.size - 1)
    score = clipped[np.arange(along.size)[None, :], column].mean(axis=1)
    if stay > 0:
        pull = (first**2 + second**2) / 2.0 / max(reach_px, 1e-9) ** 2
        score = score * np.exp(-0.5 * stay**2 * pull)
    # Inside minus outside positive means the light falls along the outward normal.
    score = -score
    if polarity:
        best = int(np.argmax(score * polarity))
        sign = polarity
    else:
        best = int(np.argmax(np.abs(score)))
        sign = 1 if score[best] > 0 else -1
    if score[best] * sign <= 0:
        return None
    return np.array([first[best], second[best]]), sign


def _refine_line(
    scalar: Floats,
    across: Floats,
    along: Floats,
    offsets: Floats,
    sign: int,
    window_px: float,
    start: Floats,
    end: Floats,
    contrast: float,
    rows_wanted: int,
) -> EdgeLine | None:
    run = end - start
    length = float(np.hypot(run[0], run[1]))
    blocks = int(np.clip(along.size // 6, 4, 40))
    bounds = np.linspace(0, along.size, blocks + 1).astype(int)
    middle = np.array([along[a:b].mean() for a, b in pairwise(bounds)])
    half = int(np.ceil((window_px + 3.0) / _STEP))
    local = np.arange(-half, half + 1)
    centre = half
    search = int(np.ceil(window_px / _STEP))
    weights = np.zeros(blocks)
    found = np.full(blocks, np.nan)
    height = np.zeros(blocks)
    rows = np.arange(along.size)[:, None]
    for _ in range(4):
        line = offsets[0] * (1 - along) + offsets[1] * along
        column = (line - across[0])[:, None] / _STEP + local[None, :]
        column = np.clip(column, 0, across.size - 1.001)
        left = column.astype(int)
        part = column - left
        straight = scalar[rows, left] * (1 - part) + scalar[rows, left + 1] * part
        means = np.add.reduceat(straight, bounds[:-1], axis=0) / np.diff(bounds)[:, None]
        slope = -sign * gradient_across(means)
        position, height = peak_position(slope, centre, search)
        level = float(np.median(height))
        position = np.where(height > 0.25 * level, position, np.nan)
        base = offsets[0] * (1 - middle) + offsets[1] * middle
        found = base + position * _STEP
        fitted = _robust_line(middle, found, offsets)
        if fitted is None:
            return None
        moved = float(np.max(np.abs(fitted[0] - offsets)))
        offsets, weights = fitted
        if moved < 0.005:
            break
    on_line = np.abs(found - offsets[0] * (1 - middle) - offsets[1] * middle) <= _ON_LINE_PX
    good = (weights > 0.1) & on_line
    if np.count_nonzero(good) < 3:
        return None
    residual = found[good] - (offsets[0] * (1 - middle[good]) + offsets[1] * middle[good])
    scatter = float(np.sqrt(np.sum(residual**2) / max(np.count_nonzero(good) - 2, 1)))
    design = np.stack([1 - middle[good], middle[good]], axis=1)
    cover = np.linalg.pinv(design.T @ design) * scatter**2
    normal = outward_normal(start, end)
    supported = float(np.count_nonzero(good)) / blocks * along.size / rows_wanted
    level = float(np.median(height[good]))
    if not np.isfinite(level) or length < 1:
        return None
    return EdgeLine(
        start=start + normal * offsets[0],
        end=end + normal * offsets[1],
        support=supported,
        contrast=sign * abs(contrast),
        steepness=level,
        scatter_px=scatter,
        start_spread_px=float(np.sqrt(cover[0, 0])),
        end_spread_px=float(np.sqrt(cover[1, 1])),
    )


def _robust_line(along: Floats, found: Floats, offsets: Floats) -> tuple[Floats, Floats] | None:
    """Line through (along, found) by Tukey's biweight from a least-median start."""
    seen = np.isfinite(found)
    if np.count_nonzero(seen) < 3:
        return None
    x, y = along[seen], found[seen]
    # Least median of squares over pairs a good way apart: up to half may be wrong.
    first, second = np.triu_indices(x.size, k=1)
    apart = np.abs(x[second] - x[first]) > 0.3 * (x.max() - x.min())
    first, second = first[apart], second[apart]
    slope = (y[second] - y[first]) / (x[second] - x[first])
    level = y[first] - slope * x[first]
    misses = np.median(np.abs(y[None, :] - level[:, None] - slope[:, None] * x[None, :]), axis=1)
    best = int(np.argmin(misses))
    now = np.array([level[best], level[best] + slope[best]])
    scale = max(1.4826 * float(misses[best]), 0.05)
    weights = np.zeros(x.size)
    for _ in range(8):
        miss = (y - now[0] * (1 - x) - now[1] * x) / (4.685 * scale)
        weights = np.where(np.abs(miss) < 1, (1 - miss**2) ** 2, 0.0)
        if np.count_nonzero(weights > 0.1) < 3:
            return None
        design = np.stack([1 - x, x], axis=1)
        now = np.linalg.lstsq(design * np.sqrt(weights)[:, None], y * np.sqrt(weights), rcond=None)[
            0
        ]
    if not np.all(np.isfinite(now)):
        return None
    full = np.zeros(along.size)
    full[seen] = weights
    return now, full


def crossing(first: EdgeLine, second: EdgeLine) -> Floats | None:
    """Where two lines meet, (2,) px; None when they are nearly parallel (under 8 degrees)."""
    u, v = first.end - first.start, second.end - second.start
    cross = float(u[0] * v[1] - u[1] * v[0])
    if abs(cross) < np.sin(np.deg2rad(8.0)) * float(np.linalg.norm(u) * np.linalg.norm(v)):
        return None
    gap = second.start - first.start
    part = float(gap[0] * v[1] - gap[1] * v[0]) / cross
    return np.asarray(first.start + part * u)
