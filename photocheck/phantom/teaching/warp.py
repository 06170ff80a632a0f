"""One body made into others: longer, lower, deeper, big-headed, short-nosed; the head turned.

Everything is a smooth map of space, so that points go with the mesh.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from photocheck.phantom.field import Array
from photocheck.phantom.teaching.poses import STANDING
from photocheck.phantom.teaching.teaching_bodies import TeachingBody

ELBOW: Final = 0.50
"""Height from which down a body is legs, fraction of the height at the withers."""


def _smooth(x: Array, low: float, high: float) -> Array:
    t = np.clip((x - low) / (high - low), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))


def _turn(points: Array, pivot: Array, axis: int, angle: Array) -> Array:
    """Points turned about an axis through a pivot, each by its own angle, rad."""
    one, two = [(1, 2), (2, 0), (0, 1)][axis]
    gap = points - pivot
    c, s = np.cos(angle), np.sin(angle)
    out = points.copy()
    out[:, one] = pivot[one] + c * gap[:, one] - s * gap[:, two]
    out[:, two] = pivot[two] + s * gap[:, one] + c * gap[:, two]
    return out


def warped(body: TeachingBody, rng: np.random.Generator, amount: float = 1.0) -> TeachingBody:
    """A body of other proportions, with its head held another way.

    ``amount`` scales how far from the given body it may go; folded bodies keep their legs.
    """
    u, n = rng.uniform, len(body.vertices)
    names = list(body.points)
    extra = np.stack([*(body.points[name] for name in names), body.poll, body.eye])
    p = np.concatenate([body.vertices.astype(np.float64), extra])
    nose = body.points["nose"]

    # --- head: size, muzzle, turn toward the camera, nod
    along = nose - body.poll
    reach = float(np.linalg.norm(along)) + 1e-6
    unit = along / reach
    t = (p - body.poll) @ unit / reach
    aside = np.linalg.norm((p - body.poll) - (t * reach)[:, None] * unit, axis=1) / reach
    head = _smooth(t, -0.35, 0.2) * (1.0 - _smooth(aside, 0.9, 1.3))
    size = float(np.exp(amount * np.clip(rng.normal(0.0, 0.13), -0.3, 0.3)))
    p = p + head[:, None] * (size - 1.0) * (p - body.poll)
    short = float(np.exp(amount * (u(-0.9, 0.0) if rng.random() < 0.25 else u(-0.2, 0.15))))
    root = body.poll + 0.55 * size * along
    ahead = np.maximum((p - root) @ unit, 0.0) * head
    p = p + ((short - 1.0) * ahead)[:, None] * unit
    if rng.random() < 0.75:  # heads look at whoever holds the camera
        yaw = float(rng.normal(0.0, 0.25)) if rng.random() < 0.4 else float(u(0.3, 1.7))
        p = _turn(p, body.poll, 1, yaw * amount**0.5 * head)
    if rng.random() < 0.5:
        p = _turn(p, body.poll, 2, float(rng.normal(0.0, 0.22)) * head)

    # --- trunk and legs
    if body.kind == STANDING:
        low_built = rng.random() < 0.3
        legs = float(np.exp(amount * (u(-0.9, -0.2) if low_built else u(-0.16, 0.16))))
        low = np.minimum(p[:, 1], ELBOW)
        high = np.maximum(p[:, 1] - ELBOW, 0.0)
        deep = float(np.exp(amount * rng.normal(0.0, 0.07)))
        p[:, 1] = legs * low + deep * high
        long = float(np.exp(amount * (rng.normal(0.0, 0.07) + (u(0.0, 0.3) if low_built else 0.0))))
        first, last = 0.22, 0.85
        inside = np.clip(p[:, 0], first, last) - first
        p[:, 0] = p[:, 0] + (long - 1.0) * inside
        sway = amount * rng.normal(0.0, 0.05)
        s = (p[:, 0] - 0.5) / 0.5
        p[:, 1] += sway * (np.exp(-(s**2) * 2.0) - 0.4) * _smooth(p[:, 1], 0.3, 0.7)
        p[:, 1] += amount * rng.normal(0.0, 0.03) * p[:, 0] * _smooth(p[:, 1], 0.3, 0.7)
    p[:, 2] *= float(np.exp(amount * rng.normal(0.0, 0.12)))

    # --- what no plan has: slow waves
    for axis in (0, 1):
        wave = rng.normal(0.0, 2.6, (3, 3))
        phase = u(0.0, 2.0 * np.pi, 3)
        swell = np.sin(p @ wave.T + phase) @ rng.normal(0.0, 0.008 * amount, 3)
        p[:, axis] += swell * (_smooth(p[:, 1], 0.05, 0.3) if axis == 1 else 1.0)
    points = dict(zip(names, p[n:-2], strict=True))
    return replace(
        body,
        vertices=p[:n].astype(np.float32),
        points=points,
        poll=p[-2],
        eye=p[-1],
    )


def other_side(body: TeachingBody) -> TeachingBody:
    """The body with near and far exchanged."""
    mirror = np.array([1.0, 1.0, -1.0])
    points = {name: value * mirror for name, value in body.points.items()}
    for foot in ("front_foot", "hind_foot"):
        near, far = points[f"near_{foot}"], points[f"far_{foot}"]
        points[f"near_{foot}"], points[f"far_{foot}"] = far, near
    points["last_rib"] = points["last_rib"] * mirror  # marked on the side that is seen
    return replace(
        body,
        vertices=(body.vertices * mirror).astype(np.float32),
        faces=body.faces[:, ::-1].copy(),
        points=points,
        poll=body.poll * mirror,
        eye=body.eye,
    )
