"""A tag's whole face laid over the photo: where it lies, and how well each of its parts agrees.

All edges of the print are used at once, those of the cells inside as well, and what disagrees
counts for little: hair over the rim and tape over a side are outliers, and three sides that are
seen, or the cells alone, place the fourth.  Lengths are in cells of the marker
(`photocheck.scale.tag_layout`), light is linear.

The fit is Gauss-Newton's on robust residuals (Geman and McClure's weights; Baker and Matthews,
"Lucas-Kanade 20 Years On", 2004, for the template's own slopes in place of the photo's; both from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.scale.light import SRGB_TO_LIGHT, Floats, Picture, half_of
from photocheck.scale.planes import fit_homography
from photocheck.scale.tag_layout import CELLS, TIP, WHITE, square_mm
from photocheck.scale.tag_print import ACROSS, DOWN, grid, printed

_INK: Final = 0.06
"""Light of black over that of white to begin with; later it is what is seen."""
_GAIN_CELLS: Final = 1.1
"""Over so much, as a Gaussian's standard deviation, light on the tag is taken for even."""
_LOOSE, _TIGHT = 0.45, 0.15
"""Residuals, over white, that count a quarter: at first, and in the end."""
_BEND: Final = 0.01
"""Spread of how much paper on a flank is off a plane, cells per cell squared, each way: a bend of
20 cm radius seen 30 degrees aslant has 0.008."""
_LEAST_TILT: Final = 0.15
"""Sine of the tilt that a tag seen as a square may have all the same."""
_LEAST_NOISE: Final = 0.01
_FEW_DARK: Final = 8.0
_NOTHING: Final = np.float32(1e-6)
_STILL_PX: Final = 0.03
"""A step this small is the last."""
_GROWTH_PX: Final = 0.15
"""Spread of how far all black lies too far out or in: a photo's own tone curve, and white that is
brighter than it can show."""
_FIRST: Final = (0.5, 0.3)
_THEN: Final = (0.1, 0.0, 0.0, 0.0, 0.0, 0.0)
"""By how many cells photo and print are softened at each step."""
_BLUR_SPREAD: Final = 0.15
"""Cells by which a step may change the blur, about."""


@dataclass(frozen=True, eq=False)
class TagFit:
    """A tag's face as it was laid over a photo.

    Attributes
    ----------
    matrix : (3, 3) float
        Homography from cells to px from `middle_px`.
    inverse : (8, 8) float
        Covariance of its first eight numbers.
    middle_px : (2,) float
    bend : (2,) float
        Off that plane, px per cell squared below the square's middle.
    tip_px, tip_covariance : (2,), (2, 2) float
    agreement : (11, 8) float
        How pale each cell of the face looks (0 black, 1 white) less how pale it is printed.
    ink : float
        Light of black over that of white.
    noise : float
        Of what is left over, over white.
    wedge : float
        RMS of how much paler or darker than printed the paper below the square looks.
    good : float
        Share of the face that looks as it is printed.
    """

    matrix: Floats
    inverse: Floats
    middle_px: Floats
    bend: Floats
    tip_px: Floats
    tip_covariance: Floats
    agreement: Floats
    ink: float
    noise: float
    wedge: float
    good: float

    def corners_px(self) -> Floats:
        """Corners of the black square, clockwise from its own top left, (4, 2) px."""
        square = square_mm(float(CELLS))
        bent = (square[:, 1:] ** 2) * self.bend
        return _through(self.matrix, square) + bent + self.middle_px

    def corner_spread_px(self) -> float:
        """Standard deviation of a corner per axis, as the fit says it, px."""
        square = square_mm(float(CELLS))
        arms = np.concatenate([_arms(self.matrix, corner, 8) for corner in square])
        return float(np.sqrt(np.trace(arms @ self.inverse @ arms.T) / len(arms)))


def _through(matrix: Floats, points: Floats) -> Floats:
    below = points @ matrix[2, :2] + matrix[2, 2]
    return np.asarray((points @ matrix[:2, :2].T + matrix[:2, 2]) / below[:, None])


