"""Small made pictures as files: encoded, stored turned, compared."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

RED, GREEN, BLUE, GREY = (220, 30, 30), (30, 190, 40), (30, 40, 220), (128, 128, 128)


def quarters(width: int = 320, height: int = 200) -> np.ndarray:
    """Four differently coloured quarters of unequal sides: no turn looks like another."""
    rgb = np.zeros((height, width, 3), np.uint8)
    rgb[: height // 2, : width // 2] = RED
    rgb[: height // 2, width // 2 :] = GREEN
    rgb[height // 2 :, : width // 2] = BLUE
    rgb[height // 2 :, width // 2 :] = GREY
    return rgb


def encoded(rgb, kind="JPEG", **options) -> bytes:
    image = rgb if isinstance(rgb, Image.Image) else Image.fromarray(rgb)
    held = io.BytesIO()
    image.save(held, kind, **options)
    return held.getvalue()


def exif_of(orientation: int) -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = orientation
    return exif


def near(a, b, within: int = 12) -> bool:
    return a.shape == b.shape and np.abs(a.astype(int) - b.astype(int)).mean() < within


UNDOING = {
    1: lambda a: a,
    2: np.fliplr,
    3: lambda a: np.rot90(a, 2),
    4: np.flipud,
    5: lambda a: a.transpose(1, 0, 2),
    6: lambda a: np.rot90(a, 1),
    7: lambda a: np.rot90(a.transpose(1, 0, 2), 2),
    8: lambda a: np.rot90(a, -1),
}
"""How the upright picture is stored under each orientation."""
