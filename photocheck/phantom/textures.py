"""Procedural surfaces: noise, floor, wall, and the faces of reference objects; linear light."""

from __future__ import annotations

import cv2
import numpy as np

from photocheck.phantom.field import Array
from photocheck.phantom.placed import CARD_CORNER_MM, PlacedReference
from photocheck.scale.catalogue import MM_PER_INCH
from photocheck.scale.sheet import page_mm, sheet_bitmap


def cloud(
    rng: np.random.Generator, shape: tuple[int, int], cell_px: float, stretch: float = 1.0
) -> Array:
    """Smooth noise of mean 0 and standard deviation 1, (rows, columns).

    ``cell_px`` is the size of its features, ``stretch`` how much longer they are
    along the columns' axis.
    """
    rows = max(int(np.ceil(shape[0] / cell_px)) + 3, 4)
    columns = max(int(np.ceil(shape[1] / (cell_px * stretch))) + 3, 4)
    coarse = rng.normal(size=(rows, columns))
    size = (int(columns * cell_px * stretch), int(rows * cell_px))
    fine = cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC)[: shape[0], : shape[1]]
    return np.asarray((fine - fine.mean()) / (fine.std() + 1e-9))


def floor_texture(
    rng: np.random.Generator, kind: str, shape: tuple[int, int], step: float
) -> Array:
    """A floor seen from above, (rows, columns, 3) linear; ``step`` mm per pixel."""
    fine = cloud(rng, shape, max(7.0 / step, 1.0))
    middle = cloud(rng, shape, 45.0 / step)
    broad = cloud(rng, shape, 420.0 / step)
    if kind == "grass":
        blades = (
            cloud(rng, shape, max(4.0 / step, 1.0)) * 0.6 + cloud(rng, shape, 16.0 / step) * 0.5
        )
        tone = np.exp(0.35 * blades + 0.16 * middle + 0.15 * broad)
        base = np.array([0.115, 0.17, 0.045])
        warm = 0.02 * np.maximum(broad, 0.0)[..., None] * np.array([1.0, 0.5, 0.0])
    elif kind == "boards":
        width = 120.0 / step
        board = (np.arange(shape[0]) / width).astype(int)
        shade = 0.12 * rng.normal(size=board.max() + 1)[board][:, None]
        grain = cloud(rng, shape, max(3.0 / step, 1.0), 40.0)
        tone = np.exp(shade + 0.10 * grain + 0.05 * broad)
        tone *= np.where((np.arange(shape[0]) % width) < 5.0 / step, 0.35, 1.0)[:, None]
        base = np.array([0.33, 0.21, 0.12])
        warm = np.zeros((*shape, 3))
    else:
        tone = np.exp(0.16 * fine + 0.07 * middle + 0.08 * broad)
        base = np.array([0.36, 0.33, 0.29])
        warm = 0.008 * broad[..., None] * np.array([1.0, 0.5, -0.4])
    return np.asarray(np.clip(base * tone[..., None] + warm, 0.01, 0.9))


def wall_texture(rng: np.random.Generator, kind: str, shape: tuple[int, int], step: float) -> Array:
    """A wall from the front, row 0 at the top, (rows, columns, 3) linear; ``step`` mm per pixel."""
    fine = cloud(rng, shape, max(9.0 / step, 1.0))
    broad = cloud(rng, shape, 700.0 / step)
    if kind == "planks":
        width = 150.0 / step
        plank = (np.arange(shape[1]) / width).astype(int)
        shade = 0.10 * rng.normal(size=plank.max() + 1)[plank][None, :]
        grain = cloud(rng, (shape[1], shape[0]), max(5.0 / step, 1.0), 30.0).T
        tone = np.exp(shade + 0.08 * grain + 0.04 * broad)
        tone *= np.where((np.arange(shape[1]) % width) < 7.0 / step, 0.35, 1.0)[None, :]
        base = np.array([0.25, 0.30, 0.30])
    elif kind == "hedge":
        leaves = cloud(rng, shape, 22.0 / step) + 0.7 * cloud(rng, shape, 60.0 / step)
        tone = np.exp(0.45 * leaves + 0.15 * fine + 0.2 * broad)
        base = np.array([0.055, 0.10, 0.035])
    else:
        tone = np.exp(0.035 * fine + 0.05 * broad)
        base = np.array([0.60, 0.55, 0.46])
    surface = base * tone[..., None]
    if kind == "plaster":  # a darker base strip
        edge = max(shape[0] - int(140.0 / step), 0)
        surface[edge:] *= np.array([0.45, 0.45, 0.47])
    return np.asarray(np.clip(surface, 0.008, 0.9))


