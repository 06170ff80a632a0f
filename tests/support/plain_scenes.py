"""Simple photos drawn by arithmetic alone: the same pixels whatever library is installed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]


def grid(size: tuple[int, int]) -> tuple[Array, Array]:
    """x and y of every pixel of a picture (width, height)."""
    y, x = np.mgrid[0 : size[1], 0 : size[0]].astype(float)
    return x, y


def inside_polygon(size: tuple[int, int], corners: Array, blur: float) -> Array:
    """How much of each pixel lies in a convex polygon, walked clockwise; blurred by `blur` px."""
    x, y = grid(size)
    share = np.ones_like(x)
    for one, other in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        run = (other - one) / np.linalg.norm(other - one)
        away = run[0] * (y - one[1]) - run[1] * (x - one[0])
        share = np.minimum(share, 1.0 / (1.0 + np.exp(-np.clip(1.7 * away / blur, -60, 60))))
    return share


def inside_ellipse(
    size: tuple[int, int], centre: Array, half: Array, turn: float, blur: float
) -> Array:
    x, y = grid(size)
    c, s = np.cos(turn), np.sin(turn)
    u, v = x - centre[0], y - centre[1]
    level = np.hypot((c * u + s * v) / half[0], (c * v - s * u) / half[1])
    away = (1.0 - level) * float(np.min(half))
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(1.7 * away / blur, -60, 60))))


def clutter(rng: np.random.Generator, size: tuple[int, int], contrast: float) -> Array:
    """A lawn or wall of waves, (h, w, 3) codes."""
    x, y = grid(size)
    picture = np.zeros((*x.shape, 3)) + rng.uniform(70, 140, 3)
    for _ in range(6):
        step = rng.normal(0.0, 0.12, 2)
        wave = np.sin(step[0] * x + step[1] * y + rng.uniform(0, 6))
        picture += contrast * wave[:, :, None] * rng.normal(0, 1, 3)
    return picture


def finished(rng: np.random.Generator, picture: Array, noise: float) -> Picture:
    noisy = picture + rng.normal(0.0, 1.0, picture.shape) * noise
    return np.clip(np.rint(noisy), 0, 255).astype(np.uint8)


def over(picture: Array, share: Array, colour: Array) -> Array:
    return picture + share[:, :, None] * (colour - picture)


def seen_plane(
    rng: np.random.Generator, points_mm: Array, centre: Array, px_per_mm: float, tilt: float
) -> Array:
    """Points of a plane as a camera sees it that is far away, but not infinitely."""
    yaw, pitch, roll = rng.uniform(-tilt, tilt, 3) * [1.0, 1.0, 0.6]
    far = 900.0
    x, y = points_mm.T
    c, s = np.cos(roll), np.sin(roll)
    x, y = c * x - s * y, s * x + c * y
    depth = far + np.sin(yaw) * x + np.sin(pitch) * y
    return np.asarray(
        centre
        + px_per_mm * far * np.column_stack([np.cos(yaw) * x, np.cos(pitch) * y]) / depth[:, None]
    )


def card_photo(
    seed: int, width_mm: float, height_mm: float, px_per_mm: float
) -> tuple[Picture, Array]:
    """A card or sheet of paper before clutter, sometimes held by a finger; and its corners."""
    rng = np.random.default_rng(seed)
    size = (300, 220)
    half = np.array([width_mm, height_mm]) / 2
    corners = seen_plane(
        rng,
        half * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]),
        np.array([150.0, 110.0]) + rng.uniform(-20, 20, 2),
        px_per_mm,
        rng.choice([0.1, 0.4, 0.8]),
    )
    picture = clutter(rng, size, rng.choice([2.0, 6.0, 14.0]))
    colour = rng.choice([rng.uniform(180, 245, 3), rng.uniform(20, 90, 3), rng.uniform(60, 160, 3)])
    picture = over(picture, inside_polygon(size, corners, 0.9), colour)
    if seed % 3 == 0:  # print
        some = corners.mean(axis=0) + 0.45 * (corners - corners.mean(axis=0))
        picture = over(picture, inside_polygon(size, some, 0.9), rng.uniform(40, 200, 3))
    for _ in range(seed % 4):  # fingers
        side = rng.integers(0, 4)
        at = corners[side] + rng.uniform(0.2, 0.8) * (corners[(side + 1) % 4] - corners[side])
        finger = inside_ellipse(size, at, np.array([22.0, 8.0]), rng.uniform(0, 3), 1.2)
        picture = over(picture, finger, np.array([190.0, 140.0, 120.0]))
    return finished(rng, picture, rng.choice([1.0, 3.0])), corners


def disc_photo(seed: int, kind: str, radius_px: float) -> tuple[Picture, Array]:
    """A disc or a shaded ball before clutter; and sixteen points on its outline."""
    rng = np.random.default_rng(seed)
    size = (280, 220)
    centre = np.array([140.0, 110.0]) + rng.uniform(-15, 15, 2)
    flat = rng.uniform(0.6, 1.0) if kind == "disc" else 1.0
    half, turn = radius_px * np.array([1.0, flat]), rng.uniform(0, 3)
    picture = clutter(rng, size, rng.choice([2.0, 6.0, 12.0]))
    colour = rng.uniform(120, 240, 3)
    share = inside_ellipse(size, centre, half, turn, 0.9)
    picture = over(picture, share, colour)
    if kind == "ball":
        x, y = grid(size)
        lit = np.clip(0.75 + 0.35 * ((x - centre[0]) - (y - centre[1])) / radius_px, 0.3, 1.0)
        picture = np.where(share[:, :, None] > 0.5, picture * lit[:, :, None], picture)
    if seed % 2:
        at = centre + rng.uniform(-0.5, 0.5, 2) * radius_px
        spot = inside_ellipse(size, at, radius_px * np.array([0.3, 0.15]), 0.4, 1.0)
        picture = over(picture, spot, rng.uniform(30, 220, 3))
    if seed % 3 == 0:
        at = centre + radius_px * np.array([0.9, 0.5])
        finger = inside_ellipse(size, at, np.array([24.0, 9.0]), 0.3, 1.2)
        picture = over(picture, finger, np.array([190.0, 140.0, 120.0]))
    angle = np.arange(16) * 2 * np.pi / 16
    c, s = np.cos(turn), np.sin(turn)
    unit = np.column_stack([np.cos(angle) * half[0], np.sin(angle) * half[1]])
    outline = centre + unit @ np.array([[c, s], [-s, c]])
    return finished(rng, picture, rng.choice([1.0, 3.0])), outline


def sheet_photo(seed: int, px_per_mm: float, *, hidden: int = 0, shadow: float = 1.0) -> Picture:
    """The marker sheet before clutter, some of its squares half hidden."""
    from photocheck.scale.sheet import LAYOUT, sheet_bitmap

    rng = np.random.default_rng(seed)
    size = (420, 560)
    wide, high = 210.0, 297.0
    corners_mm = np.array([[-wide, -high], [wide, -high], [wide, high], [-wide, high]]) / 2
    to = seen_plane(rng, corners_mm, np.array([210.0, 280.0]), px_per_mm, 0.35)
    # pixels to millimetres: the homography of four points, by its linear equations
    rows, right = [], []
    for (x, y), (u, v) in zip(to, corners_mm, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    a, b, c, d, e, f, g, h = np.linalg.solve(np.array(rows), np.array(right))
    bitmap = sheet_bitmap(4.0, "a4").astype(float)
    x, y = grid(size)
    total = np.zeros_like(x)
    steps = (-0.375, -0.125, 0.125, 0.375)
    for dx in steps:
        for dy in steps:
            p, q = x + dx, y + dy
            w = g * p + h * q + 1.0
            column = np.clip(((a * p + b * q + c) / w + wide / 2) * 4.0, 0, bitmap.shape[1] - 1)
            row = np.clip(((d * p + e * q + f) / w + high / 2) * 4.0, 0, bitmap.shape[0] - 1)
            total += bitmap[row.astype(int), column.astype(int)]
    sheet = 25.0 + 0.8 * total / len(steps) ** 2
    picture = clutter(rng, size, 8.0)
    share = inside_polygon(size, to, 0.6)
    picture = picture + share[:, :, None] * (shadow * sheet[:, :, None] - picture)
    for number in range(hidden):
        at = to.mean(axis=0) + 0.62 * (to[number] - to.mean(axis=0))
        blob = inside_ellipse(size, at, np.array([20.0, 12.0]), 0.5, 1.0)
        picture = over(picture, blob, np.array([120.0, 110.0, 60.0]))
    assert LAYOUT.modules == 6
    return finished(rng, picture, 2.0)
