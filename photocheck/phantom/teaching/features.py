"""Ears, tails, beards and feathering beyond those of the phantoms that are measured.

Figures are fractions of the height at the withers, the builder's judgement.
"""

from __future__ import annotations

import numpy as np

from photocheck.phantom.anatomy import Anatomy
from photocheck.phantom.field import Array, Egg, Limb, Mass

Parts = list[tuple[Mass, float]]

EARS = ("pricked", "bat", "drop", "long", "button", "small")
TAILS = ("down", "level", "up", "over", "curled", "docked", "tucked")


def _t(point: Array) -> tuple[float, float, float]:
    return float(point[0]), float(point[1]), float(point[2])


def ears(a: Anatomy, kind: str, rng: np.random.Generator) -> Parts:
    """Both ears, alike but for a little."""
    p, h = a.plan.proportions, a.plan.height_mm
    wide = 0.5 * p.skull_width
    e = p.ear_length * float(rng.uniform(0.8, 1.3))
    parts: Parts = []
    for side in (1.0, -1.0):
        jitter = 0.015 * rng.normal(size=2)
        blend = 0.012 * h
        if kind in ("pricked", "bat"):
            big = 1.35 if kind == "bat" else 1.0
            root = a.head_point(-0.045, 0.70 * wide, side * 0.62 * wide)
            tip = a.head_point(
                -0.06 + jitter[0],
                0.70 * wide + big * e,
                side * (0.80 * wide + 0.3 * abs(jitter[1])),
            )
            parts.append((Limb(_t(root), _t(tip), 0.052 * h * big, 0.012 * h, 0.40, blend), 0.15))
        elif kind in ("drop", "long"):
            long = 1.55 if kind == "long" else 1.05
            root = a.head_point(-0.035, (0.2 if kind == "long" else 0.55) * wide, side * 0.9 * wide)
            tip = a.head_point(
                -0.01 + jitter[0], 0.45 * wide - long * e, side * (wide + 0.03 + 0.02 * long)
            )
            parts.append(
                (Limb(_t(root), _t(tip), 0.032 * h, 0.046 * h * long**0.5, 0.35, blend), 0.35)
            )
        elif kind == "button":
            root = a.head_point(-0.04, 0.72 * wide, side * 0.7 * wide)
            fold = a.head_point(-0.02, 0.72 * wide + 0.35 * e, side * 0.85 * wide)
            tip = a.head_point(0.06 + jitter[0], 0.62 * wide, side * 1.05 * wide)
            parts.append((Limb(_t(root), _t(fold), 0.045 * h, 0.035 * h, 0.4, blend), 0.15))
            parts.append((Limb(_t(fold), _t(tip), 0.033 * h, 0.014 * h, 0.4, blend), 0.15))
        else:
            root = a.head_point(-0.05, 0.75 * wide, side * 0.65 * wide)
            tip = a.head_point(-0.1, 0.78 * wide + 0.3 * e, side * 0.8 * wide)
            parts.append((Limb(_t(root), _t(tip), 0.035 * h, 0.014 * h, 0.5, blend), 0.2))
    return parts


