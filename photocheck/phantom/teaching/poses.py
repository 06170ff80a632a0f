"""Phantoms in poses that no owner is asked for: sitting, lying, bowing; and walking ones.

Lengths are fractions of the height at the withers, angles radians; the builder's judgement.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from photocheck.phantom.anatomy import VERTEBRAE_ABOVE, Anatomy, Leg, two_links
from photocheck.phantom.field import Array
from photocheck.phantom.spine import Spine

STANDING: Final = "side_on"
FOLDED: Final = ("sitting", "lying", "bowing")


@dataclass(frozen=True)
class FoldedPose:
    """How the skeleton is held.

    ``pitch`` is the back's slope (positive: the rear is higher), ``shoulder`` and ``bend``
    the height of the axis at the shoulders and the back's bend; ``fore`` and ``hind`` where
    the near and far feet stand before (negative) or behind their joints' places.
    """

    kind: str
    pitch: float = 0.0
    shoulder: float = 0.765
    bend: float = 0.0
    neck_deg: float = 45.0
    fore: tuple[float, float] = (0.0, 0.0)
    hind: tuple[float, float] = (0.0, 0.0)


def draw_pose(rng: np.random.Generator, kind: str) -> FoldedPose:
    """A pose of one of `FOLDED`."""
    u = rng.uniform
    pair = (float(u(-0.05, 0.05)), float(u(-0.05, 0.05)))
    if kind == "sitting":
        fore = float(u(-0.04, 0.08))
        hind = float(u(-0.30, -0.12))
        return FoldedPose(
            kind,
            pitch=float(u(-0.98, -0.6)),
            shoulder=float(u(0.74, 0.84)),
            bend=float(u(0.0, 0.5)),
            neck_deg=float(u(35.0, 88.0)),
            fore=(fore, fore + 0.6 * pair[0]),
            hind=(hind, hind + pair[1]),
        )
    if kind == "lying":
        fore = float(u(-0.42, -0.22))
        hind = float(u(-0.2, 0.05))
        return FoldedPose(
            kind,
            pitch=float(u(-0.12, 0.03)),
            shoulder=float(u(0.27, 0.34)),
            bend=float(u(0.0, 0.3)),
            neck_deg=float(u(-15.0, 70.0)),
            fore=(fore, fore + 2.0 * pair[0]),
            hind=(hind, hind + 2.0 * pair[1]),
        )
    if kind == "bowing":
        fore = float(u(-0.42, -0.2))
        return FoldedPose(
            kind,
            pitch=float(u(0.4, 0.75)),
            shoulder=float(u(0.34, 0.5)),
            bend=float(u(-0.3, 0.2)),
            neck_deg=float(u(0.0, 70.0)),
            fore=(fore, fore + pair[0]),
            hind=(pair[1], pair[0]),
        )
    raise ValueError(f"{kind!r} is none of {', '.join(FOLDED)}")


@dataclass(frozen=True)
class FoldedAnatomy(Anatomy):
    """A skeleton in a pose of its own, whatever the plan's posture."""

    pose: FoldedPose = FoldedPose(STANDING)

    @cached_property
    def spine(self) -> Spine:
        """The trunk's axis, held by the shoulders."""
        p, h, pose = self.plan.proportions, self.plan.height_mm, self.pose
        s = np.linspace(-0.35, p.length + 0.25, 321)
        middle = 0.5 * (p.withers_at + 0.1 + 0.86 * p.length)
        reach = 0.5 * (0.86 * p.length - p.withers_at - 0.1)
        t = np.clip((s - middle) / reach, -1.0, 1.0)
        angles = pose.pitch - 0.5 * pose.bend * np.sin(0.5 * np.pi * t)
        longer = 1.0 + VERTEBRAE_ABOVE * np.gradient(angles, s)
        first = float(pose.pitch + 0.5 * pose.bend)
        x = p.withers_at * (1.0 - np.cos(first))
        y = pose.shoulder - p.withers_at * np.sin(first)
        return Spine((h * x, h * y), h * s, angles, longer)

    @cached_property
    def neck_direction(self) -> Array:
        """Unit vector of the neck, (3,)."""
        angle = np.radians(self.pose.neck_deg)
        return np.array([-np.cos(angle), np.sin(angle), 0.0])

    def _fore_leg(self, side: float, shift: float) -> Leg:
        p, h, pose = self.plan.proportions, self.plan.height_mm, self.pose
        across = 0.5 * p.shoulder_width - 0.062
        root = self.at(0.11, p.breastbone_height + 0.005, side * across)
        under = self.at(p.withers_at, 0.9, 0.0)[0]
        x = under + h * (0.01 + (pose.fore[0] if side > 0 else pose.fore[1]))
        flat = pose.kind in ("lying", "bowing")
        foot = np.array([x, 0.0, side * h * 0.92 * across])
        step = np.array([0.14, 0.035, 0.0]) if flat else np.array([0.022, 0.15, 0.0])
        ankle = foot + h * step
        gap = float(np.hypot(*(ankle - root)[:2])) / h
        stretch = max(gap / 0.62, 1.0)
        elbow = two_links(root, ankle, 0.245 * h * stretch, 0.385 * h * stretch, 1.0)
        elbow[1] = max(elbow[1], 0.05 * h)
        return Leg(root, elbow, ankle, foot)

    def _hind_leg(self, side: float, shift: float) -> Leg:
        p, h, pose = self.plan.proportions, self.plan.height_mm, self.pose
        across = 0.30 * p.rump_width
        root = self.at(p.length - 0.17, p.croup_height - 0.19, side * across)
        moved = pose.hind[0] if side > 0 else pose.hind[1]
        folded = pose.kind in ("sitting", "lying")
        x = root[0] + h * ((0.0 if folded else 0.06) + moved)
        foot = np.array([x, 0.0, side * h * (across + (0.05 if folded else 0.012))])
        step = np.array([0.19, 0.045, 0.0]) if folded else np.array([0.07, 0.20, 0.0])
        ankle = foot + h * step
        stifle = two_links(root, ankle, 0.275 * h, 0.34 * h, -1.0)
        stifle[1] = max(stifle[1], 0.07 * h)
        stifle[2] = side * h * (across + (0.06 if folded else 0.02))
        return Leg(root, stifle, ankle, foot)
