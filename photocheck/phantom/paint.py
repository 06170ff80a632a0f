"""Colour, light and hair direction at the vertices of a phantom's outline."""

from __future__ import annotations

import numpy as np

from photocheck.phantom.field import Array, Limb
from photocheck.phantom.look import COATS, Look
from photocheck.phantom.masses import visible_masses
from photocheck.phantom.solid import Dog


def _mix(a: Array, b: Array, share: Array) -> Array:
    s = np.clip(share, 0.0, 1.0)[:, None]
    return np.asarray((1.0 - s) * a + s * b)


def _ramp(value: Array, low: float, high: float) -> Array:
    t = np.clip((value - low) / (high - low), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))


def _patches(points: Array, seed: int, scale: float) -> Array:
    """Smooth noise over space, (n,), about -1 to 1: a few random waves."""
    rng = np.random.default_rng(seed)
    total: Array = np.zeros(len(points))
    for _ in range(14):
        wave = rng.normal(size=3) * 2.0 / scale
        total += np.sin(points @ wave + rng.uniform(0.0, 2.0 * np.pi))
    return total / 4.0


def coat_colour(dog: Dog, points: Array, look: Look) -> Array:
    """Reflectance of the coat at (n, 3) points of the outline in the dog's frame, (n, 3) linear."""
    colours, h = COATS[look.coat], dog.plan.height_mm
    anatomy = dog.anatomy
    _, n = anatomy.spine.locate(points[:, 0], points[:, 1])
    rough = _patches(points, look.seed, 0.10 * h) + 0.6 * _patches(points, look.seed + 1, 0.03 * h)
    height = n / (0.22 * h) + 0.16 * rough
    back, side, under = (np.array(c) for c in (colours.back, colours.side, colours.under))
    base = _mix(np.tile(side, (len(points), 1)), back, _ramp(height, 1 - 2 * colours.saddle, 1.0))
    base = _mix(base, under, 1.0 - _ramp(height, -1.15, -0.55))
    legs = points[:, 1] / h + 0.02 * rough
    if colours.socks:
        base = _mix(base, under, 1.0 - _ramp(legs, 0.10, 0.34))
    else:
        base = _mix(base, side, 1.0 - _ramp(legs, 0.3, 0.5))
    # Head by its own axes: pale cheeks, dark mask or none, dark ears.
    p = dog.plan.proportions
    centre = anatomy.head_point(0.0, 0.0)
    ahead = anatomy.head_point(1.0, 0.0) - centre
    above = anatomy.head_point(0.0, 1.0) - centre
    forward = (points - centre) @ ahead / h**2
    up = (points - centre) @ above / h**2
    stop = 0.5 * (1.0 - p.muzzle_share) * p.head_length
    near_head = _ramp(forward, -0.16, -0.04) * _ramp(points[:, 1] / h, 0.45, 0.6)
    base = _mix(
        base, _mix(under[None] + 0 * base, side, _ramp(up + 0.01 * rough, -0.05, 0.03)), near_head
    )
    muzzle = _ramp(forward + 0.01 * rough, stop - 0.035, stop + 0.03)
    dark = np.array([0.03, 0.026, 0.024])
    base = _mix(base, dark if colours.mask else under, 0.85 * muzzle * near_head)
    ears = _ramp(up, 0.36 * p.skull_width + 0.035, 0.36 * p.skull_width + 0.09) * _ramp(
        forward, -0.20, -0.13
    )
    if not p.drop_ears:
        base = _mix(base, back * 0.7, 0.8 * ears * near_head)
    else:
        flap = _ramp(
            np.abs(points[:, 2]) / h, 0.5 * p.skull_width - 0.008, 0.5 * p.skull_width + 0.008
        )
        low = 0.275 * p.skull_width - p.ear_length
        flap = flap * _ramp(up, low - 0.06, low - 0.03) * _ramp(forward, -0.095, -0.065)
        base = _mix(base, back * 0.8, flap * near_head * (1 - _ramp(forward, 0.03, 0.05)))
    # The nose lies where the coat ends, whatever its length, and reaches round to the sides.
    bridge = anatomy.head_point(stop, -0.015)
    nose = dog.visible_field.leave(bridge, ahead, p.head_length * h)
    far = np.linalg.norm((points - nose) * [1.0, 1.0, 0.55], axis=1) / h
    base = _mix(base, np.array([0.012, 0.011, 0.011]), 1.0 - _ramp(far, 0.026, 0.036))
    mouth = np.abs(up + 0.068 - 0.06 * (forward - stop)) + 0.002
    line = (1.0 - _ramp(mouth, 0.003, 0.012)) * _ramp(forward, stop - 0.01, stop + 0.02)
    base = _mix(base, dark * 0.7, 0.75 * line * near_head)
    tone = np.exp(0.10 * rough + 0.05 * _patches(points, look.seed + 2, 0.012 * h))
    return np.asarray(np.clip(base * tone[:, None], 0.006, 0.85))


