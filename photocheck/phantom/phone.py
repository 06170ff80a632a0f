"""From a clean picture to a phone's file: distortion, blur, noise, JPEG and EXIF."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image

from photocheck.phantom.field import Array
from photocheck.phantom.look import Look
from photocheck.phantom.true_camera import Camera

Picture = npt.NDArray[np.uint8]
"""8-bit sRGB."""

Light = npt.NDArray[np.float32]
"""Linear light, 0 to 1."""

_TURNS = {1: 0, 3: 2, 6: 1, 8: 3}  # quarter turns counterclockwise from upright to stored


def encode(linear: Array) -> Array:
    """Linear light 0 to 1 as sRGB 0 to 1 (IEC 61966-2-1, constants from memory)."""
    clipped = np.clip(linear, 0.0, 1.0)
    power = np.asarray(cv2.pow(clipped, 1 / 2.4))  # NumPy's takes twice as long
    high = 1.055 * power.reshape(clipped.shape) - 0.055
    return np.asarray(np.where(clipped <= 0.0031308, 12.92 * clipped, high))


def decode(srgb: Array) -> Array:
    """The inverse of `encode`."""
    low, high = srgb / 12.92, np.power((srgb + 0.055) / 1.055, 2.4)
    return np.asarray(np.where(srgb <= 0.04045, low, high))


def decode_picture(picture: Picture) -> Light:
    """Linear light of an 8-bit sRGB picture of any shape."""
    table = decode(np.arange(256) / 255.0).astype(np.float32)
    return np.asarray(table[picture])


def bend(picture: Light, camera: Camera, margin: int) -> Light:
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
    bent = cv2.remap(picture, maps[0], maps[1], cv2.INTER_CUBIC)
    return np.asarray(bent, dtype=np.float32)


def expose(linear: Light, look: Look, rng: np.random.Generator) -> Picture:
    """Blur, sensor noise (stronger where dark) and 8-bit encoding, (H, W, 3)."""
    soft = cv2.GaussianBlur(linear * np.float32(look.exposure), (0, 0), max(look.blur_px, 0.01))
    picture = np.empty(linear.shape, dtype=np.uint8)
    # Band by band, for a phone's 12 megapixels are a lot of numbers.
    for top in range(0, len(picture), 256):
        rows = slice(top, top + 256)
        coded = 255.0 * encode(np.asarray(soft[rows], dtype=np.float64))
        grain = rng.standard_normal(coded.shape[:2])[..., None]
        grain = grain + 0.4 * rng.standard_normal(coded.shape)
        coded += look.noise * (0.6 + 0.8 * (1.0 - coded / 255.0)) * grain
        picture[rows] = np.clip(np.rint(coded), 0, 255)
    return picture


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
