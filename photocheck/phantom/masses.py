"""The masses on the skeleton: what they look like, and how much of the coat each carries.

Figures are fractions of the height at the withers, the builder's judgement.
"""

from __future__ import annotations

import numpy as np

from photocheck.phantom.anatomy import Anatomy
from photocheck.phantom.field import Array, Egg, Limb, Mass

Parts = list[tuple[Mass, float]]  # with the share of the trunk's coat each part carries


def limb_masses(a: Anatomy) -> Parts:
    """The dog without ears and tail, each part with its share of the trunk's coat."""
    return [*_torso(a), *_upper_legs(a), *_skull(a), *_lower_legs(a), *_muzzle(a)]


def _t(point: Array) -> tuple[float, float, float]:
    return float(point[0]), float(point[1]), float(point[2])


def tape_masses(a: Anatomy) -> list[tuple[Mass, float]]:
    """The body a tape lies on: no lower legs, muzzle, ears or tail; with its pressed coat, mm."""
    pressed = a.plan.coat_mm * a.plan.coat_squeeze
    return [(mass, pressed * share) for mass, share in [*_torso(a), *_upper_legs(a), *_skull(a)]]


def visible_masses(a: Anatomy) -> list[tuple[Mass, float]]:
    """The whole dog, with its standing coat, mm."""
    parts = [*_torso(a), *_upper_legs(a), *_skull(a), *_lower_legs(a), *_face(a), *_tail(a)]
    return [(mass, a.plan.coat_mm * share) for mass, share in parts]


def _torso(a: Anatomy) -> Parts:
    p, h = a.plan.proportions, a.plan.height_mm
    at = a.at
    sternum = at(0.055 - p.breastbone_forward, p.breastbone_height, 0.0)
    parts: Parts = [
        (a.trunk, 1.0),
        (
            Limb(
                _t(sternum),
                _t(at(0.20, p.breastbone_height - 0.045, 0.0)),
                0.048 * h,
                0.085 * h,
                1.05,
                0.07 * h,
            ),
            1.0,
        ),
    ]
    root, poll = a.neck_root, a.poll
    base = 0.19 * h
    parts.append(
        (Limb(_t(root), _t(poll), base, 0.5 * p.neck_thickness * h, p.neck_across, 0.09 * h), 1.1)
    )
    return parts


def _upper_legs(a: Anatomy) -> Parts:
    p, h = a.plan.proportions, a.plan.height_mm
    parts: Parts = []
    for side, leg in zip((1.0, -1.0), a.fore, strict=True):
        across = 0.5 * p.shoulder_width
        blade_top = a.at(p.withers_at - 0.005, 0.90, side * (across - 0.122))
        blade_low = leg.root + np.array([0.02 * h, 0.075 * h, 0.0])
        blade_low[2] = side * h * (across - 0.083)
        blade = Limb(_t(blade_top), _t(blade_low), 0.070 * h, 0.098 * h, 0.85, 0.07 * h)
        parts.append((blade, 1.0))
        upper = leg.root.copy()
        upper[2] = side * h * (across - 0.072)
        thick = 0.95 * p.leg_thickness * h
        parts.append((Limb(_t(upper), _t(leg.knee), 0.070 * h, thick, 0.82, 0.06 * h), 0.9))
        fore = leg.knee + 0.45 * (leg.ankle - leg.knee)
        parts.append((Limb(_t(leg.knee), _t(fore), 0.8 * thick, 0.6 * thick, 0.85, 0.02 * h), 0.6))
    for side, leg in zip((1.0, -1.0), a.hind, strict=True):
        hip = leg.root.copy()
        hip[2] = side * h * (0.5 * p.rump_width - 0.085)
        thick = p.thigh_thickness * h
        parts.append((Limb(_t(hip), _t(leg.knee), thick, 0.56 * thick, 0.62, 0.06 * h), 0.9))
        seat = a.at(p.length - 0.09, 0.76, side * (0.5 * p.rump_width - 0.085))
        low = leg.knee + 0.35 * (leg.ankle - leg.knee)
        parts.append((Limb(_t(seat), _t(low), 0.085 * h, 0.055 * h, 0.75, 0.06 * h), 1.0))
    return parts


def _skull(a: Anatomy) -> Parts:
    p, h = a.plan.proportions, a.plan.height_mm
    wide = 0.5 * p.skull_width * h
    long = 0.5 * (1.0 - p.muzzle_share) * p.head_length * h
    return [
        (
            Egg(
                _t(a.head_point(0.01, 0.01)),
                (1.12 * long, 0.95 * wide, wide),
                a.head_angle,
                blend_mm=0.05 * h,
            ),
            0.35,
        ),
    ]


