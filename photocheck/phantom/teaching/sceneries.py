"""Where the dog stands: panoramas, pictures, and rooms of textures; and what else is about."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from photocheck.phantom.field import Array
from photocheck.phantom.textures import cloud

Floats = npt.NDArray[np.float32]
Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Scenery:
    """Pictures to stand in: panoramas (equirectangular), surfaces and any other pictures, RGB."""

    panoramas: tuple[Bytes, ...] = ()
    surfaces: tuple[Bytes, ...] = ()
    pictures: tuple[Bytes, ...] = ()


def read_scenery(folder: Path | None) -> Scenery:
    """Read ``panoramas``, ``surfaces`` and ``pictures`` from a folder, and what scikit-image has.

    Without a folder there are only scikit-image's own and procedural surfaces.
    """
    from skimage import data

    found: dict[str, list[Bytes]] = {"panoramas": [], "surfaces": [], "pictures": []}
    for name in ("grass", "gravel", "brick"):
        grey = np.asarray(getattr(data, name)(), np.uint8)
        found["surfaces"].append(np.repeat(grey[..., None], 3, axis=2))
    for kind, pictures in found.items():
        if folder is not None and (folder / kind).is_dir():
            for path in sorted((folder / kind).iterdir()):
                picture = cv2.imread(str(path), cv2.IMREAD_COLOR)
                if picture is not None:
                    pictures.append(np.ascontiguousarray(picture[..., ::-1]))
    return Scenery(**{kind: tuple(pictures) for kind, pictures in found.items()})


def panorama_view(
    panorama: Bytes, around: float, pitch: float, roll: float, tan_half: float, size: int
) -> Floats:
    """What a pinhole sees in an equirectangular picture, (size, size, 3) 0 to 255.

    ``around``, ``pitch`` (positive: looking down), ``roll`` rad; ``tan_half`` of half the view.
    """
    grid = (np.arange(size, dtype=np.float32) + 0.5) / size * 2 - 1
    u, v = np.meshgrid(grid * tan_half, grid * tan_half)
    c, s = np.cos(roll), np.sin(roll)
    u, v = c * u - s * v, s * u + c * v
    down = v * np.cos(pitch) + np.sin(pitch)
    ahead = np.cos(pitch) - v * np.sin(pitch)
    longitude = np.arctan2(u, ahead) + around
    latitude = np.arctan2(down, np.hypot(u, ahead))
    rows, columns = panorama.shape[:2]
    x = np.mod(longitude / (2 * np.pi) * columns, columns).astype(np.float32)
    y = ((latitude / np.pi + 0.5) * rows).astype(np.float32)
    return np.asarray(
        cv2.remap(panorama, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP), np.float32
    )


def _surface(rng: np.random.Generator, scenery: Scenery, size: int) -> Floats:
    """A flat piece of something, (size, size, 3), 0 to 255."""
    tint = rng.uniform(40, 210) * (1.0 + 0.09 * rng.normal(size=3))
    if rng.random() < 0.35:
        tint = np.array([95, 125, 60]) * rng.uniform(0.6, 1.5) * (1.0 + 0.1 * rng.normal(size=3))
    shape = (size, size)
    if scenery.surfaces and rng.random() < 0.6:
        picture = scenery.surfaces[int(rng.integers(len(scenery.surfaces)))]
        side = int(rng.uniform(0.25, 1.0) * min(picture.shape[:2]))
        r = int(rng.integers(0, picture.shape[0] - side + 1))
        c = int(rng.integers(0, picture.shape[1] - side + 1))
        piece = cv2.resize(picture[r : r + side, c : c + side], (size, size)).astype(np.float32)
        grey = piece.mean(axis=2, keepdims=True)
        if np.ptp(piece.reshape(-1, 3).mean(axis=0)) < 3 or rng.random() < 0.3:
            return np.asarray(tint * (grey / max(float(grey.mean()), 1.0)) ** rng.uniform(0.4, 1.2))
        return piece
    kind = rng.random()
    tone = 0.25 * rng.random() * cloud(rng, shape, rng.uniform(2, 60), rng.uniform(1, 4))
    tone = tone + 0.1 * rng.random() * cloud(rng, shape, 1.5)
    out = tint * np.exp(tone)[..., None]
    if kind < 0.35:  # boards, tiles or slabs
        width = size / rng.integers(3, 14)
        line = (np.arange(size) % width) < rng.uniform(1.0, 3.0)
        out[line] *= rng.uniform(0.4, 0.85)
        shade = np.exp(0.12 * rng.normal(size=20))[(np.arange(size) / width).astype(int) % 20]
        out *= shade[:, None, None]
        if rng.random() < 0.5:
            out[:, line] *= rng.uniform(0.5, 0.9)
    return np.asarray(out, np.float32)


def room(rng: np.random.Generator, scenery: Scenery, horizon: float, size: int) -> Floats:
    """A floor and a wall (or an open view) that meet at a row, (size, size, 3)."""
    floor = _surface(rng, scenery, size)
    wall = _surface(rng, scenery, size)
    if rng.random() < 0.3 and scenery.pictures:
        wall = picture_crop(rng, scenery, size)
    elif rng.random() < 0.3 and scenery.panoramas:
        panorama = scenery.panoramas[int(rng.integers(len(scenery.panoramas)))]
        wall = panorama_view(panorama, rng.uniform(0, 6.28), rng.uniform(-0.2, 0.5), 0.0, 0.4, size)
    edge = int(np.clip(horizon, 4, size - 8))
    out = wall.copy()
    # the floor seen aslant: rows crowd toward the horizon
    depth = np.arange(edge, size) - edge + 6.0
    rows = (size * 6.0 / depth * rng.uniform(4, 9)).astype(np.float32)
    spread = (depth / depth[-1])[:, None]
    columns = (np.arange(size)[None] - size / 2) / (0.25 + 0.75 * spread) + size / 2
    x = np.mod(columns, size).astype(np.float32)
    y = np.mod(np.broadcast_to(rows[:, None], x.shape), size).astype(np.float32)
    out[edge:] = cv2.remap(floor, x, np.ascontiguousarray(y), cv2.INTER_LINEAR)
    if rng.random() < 0.5:  # a skirting, a kerb, a hedge's foot
        tall = int(rng.uniform(2, 14))
        out[max(edge - tall, 0) : edge] = rng.uniform(30, 230) * (1 + 0.1 * rng.normal(size=3))
    fall = np.linspace(rng.uniform(0.7, 1.2), rng.uniform(0.7, 1.2), size)
    return np.asarray(out * fall[None, :, None], np.float32)


def picture_crop(rng: np.random.Generator, scenery: Scenery, size: int) -> Floats:
    """A piece of any picture, (size, size, 3)."""
    picture = scenery.pictures[int(rng.integers(len(scenery.pictures)))]
    side = int(rng.uniform(0.35, 1.0) * min(picture.shape[:2]))
    r = int(rng.integers(0, picture.shape[0] - side + 1))
    c = int(rng.integers(0, picture.shape[1] - side + 1))
    piece = cv2.resize(
        picture[r : r + side, c : c + side], (size, size), interpolation=cv2.INTER_AREA
    )
    if rng.random() < 0.5:
        piece = piece[:, ::-1]
    return np.asarray(piece, np.float32)


def background(
    rng: np.random.Generator, scenery: Scenery, pitch: float, roll: float, horizon: float, size: int
) -> Floats:
    """Something to stand in, (size, size, 3) 0 to 255; ``horizon`` the row of the eye's level."""
    kind = rng.random()
    if scenery.panoramas and kind < 0.62:
        panorama = scenery.panoramas[int(rng.integers(len(scenery.panoramas)))]
        tan_half = float(rng.uniform(0.3, 0.62))
        down = float(np.arctan((0.5 - horizon / size) * 2 * tan_half))
        out = panorama_view(
            panorama, rng.uniform(0, 2 * np.pi), max(down, pitch), roll, tan_half, size
        )
        if rng.random() < 0.5:  # a phone's view has more detail than a small panorama
            tone = cloud(rng, (size, size), rng.uniform(1.2, 3.0), rng.uniform(1, 3))
            out = out * np.exp(rng.uniform(0.02, 0.14) * tone)[..., None]
    elif kind < 0.9 or not scenery.pictures:
        edge = horizon + rng.uniform(0.0, 0.35) * size
        out = room(rng, scenery, edge, size)
    else:
        out = picture_crop(rng, scenery, size)
    if rng.random() < 0.35:
        out = np.asarray(cv2.GaussianBlur(out, (0, 0), rng.uniform(0.8, 5.0)), np.float32)
    out = out * float(np.exp(rng.normal(0.0, 0.2)))
    return np.asarray(np.clip(out, 0, 255), np.float32)


def shadow_mask(pixels: Array, size: int, softness: float) -> Floats:
    """Soft blot (size, size) 0 to 1 where points (n, 2) px of a shadow fall."""
    mask = np.zeros((size, size), np.float32)
    x, y = np.rint(pixels).astype(int).T
    good = (x >= 0) & (y >= 0) & (x < size) & (y < size)
    mask[y[good], x[good]] = 1.0
    wide = cv2.dilate(mask, np.ones((5, 5), np.uint8))
    return np.asarray(cv2.GaussianBlur(wide, (0, 0), softness), np.float32)
