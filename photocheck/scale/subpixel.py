"""Straight edges to a fraction of a pixel: strips across an edge, and lines fitted in them.

Everything is measured in linear light.  A lens blurs light, not the encoded
values a picture file holds; in encoded values the half-way level of a blurred
edge sits on the dark side of it, and every dark thing looks too small.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
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
_NEAR_ENOUGH_PX: Final = 1.0  # spacing of first lines: the blocks' window is 1.5 px or more
_ON_LINE_PX: Final = 1.0  # pure noise would put a third of the blocks this near
_COARSE_TRIES: Final = 10  # offsets to either side tried first, at each end of a side
_COARSE_ROWS: Final = 96  # rows across a side that the first line is looked for in
_PAIRS: Final = 100  # of blocks, to draw first lines through
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


def one_channel(light: NDArray[np.float32]) -> tuple[Floats, float]:
    """Colour samples (n, k, c) on the direction that tells inside from outside best.

    Returns the (n, k) projection and the contrast, inside minus outside as a share of
    the brighter (for grey its sign is that of the step; for colour it is positive).
    """
    colour, contrast = _direction(light)
    return (light @ colour).astype(np.float64), contrast


def _direction(light: NDArray[np.float32]) -> tuple[NDArray[np.float32], float]:
    """`one_channel`'s direction, a unit vector (c,), and contrast."""
    third = max(light.shape[1] // 3, 1)
    channels = light.shape[2]
    inner = np.median(light[:, :third].reshape(-1, channels), axis=0)
    outer = np.median(light[:, -third:].reshape(-1, channels), axis=0)
    brighter = max(float(np.linalg.norm(inner)), float(np.linalg.norm(outer)), 0.01)
    if channels == 1:
        return np.ones(1, np.float32), float(inner[0] - outer[0]) / brighter
    step = inner - outer
    size = float(np.linalg.norm(step))
    contrast = size / brighter
    if size < _LEAST_STEP_LIGHT:
        step, size = np.full(channels, 1.0), float(np.sqrt(channels))
    return np.asarray(step / size, dtype=np.float32), contrast


def gradient_across(
    scalar: NDArray[np.float32] | Floats, sigma_px: float = 1.0, step_px: float = _STEP
) -> Floats:
    """Derivative of (n, k) samples along their second axis after a Gaussian, light per px."""
    sigma = sigma_px / step_px
    reach = int(np.ceil(3 * sigma))
    u = np.arange(-reach, reach + 1)
    kernel = -u * np.exp(-0.5 * (u / sigma) ** 2)
    kernel = kernel / np.sum(kernel * -u) / step_px
    # filter2D correlates, so the kernel is turned round to get a derivative.
    return np.asarray(
        cv2.filter2D(
            np.asarray(scalar, np.float64),
            cv2.CV_64F,
            kernel[::-1][None, :],
            borderType=cv2.BORDER_REPLICATE,
        )
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

    Returns
    -------
    list of EdgeLine or None
        g * s of them in order; None where no edge rises above the noise.
    """
    run = ends - starts
    length = np.hypot(run[..., 0], run[..., 1])
    rows = int(np.clip(float(length.max()) * (1 - sum(trim)), 12, 400))
    blocks = int(np.clip(rows // 6, 4, 40))
    sides = _Sides(
        picture,
        starts,
        ends,
        blocks=blocks,
        margin_px=reach_px + 2 * window_px + 6.0,  # lines may move on by another window
        trim=trim,
    )
    coarse = _strongest_lines(sides, reach_px, window_px, polarity, stay)
    fitted = _refine_lines(sides, coarse, window_px, -(-rows // blocks))
    starts, ends = starts.reshape(-1, 2), ends.reshape(-1, 2)
    count = np.count_nonzero(fitted.good, axis=1)
    level = _median(np.where(fitted.good, fitted.height, np.nan))
    residual = np.where(fitted.good, fitted.found - _between(fitted.offsets, sides.middle), 0.0)
    scatter = np.sqrt(np.sum(residual**2, axis=1) / np.maximum(count - 2, 1))
    a, b, c = _normal_matrix(fitted.good, sides.middle)
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


def _normal_matrix(weights: Floats | NDArray[np.bool_], along: Floats) -> tuple[Floats, ...]:
    """The three numbers, (S,) each, of the 2 x 2 normal matrices of lines' two ends.

    One corner, the one off the diagonal, the other corner; `weights` is (S, n).
    """
    near, far = 1 - along, along
    return weights @ (near * near), weights @ (near * far), weights @ (far * far)


def _between(offsets: Floats, along: Floats) -> Floats:
    """Offsets (..., 2) at start and end, drawn straight: (..., n) at the fractions `along`."""
    return offsets[..., :1] * (1 - along) + offsets[..., 1:] * along


class _Sides:
    """Sides of shapes, and the linear light around them.

    Attributes
    ----------
    normals : (S, 2) float
        Unit vectors out of the shape, which is walked clockwise as seen.
    middle : (blocks,) float
        Fraction of the way along a side of the middle of each block of rows.
    """

    def __init__(
        self,
        picture: Picture,
        starts: Floats,
        ends: Floats,
        *,
        blocks: int,
        margin_px: float,
        trim: tuple[float, float],
    ) -> None:
        self._trim = trim
        self._starts = starts.reshape(-1, 2)
        self._runs = ends.reshape(-1, 2) - self._starts
        self._grouped = starts.shape[1]
        self._size = np.array([picture.shape[1], picture.shape[0]])
        lengths = np.hypot(self._runs[:, :1], self._runs[:, 1:])
        self.normals: Floats = self._runs[:, ::-1] * [1.0, -1.0] / np.maximum(lengths, 1e-9)
        self.blocks = blocks
        self.middle: Floats = self.along(1)
        self._windows: list[tuple[NDArray[np.float32], np.float32, np.float32]] = []
        for start, end in zip(starts, ends, strict=True):
            both = np.vstack([start, end])
            left, top = np.clip(np.floor(both.min(0) - margin_px), 0, self._size - 1).astype(int)
            right, bottom = np.clip(
                np.ceil(both.max(0) + margin_px) + 1, [left + 1, top + 1], self._size
            ).astype(int)
            crop = np.ascontiguousarray(picture[top:bottom, left:right])
            light = np.asarray(cv2.LUT(crop, SRGB_TO_LIGHT), dtype=np.float32)
            self._windows.append((light, np.float32(left), np.float32(top)))

    def along(self, rows: int) -> Floats:
        """Fractions of the way along a side of ``rows`` rows in each block, evenly spread."""
        count = self.blocks * rows
        part = (np.arange(count) + 0.5) / count
        return np.asarray(self._trim[0] + part * (1.0 - sum(self._trim)))

    def sample(
        self, offsets: Floats, across: Floats, rows: int
    ) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
        """Light (S, blocks * rows, k, c) across lines at `offsets` (S, 2) px from the sides.

        The second is (S, blocks * rows): whether the whole row lies in the picture.
        """
        along = self.along(rows)
        centre = self._starts[:, None, :] + along[None, :, None] * self._runs[:, None, :]
        centre = centre + _between(offsets, along)[:, :, None] * self.normals[:, None, :]
        reach = self.normals[:, None, :] * across[-1]
        inside = np.all(
            (np.minimum(centre - reach, centre + reach) >= 0)
            & (np.maximum(centre - reach, centre + reach) <= self._size - 1),
            axis=2,
        )
        shift = (self.normals[:, :, None] * across).astype(np.float32)
        flat = centre.astype(np.float32)
        xs = flat[:, :, 0, None] + shift[:, None, 0]
        ys = flat[:, :, 1, None] + shift[:, None, 1]
        parts = []
        for k, (light, left, top) in enumerate(self._windows):
            own = slice(k * self._grouped, (k + 1) * self._grouped)
            seen = cv2.remap(
                light,
                xs[own].reshape(-1, across.size) - left,
                ys[own].reshape(-1, across.size) - top,
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )
            parts.append(np.asarray(seen, dtype=np.float32))
        return np.concatenate(parts).reshape(*xs.shape, -1), inside


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
    sides: _Sides, reach_px: float, window_px: float, polarity: int, stay: float
) -> _Coarse:
    """The line with the strongest mean gradient within reach of each side."""
    count = int(np.clip(np.ceil(reach_px / _STEP), 2, _COARSE_TRIES))
    spacing = reach_px / count
    # Where steps are long, samples need not be dense.
    step = float(np.clip(spacing / 2, _STEP, _NEAR_ENOUGH_PX))
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
    ceiling = 2.0 * _median(np.where(inside, peaks, np.nan)) + 1e-6
    gradient = np.clip(gradient, -ceiling[:, None, None], ceiling[:, None, None])
    gradient, _ = _block_means(gradient, inside, sides.blocks)
    light_falls = -gradient.transpose(0, 2, 1)  # along the normal: the inside is brighter
    index = np.arange(len(gradient))
    offsets = np.zeros((len(gradient), 2))
    sign: NDArray[np.int_] | None = None
    tries = np.arange(-count, count + 1) * spacing
    while True:
        first, second = (grid.ravel() for grid in np.meshgrid(tries, tries, indexing="ij"))
        places = offsets[:, None, :] + np.column_stack([first, second])
        places = np.clip(places, -reach_px, reach_px)
        column = np.rint(_between(places, sides.middle) / step).astype(np.intp) + half
        score = np.take_along_axis(light_falls, column, axis=1).mean(axis=2)
        if stay > 0:
            pull = np.sum(places**2, axis=2) / 2.0 / max(reach_px, 1e-9) ** 2
            score = score * np.exp(-0.5 * stay**2 * pull)
        if sign is None:
            strongest = score[index, np.argmax(np.abs(score), axis=1)]
            sign = np.where(strongest > 0, 1, -1) if not polarity else np.full(len(score), polarity)
        chosen = np.argmax(score * sign[:, None], axis=1)
        offsets, best = places[index, chosen], score[index, chosen] * sign
        if spacing <= _NEAR_ENOUGH_PX:
            return _Coarse(offsets, sign, valid & (best > 0), contrast, colour)
        spacing /= 4
        tries = np.arange(-4, 5) * spacing


def _colours(
    light: NDArray[np.float32], inside: NDArray[np.bool_]
) -> tuple[NDArray[np.float32], Floats]:
    """Colour directions (S, c) and contrasts (S,) of samples (S, n, k, c)."""
    colour = np.ones((len(light), light.shape[3]), np.float32)
    if light.shape[3] == 1:
        third = max(light.shape[2] // 3, 1)
        inner, outer = (
            _median(np.where(inside, part.mean(axis=2, dtype=np.float64), np.nan))
            for part in (light[:, :, :third, 0], light[:, :, -third:, 0])
        )
        step = (inner - outer) / np.maximum(np.maximum(inner, outer), 0.01)
        return colour, np.nan_to_num(step)
    contrast = np.zeros(len(light))
    for k, (samples, usable) in enumerate(zip(light, inside, strict=True)):
        if usable.any():
            colour[k], contrast[k] = _direction(samples[usable])
    return colour, contrast


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


def _refine_lines(sides: _Sides, coarse: _Coarse, window_px: float, rows: int) -> _Fitted:
    half = int(np.ceil((window_px + 3.0) / _STEP))
    across: Floats = np.arange(-half, half + 1, dtype=np.float64) * _STEP
    search = int(np.ceil(window_px / _STEP))
    offsets, valid = coarse.offsets, coarse.valid
    shape = (len(offsets), sides.blocks)
    found, height, weights = np.full(shape, np.nan), np.zeros(shape), np.zeros(shape)
    # A few rows of each block bring the line near enough for all of them to say the rest.
    for number, thick in enumerate((min(rows, 2), rows, rows, rows)):
        light, inside = sides.sample(offsets, across, thick)
        means, there = _block_means(_projected(light, coarse.colour), inside, sides.blocks)
        means *= -coarse.sign[:, None, None]
        slope = gradient_across(means.reshape(-1, across.size))
        position, height = (part.reshape(shape) for part in peak_position(slope, half, search))
        height = np.where(there, height, np.nan)
        level = _median(height)
        position = np.where(height > 0.25 * level[:, None], position, np.nan)
        found = _between(offsets, sides.middle) + position * _STEP
        fitted, weights, sound = _robust_lines(sides.middle, found)
        valid = valid & sound
        moved = np.max(np.abs(fitted - offsets)[valid], initial=0.0)
        offsets = np.where(valid[:, None], fitted, offsets)
        if number and moved < 0.01:
            break
    miss = np.abs(found - _between(offsets, sides.middle))
    good = (weights > 0.1) & (miss <= _ON_LINE_PX)
    return _Fitted(offsets, valid, found, height, good)


def _median(values: Floats) -> Floats:
    """Median over the last axis of what is not nan; nan where nothing is.

    `numpy.nanmedian` goes row by row, and this is called often on small arrays.
    """
    count = np.count_nonzero(np.isfinite(values), axis=-1)
    ordered = np.sort(values, axis=-1)  # nan last
    low = np.maximum((count - 1) // 2, 0)[..., None]
    high = np.minimum(count // 2, values.shape[-1] - 1)[..., None]
    both = np.take_along_axis(ordered, low, -1) + np.take_along_axis(ordered, high, -1)
    return np.asarray(np.where(count > 0, both[..., 0] / 2, np.nan))


@lru_cache(maxsize=64)
def _pairs(blocks: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pairs of blocks a good way apart, to draw first lines through; a fixed choice of them.

    With half the blocks wrong, a quarter of any hundred pairs is still right.
    """
    first, second = np.triu_indices(blocks, k=1)
    apart = second - first > 0.3 * (blocks - 1)
    first, second = first[apart], second[apart]
    order = np.random.default_rng(0).permutation(first.size)[:_PAIRS]
    return first[order], second[order]


def _robust_lines(along: Floats, found: Floats) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Lines through (along (n,), found (S, n), nan where nothing was) by Tukey's biweight.

    Returns offsets (S, 2), weights (S, n) and whether there is a line (S,).
    """
    seen = np.isfinite(found)
    # Least median of squares over pairs a good way apart: up to half may be wrong.  Not even
    # a line fitted just before is as good a start: one led astray would stay there.
    first, second = _pairs(along.size)
    slope = (found[:, second] - found[:, first]) / (along[second] - along[first])
    level = found[:, first] - slope * along[first]
    tried = np.stack([level, level + slope], axis=2)
    misses = _median(np.abs(found[:, None, :] - _between(tried, along)))
    best = np.argmin(np.where(np.isfinite(misses), misses, np.inf), axis=1)
    index = np.arange(len(found))
    now, middle = tried[index, best], misses[index, best]
    valid = (np.count_nonzero(seen, axis=1) >= 3) & np.isfinite(middle)
    scale = 4.685 * np.maximum(1.4826 * np.where(valid, middle, 1.0), 0.05)[:, None]
    now = np.where(valid[:, None], now, 0.0)
    filled = np.where(seen, found, 0.0)
    ends = np.column_stack([1 - along, along])
    weights = np.zeros(found.shape)
    for _ in range(8):
        miss = (filled - _between(now, along)) / scale
        weights = np.where(seen, np.maximum(1 - miss**2, 0.0) ** 2, 0.0)
        a, b, c = _normal_matrix(weights, along)
        u, v = ((weights * filled) @ ends).T
        valid = valid & (np.count_nonzero(weights > 0.1, axis=1) >= 3)
        below = np.where(valid, a * c - b * b, 1.0)
        new = np.column_stack([c * u - b * v, a * v - b * u]) / below[:, None]
        new = np.where(valid[:, None], new, now)
        moved = np.max(np.abs(new - now))
        now = new
        if moved < 1e-4:
            break
    return now, weights, valid


def crossing(first: EdgeLine, second: EdgeLine) -> Floats | None:
    """Where two lines meet, (2,) px; None when they are nearly parallel (under 8 degrees)."""
    u, v = first.end - first.start, second.end - second.start
    cross = float(u[0] * v[1] - u[1] * v[0])
    if abs(cross) < np.sin(np.deg2rad(8.0)) * float(np.linalg.norm(u) * np.linalg.norm(v)):
        return None
    gap = second.start - first.start
    part = float(gap[0] * v[1] - gap[1] * v[0]) / cross
    return np.asarray(first.start + part * u)
