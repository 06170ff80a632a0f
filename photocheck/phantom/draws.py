"""How references get placed and cameras get held: the draws behind `random_scene`.

All ranges are the builder's judgement of what owners do at home, not measured.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from photocheck.phantom.placed import PlacedReference
from photocheck.phantom.solid import Dog
from photocheck.phantom.true_camera import Camera
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.sheet import LAYOUT

KIND_WEIGHTS: Final = {
    "marker_sheet": 0.34,
    "a4": 0.16,
    "letter": 0.10,
    "id_card": 0.16,
    "two_points": 0.10,
    "disc": 0.07,
    "ball": 0.07,
}
PLACE_WEIGHTS: Final = {
    "near_flank": 0.15,
    "near_feet": 0.20,
    "middle": 0.18,
    "far_feet": 0.12,
    "wall_close": 0.15,
    "wall": 0.20,
}
TOLD: Final = 0.75
"""Share of owners who measure how far the dog's middle stood from the wall, as asked."""
TOLD_SPREAD_MM: Final = 30.0
STANDING: Final = 0.3
"""Share of owners who take the photo standing, looking down on the dog."""

FOCALS_35MM: Final = (24.0, 26.0, 27.0, 28.0, 35.0)
"""Main cameras of phones, each as likely."""
LENS_SPREADS: Final = (0.008, 0.004)
"""Of the first two radial distortion terms."""
SQUARE_YAW_DEG: Final = 7.0
"""Standard deviation of the turn of those who mean to stand square."""
SLANTED: Final = 1.0 / 7.0
"""Share of photos taken from aslant."""
SLANTED_DEG: Final = (12.0, 25.0)
"""How far from square those are."""
SWING_DEG: Final = {True: 1.5, False: 3.0}
"""Standard deviation of the reference's turn about the upright: on a wall, or not."""
LEAN_DEG: Final = {True: (0.0, 1.0), False: (3.0, 3.0)}
"""Mean and standard deviation of how far its top leans back: on a wall, or not."""
OFFSETS: Final = {
    "near_flank": (1.0, 5.0, 30.0),
    "near_feet": (1.0, 0.0, 120.0),
    "middle": (0.0, -30.0, 30.0),
    "far_feet": (-1.0, -130.0, -30.0),
    "wall_close": (-1.0, -250.0, -30.0),
    "wall": (0.0, -1200.0, -300.0),
}
"""How far in front of the dog's middle plane a reference stands: half widths of the trunk, and
the range beyond them, mm."""


def true_offset(rng: np.random.Generator, place: str, half_width_mm: float) -> float:
    """Draw how far in front of the dog's middle plane a reference at ``place`` truly stands, mm.

    Parameters
    ----------
    rng : numpy Generator
    place : str
        A key of `PLACE_WEIGHTS`.
    half_width_mm : float
        Half-width of the visible trunk, mm.

    Raises
    ------
    KeyError
        For a place that has no position.
    """
    side, low, high = OFFSETS[place]
    return float(rng.uniform(side * half_width_mm + low, side * half_width_mm + high))


def random_reference(
    rng: np.random.Generator,
    dog: Dog,
    kind: str | None,
    place: str | None,
    *,
    careless: bool = False,
) -> PlacedReference:
    """Draw a reference and where it stood; ``kind`` and ``place`` may be fixed.

    Careless owners measure no distance to a wall.
    """
    kinds = list(KIND_WEIGHTS)
    kind = kind or str(rng.choice(kinds, p=[KIND_WEIGHTS[k] for k in kinds]))
    places = list(PLACE_WEIGHTS)
    place = place or str(rng.choice(places, p=[PLACE_WEIGHTS[k] for k in places]))
    offset = true_offset(rng, place, dog.trunk_half_width)
    item = REFERENCES[kind]
    length = float(rng.choice([200.0, 300.0, 500.0])) if item.form == "points" else None
    diameter = None
    if item.form == "disc":
        diameter = float(rng.choice([180.0, 220.0, 260.0]))
    if item.form == "ball":
        diameter = float(rng.choice([66.0, 95.0, 180.0]))
    factor = float(1.0 + np.clip(rng.normal(), -2.5, 2.5) * item.size_spread)
    bar = None
    if item.form == "markers" and rng.random() < 0.5:
        # Read on a ruler to the half millimetre.
        bar = round(2.0 * (LAYOUT.bar_mm * factor + rng.normal(0.0, 0.3))) / 2.0
    turn = float(rng.normal(0.0, 3.0))
    if kind in ("a4", "letter", "id_card") and rng.random() < 0.5:
        turn += 90.0
    told = None
    if place.startswith("wall") and rng.random() < TOLD and not careless:
        told = offset + float(rng.normal(0.0, TOLD_SPREAD_MM))
    placed = PlacedReference(
        kind=kind,
        place=place,
        offset_mm=offset,
        centre=(0.0, 0.0, offset),
        told_offset_mm=told,
        turn_deg=turn,
        swing_deg=float(rng.normal(0.0, SWING_DEG[place.startswith("wall")])),
        lean_deg=float(rng.normal(*LEAN_DEG[place.startswith("wall")])),
        size_factor=factor,
        length_mm=length,
        diameter_mm=diameter,
        bar_mm=bar,
        paper="letter" if rng.random() < 0.4 else "a4",
    )
    spot = _spot(rng, dog, placed)
    return replace(placed, centre=(spot[0], spot[1], offset))


