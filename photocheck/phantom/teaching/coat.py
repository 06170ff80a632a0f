"""What a dog is covered with: colours and patterns, light on it, hair that stands off.

All invented; the palettes are a person's idea of what dogs come in, as reflectances (sRGB).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from photocheck.phantom.field import Array
from photocheck.phantom.teaching.mesh_drawing import BodyView, SeenMesh
from photocheck.phantom.teaching.teaching_bodies import TeachingBody

Floats = npt.NDArray[np.float32]
Picture = npt.NDArray[np.float32]

PALETTE: Final = {
    "black": (28, 26, 26),
    "grey": (98, 97, 98),
    "silver": (160, 158, 155),
    "white": (232, 228, 220),
    "cream": (222, 196, 156),
    "gold": (190, 140, 82),
    "tan": (168, 112, 62),
    "red": (142, 76, 38),
    "fawn": (196, 160, 118),
    "brown": (78, 50, 34),
    "liver": (96, 60, 44),
    "blue": (84, 90, 98),
}
PATTERNS: Final = (
    "solid",
    "saddle",
    "points",
    "piebald",
    "white_marks",
    "brindle",
    "merle",
    "ticked",
    "shaded",
)


def linear(colour: tuple[float, ...] | Array) -> Floats:
    """SRGB 0..255 as linear light (gamma 2.2 is near enough here)."""
    return np.asarray((np.asarray(colour, np.float32) / 255.0) ** 2.2, np.float32)


@dataclass(frozen=True, eq=False)
class Noise:
    """Tiles of noise of several grains, (256, 256) each with mean 0 and sd 1, drawn once."""

    tiles: tuple[Floats, ...]

    @classmethod
    def of(cls, rng: np.random.Generator) -> Noise:
        """Draw the tiles: from slow clouds to single hairs."""
        tiles = []
        for cells in (3, 6, 12, 32, 96):
            coarse = rng.normal(size=(cells, cells)).astype(np.float32)
            wide = np.pad(coarse, 2, mode="wrap")
            fine = cv2.resize(
                wide, (256 * (cells + 4) // cells,) * 2, interpolation=cv2.INTER_CUBIC
            )
            off = 2 * 256 // cells
            tile = fine[off : off + 256, off : off + 256]
            tiles.append((tile - tile.mean()) / tile.std())
        return cls(tuple(tiles))

    def at(self, grain: int, u: Array, v: Array) -> Floats:
        """Values at (u, v), of which 1 is one tile."""
        tile = self.tiles[grain]
        row = (np.asarray(v) * 256).astype(np.int64) & 255
        column = (np.asarray(u) * 256).astype(np.int64) & 255
        return np.asarray(tile[row, column], np.float32)


def _pick(rng: np.random.Generator, *names: str) -> Floats:
    colour = np.array(PALETTE[str(rng.choice(names))], np.float32)
    jitter = 1.0 + 0.12 * rng.normal() + 0.04 * rng.normal(size=3)
    return linear(np.clip(colour * jitter, 12, 248))


def painted(seen: SeenMesh, body: TeachingBody, rng: np.random.Generator, noise: Noise) -> Floats:
    """Reflectance (n, 3), linear, of every pixel of a dog."""
    r = seen.places
    x, y, z = r[:, 0], r[:, 1], r[:, 2]
    up = seen.normals[:, 1]
    top = float(body.points["shoulder_top"][1])
    level = y / max(top, 1e-3)
    o = rng.uniform(0, 1, 6)
    patches = noise.at(0, 0.35 * x + o[0], 0.35 * (y + 0.7 * z) + o[1])
    blotch = noise.at(1, 0.5 * x + o[2], 0.5 * (y + 0.7 * z) + o[3])
    speck = noise.at(3, 0.8 * x + o[4], 0.8 * (y + 0.7 * z) + o[5])
    nose = body.points["nose"]
    snout = np.linalg.norm(r - np.asarray(nose, np.float32), axis=1)
    pattern = str(rng.choice(PATTERNS, p=[0.26, 0.12, 0.08, 0.14, 0.14, 0.06, 0.05, 0.05, 0.10]))
    dark = _pick(rng, "black", "black", "brown", "grey", "liver", "blue")
    mid = _pick(rng, "tan", "red", "gold", "fawn", "brown", "grey", "silver")
    pale = _pick(rng, "white", "white", "cream", "fawn", "silver")
    any_one = _pick(rng, *PALETTE)
    belly = np.clip(-up * 0.8 + 0.25 * blotch - 0.1, 0.0, 1.0)
    legs = np.clip((0.52 - level + 0.06 * blotch) / 0.12, 0.0, 1.0)

    def mix(a: Floats, b: Floats, share: npt.NDArray[np.floating]) -> Floats:
        return np.asarray(a + (b - a) * np.clip(share, 0, 1)[:, None], np.float32)

    base = np.broadcast_to(any_one, r.shape).astype(np.float32)
    if pattern == "solid":
        base = mix(base, 0.5 * any_one + 0.5 * pale, 0.35 * rng.random() * belly)
    elif pattern == "saddle":
        cover = (up + 1.2 * (level - rng.uniform(0.6, 0.85)) + 0.3 * blotch) * 4.0
        base = mix(np.broadcast_to(mid, r.shape), dark, cover)
    elif pattern == "points":  # dark with pale legs' ends, cheeks and chest
        base = np.broadcast_to(dark, r.shape)
        cheek = (0.13 - snout + 0.02 * blotch) * 25.0
        ends = (0.27 - level + 0.05 * blotch) * 14.0
        chest = (0.05 - x + 0.05 * blotch) * 10.0 * (level < 0.78)
        base = mix(base, mid, np.maximum(np.maximum(cheek, ends), chest))
    elif pattern == "piebald":
        cover = (patches + 0.3 * blotch + rng.uniform(-0.6, 0.7)) * 9.0
        base = mix(np.broadcast_to(pale, r.shape), any_one, cover)
    elif pattern == "white_marks":
        where = np.maximum(legs * (rng.random() < 0.8), belly * (rng.random() < 0.6))
        front = np.clip((rng.uniform(-0.02, 0.16) - x + 0.05 * blotch) * 9.0, 0, 1) * (level < 0.95)
        where = np.maximum(where, front * (rng.random() < 0.7))
        where = np.maximum(where, np.clip((0.12 - snout) * 20, 0, 1) * (rng.random() < 0.5))
        base = mix(np.broadcast_to(any_one, r.shape), pale, where)
    elif pattern == "brindle":
        stripe = np.sin(rng.uniform(60, 95) * x + 14.0 * (y + z) + 3.0 * blotch + 2.0 * speck)
        share = rng.uniform(0.25, 0.6) + 0.3 * stripe + 0.15 * blotch
        base = mix(np.broadcast_to(mid, r.shape), dark, share)
    elif pattern == "merle":
        base = mix(
            np.broadcast_to(_pick(rng, "silver", "blue", "fawn"), r.shape),
            dark,
            (blotch + 0.5 * speck - 0.4) * 4.0,
        )
    elif pattern == "ticked":
        base = mix(np.broadcast_to(pale, r.shape), any_one, (speck - 0.7) * 4.0)
        base = mix(base, any_one, (patches - 0.6) * 8.0)
    else:  # shaded: darker above, paler below
        cover = np.clip(0.5 + 0.7 * up + 0.35 * blotch, 0.0, 1.0)
        base = mix(np.broadcast_to(pale, r.shape), any_one, cover)
    if rng.random() < 0.35:  # a dark muzzle
        base = mix(base, 0.25 * dark, (0.16 - snout + 0.02 * blotch) * 18.0)
    if rng.random() < 0.3:  # dark ears and crown
        over = np.clip((r - np.asarray(body.poll, np.float32))[:, 1] - 0.06, 0, 1) * 14.0
        near = np.linalg.norm(r - np.asarray(body.poll, np.float32), axis=1) < 0.3
        base = mix(base, dark, over * near)
    tone = np.exp(0.10 * blotch + 0.06 * speck)
    base = base * tone[:, None]
    # nose and eyes
    black = np.clip((0.036 - snout) * 120.0, 0, 1)
    gap = r - np.asarray(body.eye, np.float32)
    gap[:, 2] *= 0.6
    eye = np.clip((0.022 - np.linalg.norm(gap, axis=1)) * 200.0, 0, 1)
    base = mix(base, linear((22, 18, 17)), np.maximum(np.maximum(black, eye), seen.tint))
    return np.clip(base, 0.004, 0.95).astype(np.float32)


@dataclass(frozen=True)
class Lamp:
    """Light: toward the sun (camera's axes: right, up, toward us), its share, and tints."""

    toward: tuple[float, float, float]
    share: float
    sun: tuple[float, float, float]
    sky: tuple[float, float, float]
    ground: tuple[float, float, float]


def draw_lamp(rng: np.random.Generator) -> Lamp:
    """A light from above, anywhere round about; hard, soft or dull."""
    around = rng.uniform(0, 2 * np.pi)
    height = rng.uniform(0.35, 1.4)
    flat = np.cos(height)
    toward = (float(flat * np.cos(around)), float(np.sin(height)), float(flat * np.sin(around)))
    warm = rng.normal(0.0, 0.08)
    r, g, b = rng.uniform(0.2, 0.6) * (1.0 + 0.1 * rng.normal(size=3))
    return Lamp(
        toward,
        float(rng.choice([0.15, 0.4, 0.65, 0.8])),
        (1.0 + warm, 1.0, 1.0 - warm),
        (1.0 - 0.5 * warm, 1.0, 1.0 + 0.7 * abs(warm)),
        (float(r), float(g), float(b)),
    )


def lit(
    colour: Floats,
    seen: SeenMesh,
    view: BodyView,
    lamp: Lamp,
    noise: Noise,
    rng: np.random.Generator,
    coat: float,
) -> Floats:
    """Linear light (n, 3) of a surface of given reflectances; ``coat`` 0 sleek to 1 shaggy."""
    n = seen.normals @ view.axes.T.astype(np.float32)  # right, down, toward
    n = n * np.array([1.0, -1.0, 1.0], np.float32)
    x, y, z = seen.places.T
    # hair bends the normals: streaks along the lie of the hair
    grain = 0.5 + 1.6 * coat
    o = rng.uniform(0, 1, 4)
    rough = noise.at(3, 0.9 * x + o[0], 2.2 * (y + 0.8 * z) + o[1])
    fine = noise.at(4, 1.3 * x + o[2], 3.4 * (y + 0.8 * z) + o[3])
    locks = noise.at(2, 1.1 * x + o[1], 2.2 * (y + 0.8 * z) + o[2])
    n = n + (0.10 * grain * rough + 0.07 * coat * locks)[:, None] * np.array(
        [0.5, 1.0, 0.3], np.float32
    )
    n /= np.linalg.norm(n, axis=1, keepdims=True)
    sun = np.clip((n @ np.array(lamp.toward, np.float32) + 0.15) / 1.15, 0.0, None)
    above = 0.5 + 0.5 * n[:, 1]
    level = np.clip(seen.places[:, 1] / 0.5, 0.0, 1.0)
    hidden = (0.55 + 0.45 * np.clip(above * 1.3, 0, 1)) * (0.75 + 0.25 * level)
    far = np.where((seen.places[:, 2] < -0.02) & (seen.places[:, 1] < 0.45), 0.7, 1.0)
    ambient = above[:, None] * np.array(lamp.sky, np.float32) + (1 - above)[:, None] * np.array(
        lamp.ground, np.float32
    )
    light = (1 - lamp.share) * 1.1 * ambient * (hidden * far)[:, None]
    light = light + (lamp.share * 1.5 * sun * far)[:, None] * np.array(lamp.sun, np.float32)
    strength = rng.uniform(0.02, 0.09) * (0.6 + coat)
    out = colour * light * np.exp(strength * (1.2 * rough + fine))[:, None]
    half = np.array(lamp.toward) + np.array([0.0, 0.0, 1.0])
    half /= np.linalg.norm(half)
    shine = np.clip(n @ half.astype(np.float32), 0, 1) ** rng.uniform(8, 40)
    out = out + (rng.uniform(0.0, 0.10) * (1 - coat) * lamp.share * shine)[:, None]
    return np.asarray(out, np.float32)


def add_strands(
    layer: Picture,
    alpha: Floats,
    seen: SeenMesh,
    view: BodyView,
    rng: np.random.Generator,
    coat: float,
    size: float,
) -> None:
    """Draw hair over a layer and beyond its edge, in place; ``size`` px of the trunk."""
    count = int(np.clip(len(seen.rows) * rng.uniform(0.01, 0.05) * (0.4 + coat), 100, 4500))
    chosen = rng.integers(0, len(seen.rows), count)
    n = seen.normals[chosen]
    legs = seen.places[chosen, 1] < 0.42
    lie = np.where(legs[:, None], [0.25, -1.0, 0.0], [0.85, -0.45, 0.0]) + 0.25 * rng.normal(
        size=(count, 3)
    )
    lie = lie - 0.9 * (lie * n).sum(axis=1, keepdims=True) * n + 0.25 * n
    flow = lie @ view.axes.T
    long = size * (0.010 + 0.055 * coat) * rng.uniform(0.4, 1.3, count)
    long = long * np.where(legs, 0.5, 1.0)
    ends = flow[:, :2] * long[:, None]
    rows, columns = seen.rows[chosen], seen.columns[chosen]
    tone = np.exp(rng.normal(0.0, 0.16 + 0.1 * coat, count))
    colours = layer[rows, columns] * tone[:, None]
    start = np.rint(np.stack([columns, rows], axis=1) * 8).astype(int)
    stop = np.rint((np.stack([columns, rows], axis=1) + ends) * 8).astype(int)
    for a, b, c in zip(start.tolist(), stop.tolist(), colours.tolist(), strict=True):
        cv2.line(layer, a, b, c, 1, cv2.LINE_AA, 3)
        cv2.line(alpha, a, b, 1.0, 1, cv2.LINE_AA, 3)