def fit_tag(
    grey: Picture, corners_px: Floats, code: int, *, lying: bool, focal_px: float
) -> TagFit | None:
    """Lay a tag's face over a photo; None where it does not hold.

    Parameters
    ----------
    grey : (H, W) uint8
    corners_px : (4, 2) float
        Of the black square, clockwise from its own top left, px, good to a cell.
    code : int
        Of DICT_4X4_50.
    lying : bool
        Whether the paper may follow a curved flank.
    focal_px : float
    """
    square = square_mm(float(CELLS))
    middle = corners_px.mean(axis=0)
    start = fit_homography(square, corners_px - middle)
    if start is None:
        return None
    matrix = start / start[2, 2]
    cell = float(np.sqrt(abs(np.linalg.det(matrix[:2, :2]))))
    picture, shrink, corner = _window(grey, middle, cell)
    if picture is None:
        return None
    far, near = np.linalg.svd(matrix[:2, :2], compute_uv=False)
    tilt = max(float(np.sqrt(max(1.0 - (near / far) ** 2, 0.0))), _LEAST_TILT)
    each = int(np.clip(np.ceil(0.8 * cell / shrink), 3, 4))
    sigma = float(np.clip(0.9 * shrink / cell, 0.1, 0.45))
    state = _State(matrix, np.zeros(2), sigma, _INK)
    weak = tilt * far / focal_px
    coarse = _steps(state, picture, (corner - middle, shrink), code, 3, _FIRST, weak, cell)
    if coarse is None:
        return None
    state = _State(state.matrix, np.zeros(2), state.sigma, state.ink, state.growth)
    bent = _BEND * cell if lying else 0.0
    last = _steps(state, picture, (corner - middle, shrink), code, each, _THEN, weak, cell, bent)
    if last is None:
        return None
    tip = np.array([TIP])
    cover = np.asarray(np.linalg.inv(last.information), np.float64)
    arms = _arms(state.matrix, tip[0], len(cover))
    return TagFit(
        matrix=state.matrix,
        inverse=cover[:8, :8],
        middle_px=middle,
        bend=state.bend,
        tip_px=_through(state.matrix, tip)[0] + TIP[1] ** 2 * state.bend + middle,
        tip_covariance=arms @ cover @ arms.T,
        agreement=_agreement(last.shown, last.pale, state.ink, each),
        ink=state.ink,
        noise=last.noise,
        wedge=_below_square(last, state.ink, each),
        good=last.good,
    )


@dataclass(eq=False)
class _State:
    """What is fitted: the plane, what is off it, the blur in cells, black over white; by how much
    black is larger than printed, cells."""

    matrix: Floats
    bend: Floats
    sigma: float
    ink: float
    growth: float = 0.0


@dataclass(frozen=True, eq=False)
class _Last:
    """What the last step saw: the information of what is fitted, and the face."""

    information: Floats
    shown: NDArray[np.float32]
    pale: NDArray[np.float32]
    noise: float
    good: float


def _steps(
    state: _State,
    picture: NDArray[np.float32],
    window: tuple[Floats, float],
    code: int,
    each: int,
    softened: tuple[float, ...],
    weak: float,
    cell: float,
    bent: float = 0.0,
) -> _Last | None:
    """Gauss-Newton steps, in place; photo and print are `softened` by so many cells at each."""
    inner = bool(softened[-1])
    places = grid(each, inner=inner)
    used, x, y = places.used, places.x, places.y
    flat = used.ravel()
    square = y * y
    count = 12 if bent else 10
    spread = _GAIN_CELLS * each
    reach = int(np.ceil(1.8 * spread)) * 2 + 1
    rows = np.empty((count, len(x)))
    trusted, last = places.share, None
    firm = np.zeros(count)
    firm[6:8] = 1 / weak**2
    firm[8], firm[9] = 1 / _BLUR_SPREAD**2, (cell / _GROWTH_PX) ** 2
    if bent:
        firm[10:12] = 1 / bent**2
    for soft in softened:
        matrix, ink, bend = state.matrix, state.ink, state.bend
        loose = _TIGHT + (_LOOSE - _TIGHT) * soft / 0.5
        face = printed(code, round(100 * np.hypot(state.sigma, soft)), each, inner=inner)
        seen = places.every @ matrix.T
        plane = seen[:, :2] / seen[:, 2:]
        at = plane + (places.every[:, 1] ** 2)[:, None] * bend if bent else plane
        light = _seen(picture, at, *window, used.shape)
        if light is None:
            return None
        if soft:
            light = np.asarray(cv2.GaussianBlur(light, (0, 0), soft * each), np.float32)
        shape = np.float32(ink) + np.float32(1 - ink) * face.pale
        weighed = trusted * shape
        lit = cv2.GaussianBlur(weighed * light, (reach, reach), spread)
        gain = lit / (cv2.GaussianBlur(weighed * shape, (reach, reach), spread) + _NOTHING)
        if not float(gain[used].min()) > 1e-4:
            return None
        shown = light / np.maximum(gain, _NOTHING)
        edges = (1 - ink) * face.edges
        left = (shown - shape)[used] + state.growth * edges
        weight = 1 / (1 + (left / loose) ** 2) ** 2
        trusted = np.zeros(used.shape, np.float32)
        trusted[used] = weight
        dark = face.dark * weight
        if float(dark.sum()) > _FEW_DARK:
            state.ink = min(max(float(dark @ shown[used] / dark.sum()), 0.005), 0.5)
        # the template's own slopes, carried into the picture
        below, u, v = seen[flat, 2], plane[flat, 0], plane[flat, 1]
        xx, xy = ((matrix[0, k] - u * matrix[2, k]) / below for k in (0, 1))
        yx, yy = ((matrix[1, k] - v * matrix[2, k]) / below for k in (0, 1))
        if bent:
            xy, yy = xy + 2 * y * bend[0], yy + 2 * y * bend[1]
        det = xx * yy - xy * yx
        if not float(det.min()) > 0:
            return None
        strong = (1 - ink) / det
        across = (face.right * yy - face.down * yx) * strong
        along = (face.down * xx - face.right * xy) * strong
        rows[2], rows[5] = across / below, along / below
        rows[0], rows[1] = x * rows[2], y * rows[2]
        rows[3], rows[4] = x * rows[5], y * rows[5]
        tilted = -(u * rows[2] + v * rows[5])
        rows[6], rows[7] = x * tilted, y * tilted
        rows[8], rows[9] = (ink - 1) * face.blurs, edges
        if bent:
            rows[10], rows[11] = across * square, along * square
        trust = float(weight.sum())
        noise = max(float(weight @ left**2) / trust, _LEAST_NOISE**2)
        heavy = rows * (weight / noise)
        held = np.concatenate([np.zeros(6), matrix[2, :2], [0.0, state.growth], bend])[:count]
        information = heavy @ rows.T + np.diag(firm)
        pull = -(heavy @ left) - firm * held
        scale = 1 / np.sqrt(np.diag(information) + 1e-12)
        steep = information * np.outer(scale, scale) + 1e-6 * np.eye(count)
        move = scale * np.linalg.solve(steep, pull * scale)
        last = _Last(information, shown, face.pale, float(np.sqrt(noise)), trust / len(weight))
        longest = float(np.abs(move[:6] * (3, 3, 1, 3, 3, 1)).max())
        # a step of most of a cell is none
        move *= min(1.0, 0.7 * cell / max(longest, 1e-9))
        state.matrix = matrix + np.append(move[:8], 0.0).reshape(3, 3)
        state.sigma = min(max(state.sigma + float(move[8]), 0.08), 0.6)
        state.growth = min(max(state.growth + float(move[9]), -0.3), 0.3)
        if bent:
            state.bend = bend + move[10:12]
        if not soft and longest < _STILL_PX:
            break
    return last