def baked_light(dog: Dog, points: Array, normals: Array, sun: Array, sun_share: float) -> Array:
    """Light arriving at (n, 3) points of the outline, (n,), about 1 in the open.

    The sun with a soft shadow and the sky with occlusion, both felt out in the
    dog's own field; ``sun`` and ``normals`` in the dog's frame.
    """
    body, h = dog.visible_field, dog.plan.height_mm
    sun = sun / np.linalg.norm(sun)
    lit = np.ones(len(points))
    for t in np.geomspace(0.012 * h, 0.55 * h, 22):
        value, _ = body.sample(points + t * sun + 0.006 * h * normals)
        lit = np.minimum(lit, 0.5 + 0.5 * np.clip(value / (0.16 * t), -1.0, 1.0))
    lit = lit * np.clip(normals @ sun + 0.12, 0.0, None) / 1.12
    open_sky = np.ones(len(points))
    for reach, weight in ((0.015, 0.3), (0.04, 0.3), (0.09, 0.25), (0.18, 0.2)):
        value, _ = body.sample(points + reach * h * normals)
        open_sky -= weight * (1.0 - np.clip(value / (reach * h), 0.0, 1.0))
    sky = (0.62 + 0.38 * normals[:, 1]) * np.clip(open_sky, 0.15, 1.0)
    ground = 0.25 * np.clip(-normals[:, 1], 0.0, 1.0)
    near_floor = np.clip(0.65 + 0.35 * points[:, 1] / (0.4 * h), 0.65, 1.0)
    return np.asarray(
        sun_share * 1.7 * lit + (1.0 - sun_share) * 1.25 * (sky + ground) * near_floor
    )


def hair_direction(dog: Dog, points: Array) -> Array:
    """Unit direction in which the hair lies at (n, 3) points, tailward and down, (n, 3)."""
    h = dog.plan.height_mm
    anatomy = dog.anatomy
    s, _ = anatomy.spine.locate(points[:, 0], points[:, 1])
    phi = np.interp(s, anatomy.spine.stations, anatomy.spine.angles)
    along = np.stack([np.cos(phi), np.sin(phi), np.zeros(len(points))], axis=1)
    total = 0.35 * (along - np.array([0.0, 0.55, 0.0]))
    x, y, z = points.T
    for mass, _ in visible_masses(anatomy):
        if not isinstance(mass, Limb):
            continue
        axis = np.subtract(mass.end, mass.start)
        axis = axis / np.linalg.norm(axis)
        if axis[0] < -0.3 and axis[1] > -0.4:  # built from the trunk forward: hair runs back
            axis = -axis
        weight = np.exp(-np.clip(np.abs(mass.distance(x, y, z)), 0.0, None) / (0.02 * h))
        total = total + weight[:, None] * axis
    return np.asarray(total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-9))
