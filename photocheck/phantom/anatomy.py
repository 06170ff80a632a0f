"""The skeleton of a posed phantom: spine and barrel, legs by inverse kinematics, neck, head.

Figures are fractions of the height at the withers, the builder's judgement of
standing dogs; see `photocheck.phantom.plan` for what varies and within what.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from photocheck.phantom.field import Array
from photocheck.phantom.plan import DogPlan
from photocheck.phantom.spine import SectionedTrunk, Spine

SPINE_HEIGHT: Final = 0.765
"""Height of the trunk's axis when standing square, fraction of the height."""

VERTEBRAE_ABOVE: Final = 0.14
"""Height of the line of the vertebrae over that axis, fraction of the height."""


@dataclass(frozen=True, eq=False)
class Leg:
    """Joints of one leg from the trunk down, (3,) mm each."""

    root: Array
    knee: Array
    ankle: Array
    foot: Array


def two_links(root: Array, tip: Array, upper: float, lower: float, bend: float) -> Array:
    """The joint between two bones of given lengths, in the side view; ``bend`` picks the side."""
    gap = tip - root
    distance = min(float(np.hypot(gap[0], gap[1])), 0.999 * (upper + lower))
    distance = max(distance, 1.001 * abs(upper - lower))
    along = (upper**2 - lower**2 + distance**2) / (2 * distance)
    aside = np.sqrt(max(upper**2 - along**2, 0.0))
    unit = gap[:2] / np.hypot(gap[0], gap[1])
    normal = np.array([-unit[1], unit[0]]) * bend
    middle = root[:2] + along * unit + aside * normal
    share = upper / (upper + lower)
    return np.array([middle[0], middle[1], root[2] + share * gap[2]])