def _arms(matrix: Floats, place: Floats, count: int) -> Floats:
    """Derivatives (2, count) of where a place (2,) is seen by all that is fitted."""
    one = np.append(place, 1.0)
    below = float(one @ matrix[2])
    now = (matrix[:2] @ one) / below
    arms = np.zeros((2, count))
    arms[0, 0:3] = arms[1, 3:6] = one / below
    arms[:, 6:8] = -np.outer(now, place) / below
    if count > 10:
        arms[0, 10] = arms[1, 11] = place[1] ** 2
    return arms


def _agreement(
    shown: NDArray[np.float32], pale: NDArray[np.float32], ink: float, each: int
) -> Floats:
    """How much paler each cell looks than it is printed, its own middle; (11, 8)."""
    over = (shown - ink) / (1 - ink) - pale
    cells = over.reshape(DOWN, each, ACROSS, each)
    inside = np.abs((np.arange(each) + 0.5) / each - 0.5) < 0.35
    return np.asarray(cells[:, inside][:, :, :, inside].mean(axis=(1, 3)))


def _below_square(last: _Last, ink: float, each: int) -> float:
    places = grid(each, inner=False)
    off = ((last.shown - ink) / (1 - ink) - last.pale)[places.used][places.y > WHITE]
    return float(np.sqrt(np.mean(np.square(off, dtype=np.float64))))


def _window(
    grey: Picture, middle: Floats, cell: float
) -> tuple[NDArray[np.float32] | None, float, Floats]:
    """Light round a tag, cells of 8 px at most; how often smaller; its top left, px."""
    reach = 12.0 * cell + 4
    low = np.maximum(np.floor(middle - reach), 0).astype(int)
    high = np.minimum(np.ceil(middle + reach) + 1, grey.shape[::-1]).astype(int)
    if np.any(high - low < 8):
        return None, 1.0, low.astype(np.float64)
    light = SRGB_TO_LIGHT[grey[low[1] : high[1], low[0] : high[0]]]
    shrink = 1
    while cell / shrink > 8.0:
        light, shrink = half_of(light), 2 * shrink
    return light, float(shrink), low.astype(np.float64)


def _seen(
    light: NDArray[np.float32], at: Floats, corner: Floats, shrink: float, shape: tuple[int, ...]
) -> NDArray[np.float32] | None:
    places = (at - corner + 0.5) / shrink - 0.5
    if not np.all(np.isfinite(places)):
        return None
    maps = places.astype(np.float32).reshape(*shape, 2)
    found = cv2.remap(
        light, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(found, np.float32)
