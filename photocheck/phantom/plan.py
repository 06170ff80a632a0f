"""What makes one phantom dog differ from the next: size, build, coat, posture, proportions.

Proportions are drawn to stay within published breed-standard ranges: the body
exceeds the height at the withers by 0 to 17 % (FCI standard 143: at most 5 %
for males and 10 % for bitches; FCI standard 166: 10 to 17 %; FCI standard 147:
at most 15 %), the chest is about half as deep as the dog is high (FCI 143 and
147: half; FCI 166: 45 to 48 %), the girth is 1.1 to 1.4 of the height.  Where no
standard speaks (widths, necks, haunches) means and spreads give what thirty bodies
of nine makers show (``photocheck/benchmark/bodies.json``, looked at, never read):
half neck over chord 1.40 with a standard deviation of 7 %, width of that section over
its chord 0.75 and 15 %, going with the trunk's width, the rear over its chord 1.14.
The breastbone is at two thirds of the height: square dogs in open photographs show
0.68 to 0.74 of the shoulder's height, those bodies 0.6 to 0.75.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

POSTURES: Final = ("square", "crouching", "stretched", "arched", "rear_lowered")
"""Stances a phantom can take; all but the first come with a severity."""

WOBBLES: Final = 48
"""How many independent small deviations the trunk outline carries."""


@dataclass(frozen=True)
class Proportions:
    """Lengths as fractions of the height at the withers, unless said otherwise.

    Widths are full widths; angles degrees; ``last_rib_at`` is a fraction of the length.
    ``strap_angle_deg`` is how far below the side of the chest the tape comes out
    behind the elbow.  ``wobble`` holds `WOBBLES` standard normal deviates that shift
    the knots of the trunk outline by ``wobble_scale`` of their value each: no two
    dogs share one family of curves.
    """

    length: float = 1.05
    chest_depth: float = 0.465
    chest_width: float = 0.3
    shoulder_width: float = 0.395
    loin_depth: float = 0.36
    loin_width: float = 0.255
    rump_width: float = 0.275
    withers_at: float = 0.26
    breastbone_height: float = 0.67
    breastbone_forward: float = 0.02
    croup_height: float = 0.965
    tail_drop: float = 0.085
    last_rib_at: float = 0.57
    last_rib_height: float = 0.72
    neck_length: float = 0.36
    neck_thickness: float = 0.22
    neck_across: float = 0.8
    head_length: float = 0.40
    muzzle_share: float = 0.48
    skull_width: float = 0.20
    ear_length: float = 0.13
    drop_ears: bool = False
    leg_thickness: float = 0.066
    thigh_thickness: float = 0.13
    tail_length: float = 0.40
    tail_lift_deg: float = -40.0
    strap_angle_deg: float = 60.0
    power_top: float = 2.35
    power_bottom: float = 2.1
    front_foot_shift: float = 0.0
    rear_foot_shift: float = 0.0
    far_front_shift: float = 0.03
    far_rear_shift: float = -0.04
    wobble_scale: float = 0.022
    wobble: tuple[float, ...] = (0.0,) * WOBBLES


@dataclass(frozen=True)
class DogPlan:
    """Everything that fixes one phantom dog.

    Attributes
    ----------
    height_mm : float
        At the withers when standing square, without coat, mm (300 to 720).
    broadness : float
        0 slim, 0.5 medium, 1 broad.
    coat_mm : float
        How far the visible outline stands off the skin on the trunk, mm (0 to 40).
    coat_squeeze : float
        What fraction of the coat is left under a tape, 0 to 1.
    neck_carriage_deg : float
        Direction of the neck above the horizontal, degrees.
    posture : str
        One of `POSTURES`.
    severity : float
        0 to 1.
    proportions : Proportions
    """

    height_mm: float = 560.0
    broadness: float = 0.5
    coat_mm: float = 12.0
    coat_squeeze: float = 0.25
    neck_carriage_deg: float = 48.0
    posture: str = "square"
    severity: float = 0.0
    proportions: Proportions = Proportions()

    def __post_init__(self) -> None:
        """Refuse what is outside the limits (ValueError)."""
        if self.posture not in POSTURES:
            raise ValueError(f"posture {self.posture!r} is none of {', '.join(POSTURES)}")
        limits = {
            "height_mm": (250.0, 800.0),
            "broadness": (0.0, 1.0),
            "coat_mm": (0.0, 45.0),
            "coat_squeeze": (0.0, 1.0),
            "neck_carriage_deg": (-20.0, 80.0),
            "severity": (0.0, 1.0),
        }
        for name, (low, high) in limits.items():
            if not low <= getattr(self, name) <= high:
                raise ValueError(f"{name} must lie between {low} and {high}")
        if len(self.proportions.wobble) != WOBBLES:
            raise ValueError(f"wobble needs {WOBBLES} deviates")

    @property
    def build(self) -> str:
        """The build in words: "slim", "medium" or "broad"."""
        return "slim" if self.broadness < 0.3 else "medium" if self.broadness < 0.7 else "broad"

    @property
    def coat(self) -> str:
        """The coat in words: "short", "medium" or "long"."""
        return "short" if self.coat_mm < 8 else "medium" if self.coat_mm < 22 else "long"


# Mean at medium build, change from slim to broad, standard deviation between dogs, limits.
_SPREAD: Final = {
    "length": (1.05, 0.02, 0.035, 0.97, 1.11),
    "chest_depth": (0.465, 0.03, 0.022, 0.41, 0.485),
    "chest_width": (0.3, 0.12, 0.022, 0.22, 0.35),
    "shoulder_width": (0.395, 0.14, 0.03, 0.29, 0.52),
    "loin_depth": (0.355, 0.08, 0.016, 0.26, 0.45),
    "loin_width": (0.255, 0.1, 0.03, 0.18, 0.38),
    "rump_width": (0.275, 0.06, 0.03, 0.19, 0.4),
    "withers_at": (0.26, 0.0, 0.014, 0.20, 0.31),
    "breastbone_height": (0.67, -0.02, 0.035, 0.57, 0.76),
    "breastbone_forward": (0.02, 0.0, 0.010, -0.01, 0.05),
    "croup_height": (0.965, 0.0, 0.015, 0.92, 1.01),
    "tail_drop": (0.085, 0.0, 0.022, 0.03, 0.15),
    "last_rib_at": (0.57, 0.0, 0.014, 0.53, 0.61),
    "last_rib_height": (0.72, 0.0, 0.018, 0.66, 0.79),
    "neck_length": (0.36, -0.04, 0.028, 0.26, 0.46),
    "neck_thickness": (0.22, 0.06, 0.013, 0.16, 0.30),
    "neck_across": (0.8, 0.25, 0.1, 0.5, 1.35),
    "head_length": (0.40, 0.0, 0.022, 0.33, 0.47),
    "muzzle_share": (0.48, -0.04, 0.03, 0.36, 0.56),
    "skull_width": (0.20, 0.05, 0.010, 0.15, 0.27),
    "ear_length": (0.13, 0.0, 0.014, 0.09, 0.18),
    "leg_thickness": (0.066, 0.022, 0.004, 0.045, 0.095),
    "thigh_thickness": (0.13, 0.03, 0.012, 0.09, 0.19),
    "tail_length": (0.40, 0.0, 0.04, 0.25, 0.5),
    "tail_lift_deg": (-35.0, 0.0, 25.0, -75.0, 60.0),
    "strap_angle_deg": (60.0, 0.0, 9.0, 35.0, 82.0),
    "power_top": (2.35, 0.1, 0.12, 2.0, 2.8),
    "power_bottom": (2.1, 0.1, 0.12, 1.85, 2.5),
    "front_foot_shift": (0.0, 0.0, 0.015, -0.04, 0.04),
    "rear_foot_shift": (0.0, 0.0, 0.025, -0.06, 0.06),
    "far_front_shift": (0.02, 0.0, 0.025, -0.05, 0.07),
    "far_rear_shift": (-0.02, 0.0, 0.035, -0.08, 0.08),
}


def random_plan(
    rng: np.random.Generator, *, posture: str | None = None, severity: float | None = None
) -> DogPlan:
    """Draw one dog from the population.

    Parameters
    ----------
    rng : numpy Generator
    posture : str or None
        Fix the posture; None draws it: 70 % square, the rest evenly shared.
    severity : float or None
        Fix the severity; None draws it (square dogs up to 0.15, else 0.35 to 1).

    Returns
    -------
    DogPlan
    """
    height = float(np.clip(rng.normal(540.0, 90.0), 300.0, 720.0))
    broadness = float(np.clip(rng.normal(0.5, 0.24), 0.0, 1.0))
    values: dict[str, float] = {}
    for name, (mean, change, sd, low, high) in _SPREAD.items():
        drawn = rng.normal(mean + change * (broadness - 0.5), sd)
        values[name] = float(np.clip(drawn, low, high))
    drop_ears = bool(rng.random() < 0.5)
    wobble = tuple(float(v) for v in np.clip(rng.normal(size=WOBBLES), -2.5, 2.5))
    kind = rng.random()
    coat = 3.0 + 5.0 * rng.random() if kind < 0.4 else 8.0 + 14.0 * rng.random()
    if kind > 0.8:
        coat = 22.0 + 16.0 * rng.random()
    coat = min(coat, 0.06 * height)  # small dogs do not carry the coat of large ones
    squeeze = float(rng.uniform(0.12, 0.4))
    carriage = float(np.clip(rng.normal(47.0, 10.0), 15.0, 68.0))
    drawn_posture = "square"
    if rng.random() > 0.7:
        drawn_posture = POSTURES[1 + int(rng.integers(len(POSTURES) - 1))]
    chosen = posture or drawn_posture
    how_much = rng.uniform(0.0, 0.15) if chosen == "square" else rng.uniform(0.35, 1.0)
    return DogPlan(
        height_mm=height,
        broadness=broadness,
        coat_mm=float(coat),
        coat_squeeze=squeeze,
        neck_carriage_deg=carriage,
        posture=chosen,
        severity=float(how_much if severity is None else severity),
        proportions=Proportions(drop_ears=drop_ears, wobble=wobble, **values),
    )
