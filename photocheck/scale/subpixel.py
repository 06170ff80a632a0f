"""Straight edges to a fraction of a pixel: strips across an edge, and lines fitted in them.

Everything is measured in linear light.  A lens blurs light, not the encoded
values a picture file holds; in encoded values the half-way level of a blurred
edge sits on the dark side of it, and every dark thing looks too small.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.numerics import median
from photocheck.scale.light import (
    LEAST_STEP_LIGHT,
    STEP_PX,
    Floats,
    Picture,
    gradient_across,
    peak_position,
)
from photocheck.scale.robust_lines import between, normal_matrix, robust_lines
from photocheck.scale.sides import Sides

_NEAR_ENOUGH_PX: Final = 1.0  # spacing of first lines: the blocks' window is 1.5 px or more
_ON_LINE_PX: Final = 1.0  # pure noise would put a third of the blocks this near
_COARSE_TRIES: Final = 10  # offsets to either side tried first, at each end of a side
_COARSE_ROWS: Final = 96  # rows across a side that the first line is looked for in


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

    `fit_sides` for a single side, with ``start`` and ``end`` (2,) px.
    """
    (line,) = fit_sides(
        picture,
        start[None, None, :],
        end[None, None, :],
        reach_px=reach_px,
        trim=trim,
        window_px=window_px,
        polarity=polarity,
        stay=stay,
    )
    return line