def reference_face(placed: PlacedReference, px_per_mm: float) -> tuple[Array, Array, Array]:
    """What the reference's face looks like, in its own plane.

    Parameters
    ----------
    placed : PlacedReference
        Anything but a ball.
    px_per_mm : float

    Returns
    -------
    colour (rows, columns, 3) linear, opaque (rows, columns) 0 to 1, and the
    (3, 3) matrix from face pixels to nominal mm (x right, y down, from the centre).
    """
    if placed.form == "markers":
        grey = sheet_bitmap(px_per_mm, placed.paper).astype(np.float64) / 255.0
        width, height = page_mm(placed.paper)
        colour = np.repeat((0.03 + 0.80 * grey)[..., None], 3, axis=2)
        # The sheet keeps its scale exactly and lets the page's edge fall between pixels.
        cell = 1.0 / px_per_mm
        to_mm = np.array(
            [
                [cell, 0.0, 0.5 * (cell - width)],
                [0.0, cell, 0.5 * (cell - height)],
                [0.0, 0.0, 1.0],
            ]
        )
        return colour, np.ones(grey.shape), to_mm
    if placed.form == "points":
        return _ruler(placed, px_per_mm)
    width, height = placed.outer_mm
    shape = (round(height * px_per_mm), round(width * px_per_mm))
    rows, columns = np.mgrid[0 : shape[0], 0 : shape[1]]
    x = (columns + 0.5) / px_per_mm - 0.5 * width
    y = (rows + 0.5) / px_per_mm - 0.5 * height
    to_mm = _to_mm(shape, width, height)
    if placed.form == "disc":
        far = np.hypot(x, y)
        radius = 0.5 * width
        opaque = np.clip((radius - far) * px_per_mm + 0.5, 0.0, 1.0)
        ring = np.where(np.abs(far / radius - 0.8) < 0.03, 0.6, 1.0)
        return np.array([0.55, 0.06, 0.05]) * ring[..., None], opaque, to_mm
    if placed.kind == "id_card":
        return (
            _card(x, y, width, height),
            _rounded(x, y, width, height, px_per_mm),
            to_mm,
        )
    paper = np.full((*shape, 3), 0.80)
    return paper, np.ones(shape), to_mm


def _to_mm(shape: tuple[int, ...], width: float, height: float) -> Array:
    # Bitmaps are a whole number of pixels: use what each pixel truly spans.
    sx, sy = width / shape[1], height / shape[0]
    return np.array(
        [[sx, 0.0, 0.5 * sx - 0.5 * width], [0.0, sy, 0.5 * sy - 0.5 * height], [0.0, 0.0, 1.0]]
    )


def _rounded(x: Array, y: Array, width: float, height: float, px_per_mm: float) -> Array:
    qx = np.abs(x) - 0.5 * width + CARD_CORNER_MM
    qy = np.abs(y) - 0.5 * height + CARD_CORNER_MM
    away = np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) + np.minimum(np.maximum(qx, qy), 0)
    return np.asarray(np.clip((CARD_CORNER_MM - away) * px_per_mm + 0.5, 0.0, 1.0))


def _card(x: Array, y: Array, width: float, height: float) -> Array:
    """A plain invented card: two blues, a chip, no writing."""
    blend = np.clip(0.5 + (x + 0.6 * y) / width, 0.0, 1.0)[..., None]
    face = (1 - blend) * np.array([0.03, 0.10, 0.32]) + blend * np.array([0.06, 0.26, 0.48])
    chip = (np.abs(x + 0.28 * width) < 6.0) & (np.abs(y + 0.04 * height) < 5.0)
    face[chip] = (0.60, 0.48, 0.22)
    stripe = np.abs(y - 0.30 * height) < 3.0
    face[stripe & (np.abs(x) < 0.42 * width)] = (0.55, 0.60, 0.65)
    return np.asarray(face)


def _ruler(placed: PlacedReference, px_per_mm: float) -> tuple[Array, Array, Array]:
    """A pale lath with a dark disc centred on each end point and ticks between."""
    length = placed.length_mm or 0.0
    width, height = length + 40.0, 34.0
    shape = (round(height * px_per_mm), round(width * px_per_mm))
    rows, columns = np.mgrid[0 : shape[0], 0 : shape[1]]
    to_mm = _to_mm(shape, width, height)
    x = to_mm[0, 0] * columns + to_mm[0, 2]
    y = to_mm[1, 1] * rows + to_mm[1, 2]
    face = np.full((*shape, 3), (0.72, 0.62, 0.30))
    tick = (np.abs((x + 0.5 * length) % 10.0 - 5.0) > 4.5) & (y < -9.0)
    face[tick & (np.abs(x) < 0.5 * length)] = 0.05
    inch = (np.abs((x + 0.5 * length) % MM_PER_INCH - 0.5 * MM_PER_INCH) > 12.2) & (y > 10.0)
    face[inch & (np.abs(x) < 0.5 * length)] = 0.05
    for end in (-0.5, 0.5):
        far = np.hypot(x - end * length, y)
        face[far < 7.0] = (0.05, 0.05, 0.06)
        face[far < 1.5] = (0.85, 0.85, 0.85)
    return face, np.ones(shape), to_mm
