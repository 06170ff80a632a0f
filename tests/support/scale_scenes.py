"""Simulated photos of flat things with known corners, for the tests of the scale stage.

Light is mixed and blurred before it is encoded, as in a camera.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Layer:
    """A flat thing: texture (h, w, 3) in linear light 0..1, its opacity (h, w), and the
    3 x 3 map from texture pixels to photo pixels."""

    texture: NDArray[np.float32]
    opacity: NDArray[np.float32]
    to_photo: NDArray[np.float64]


def encode(light):
    """Linear light 0..1 to sRGB code values 0..255 (IEC 61966-2-1), as float."""
    light = np.clip(light, 0, 1)
    return 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def decode(code):
    code = np.asarray(code, float) / 255
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def plane_to_photo(focal_px, centre_px, at_mm, yaw=0.0, pitch=0.0, roll=0.0):
    """Homography mm -> px of a plane at `at_mm` (x, y, z) turned by Ry Rx Rz (degrees)."""
    y, p, r = np.deg2rad([yaw, pitch, roll])
    ry = np.array([[np.cos(y), 0, np.sin(y)], [0, 1, 0], [-np.sin(y), 0, np.cos(y)]])
    rx = np.array([[1, 0, 0], [0, np.cos(p), -np.sin(p)], [0, np.sin(p), np.cos(p)]])
    rz = np.array([[np.cos(r), -np.sin(r), 0], [np.sin(r), np.cos(r), 0], [0, 0, 1]])
    turn = ry @ rx @ rz
    camera = np.array([[focal_px, 0, centre_px[0]], [0, focal_px, centre_px[1]], [0, 0, 1]])
    return camera @ np.column_stack([turn[:, 0], turn[:, 1], np.asarray(at_mm, float)])


def project(matrix, points):
    points = np.asarray(points, float)
    out = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return out[:, :2] / out[:, 2:]


def texture_to_mm(px_per_mm, width_mm, height_mm):
    """Texture pixel (centres at integers) to mm from the texture's centre."""
    s = 1 / px_per_mm
    return np.array([[s, 0, 0.5 * s - width_mm / 2], [0, s, 0.5 * s - height_mm / 2], [0, 0, 1.0]])


