"""From a clean picture to a phone's file: distortion, blur, noise, JPEG and EXIF."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image

from photocheck.phantom.camera import Camera
from photocheck.phantom.field import Array
from photocheck.phantom.look import Look

Picture = npt.NDArray[np.uint8]

_TURNS = {1: 0, 3: 2, 6: 1, 8: 3}  # quarter turns counterclockwise from upright to stored


def encode(linear: Array) -> Array:
    """Linear light 0 to 1 as sRGB 0 to 1 (IEC 61966-2-1, constants from memory)."""
    clipped = np.clip(linear, 0.0, 1.0)
    low, high = 12.92 * clipped, 1.055 * np.power(clipped, 1 / 2.4) - 0.055
    return np.asarray(np.where(clipped <= 0.0031308, low, high))


def decode(srgb: Array) -> Array:
    """The inverse of `encode`."""
    low, high = srgb / 12.92, np.power((srgb + 0.055) / 1.055, 2.4)
    return np.asarray(np.where(srgb <= 0.04045, low, high))


def bend(picture: Array, camera: Camera, margin: int) -> Array:
    """Apply the camera's lens distortion.

    Parameters
    ----------
    picture : (H + 2 margin, W + 2 margin, 3)
        Without distortion, with the same focal length and centre.
    camera : Camera
    margin : int

    Returns
    -------
    (H, W, 3)
    """
    w, h = camera.size_px
    if not camera.distortion:
        return picture[margin : margin + h, margin : margin + w]
    # Exact on a coarse grid, then interpolated: distortion is smooth.
    step = 16
    columns = np.arange(0, w + step, step, dtype=np.float64)
    rows = np.arange(0, h + step, step, dtype=np.float64)
    grid = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 1, 2)
    straight = cv2.undistortPoints(
        grid, camera.matrix, np.array(camera.distortion), P=camera.matrix
    ).reshape(len(rows), len(columns), 2)
    at_x, at_y = np.meshgrid(np.arange(w) / step, np.arange(h) / step)
    near = (at_x.astype(np.float32), at_y.astype(np.float32))
    maps = [
        cv2.remap(straight[..., k].astype(np.float32), *near, cv2.INTER_LINEAR) + margin
        for k in (0, 1)
    ]
    return np.asarray(cv2.remap(picture, maps[0], maps[1], cv2.INTER_CUBIC))


def expose(linear: Array, look: Look, rng: np.random.Generator) -> Picture:
    """Blur, sensor noise (stronger where dark in linear light) and 8-bit encoding."""
    soft = cv2.GaussianBlur(linear * look.exposure, (0, 0), max(look.blur_px, 0.01))
    coded = 255.0 * encode(np.asarray(soft))
    grain = rng.normal(size=coded.shape[:2])[..., None] + 0.4 * rng.normal(size=coded.shape)
    grain *= look.noise * (0.6 + 0.8 * (1.0 - coded / 255.0))
    return np.asarray(np.clip(np.rint(coded + grain), 0, 255), dtype=np.uint8)


def save_photo(
    path: str | Path, picture: Picture, look: Look, focal_35mm: float | None, *, made: str = ""
) -> None:
    """Write a JPEG as a phone would, turned as its EXIF orientation says.

    Parameters
    ----------
    path : where to
    picture : (H, W, 3) uint8 RGB, upright
    look : Look
    focal_35mm : float or None
        For the tag FocalLengthIn35mmFilm; None writes no EXIF but the orientation.
    made : str
        Text for the tag ImageDescription.
    """
    stored = Image.fromarray(np.rot90(picture, _TURNS[look.orientation]))
    exif = Image.Exif()
    exif[0x0112] = look.orientation
    if made:
        exif[0x010E] = made
    if focal_35mm is not None:
        exif[0x010F] = "Phantom"
        exif[0x0110] = "Phantom pinhole"
        exif.get_ifd(0x8769)[0xA405] = round(focal_35mm)
    stored.save(path, "JPEG", quality=look.jpeg_quality, exif=exif, subsampling=2)