def _spot(rng: np.random.Generator, dog: Dog, placed: PlacedReference) -> tuple[float, float]:
    """Where in its plane the middle of the reference is, mm."""
    marks, h = dog.visible, dog.plan.height_mm
    head, tail = dog.extent[:, 0].min(), dog.extent[:, 0].max()
    corners = placed.hull_points() - np.array(placed.centre)
    half_x, half_y = np.abs(corners[:, 0]).max(), np.abs(corners[:, 1]).max()
    chest, rump = marks["breastbone"][0], marks["tail_base"][0]
    middle = 0.5 * (chest + rump)
    if placed.place == "near_flank":
        # Between elbow and thigh, below the last-rib point; a sheet hangs past the belly.
        x = marks["last_rib"][0] - rng.uniform(0.0, 0.12) * h
        return float(x), float(marks["last_rib"][1] - 0.07 * h - half_y)
    if placed.place in ("near_feet", "far_feet"):
        room = max(0.5 * (marks["rear_foot"][0] - marks["front_foot"][0]) - half_x, 0.05 * h)
        return float(middle + rng.uniform(-room, room)), float(half_y + rng.uniform(0.0, 8.0))
    if placed.place == "middle":
        up = half_y + rng.uniform(0.0, 0.3 * h)
        if rng.random() < 0.5:
            return float(chest - half_x - rng.uniform(0.1, 0.35) * h), float(min(up, 0.5 * h))
        return float(tail + half_x + rng.uniform(0.05, 0.3) * h), float(up)
    # On a wall: mostly above the back, where the dog does not hide it.
    x = rng.uniform(0.5 * (head + chest), tail)
    return float(x), float(1.05 * h + half_y + rng.uniform(0.05, 0.35) * h)


def random_camera(
    rng: np.random.Generator,
    dog: Dog,
    offset_mm: float,
    oblique: bool | None,
    size_px: tuple[int, int],
    *,
    careless: bool = False,
) -> Camera:
    """Draw how the camera was held: 1.8 to 4 m from the dog, mostly square to it."""
    # Nobody photographs a small dog from across the yard.
    farthest = min(4000.0, 2200.0 + 3.0 * dog.plan.height_mm)
    distance = float(rng.uniform(1800.0, farthest))
    # Told to hold it at chest height; some stay on their feet all the same.
    height = float(rng.normal(0.6 * dog.plan.height_mm, 130.0))
    if rng.random() < STANDING:
        height = float(rng.uniform(1000.0, 1500.0))
    if careless:
        height = float(rng.uniform(300.0, 1600.0))
    height = max(height, 250.0)
    slanted = rng.random() < SLANTED if oblique is None else oblique
    yaw = float(rng.normal(0.0, SQUARE_YAW_DEG))
    if slanted:
        yaw = float(rng.choice([-1.0, 1.0]) * rng.uniform(*SLANTED_DEG))
    yaw = float(np.clip(yaw, -SLANTED_DEG[1], SLANTED_DEG[1]))
    h = dog.plan.height_mm
    low, high = dog.extent.min(axis=0), dog.extent.max(axis=0)
    aim_y = 0.55 * h + (0.25 * h if offset_mm < -0.5 * h else 0.0)
    middle = np.array([0.5 * (low[0] + high[0]), aim_y, 0.0])
    aim = middle + rng.normal(0.0, 0.06 * h, size=3) * [1.0, 1.0, 0.0]
    level = float(np.sqrt(max(distance**2 - (height - middle[1]) ** 2, 1000.0**2)))
    a = np.radians(yaw)
    position = np.array([middle[0] + level * np.sin(a), height, level * np.cos(a)])
    focal = float(rng.choice(FOCALS_35MM) + rng.uniform(-0.5, 0.5))
    first, second = (float(rng.normal(0.0, spread)) for spread in LENS_SPREADS)
    bent = (first, second, 0.0, 0.0)
    return Camera(
        position=(float(position[0]), float(position[1]), float(position[2])),
        aim=(float(aim[0]), float(aim[1]), float(aim[2])),
        focal_35mm=focal,
        size_px=size_px,
        roll_deg=float(rng.normal(0.0, 1.5)),
        distortion=bent,
    )
