"""First guesses: closed outlines and straight lines around a rough mark, at several sizes.

How large the reference is in the picture is not known, so windows of growing size
around the mark are each shrunk to a few hundred pixels and looked at alike.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.scale.light import Floats, Halved, Picture

_WINDOW_PX: Final = 320  # longer side of a shrunken window, as a rule
_FIRST_HALF: Final = 0.3  # half side of the smallest window, of what windows are shrunk to
BORDER_PX: Final = 8
"""How far a picture is carried on beyond its border, px of what is looked at."""
_GROWTH: Final = 1.7
_AS_IT_IS: Final = 1.05  # times larger than what is looked at: shrinking would only blur it
_HALVED_FROM: Final = 4.0
"""How many times smaller a window is that is made of the photo's pictures: of 12 megapixels six to
nine are, each of most of the photo, and averaging its pixels anew took a fifth of the search."""
_LEAST_HALVED: Final = 16  # px of a half, across: less would lose too much with what has no pair
_GROWN_MOST: Final = 0.4  # photo px for one of a window that is blown up
_FILL_TOLERANCES: Final = (5, 9, 15, 24)  # Lab steps of 8-bit images
_UNPRINTED_TOLERANCES: Final = (8, 18)
_PRINT_PX: Final = 9  # letters and rules are narrower, in a window
_EDGE_LEVELS: Final = (25.0, 60.0)  # Canny, high thresholds on 8-bit grey

Extent = tuple[int, int, int, int]
"""Left, top, right and bottom, photo px, the last two excluded."""


@dataclass(frozen=True)
class Window:
    """One shrunken look at the surroundings of the mark.

    Attributes
    ----------
    rgb : (h, w, 3) uint8
        Smoothed a little.
    lab : (h, w, 3) uint8
    slope : (h, w, 2) float32
        Gradient (x, y) of the channel that changes most, codes per window px.
    mark : (2,) float
        The rough mark in window px.
    scale : float
        Photo px per window px.
    origin : (2,) float
        Photo px of the window's pixel (0, 0).
    """

    rgb: Picture
    lab: Picture
    slope: NDArray[np.float32]
    mark: Floats
    scale: float
    origin: Floats

    def to_photo(self, points: Floats) -> Floats:
        """Window px (..., 2) to photo px."""
        return np.asarray(points * self.scale + self.origin)


def as_rgb(picture: Picture) -> Picture:
    """(H, W, 3) uint8 of a grey or RGB picture."""
    if picture.ndim == 3:
        return picture
    return np.repeat(picture[:, :, None], 3, axis=2)


def halved_of(picture: Picture | Halved) -> Halved:
    """Halved of a picture, unless they are that already."""
    return picture if isinstance(picture, Halved) else Halved(picture)


def windows(
    picture: Picture | Halved,
    near: Floats,
    most_px: int = _WINDOW_PX,
    across_px: tuple[float, float] = (0.0, np.inf),
    growth: float = _GROWTH,
) -> Iterator[Window]:
    """Windows around the mark (2,) px, smallest first, the last one the whole picture's size.

    Each is shrunk until its longer side is `most_px`.  Those less wide than the first of
    `across_px`, photo px, or wider than the second are left out, but at least one is given.
    Each is `growth` times as wide as the one before.
    """
    picture = halved_of(picture)
    height, width = picture.picture.shape[:2]
    half = _FIRST_HALF * most_px
    while 2 * half < across_px[0]:
        half *= growth
    while True:
        left = int(max(np.floor(near[0] - half), 0))
        top = int(max(np.floor(near[1] - half), 0))
        right = int(min(np.ceil(near[0] + half) + 1, width))
        bottom = int(min(np.ceil(near[1] + half) + 1, height))
        yield _window(picture, (left, top, right, bottom), near, most_px)
        if left == 0 and top == 0 and right == width and bottom == height:
            return
        half *= growth
        if 2 * half > across_px[1]:
            return


def window_of(picture: Picture | Halved, most_px: int) -> Window:
    """The whole picture as one window, shrunk to `most_px`; its middle is marked."""
    picture = halved_of(picture)
    height, width = picture.picture.shape[:2]
    middle = (np.array([width, height], np.float64) - 1) / 2
    return _window(picture, (0, 0, width, height), middle, most_px)


def window_about(
    picture: Picture | Halved,
    corners: Floats,
    near: Floats,
    most_px: int,
    room: float,
    grow: bool = False,
) -> Window:
    """The part of a picture about corners (4, 2) px, `room` of their extent wider on every side.

    Where `grow` is true a small one is blown up to `most_px`, as far as that makes sense.
    """
    low, high = corners.min(axis=0), corners.max(axis=0)
    more = room * float(np.max(high - low))
    picture = halved_of(picture)
    height, width = picture.picture.shape[:2]
    left, top = np.clip(np.floor(low - more), 0, [width - 2, height - 2]).astype(int)
    right, bottom = np.clip(np.ceil(high + more) + 1, 2, [width, height]).astype(int)
    return _window(picture, (int(left), int(top), int(right), int(bottom)), near, most_px, grow)


def _window(
    picture: Picture | Halved,
    extent: Extent,
    near: Floats,
    most_px: int,
    grow: bool = False,
) -> Window:
    pictures = halved_of(picture)
    left, top, right, bottom = extent
    height, width = pictures.picture.shape[:2]
    scale = max(right - left, bottom - top) / most_px
    scale = max(scale, _GROWN_MOST) if grow or scale > _AS_IT_IS else 1.0
    halved = scale if scale >= _HALVED_FROM else 1.0
    part, (first, upper), step = part_of(pictures, extent, halved)
    if step > 1:
        scale = max(part.shape[:2]) * step / most_px
    crop = as_rgb(part)
    if scale > 1:
        crop = shrunk(crop, scale / step)
    elif scale < 1:
        size = (round(crop.shape[1] / scale), round(crop.shape[0] / scale))
        crop = np.asarray(cv2.resize(crop, size, interpolation=cv2.INTER_CUBIC), np.uint8)
    # Pixel centres are at integers in both, hence the halves.
    origin = np.array([first, upper], np.float64) + (scale - 1) / 2
    # A sheet that fills the picture has its edges at the border: room to look at both sides.
    above, before = BORDER_PX * (top == 0), BORDER_PX * (left == 0)
    below, after = BORDER_PX * (bottom == height), BORDER_PX * (right == width)
    crop = np.pad(crop, ((above, below), (before, after), (0, 0)), "edge")
    origin -= scale * np.array([before, above])
    smooth = np.asarray(cv2.GaussianBlur(crop, (0, 0), 0.9), np.uint8)
    return Window(
        rgb=smooth,
        lab=np.asarray(cv2.cvtColor(smooth, cv2.COLOR_RGB2LAB), np.uint8),
        slope=_steepest(smooth),
        mark=(near - origin) / scale,
        scale=scale,
        origin=origin,
    )


def part_of(pictures: Halved, extent: Extent, scale: float) -> tuple[Picture, tuple[int, int], int]:
    """What is to be made `scale` times smaller: pixels, their first one's place, photo px each.

    Made twice as small and more it is made out of the photo's halves, which all looks share; a
    part then begins and ends with a whole px of theirs.
    """
    left, top, right, bottom = extent
    least = min(right - left, bottom - top) / _LEAST_HALVED
    times = max(int(np.log2(max(min(scale, least), 1.0))), 0)
    small, step = pictures.at(times), 2**times
    left, top = left // step, top // step
    part = small[top : -(-bottom // step), left : -(-right // step)]
    return part, (left * step, top * step), step


def shrunk(picture: Picture, by: float) -> Picture:
    """A picture so many times smaller, a whole number of px and 8 at least along either side."""
    rows, columns = picture.shape[:2]
    size = (max(round(columns / by), 8), max(round(rows / by), 8))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)


def _steepest(rgb: Picture) -> NDArray[np.float32]:
    x, y = (cv2.Scharr(rgb, cv2.CV_16S, *way) for way in ((1, 0), (0, 1)))
    parts: list[tuple[NDArray[np.int16], ...]] = [
        tuple(np.asarray(cv2.extractChannel(way, k), np.int16) for way in (x, y))
        for k in range(rgb.shape[2])
    ]
    across, down = parts[0]
    steepest = _squared(across, down)
    for other, below in parts[1:]:
        steep = _squared(other, below)
        more = steep > steepest
        across, down = np.where(more, other, across), np.where(more, below, down)
        steepest = np.maximum(steep, steepest)
    return np.stack([across, down], axis=2).astype(np.float32) / np.float32(32.0)


def _squared(across: NDArray[np.int16], down: NDArray[np.int16]) -> NDArray[np.float32]:
    x, y = across.astype(np.float32), down.astype(np.float32)
    return np.asarray(x * x + y * y)


def slope_across(window: Window, x: Floats, y: Floats, nx: Floats, ny: Floats) -> Floats:
    """Steepness along normals at the px nearest to places in a window, codes per px; 0 outside."""
    rows, columns = window.slope.shape[:2]
    column, row = np.rint(x).astype(np.intp), np.rint(y).astype(np.intp)
    inside = (column >= 0) & (row >= 0) & (column < columns) & (row < rows)
    at = np.where(inside, row * columns + column, 0)
    slope = window.slope.reshape(-1, 2).take(at, axis=0)  # many times quicker than by brackets
    return np.where(inside, np.abs(slope[..., 0] * nx + slope[..., 1] * ny), 0.0)


def steepest_across(window: Window, points: Floats, normal: Floats) -> Floats:
    """Steepest slope along normals (..., 2) at points (..., k, 2) and 1.5 px to either side."""
    best = np.zeros(points.shape[:-1])
    x, y = points[..., 0], points[..., 1]
    nx, ny = normal[..., None, 0], normal[..., None, 1]
    for shift in (-1.5, 0.0, 1.5):
        best = np.maximum(best, slope_across(window, x + shift * nx, y + shift * ny, nx, ny))
    return best


def edge_share(slopes: Floats) -> Floats:
    """How much of an edge slopes in codes per px are, 0 to 1: 2 is at the noise, 10 is plain."""
    return np.clip((slopes - 2.0) / 8.0, 0.0, 1.0)


def outlines(window: Window) -> Iterator[NDArray[np.int32]]:
    """Outer contours (n, 1, 2) in window px of regions that hold the mark.

    From flood fills of several tolerances, Otsu's threshold on each Lab channel,
    and the closed areas and connected edges of Canny's edge maps.
    """
    for mask in _regions(window):
        contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        for contour in contours:
            points = np.asarray(contour, np.int32)
            if _holds(points, window.mark):
                yield points


def _holds(contour: NDArray[np.int32], mark: Floats) -> bool:
    if len(contour) < 20:
        return False
    left, top, wide, high = cv2.boundingRect(contour)
    if not (left <= mark[0] <= left + wide - 1 and top <= mark[1] <= top + high - 1):
        return False
    hull = cv2.convexHull(contour)
    return bool(cv2.pointPolygonTest(hull, (float(mark[0]), float(mark[1])), False) >= 0)


def _regions(window: Window) -> Iterator[Picture]:
    height, width = window.lab.shape[:2]
    seed = (
        int(np.clip(round(float(window.mark[0])), 0, width - 1)),
        int(np.clip(round(float(window.mark[1])), 0, height - 1)),
    )
    patch = window.lab[max(seed[1] - 2, 0) : seed[1] + 3, max(seed[0] - 2, 0) : seed[0] + 3]
    colour = np.median(patch.reshape(-1, 3), axis=0)
    seeded = window.lab.copy()
    seeded[seed[1], seed[0]] = colour.astype(np.uint8)
    kernel = np.ones((3, 3), np.uint8)
    for tolerance in _FILL_TOLERANCES:
        mask = np.zeros((height + 2, width + 2), np.uint8)
        step = (2 * tolerance, tolerance, tolerance)  # lightness varies more: shadows
        flags = 4 | cv2.FLOODFILL_MASK_ONLY | cv2.FLOODFILL_FIXED_RANGE | (255 << 8)
        cv2.floodFill(seeded.copy(), mask, seed, 0, step, step, flags)
        area = mask[1:-1, 1:-1]
        # Opening cuts off what leaks through a gap of a pixel or two.
        yield np.asarray(cv2.morphologyEx(area, cv2.MORPH_OPEN, kernel, iterations=2), np.uint8)
    # Without letters and rules a sheet is one tone: closing takes dark ones off pale paper,
    # opening pale ones off a dark card.
    print_px = np.ones((_PRINT_PX, _PRINT_PX), np.uint8)
    unprinted = [
        np.asarray(cv2.morphologyEx(window.lab, way, print_px), np.uint8)
        for way in (cv2.MORPH_CLOSE, cv2.MORPH_OPEN)
    ]
    for tones in unprinted:
        for tolerance in _UNPRINTED_TOLERANCES:
            mask = np.zeros((height + 2, width + 2), np.uint8)
            step = (2 * tolerance, tolerance, tolerance)
            flags = 4 | cv2.FLOODFILL_MASK_ONLY | cv2.FLOODFILL_FIXED_RANGE | (255 << 8)
            cv2.floodFill(tones.copy(), mask, seed, 0, step, step, flags)
            yield np.asarray(cv2.morphologyEx(mask[1:-1, 1:-1], cv2.MORPH_OPEN, kernel), np.uint8)
    planes = [window.lab[:, :, channel] for channel in range(3)]
    planes += [tones[:, :, 0] for tones in unprinted]
    for plane in map(np.ascontiguousarray, planes):
        _, mask = cv2.threshold(plane, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
        if mask[seed[1], seed[0]] == 0:
            mask = cv2.bitwise_not(mask)
        yield np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, kernel), np.uint8)
    across = np.ascontiguousarray(np.clip(window.slope[:, :, 0] * 16, -32000, 32000), np.int16)
    down = np.ascontiguousarray(np.clip(window.slope[:, :, 1] * 16, -32000, 32000), np.int16)
    for level in _EDGE_LEVELS:
        edges = cv2.Canny(across, down, level * 1.6, level * 4.0, L2gradient=True)
        closed = cv2.dilate(edges, kernel)
        yield np.asarray(closed, np.uint8)
        inner = np.asarray(cv2.bitwise_not(closed), np.uint8)
        _, labels = cv2.connectedComponents(inner, connectivity=4)
        own = labels[seed[1], seed[0]]
        if own > 0:
            yield np.asarray(cv2.dilate((labels == own).astype(np.uint8) * 255, kernel), np.uint8)


def _has_edges(plane: Picture, least: float) -> bool:
    """Whether so many px of a plane have a slope that the detector of segments begins with.

    That is a step of 5.2 codes (von Gioi and others, LSD, IPOL 2012: 2 over the sine of 22.5
    degrees) over squares of 2 px; no step between neighbours is smaller than half of it there.
    """
    if plane.shape[0] < 2 or plane.shape[1] < 2:
        return False
    across = cv2.absdiff(plane[:, 1:], plane[:, :-1])
    down = cv2.absdiff(plane[1:], plane[:-1])
    steps = cv2.countNonZero((across > 2).view(np.uint8)) + cv2.countNonZero(
        (down > 2).view(np.uint8)
    )
    return steps > least


def straight_lines(window: Window, most: int) -> Floats:
    """Straight edges around the mark: (n, 3) rows (angle, distance, length), longest first.

    The angle (radians) and distance (window px) are those of the normal from the
    mark to the line; collinear segments are joined.
    """
    grey = cv2.cvtColor(window.rgb, cv2.COLOR_RGB2GRAY)
    found = []
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_NONE, 1.0)
    # Of the two colour channels the one that tells more: each costs as much as grey.
    tones = max((window.lab[:, :, 1], window.lab[:, :, 2]), key=lambda plane: float(plane.std()))
    tones = np.ascontiguousarray(tones)
    least = 0.04 * max(window.rgb.shape[:2])
    for plane in (grey, tones) if _has_edges(tones, least) else (grey,):
        segments = detector.detect(plane)[0]
        if segments is not None:
            found.append(np.asarray(segments, np.float64).reshape(-1, 4))
    if not found:
        return np.zeros((0, 3))
    segments = np.vstack(found)
    run = segments[:, 2:] - segments[:, :2]
    length = np.hypot(run[:, 0], run[:, 1])
    keep = length > least
    segments, run, length = segments[keep], run[keep], length[keep]
    if length.size == 0:
        return np.zeros((0, 3))
    normal = np.column_stack([run[:, 1], -run[:, 0]]) / length[:, None]
    middle = (segments[:, :2] + segments[:, 2:]) / 2
    distance = np.sum((middle - window.mark) * normal, axis=1)
    normal = normal * np.sign(np.where(distance == 0, 1.0, distance))[:, None]
    distance = np.abs(distance)
    keep = distance > 3.0
    normal, distance, length = normal[keep], distance[keep], length[keep]
    angle = np.arctan2(normal[:, 1], normal[:, 0])
    # Each is joined to the first line it lies on, or begins one; all lines are asked at once.
    lines = np.zeros((len(length), 3))
    count = 0
    for i in np.argsort(-length):
        turn = np.abs((angle[i] - lines[:count, 0] + np.pi) % (2 * np.pi) - np.pi)
        far = lines[:count, 1]
        on = (turn < np.deg2rad(4)) & (np.abs(distance[i] - far) < 0.02 * far + 1.5)
        first = int(on.argmax()) if count else 0
        if count and on[first]:
            lines[first, 2] += length[i]
        else:
            lines[count] = angle[i], distance[i], length[i]
            count += 1
    order = np.argsort(-lines[:count, 2], kind="stable")
    return lines[order[:most]]