def _muzzle(a: Anatomy) -> Parts:
    p, h = a.plan.proportions, a.plan.height_mm
    wide = 0.5 * p.skull_width
    stop = 0.5 * (1.0 - p.muzzle_share) * p.head_length
    nose = stop + p.muzzle_share * p.head_length - 0.03
    return [
        (
            Limb(
                _t(a.head_point(stop - 0.06, -0.02)),
                _t(a.head_point(nose, -0.045)),
                0.74 * wide * h,
                0.50 * wide * h,
                0.85,
                0.03 * h,
            ),
            0.15,
        ),
        (
            Limb(
                _t(a.head_point(0.0, -0.055)),
                _t(a.head_point(nose - 0.035, -0.085)),
                0.44 * wide * h,
                0.28 * wide * h,
                0.9,
                0.025 * h,
            ),
            0.15,
        ),
    ]


def _face(a: Anatomy) -> Parts:
    p, h = a.plan.proportions, a.plan.height_mm
    wide = 0.5 * p.skull_width
    parts = _muzzle(a)
    for side in (1.0, -1.0):
        e = p.ear_length
        if p.drop_ears:
            root = a.head_point(-0.035, 0.55 * wide, side * 0.85 * wide)
            tip = a.head_point(-0.02, 0.55 * wide - e, side * (wide + 0.035))
            parts.append((Limb(_t(root), _t(tip), 0.03 * h, 0.040 * h, 0.35, 0.012 * h), 0.25))
        else:
            root = a.head_point(-0.045, 0.70 * wide, side * 0.62 * wide)
            tip = a.head_point(-0.07, 0.70 * wide + e, side * 0.80 * wide)
            parts.append((Limb(_t(root), _t(tip), 0.052 * h, 0.012 * h, 0.40, 0.012 * h), 0.15))
    return parts


def _lower_legs(a: Anatomy) -> Parts:
    p, h = a.plan.proportions, a.plan.height_mm
    thick = 0.5 * p.leg_thickness * h
    parts: Parts = []
    up = np.array([0.0, 1.0, 0.0])
    for leg in a.fore:
        paw = leg.foot + 0.03 * h * up
        parts += [
            (Limb(_t(leg.knee), _t(leg.ankle), 1.35 * thick, 0.95 * thick, 0.9, 0.02 * h), 0.35),
            (Limb(_t(leg.ankle), _t(paw), 0.92 * thick, 0.85 * thick, 0.95, 0.015 * h), 0.25),
            (
                Egg(
                    _t(paw - [0.022 * h, 0.004 * h, 0.0]),
                    (1.75 * thick, 0.036 * h, 1.15 * thick),
                    blend_mm=0.015 * h,
                ),
                0.15,
            ),
        ]
    for leg in a.hind:
        paw = leg.foot + 0.03 * h * up
        parts += [
            (Limb(_t(leg.knee), _t(leg.ankle), 1.9 * thick, 0.78 * thick, 0.8, 0.03 * h), 0.45),
            (Limb(_t(leg.ankle), _t(paw), 0.82 * thick, 0.80 * thick, 0.9, 0.015 * h), 0.25),
            (
                Egg(
                    _t(paw - [0.026 * h, 0.004 * h, 0.0]),
                    (1.75 * thick, 0.034 * h, 1.08 * thick),
                    blend_mm=0.015 * h,
                ),
                0.15,
            ),
        ]
    return parts


def _tail(a: Anatomy) -> Parts:
    p, h = a.plan.proportions, a.plan.height_mm
    root = a.at(p.length - 0.055, p.croup_height - p.tail_drop - 0.035, 0.0)
    phi = a.spine.angle(h * p.length)
    start = np.radians(-25.0) + phi
    finish = np.radians(p.tail_lift_deg)
    parts: Parts = []
    points, radii = [root], [0.034 * h]
    for k in range(4):
        angle = start + (finish - start) * (k + 1) / 4
        step = 0.25 * p.tail_length * h
        points.append(points[-1] + step * np.array([np.cos(angle), np.sin(angle), 0.0]))
        radii.append((0.034 - 0.005 * (k + 1)) * h)
    for k in range(4):
        parts.append(
            (
                Limb(_t(points[k]), _t(points[k + 1]), radii[k], radii[k + 1], blend_mm=0.008 * h),
                0.7,
            )
        )
    return parts