def tail(a: Anatomy, kind: str, rng: np.random.Generator) -> Parts:
    """A tail of five pieces from the root upward or downward; positive angles rise."""
    p, h = a.plan.proportions, a.plan.height_mm
    root = a.at(p.length - 0.055, p.croup_height - p.tail_drop - 0.035, 0.0)
    phi = a.spine.angle(h * p.length)
    u = rng.uniform
    first, last, length = {
        "down": (u(-80, -35), u(-85, -45), u(0.38, 0.55)),
        "level": (u(-25, 10), u(-15, 35), u(0.35, 0.55)),
        "up": (u(20, 60), u(60, 110), u(0.3, 0.55)),
        "over": (u(60, 85), u(150, 200), u(0.4, 0.55)),
        "curled": (u(50, 80), u(280, 380), u(0.45, 0.6)),
        "docked": (u(-40, 40), u(-40, 50), u(0.04, 0.12)),
        "tucked": (u(-85, -70), u(-140, -100), u(0.35, 0.5)),
    }[kind]
    angles = np.radians(np.linspace(first, last, 5)) + phi
    thick = float(u(0.024, 0.042))
    brush = float(u(0.0, 2.6)) if a.plan.coat_mm > 15 else float(u(0.0, 1.0))
    aside = float(rng.normal(0.0, 0.12))
    point, radius = root, thick
    parts: Parts = []
    for k, angle in enumerate(angles):
        step = 0.2 * length * h
        ahead = point + step * np.array([np.cos(angle), np.sin(angle), aside])
        ahead[1] = max(ahead[1], 0.03 * h)
        after = thick * (1.0 - 0.13 * (k + 1))
        parts.append(
            (
                Limb(_t(point), _t(ahead), radius * h, after * h, blend_mm=0.008 * h),
                0.7 + brush * min(k, 2) * 0.5,
            )
        )
        point, radius = ahead, after
    return parts


def hair_masses(a: Anatomy, rng: np.random.Generator) -> Parts:
    """Beard, ruff, feathering and breeches, each now and then; more of them on long coats."""
    p, h = a.plan.proportions, a.plan.height_mm
    long = a.plan.coat_mm > 15
    parts: Parts = []

    def now(share: float) -> bool:
        return bool(rng.random() < share * (1.7 if long else 0.7))

    stop = 0.5 * (1.0 - p.muzzle_share) * p.head_length
    nose = stop + p.muzzle_share * p.head_length - 0.03
    if now(0.2):  # beard and brows
        at = a.head_point(0.7 * nose + 0.3 * stop, -0.11)
        parts.append((Egg(_t(at), (0.09 * h, 0.06 * h, 0.05 * h), a.head_angle, 0, 0.03 * h), 0.3))
    if now(0.15):  # a round head of hair, over brows and cheeks
        size = float(rng.uniform(0.11, 0.17)) * h
        at = a.head_point(-0.02, 0.03)
        parts.append((Egg(_t(at), (size, size, 0.95 * size), 0.0, 0, 0.05 * h), 0.8))
    if now(0.25):  # ruff or mane about the neck
        middle = 0.5 * (a.neck_root + a.poll)
        size = float(rng.uniform(0.14, 0.2)) * h
        parts.append((Egg(_t(middle), (size, 1.15 * size, 0.8 * size), 0.6, 0, 0.08 * h), 1.2))
    if now(0.2):  # a chest of hair
        at = a.at(0.10, p.breastbone_height - 0.05, 0.0)
        parts.append((Egg(_t(at), (0.09 * h, 0.13 * h, 0.08 * h), 0.2, 0, 0.06 * h), 1.0))
    if now(0.3):  # feathering behind the forelegs
        for leg in a.fore:
            start = leg.knee + h * np.array([0.02, 0.0, 0.0])
            end = leg.ankle + h * np.array([0.035, 0.02, 0.0])
            parts.append((Limb(_t(start), _t(end), 0.045 * h, 0.03 * h, 0.35, 0.02 * h), 0.3))
    if now(0.3):  # breeches
        for leg in a.hind:
            start = leg.root + np.array([0.09 * h, -0.03 * h, 0.0])
            end = leg.ankle + np.array([0.02 * h, 0.06 * h, 0.0])
            parts.append((Limb(_t(start), _t(end), 0.07 * h, 0.03 * h, 0.5, 0.04 * h), 0.6))
    if now(0.2):  # hair below the belly
        start = a.at(0.35, 0.985 - p.chest_depth + 0.02, 0.0)
        end = a.at(0.75 * p.length, 0.97 - p.loin_depth, 0.0)
        parts.append((Limb(_t(start), _t(end), 0.06 * h, 0.04 * h, 0.8, 0.05 * h), 0.5))
    return parts