def fit_sides(
    picture: Picture,
    starts: Floats,
    ends: Floats,
    *,
    reach_px: float,
    trim: tuple[float, float] = (0.1, 0.1),
    window_px: float = 3.0,
    polarity: int = 0,
    stay: float = 0.0,
    most_blocks: int = 40,
    passes: int = 4,
) -> list[EdgeLine | None]:
    """Fit the straight edges that run nearest along several sides of one kind at once.

    First the line (an offset at either end) with the strongest mean gradient
    across it is looked for; rows are clipped so that a few strong details (print,
    a finger) cannot outweigh a long faint edge.  Then blocks of rows are
    averaged along that line, the gradient's peak is found in each (parabola),
    and a straight line is fitted to the peaks with Tukey's biweight.

    All sides go through each step together: on sides of a hundred pixels most of the
    time would otherwise be spent on calling, not on computing.

    Parameters
    ----------
    picture : (H, W) or (H, W, 3) uint8
    starts, ends : (g, s, 2) float
        px, walking each shape clockwise as seen.  The s sides of one of the g shapes
        should lie together: one window of the picture is made linear for them.
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
    most_blocks : int
        How many blocks a side is seen in at most; fewer are faster and less exact.
    passes : int
        How often the line is drawn anew at most, the first time through a few rows of each block.

    Returns
    -------
    list of EdgeLine or None
        g * s of them in order; None where no edge rises above the noise.
    """
    run = ends - starts
    length = np.hypot(run[..., 0], run[..., 1])
    rows = int(np.clip(float(length.max()) * (1 - sum(trim)), 12, 10 * most_blocks))
    blocks = int(np.clip(rows // 6, 4, most_blocks))
    sides = Sides(
        picture,
        starts,
        ends,
        blocks=blocks,
        margin_px=reach_px + 2 * window_px + 6.0,  # lines may move on by another window
        trim=trim,
    )
    coarse = _strongest_lines(sides, reach_px, window_px, polarity, stay)
    fitted = _refine_lines(sides, coarse, window_px, -(-rows // blocks), passes)
    starts, ends = starts.reshape(-1, 2), ends.reshape(-1, 2)
    count = np.count_nonzero(fitted.good, axis=1)
    level = median(np.where(fitted.good, fitted.height, np.nan))
    residual = np.where(fitted.good, fitted.found - between(fitted.offsets, sides.middle), 0.0)
    scatter = np.sqrt(np.sum(residual**2, axis=1) / np.maximum(count - 2, 1))
    a, b, c = normal_matrix(fitted.good, sides.middle)
    below = np.maximum(a * c - b * b, 1e-12)
    start_spread, end_spread = scatter * np.sqrt(c / below), scatter * np.sqrt(a / below)
    sound = fitted.valid & (count >= 3) & np.isfinite(level) & (length.ravel() >= 1)
    return [
        EdgeLine(
            start=starts[k] + sides.normals[k] * fitted.offsets[k, 0],
            end=ends[k] + sides.normals[k] * fitted.offsets[k, 1],
            support=float(count[k]) / blocks,
            contrast=float(coarse.sign[k] * abs(coarse.contrast[k])),
            steepness=float(level[k]),
            scatter_px=float(scatter[k]),
            start_spread_px=float(start_spread[k]),
            end_spread_px=float(end_spread[k]),
        )
        if sound[k]
        else None
        for k in range(len(starts))
    ]


def fit_black_squares(grey: Picture, corners: Floats, cell_px: float) -> list[EdgeLine | None]:
    """`fit_sides` of the black squares that markers are, (n, 4, 2) px, with cells so large.

    One reach for all: it stays within the border, which is a cell wide.
    """
    return fit_sides(
        grey,
        corners,
        np.roll(corners, -1, axis=1),
        reach_px=max(0.4 * cell_px, 1.5),
        trim=(0.08, 0.08),
        window_px=float(np.clip(0.3 * cell_px, 1.5, 3.0)),
        polarity=-1,
    )


@dataclass(frozen=True)
class _Coarse:
    """The strongest line near each of S sides.

    `offsets` (S, 2) px at start and end, `sign` (S,) of inside minus outside, `valid`
    (S,), `contrast` (S,) as in `EdgeLine`, and `colour` (S, c), the colour
    direction that tells the two sides apart best.
    """

    offsets: Floats
    sign: NDArray[np.int_]
    valid: NDArray[np.bool_]
    contrast: Floats
    colour: NDArray[np.float32]


@dataclass(frozen=True)
class _Fitted:
    """Lines through S sides' blocks: `offsets` (S, 2) px and, (S, blocks) each, what they rest on.

    `found` is where the edge is, px; `height` its slope; `good` whether it lies on the line.
    """

    offsets: Floats
    valid: NDArray[np.bool_]
    found: Floats
    height: Floats
    good: NDArray[np.bool_]


def _strongest_lines(
    sides: Sides, reach_px: float, window_px: float, polarity: int, stay: float
) -> _Coarse:
    """The line with the strongest mean gradient within reach of each side."""
    count = int(np.clip(np.ceil(reach_px / STEP_PX), 2, _COARSE_TRIES))
    spacing = reach_px / count
    # Where steps are long, samples need not be dense.
    step = float(np.clip(spacing / 2, STEP_PX, _NEAR_ENOUGH_PX))
    half = int(np.ceil((reach_px + window_px + 3.0) / step))
    across: Floats = np.arange(-half, half + 1, dtype=np.float64) * step
    rows = int(np.ceil(_COARSE_ROWS / sides.blocks))
    light, inside = sides.sample(np.zeros((len(sides.normals), 2)), across, rows)
    valid = np.count_nonzero(inside, axis=1) >= 8
    colour, contrast = _colours(light, inside)
    scalar = _projected(light, colour)
    flat = scalar.reshape(-1, across.size)
    # Narrower than the spacing, a gradient could be stepped over.
    gradient = gradient_across(flat, max(1.0, spacing / 2), step).reshape(scalar.shape)
    peaks = np.max(np.abs(gradient), axis=2)
    ceiling = 2.0 * median(np.where(inside, peaks, np.nan)) + 1e-6
    gradient = np.clip(gradient, -ceiling[:, None, None], ceiling[:, None, None])
    gradient, _ = _block_means(gradient, inside, sides.blocks)
    light_falls = -gradient.transpose(0, 2, 1)  # along the normal: the inside is brighter
    index = np.arange(len(gradient))
    offsets = np.zeros((1, 2))  # the same places are tried near all sides first
    sign: NDArray[np.int_] | None = None
    tries = np.arange(-count, count + 1) * spacing
    while True:
        first, second = (grid.ravel() for grid in np.meshgrid(tries, tries, indexing="ij"))
        places = offsets[:, None, :] + np.column_stack([first, second])
        places = np.clip(places, -reach_px, reach_px)
        column = np.rint(between(places, sides.middle) / step).astype(np.intp) + half
        score = _means_along(light_falls, column)
        if stay > 0:
            pull = np.sum(places**2, axis=2) / 2.0 / max(reach_px, 1e-9) ** 2
            score = score * np.exp(-0.5 * stay**2 * pull)
        if sign is None:
            strongest = score[index, np.argmax(np.abs(score), axis=1)]
            sign = np.where(strongest > 0, 1, -1) if not polarity else np.full(len(score), polarity)
        chosen = np.argmax(score * sign[:, None], axis=1)
        places = np.broadcast_to(places, (len(index), *places.shape[1:]))
        offsets, best = places[index, chosen], score[index, chosen] * sign
        if spacing <= _NEAR_ENOUGH_PX:
            return _Coarse(offsets, sign, valid & (best > 0), contrast, colour)
        spacing /= 4
        tries = np.arange(-4, 5) * spacing


def _means_along(light_falls: Floats, column: NDArray[np.intp]) -> Floats:
    """Means (S, n) of (S, k, blocks) along lines that cross the blocks in columns (S, n, blocks).

    Lines near all sides alike, (1, n, blocks), are looked up in a fraction of the time.
    """
    if len(column) > 1:
        return np.asarray(np.take_along_axis(light_falls, column, axis=1).mean(axis=2))
    count, _, blocks = light_falls.shape
    flat = light_falls.reshape(count, -1)
    along = flat.take((column * blocks + np.arange(blocks)).ravel(), axis=1)
    return np.asarray(along.reshape(count, -1, blocks).mean(axis=2))


def _colours(
    light: NDArray[np.float32], inside: NDArray[np.bool_]
) -> tuple[NDArray[np.float32], Floats]:
    """Colour directions (S, c) and contrasts (S,) of samples (S, n, k, c)."""
    colour = np.ones((len(light), light.shape[3]), np.float32)
    if light.shape[3] == 1:
        third = max(light.shape[2] // 3, 1)
        inner, outer = (
            median(np.where(inside, part.mean(axis=2, dtype=np.float64), np.nan))
            for part in (light[:, :, :third, 0], light[:, :, -third:, 0])
        )
        step = (inner - outer) / np.maximum(np.maximum(inner, outer), 0.01)
        return colour, np.nan_to_num(step)
    third = max(light.shape[2] // 3, 1)
    seen = light
    if not inside.all():
        seen = np.where(inside[:, :, None, None], light, np.float32(np.nan))
    inner, outer = (
        median(part.transpose(0, 3, 1, 2).reshape(len(light), light.shape[3], -1))
        for part in (seen[:, :, :third], seen[:, :, -third:])
    )
    brighter = np.maximum(
        np.maximum(np.linalg.norm(inner, axis=1), np.linalg.norm(outer, axis=1)), 0.01
    )
    step = inner - outer
    size = np.linalg.norm(step, axis=1)
    plain = ~(size >= LEAST_STEP_LIGHT)  # none, or nothing was in the picture
    colour = np.where(
        plain[:, None], 1 / np.sqrt(light.shape[3]), step / np.where(plain, 1, size)[:, None]
    )
    return colour.astype(np.float32), np.nan_to_num(size / brighter)


def _projected(light: NDArray[np.float32], colour: NDArray[np.float32]) -> NDArray[np.float32]:
    """Samples (S, n, k, c) on each side's colour direction, (S, n, k)."""
    if light.shape[3] == 1:
        return light[..., 0]
    return np.asarray(np.einsum("snkc,sc->snk", light, colour), dtype=np.float32)


def _block_means(
    rows: NDArray[np.float32] | Floats, inside: NDArray[np.bool_], blocks: int
) -> tuple[Floats, NDArray[np.bool_]]:
    """Means (S, blocks, k) over the rows (S, n, k) in the picture, and which blocks have any.

    A block without is 0, which pulls no line towards itself.
    """
    count, _, columns = rows.shape
    parts = rows.reshape(count, blocks, -1, columns)
    if inside.all():
        whole = np.ones((count, blocks), np.bool_)
        return parts.mean(axis=2, dtype=np.float64), whole
    used = inside.reshape(count, blocks, -1)
    there = np.count_nonzero(used, axis=2)
    total = np.einsum("sbrk,sbr->sbk", parts, used.astype(np.float64))
    return total / np.maximum(there, 1)[:, :, None], there > 0


def _refine_lines(
    sides: Sides, coarse: _Coarse, window_px: float, rows: int, passes: int
) -> _Fitted:
    half = int(np.ceil((window_px + 3.0) / STEP_PX))
    across: Floats = np.arange(-half, half + 1, dtype=np.float64) * STEP_PX
    search = int(np.ceil(window_px / STEP_PX))
    offsets, valid = coarse.offsets, coarse.valid
    shape = (len(offsets), sides.blocks)
    found, height, weights = np.full(shape, np.nan), np.zeros(shape), np.zeros(shape)
    # A few rows of each block bring the line near enough for all of them to say the rest.
    for number in range(passes):
        thick = rows if number else min(rows, 2)
        light, inside = sides.sample(offsets, across, thick)
        means, there = _block_means(_projected(light, coarse.colour), inside, sides.blocks)
        means *= -coarse.sign[:, None, None]
        slope = gradient_across(means.reshape(-1, across.size))
        position, height = (part.reshape(shape) for part in peak_position(slope, half, search))
        height = np.where(there, height, np.nan)
        level = median(height)
        position = np.where(height > 0.25 * level[:, None], position, np.nan)
        found = between(offsets, sides.middle) + position * STEP_PX
        fitted, weights, sound = robust_lines(sides.middle, found)
        valid = valid & sound
        moved = np.max(np.abs(fitted - offsets)[valid], initial=0.0)
        offsets = np.where(valid[:, None], fitted, offsets)
        if number and moved < 0.01:
            break
    miss = np.abs(found - between(offsets, sides.middle))
    good = (weights > 0.1) & (miss <= _ON_LINE_PX)
    return _Fitted(offsets, valid, found, height, good)


def crossing_spread(before: EdgeLine, after: EdgeLine) -> float:
    """Standard deviation per axis, px, of where the end of one line meets the start of the next."""
    u, v = before.end - before.start, after.end - after.start
    sine = abs(float(u[0] * v[1] - u[1] * v[0])) / float(np.hypot(*u) * np.hypot(*v))
    # A wavy edge is no straight line: part of the scatter does not average out.
    one = np.hypot(before.end_spread_px, 0.3 * before.scatter_px)
    other = np.hypot(after.start_spread_px, 0.3 * after.scatter_px)
    return float(np.hypot(one, other)) / max(sine, 0.2) / float(np.sqrt(2))


def crossing(first: EdgeLine, second: EdgeLine) -> Floats | None:
    """Where two lines meet, (2,) px; None when they are nearly parallel (under 8 degrees)."""
    u, v = first.end - first.start, second.end - second.start
    cross = float(u[0] * v[1] - u[1] * v[0])
    if abs(cross) < np.sin(np.deg2rad(8.0)) * float(np.linalg.norm(u) * np.linalg.norm(v)):
        return None
    gap = second.start - first.start
    part = float(gap[0] * v[1] - gap[1] * v[0]) / cross
    return np.asarray(first.start + part * u)
