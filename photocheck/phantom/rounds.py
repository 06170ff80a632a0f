"""Photos of one coin or ball before a surface with edges of its own, with its outline known.

What a plain disc and a plain ball lack is drawn.  Coins have their thickness, a raised rim, a core
of another metal, relief and a cast shadow, and are seen at an angle; balls have patches, seams,
stripes or a badge, are shaded, felted or glossy, and stand on their shadow.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np

from photocheck.phantom.composites import photographed, surface
from photocheck.phantom.field import Array
from photocheck.phantom.phone import Picture
from photocheck.phantom.textures import cloud

COINS: Final = ((23.25, 2.33), (25.75, 2.20), (24.25, 2.38), (16.25, 1.67), (21.25, 1.67))
"""Diameter and thickness, mm: 1 and 2 euro, 50, 1 and 5 cent, Council Regulation (EU) No 729/2014
(from memory)."""

PATTERNS: Final = ("plain", "patches", "seams", "stripes", "badge")
_SHAPE: Final = (600, 760)
_FINE: Final = 2  # samples per px and axis
_PHI: Final = (1 + np.sqrt(5)) / 2


@dataclass(frozen=True, eq=False)
class Round:
    """One picture and what is true of it.

    Attributes
    ----------
    picture : (H, W, 3) uint8
    kind : "disc" or "ball"
    diameter_mm : float
    outline_px : (n, 2) float
        Of a ball, or of the upper edge of a coin, px.
    tap : (float, float)
        A rough mark inside, px.
    what : str
        For whoever looks at failures.
    """

    picture: Picture
    kind: str
    diameter_mm: float
    outline_px: Array
    tap: tuple[float, float]
    what: str


def round_composite(kind: str, seed: int) -> Round:
    """A picture of a coin ("disc") or a ball ("ball"); equal seeds give equal pictures."""
    rng = np.random.default_rng([seed, sum(map(ord, kind))])
    ground, name = surface(rng, _SHAPE, 1.0)
    focal = float(rng.uniform(0.7, 1.6) * max(_SHAPE))
    return (_coin if kind == "disc" else _ball)(rng, ground, name, focal)


def _rays(low: Array, high: Array, focal: float) -> tuple[Array, tuple[int, int]]:
    """Directions (n, 3) through a part of the picture, finely, and (rows, columns) of it."""
    columns, rows = (high - low).astype(int) * _FINE
    y, x = np.mgrid[0:rows, 0:columns]
    at = np.stack([x, y], axis=-1).reshape(-1, 2)
    at = (at + 0.5) / _FINE - 0.5 + low - (np.array(_SHAPE[::-1]) - 1) / 2
    return np.column_stack([at / focal, np.ones(len(at))]), (int(rows), int(columns))


def _projected(points: Array, focal: float) -> Array:
    return np.asarray(focal * points[:, :2] / points[:, 2:] + (np.array(_SHAPE[::-1]) - 1) / 2)


def _part(outline: Array, margin: float) -> tuple[Array, Array]:
    high = np.array(_SHAPE[::-1])
    low = np.clip(np.floor(outline.min(axis=0) - margin), 0, high - 2)
    return low, np.clip(np.ceil(outline.max(axis=0) + margin), 2, high)


def _over(scene: Array, low: Array, high: Array, colour: Array, cover: Array) -> Array:
    """Colour (rows, columns, 3) and cover (rows, columns) of finer samples, laid over the scene."""
    (left, top), (right, bottom) = low.astype(int), high.astype(int)
    small = (right - left, bottom - top)
    painted = cv2.resize(colour * cover[..., None], small, interpolation=cv2.INTER_AREA)
    left_over = 1 - cv2.resize(cover, small, interpolation=cv2.INTER_AREA)[..., None]
    out = scene.copy()
    out[top:bottom, left:right] = out[top:bottom, left:right] * left_over + painted
    return out


def _place(rng: np.random.Generator, far: float, focal: float, half_px: float) -> Array:
    room = np.array(_SHAPE[::-1]) / 2 - half_px * 1.25 - 8
    at = rng.uniform(-1, 1, 2) * np.maximum(room, 0)
    return np.array([at[0] / focal * far, at[1] / focal * far, far])


def _tapped(rng: np.random.Generator, outline: Array) -> tuple[float, float]:
    middle = outline.mean(axis=0)
    tap = middle + rng.uniform(0, 0.6) * (outline[rng.integers(len(outline))] - middle)
    return float(tap[0]), float(tap[1])


def _coin(rng: np.random.Generator, ground: Array, name: str, focal: float) -> Round:
    across, thick = COINS[rng.integers(len(COINS))]
    radius = across / 2
    half_px = float(rng.uniform(28, 130))
    tilt, spin = np.radians(rng.uniform(0, 58)), rng.uniform(0, 2 * np.pi)
    # It lies on its plane: normals (towards the camera), and two directions in the plane.
    lean, _ = cv2.Rodrigues(np.array([-tilt, 0.0, 0.0]))
    turn, _ = cv2.Rodrigues(np.array([0.0, 0.0, rng.normal(0, 0.25)]))
    axes = np.asarray(turn @ lean, np.float64)
    along, down, normal = axes[:, 0], axes[:, 1], -axes[:, 2]
    centre = _place(rng, focal * radius / half_px, focal, half_px)
    angle = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    ring = radius * (np.cos(angle)[:, None] * along + np.sin(angle)[:, None] * down)
    top = _projected(centre + ring + thick * normal, focal)
    bottom = _projected(centre + ring, focal)
    scene = _shadowed(rng, ground, centre, radius, thick, (along, down, normal), focal)
    low, high = _part(np.vstack([top, bottom]), 4)
    rays, shape = _rays(low, high, focal)

    def flat(height: float) -> Array:
        origin = centre + height * normal
        reach = (origin @ normal) / (rays @ normal)
        offset = rays * reach[:, None] - origin
        return np.stack([offset @ along, offset @ down], axis=-1)

    on_top = flat(thick)
    far = np.hypot(*on_top.T)
    face = far <= radius
    below = np.min([np.hypot(*flat(z).T) for z in np.linspace(0, thick, 7)], axis=0) <= radius
    metals = np.array([[0.62, 0.52, 0.28], [0.52, 0.52, 0.50], [0.42, 0.22, 0.12]])
    outer, core = metals[rng.integers(3)], metals[rng.integers(3)]
    two = rng.random() < 0.4
    rim = radius * rng.uniform(0.88, 0.95)
    tone = np.where(
        (far < radius * rng.uniform(0.64, 0.74))[:, None], core if two else outer, outer
    )
    relief = cv2.resize(
        cloud(rng, (160, 160), 5.0).astype(np.float32), shape[::-1], interpolation=cv2.INTER_LINEAR
    )
    relief = np.where(far < 0.85 * rim, np.asarray(relief, np.float64).reshape(-1), 0.0)
    light = rng.uniform(0, 2 * np.pi)
    turned = np.cos(np.arctan2(on_top[:, 1], on_top[:, 0]) - light)
    step = np.exp(-0.5 * ((far - rim) / (0.012 * across)) ** 2)
    shade = 1 + 0.3 * relief - rng.uniform(0.3, 0.7) * step * turned + 0.25 * (far > rim) * turned
    gloss = 1 + rng.uniform(0, 0.8) * np.clip(on_top @ np.array([np.cos(light), np.sin(light)])
                                              / radius, -1, 1)  # fmt: skip
    side = outer * (0.45 + 0.4 * np.clip(-turned, 0, 1))[:, None]
    colour = np.where(face[:, None], tone * (shade * gloss)[:, None], side)
    colour = np.clip(colour * np.exp(rng.normal(0, 0.2)), 0.004, 0.95).reshape(*shape, 3)
    cover = (face | below).astype(np.float64).reshape(shape)
    picture = photographed(rng, _over(scene, low, high, colour, cover))
    what = f"coin {across} mm, tilt {np.degrees(tilt):.0f}, {'two metals, ' if two else ''}{name}"
    return Round(picture, "disc", across, top, _tapped(rng, top), what + f", spin {spin:.1f}")


def _shadowed(
    rng: np.random.Generator,
    scene: Array,
    centre: Array,
    radius: float,
    thick: float,
    axes: tuple[Array, Array, Array],
    focal: float,
) -> Array:
    along, down, _ = axes
    angle = np.linspace(0, 2 * np.pi, 120)
    ring = radius * (np.cos(angle)[:, None] * along + np.sin(angle)[:, None] * down)
    way = rng.uniform(0, 2 * np.pi)
    reach = thick * rng.uniform(0.2, 2.5)
    mask = np.zeros(_SHAPE, np.float32)
    for part in np.linspace(0, 1, 9):
        off = part * reach * (np.cos(way) * along + np.sin(way) * down)
        points = np.rint(_projected(centre + ring + off, focal) * 16).astype(np.int32)
        cv2.fillPoly(mask, [points.reshape(-1, 1, 2)], 1.0, cv2.LINE_AA, 4)
    soft = max(0.35 * reach * focal / centre[2] * rng.uniform(0.1, 1.0), 0.4)
    mask = np.asarray(cv2.GaussianBlur(mask, (0, 0), soft), np.float32)
    return np.asarray(scene * (1 - rng.uniform(0.2, 0.75) * mask[..., None]))


def _ball(rng: np.random.Generator, ground: Array, name: str, focal: float) -> Round:
    across = float(rng.choice([65.4, 66.7, 73.0, 205.0, 220.0, 240.0]))
    radius = across / 2
    half_px = float(rng.uniform(40, 150))
    centre = _place(rng, focal * radius / half_px, focal, half_px)
    far = float(np.linalg.norm(centre))
    look = centre / far
    one = np.cross(look, [0.0, 1.0, 0.0])
    one /= np.linalg.norm(one)
    other = np.cross(look, one)
    angle = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    # The rays that graze a sphere touch it along a circle in front of its centre.
    ring = centre * (1 - radius**2 / far**2) + radius * np.sqrt(1 - radius**2 / far**2) * (
        np.cos(angle)[:, None] * one + np.sin(angle)[:, None] * other
    )
    outline = _projected(ring, focal)
    low, high = _part(outline, 4)
    rays, shape = _rays(low, high, focal)
    unit = rays / np.linalg.norm(rays, axis=1, keepdims=True)
    towards = unit @ centre
    under = towards**2 - far**2 + radius**2
    hit = under >= 0
    normal = (unit * (towards - np.sqrt(np.maximum(under, 0)))[:, None] - centre) / radius
    pattern = str(rng.choice(PATTERNS))
    spin, _ = cv2.Rodrigues(rng.normal(0, 1.5, 3))
    albedo = _pattern(rng, pattern, normal @ np.asarray(spin, np.float64))
    sun = np.array([rng.uniform(-0.8, 0.8), rng.uniform(-1.0, -0.3), rng.uniform(-1.0, -0.2)])
    sun /= np.linalg.norm(sun)
    ambient = rng.uniform(0.25, 0.6)
    lit = ambient + (1 - ambient) * np.clip(normal @ sun, 0, 1)
    bright = normal @ (sun - look) / np.linalg.norm(sun - look)
    gloss = rng.uniform(0, 0.6) * np.clip(bright, 0, 1) ** 60
    colour = np.clip(albedo * lit[:, None] + gloss[:, None], 0.003, 0.95).reshape(*shape, 3)
    if rng.random() < 0.35:
        grain = np.exp(0.15 * cloud(rng, shape, 1.5))
        colour = colour * np.asarray(grain)[..., None]
    scene = _under_ball(rng, ground, outline)
    picture = photographed(rng, _over(scene, low, high, colour, hit.astype(float).reshape(shape)))
    return Round(picture, "ball", across, outline, _tapped(rng, outline), f"{pattern}, {name}")


def _pattern(rng: np.random.Generator, pattern: str, at: Array) -> Array:
    """Albedo (n, 3) at places (n, 3) of a unit ball."""
    base, mark = rng.uniform(0.05, 0.85, 3), rng.uniform(0.02, 0.85, 3)
    if pattern == "plain":
        on = np.zeros(len(at), np.bool_)
    elif pattern == "patches":
        base, mark = np.full(3, rng.uniform(0.6, 0.85)), np.full(3, rng.uniform(0.01, 0.06))
        corners = np.array(
            [np.roll([0.0, a, b * _PHI], k) for a in (-1, 1) for b in (-1, 1) for k in range(3)]
        )
        corners /= np.linalg.norm(corners, axis=1, keepdims=True)
        on = np.max(at @ corners.T, axis=1) > np.cos(0.36)
    elif pattern == "seams":
        mark = base * rng.uniform(0.05, 0.5)
        lines = [at[:, 0], at[:, 1], at[:, 2] - 0.9 * (at[:, 0] ** 2 - 0.35)]
        on = np.min(np.abs(lines), axis=0) < 0.018
    elif pattern == "stripes":
        on = np.sin(rng.uniform(4, 9) * at[:, 0] + rng.uniform(0, 6)) > 0
    else:
        ring = np.arccos(np.clip(at[:, 2], -1, 1))
        on = (ring < 0.28) | ((ring > 0.34) & (ring < 0.40)) | (np.abs(at[:, 0]) < 0.02)
    return np.where(np.asarray(on, bool)[:, None], mark, base)


def _under_ball(rng: np.random.Generator, scene: Array, outline: Array) -> Array:
    middle = outline.mean(axis=0)
    size = float(np.ptp(outline[:, 1])) / 2
    angle = np.linspace(0, 2 * np.pi, 120)
    flat = rng.uniform(0.15, 0.5)
    shadow = np.column_stack(
        [np.cos(angle) + rng.uniform(-0.7, 0.7), flat * np.sin(angle) + 1 - 0.3 * flat]
    )
    mask = np.zeros(_SHAPE, np.float32)
    points = np.rint((shadow * size + middle) * 16).astype(np.int32)
    cv2.fillPoly(mask, [points.reshape(-1, 1, 2)], 1.0, cv2.LINE_AA, 4)
    mask = np.asarray(cv2.GaussianBlur(mask, (0, 0), rng.uniform(1.0, 0.2 * size)), np.float32)
    return np.asarray(scene * (1 - rng.uniform(0.2, 0.8) * mask[..., None]))
