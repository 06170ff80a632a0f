"""A body in more hair: a thicker outline, locks, curls, what hangs; its marks move less than that.

Lengths are fractions of the height at the withers, the builder's judgement.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from photocheck.phantom.field import Array
from photocheck.phantom.teaching.mesh_drawing import vertex_normals
from photocheck.phantom.teaching.teaching_bodies import TeachingBody

ON_THE_COAT: Final = ("shoulder_top", "back_top", "chest_bottom", "tail_base", "breastbone")
"""Points that an eye places on the outline or near it."""
PRESSED: Final = 0.75
"""How much of the hair they go out with: whoever marks feels for the bone through it."""
STYLES: Final = ("plush", "locks", "curls", "clipped", "skirted")

Floats = npt.NDArray[np.float32]


def _waves(places: Array, rng: np.random.Generator, shortest: float, longest: float) -> Array:
    """Noise of sines over places, about 1 high; wave lengths between two."""
    out = np.zeros(len(places))
    for _ in range(7):
        way = rng.normal(size=3)
        way *= 2 * np.pi / (np.linalg.norm(way) * rng.uniform(shortest, longest))
        out += np.sin(places @ way + rng.uniform(0, 2 * np.pi))
    return np.asarray(out / 2.6)


def fluffed(body: TeachingBody, rng: np.random.Generator) -> TeachingBody:
    """The body in a thick coat of one of `STYLES`.

    Parameters
    ----------
    body : TeachingBody
    rng : numpy Generator
    """
    style = str(rng.choice(STYLES))
    v = body.vertices.astype(np.float64)
    normals = vertex_normals(body.vertices, body.faces).astype(np.float64)
    top = float(body.points["shoulder_top"][1])
    level = np.clip(v[:, 1] / max(top, 1e-3), 0.0, 1.4)
    trunk = np.clip((level - 0.30) / 0.25, 0.0, 1.0)
    to_nose = np.linalg.norm(v - body.points["nose"], axis=1)
    face = np.clip((0.30 - to_nose) / 0.12, 0.0, 1.0)
    deep = float(rng.uniform(0.015, 0.07))
    on_legs = float(rng.uniform(0.15, 1.0))
    share = on_legs + (1.0 - on_legs) * trunk
    if style == "clipped":  # long on head, legs and tail, short on the trunk
        front, back = body.points["shoulder_top"][0], body.points["tail_base"][0]
        barrel = np.clip((v[:, 0] - front) / 0.15, 0, 1) * np.clip((back - v[:, 0]) / 0.12, 0, 1)
        share = 1.2 - 1.1 * barrel * trunk
    share = share * (1.0 - rng.uniform(0.6, 1.0) * face)
    if rng.random() < 0.4:  # a mane before the shoulders
        ahead = np.clip((body.points["shoulder_top"][0] + 0.08 - v[:, 0]) / 0.2, 0.0, 1.0)
        share = share * (1.0 + rng.uniform(0.3, 1.2) * ahead * (1.0 - face) * trunk)
    shortest, longest, rough = {
        "plush": (0.08, 0.30, 0.20),
        "locks": (0.06, 0.20, 0.45),
        "curls": (0.045, 0.09, 0.40),
        "clipped": (0.045, 0.09, 0.30),
        "skirted": (0.06, 0.20, 0.40),
    }[style]
    lie = v * np.array([1.0, 0.35 if style in ("locks", "skirted") else 1.0, 1.0])
    out = deep * share * (1.0 + rough * _waves(lie, rng, shortest, longest))
    move = out[:, None] * normals
    if style in ("locks", "skirted"):  # what grows downward hangs: chest, belly, breeches
        long = float(rng.uniform(0.3, 1.2)) * (2.2 if style == "skirted" else 1.0)
        under = np.clip(-normals[:, 1] + 0.1, 0.0, 1.0) * np.clip((level - 0.25) / 0.2, 0.0, 1.0)
        strands = 0.7 + 0.3 * _waves(lie, rng, 0.05, 0.15)
        move[:, 1] -= long * deep * under * strands * (1.0 - face)
        behind = np.clip(normals[:, 0], 0.0, 1.0) * np.clip((0.9 - level) / 0.2, 0.0, 1.0)
        move[:, 0] += 0.6 * long * deep * behind * strands
    hairy = v + move
    hairy[:, 1] = np.maximum(hairy[:, 1], np.minimum(v[:, 1], 0.005))
    points = dict(body.points)
    for name in ON_THE_COAT:
        gap = np.linalg.norm(v - points[name], axis=1)
        weight = np.exp(-0.5 * ((gap - gap.min()) / 0.025) ** 2)
        # with the hair's thickness there, not with one lock of it, and not with what hangs
        thick = float((weight * deep * share).sum() / weight.sum())
        way = (weight[:, None] * normals).sum(axis=0)
        way /= max(float(np.linalg.norm(way)), 1e-9)
        points[name] = points[name] + PRESSED * thick * way
    return replace(body, vertices=np.asarray(hairy, np.float32), points=points)