def clouds(shape, seed, scales=(4, 12, 40, 120), colour=True):
    """Smooth random texture in 0..1, (h, w, 3): grass, leaves or a wall, by the scales."""
    rng = np.random.default_rng(seed)
    out = np.zeros((*shape, 3), np.float32)
    for scale in scales:
        small = (max(shape[0] // scale, 2), max(shape[1] // scale, 2), 3 if colour else 1)
        grain = rng.standard_normal(small).astype(np.float32)
        big = cv2.resize(grain, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
        out += big if colour else big.reshape(*shape, 1)
    out -= out.min()
    return out / out.max()


def photograph(background, layers, *, blur=0.8, noise=2.0, seed=0, quality=92, over=3):
    """Photo (H, W, 3) uint8 of layers over a background (H, W, 3) in linear light.

    blur: sd px of a Gaussian; noise: sd in code values; quality: JPEG, or None.
    """
    height, width = background.shape[:2]
    size = (width * over, height * over)
    scene = cv2.resize(background.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
    finer = np.array([[over, 0, (over - 1) / 2], [0, over, (over - 1) / 2], [0, 0, 1.0]])
    for layer in layers:
        matrix = finer @ layer.to_photo
        colour = cv2.warpPerspective(
            layer.texture, matrix, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        padded = cv2.copyMakeBorder(layer.opacity, 2, 2, 2, 2, cv2.BORDER_CONSTANT, value=0)
        shift = np.array([[1, 0, -2], [0, 1, -2], [0, 0, 1.0]])
        alpha = cv2.warpPerspective(padded, matrix @ shift, size, flags=cv2.INTER_LINEAR)
        scene = scene + alpha[:, :, None] * (colour - scene)
    if blur > 0:
        scene = cv2.GaussianBlur(scene, (0, 0), blur * over)
    light = cv2.resize(scene, (width, height), interpolation=cv2.INTER_AREA)
    code = encode(light) + np.random.default_rng(seed).normal(0, noise, light.shape)
    picture = np.clip(np.rint(code), 0, 255).astype(np.uint8)
    if quality is not None:
        picture = cv2.imdecode(
            cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], cv2.IMREAD_COLOR
        )
    return picture


def sheet_layer(matrix, px_per_mm=4.0, paper="a4", black=0.04, white=0.75):
    """The marker sheet as a layer; `matrix` maps mm from its centre to photo px."""
    from photocheck.scale.sheet import page_mm, sheet_bitmap

    share = sheet_bitmap(px_per_mm, paper).astype(np.float32) / 255
    light = black + (white - black) * share
    width, height = page_mm(paper)
    rows, columns = share.shape
    # The bitmap's size is rounded to whole pixels; its scale is exact.
    to_mm = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, px_per_mm]]) / px_per_mm
    to_mm = np.array([[1, 0, -width / 2], [0, 1, -height / 2], [0, 0, 1.0]]) @ to_mm
    return Layer(
        np.repeat(light[:, :, None], 3, axis=2),
        np.ones((rows, columns), np.float32),
        matrix @ to_mm,
    )


def card_layer(matrix, width_mm, height_mm, colour, *, radius_mm=0.0, px_per_mm=8.0, art=None):
    """A plain or printed card as a layer; colour: 3 linear values; art: (h, w, 3) or None."""
    columns, rows = round(width_mm * px_per_mm), round(height_mm * px_per_mm)
    texture = np.empty((rows, columns, 3), np.float32)
    texture[:] = colour
    if art is not None:
        texture = cv2.resize(art.astype(np.float32), (columns, rows))
    # Opacity from the signed distance to the rounded rectangle, in texture pixels.
    x = (np.arange(columns) + 0.5) / px_per_mm - width_mm / 2
    y = (np.arange(rows) + 0.5) / px_per_mm - height_mm / 2
    inner_x = np.maximum(np.abs(x) - width_mm / 2 + radius_mm, 0)
    inner_y = np.maximum(np.abs(y) - height_mm / 2 + radius_mm, 0)
    if radius_mm > 0:
        distance = np.hypot(inner_x[None, :], inner_y[:, None]) - radius_mm
        opacity = np.clip(0.5 - distance * px_per_mm, 0, 1).astype(np.float32)
    else:
        opacity = np.ones((rows, columns), np.float32)
    return Layer(texture, opacity, matrix @ texture_to_mm(px_per_mm, width_mm, height_mm))


def blob_layer(shape_px, outline_px, colour):
    """A filled outline in photo pixels (a finger, a paw, a disc) as a layer."""
    # Drawn 8 times finer. OpenCV's filling takes in every pixel it touches, half a pixel
    # too much; the mean with the same eroded by one is half a pixel too little and even.
    fine = 8
    outline = np.asarray(outline_px, float)
    low = np.maximum(np.floor(outline.min(axis=0)).astype(int) - 1, 0)
    high = np.minimum(np.ceil(outline.max(axis=0)).astype(int) + 2, shape_px[::-1])
    mask = np.zeros(shape_px, np.float32)
    if np.all(high > low):
        size = (high - low) * fine
        part = np.zeros(size[::-1], np.uint8)
        at = (outline - low + 0.5) * fine - 0.5
        cv2.fillPoly(part, [np.rint(at * 16).astype(np.int32)], 2, shift=4)
        part = (part + cv2.erode(part, np.ones((3, 3), np.uint8))).astype(np.float32) / 4
        mask[low[1] : high[1], low[0] : high[0]] = cv2.resize(
            part, tuple(int(n) for n in high - low), interpolation=cv2.INTER_AREA
        )
    texture = np.empty((*shape_px, 3), np.float32)
    texture[:] = colour
    return Layer(texture, mask, np.eye(3))