@dataclass(frozen=True)
class Anatomy:
    """The posed parts of one plan.  Methods give mm."""

    plan: DogPlan

    @cached_property
    def spine(self) -> Spine:
        """The trunk's axis after posture."""
        plan, p = self.plan, self.plan.proportions
        h, how = plan.height_mm, plan.severity
        s = np.linspace(-0.35, p.length + 0.25, 321)
        drop = pitch = bend = stretch = 0.0
        if plan.posture == "square":
            bend = 0.10 * how
        elif plan.posture == "crouching":
            drop, bend, pitch = 0.19 * how, 0.20 * how, -0.02 * how
        elif plan.posture == "stretched":
            drop, bend, stretch = 0.05 * how, -0.10 * how, 0.06 * how
        elif plan.posture == "arched":
            drop, bend = 0.03 * how, 0.55 * how
        elif plan.posture == "rear_lowered":
            drop, pitch, bend = 0.03 * how, -0.30 * how, 0.12 * how
        # The back bends between the shoulders and the croup; the ends stay straight.
        middle = 0.5 * (p.withers_at + 0.1 + 0.86 * p.length)
        reach = 0.5 * (0.86 * p.length - p.withers_at - 0.1)
        t = np.clip((s - middle) / reach, -1.0, 1.0)
        angles = pitch - 0.5 * bend * np.sin(0.5 * np.pi * t)
        longer = 1.0 + stretch * np.exp(-(((s - middle) / reach) ** 2))
        # Vertebrae keep their length when the back bends; the belly gives way.
        longer = longer + VERTEBRAE_ABOVE * np.gradient(angles, s)
        # Rear and crouched dogs pivot at the shoulders; an arch lifts the middle only.
        origin = (0.0, SPINE_HEIGHT - drop - pitch * p.withers_at - 0.25 * bend * p.withers_at)
        return Spine((h * origin[0], h * origin[1]), h * s, angles, longer)

    def at(self, s: float, y: float, z: float) -> Array:
        """A place of the trunk given by its rest station, rest height and z, as fractions."""
        h = self.plan.height_mm
        return self.spine.place(h * s, h * (y - SPINE_HEIGHT), h * z)

    @cached_property
    def trunk(self) -> SectionedTrunk:
        """The barrel."""
        p, h = self.plan.proportions, self.plan.height_mm
        loin_at, croup_at = 0.70 * p.length, 0.82 * p.length
        end = p.length - 0.085
        bottom = 0.985 - p.chest_depth
        belly = 0.965 - p.loin_depth
        tail_y = p.croup_height - p.tail_drop
        # station, top, bottom, half-width, widest level
        table = np.array(
            [
                [0.07, 0.80, bottom + 0.065, 0.40 * p.chest_width, 0.68],
                [0.5 * p.withers_at + 0.03, 0.93, bottom + 0.02, 0.46 * p.chest_width, 0.70],
                [p.withers_at, 0.985, bottom + 0.005, 0.49 * p.chest_width, 0.72],
                [0.37, 0.978, bottom, 0.50 * p.chest_width, 0.72],
                [0.49, 0.967, bottom + 0.025, 0.51 * p.chest_width, 0.725],
                [0.60, 0.966, 0.5 * (bottom + belly) + 0.01, 0.49 * p.chest_width, 0.74],
                [loin_at, 0.967, belly, 0.50 * p.loin_width, 0.78],
                [croup_at, p.croup_height, belly + 0.02, 0.43 * p.rump_width, 0.80],
                [
                    0.93 * end + 0.02,
                    0.5 * (p.croup_height + tail_y) + 0.01,
                    min(belly + 0.045, tail_y - 0.25),
                    0.40 * p.rump_width,
                    0.79,
                ],
                [end, tail_y - 0.005, min(belly + 0.07, tail_y - 0.20), 0.34 * p.rump_width, 0.76],
            ]
        )
        wobble = p.wobble_scale * np.array(p.wobble[:40]).reshape(10, 4)
        top = table[:, 1] - SPINE_HEIGHT
        low = table[:, 2] - SPINE_HEIGHT
        wide = table[:, 3] * (1.0 + 1.5 * wobble[:, 2])
        level = table[:, 4] - SPINE_HEIGHT + 0.5 * wobble[:, 3]
        top = top * (1.0 + wobble[:, 0])
        low = low * (1.0 + wobble[:, 1])
        level = np.clip(level, low + 0.35 * (top - low), low + 0.75 * (top - low))
        powers = 1.0 + 2.0 * p.wobble_scale * np.array(p.wobble[40:48]).reshape(2, 4)
        along = np.linspace(0.0, 1.0, 10)
        swing = [np.interp(along, np.linspace(0, 1, 4), row) for row in powers]
        return SectionedTrunk(
            spine=self.spine,
            knots=h * table[:, 0],
            top=h * top,
            bottom=h * low,
            width=h * wide,
            level=h * level,
            power_top=p.power_top * swing[0],
            power_bottom=p.power_bottom * swing[1],
            caps_mm=(0.075 * h, 0.085 * h),
        )

    # --- legs --------------------------------------------------------------

    def _fore_leg(self, side: float, shift: float) -> Leg:
        plan, p = self.plan, self.plan.proportions
        h, how = plan.height_mm, plan.severity
        across = 0.5 * p.shoulder_width - 0.062
        root = self.at(0.11, p.breastbone_height + 0.005, side * across)
        withers = self.at(p.withers_at, 0.9, 0.0)
        moved = {"stretched": -0.07, "crouching": -0.03, "rear_lowered": -0.03}
        x = withers[0] + h * (0.01 + shift + moved.get(plan.posture, 0.0) * how)
        foot = np.array([x, 0.0, side * h * (0.92 * across)])
        ankle = foot + h * np.array([0.022, 0.15, 0.0])
        elbow = two_links(root, ankle, 0.245 * h, 0.385 * h, 1.0)
        return Leg(root, elbow, ankle, foot)

    def _hind_leg(self, side: float, shift: float) -> Leg:
        plan, p = self.plan, self.plan.proportions
        h, how = plan.height_mm, plan.severity
        across = 0.30 * p.rump_width
        root = self.at(p.length - 0.17, p.croup_height - 0.19, side * across)
        moved = {"stretched": 0.16, "crouching": -0.05, "arched": -0.12, "rear_lowered": -0.02}
        x = root[0] + h * (0.11 + shift + moved.get(plan.posture, 0.0) * how)
        foot = np.array([x, 0.0, side * h * (across + 0.012)])
        low = max(0.0, 0.78 - root[1] / h)  # a sunk rump leans the hocks forward
        lean = np.clip(0.16 + 1.6 * low, 0.0, 0.9)
        ankle = foot + h * np.array([0.015 + 0.21 * np.sin(lean), 0.03 + 0.19 * np.cos(lean), 0.0])
        stifle = two_links(root, ankle, 0.275 * h, 0.34 * h, -1.0)
        stifle[2] = side * h * (across + 0.02)
        return Leg(root, stifle, ankle, foot)

    @cached_property
    def fore(self) -> tuple[Leg, Leg]:
        """Near and far foreleg."""
        p = self.plan.proportions
        near = p.front_foot_shift
        return self._fore_leg(1.0, near), self._fore_leg(-1.0, near + p.far_front_shift)

    @cached_property
    def hind(self) -> tuple[Leg, Leg]:
        """Near and far hind leg."""
        p = self.plan.proportions
        near = p.rear_foot_shift
        return self._hind_leg(1.0, near), self._hind_leg(-1.0, near + p.far_rear_shift)

    # --- neck and head -----------------------------------------------------

    @cached_property
    def neck_direction(self) -> Array:
        """Unit vector of the neck, (3,)."""
        sink = {"crouching": 28.0, "arched": 15.0, "rear_lowered": 0.0, "stretched": 4.0}
        lowered = sink.get(self.plan.posture, 0.0) * self.plan.severity
        angle = np.radians(self.plan.neck_carriage_deg - lowered)
        return np.array([-np.cos(angle), np.sin(angle), 0.0])

    @cached_property
    def neck_root(self) -> Array:
        """Middle of the neck's base, (3,) mm."""
        p = self.plan.proportions
        # A steep neck over a high breastbone comes out lower, or it would lift the withers.
        steep = float(np.clip((self.plan.neck_carriage_deg - 55.0) / 8.0, 0.0, 1.0))
        sunk = 0.8 * steep * max(p.breastbone_height - 0.685, 0.0)
        height = 0.5 * (0.96 + p.breastbone_height) + 0.01 - sunk
        return self.at(p.withers_at - 0.085, height, 0.0)

    @cached_property
    def poll(self) -> Array:
        """Where the neck carries the skull, (3,) mm."""
        p, h = self.plan.proportions, self.plan.height_mm
        return np.asarray(self.neck_root + h * (p.neck_length + 0.05) * self.neck_direction)

    @cached_property
    def head_angle(self) -> float:
        """Turn of the head: the nose points this far below the horizontal, rad."""
        rise = float(np.arcsin(self.neck_direction[1]))
        return float(np.clip(0.10 + 0.3 * rise, -0.1, 0.5))

    def head_point(self, forward: float, up: float, z: float = 0.0) -> Array:
        """A place of the head by its own axes from the skull's middle, fractions; (3,) mm."""
        h, a = self.plan.height_mm, self.head_angle
        ahead = np.array([-np.cos(a), -np.sin(a), 0.0])
        above = np.array([-np.sin(a), np.cos(a), 0.0])
        middle = self.poll + h * 0.055 * self.neck_direction
        return np.asarray(middle + h * (forward * ahead + up * above) + [0.0, 0.0, h * z])

    # --- landmarks ---------------------------------------------------------

    def rays(self) -> dict[str, tuple[Array, Array]]:
        """For each landmark of the trunk a place inside and a direction outward, (3,) each."""
        p, h = self.plan.proportions, self.plan.height_mm
        spine = self.spine
        up = self._up
        fore = np.array([-np.cos(spine.angle(0.0)), -np.sin(spine.angle(0.0)), 0.0])
        behind = self._behind_elbow_station()
        tail_at = p.length - 0.07  # where the upper line of the tail's root leaves the back
        tail_up = up(tail_at * h)
        side = np.array([0.0, 0.0, 1.0])
        strap = np.radians(p.strap_angle_deg)
        down_side = -np.sin(strap) * up(behind) + np.cos(strap) * side
        back = spine.place(self._elbow_station(), 0.0)
        return {
            "breastbone": (self.at(0.12, p.breastbone_height + 0.01, 0.0), fore - 0.08 * up(0.0)),
            "shoulder_top": (self.at(p.withers_at, 0.80, 0.0), up(p.withers_at * h)),
            "last_rib": (self.at(p.last_rib_at * p.length, p.last_rib_height, 0.0), side),
            "tail_base": (self.at(tail_at, 0.78, 0.0), tail_up),
            "back_top": (back, up(self._elbow_station())),
            "chest_bottom": (spine.place(behind, 0.0), -up(behind)),
            "behind_elbow": (spine.place(behind, h * (0.70 - SPINE_HEIGHT)), down_side),
        }

    def girth_plane(self) -> tuple[Array, Array]:
        """Two places inside the chest, low and high, behind the elbows; (3,) mm each."""
        h = self.plan.height_mm
        s = self._behind_elbow_station() + 0.02 * h
        return self.spine.place(s, -0.1 * h), self.spine.place(s, 0.1 * h)

    def _up(self, s: float) -> Array:
        phi = self.spine.angle(s)
        return np.array([-np.sin(phi), np.cos(phi), 0.0])

    def _elbow_station(self) -> float:
        elbow = self.fore[0].knee
        s, _ = self.spine.locate(np.array([elbow[0]]), np.array([elbow[1]]))
        return float(s[0])

    def _behind_elbow_station(self) -> float:
        """A finger's breadth behind the elbow's rear outline, mm."""
        p, h = self.plan.proportions, self.plan.height_mm
        return self._elbow_station() + h * (0.75 * p.leg_thickness + 0.025)
