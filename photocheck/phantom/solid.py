"""A dog as a solid: trunk, masses, limbs and head, posed, meshed, with known landmarks.

Coordinates: x from head to tail, y up from the ground, z across, positive on
the side the camera sees; the mirror plane is z = 0 (the legs may stand
unevenly).  All lengths are millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any, Final

import numpy as np
import trimesh
from skimage.measure import marching_cubes

from photocheck.phantom.anatomy import Anatomy
from photocheck.phantom.field import Array, Field, build_field
from photocheck.phantom.masses import tape_masses, visible_masses
from photocheck.phantom.plan import POSTURES, DogPlan, Proportions, random_plan
from photocheck.words import ALL_LANDMARKS

__all__ = [
    "BEHIND_ELBOW",
    "BENCHMARK_RESOLUTION",
    "POSTURES",
    "Dog",
    "DogPlan",
    "Proportions",
    "make_dog",
    "random_plan",
]

BEHIND_ELBOW: Final = "behind_elbow"
"""Where the tape that came between the forelegs appears on the lower side of the chest."""

BENCHMARK_RESOLUTION: Final = 60
"""Grid samples per height at the withers: 9 mm on a 540 mm dog.  Tape truths
move by well under 1 % when it is doubled; pictures want 130 or more."""


@dataclass(frozen=True, eq=False)
class Dog:
    """A phantom with its two surfaces and its landmarks.

    Attributes
    ----------
    plan : DogPlan
    resolution : int
        Grid samples per height at the withers.
    visible_field, tape_field : Field
        The outline with its coat (whole dog), and the skin with the pressed
        coat (without lower legs, muzzle, ears and tail), mm.
    visible, tape : mapping of landmark name to (3,) mm
        Every name of `photocheck.words.ALL_LANDMARKS` and `BEHIND_ELBOW`, on
        the visible outline and where the tape lies.
    """

    plan: DogPlan
    resolution: int
    anatomy: Anatomy
    visible_field: Field
    tape_field: Field
    visible: Mapping[str, Array]
    tape: Mapping[str, Array]

    @cached_property
    def visible_mesh(self) -> trimesh.Trimesh:
        """The outline with coat as a closed mesh, mm."""
        return mesh_of(self.visible_field)

    @cached_property
    def tape_mesh(self) -> trimesh.Trimesh:
        """The body a tape lies on as a closed mesh, mm."""
        return mesh_of(self.tape_field)

    @cached_property
    def extent(self) -> Array:
        """Corners of the box around the visible dog, (8, 3) mm."""
        full = self.visible_field
        inside = full.values < 0
        reach = []
        for axis in range(3):
            filled = np.flatnonzero(inside.any(axis=tuple(k for k in range(3) if k != axis)))
            start = full.origin[axis]
            reach.append(start + full.step * np.array([filled[0] - 1, filled[-1] + 1]))
        return np.array([[x, y, z] for x in reach[0] for y in reach[1] for z in reach[2]])

    @cached_property
    def trunk_half_width(self) -> float:
        """Half-width of the visible trunk at the last rib, mm."""
        return float(self.visible["last_rib"][2])

    @cached_property
    def girth(self) -> float:
        """Tape girth behind the elbow: hull of the upright section of the tape body, mm."""
        from photocheck.phantom.section import hull_perimeter

        low, high = self.anatomy.girth_plane()
        return hull_perimeter(self.tape_mesh, low, high)

    @property
    def mass_kg(self) -> float:
        """Body mass: the tape body's volume at 1.08 kg per litre, soft tissue and air together."""
        return 1.08e-6 * float(self.tape_mesh.volume)


def mesh_of(body: Field) -> trimesh.Trimesh:
    """The zero level of a field as a closed triangle mesh, mm."""
    # A level within a hair of a grid point makes triangles without area: keep off.
    least = 1e-3 * body.step
    close = np.abs(body.values) < least
    values = np.where(close, np.where(body.values < 0, -least, least), body.values)
    extract: Any = marching_cubes
    vertices, faces, _, _ = extract(
        values, level=0.0, spacing=(body.step,) * 3, gradient_direction="descent"
    )
    mesh = trimesh.Trimesh(vertices + body.origin, faces, process=False)
    parts = mesh.split(only_watertight=False) if mesh.body_count > 1 else [mesh]
    return max(parts, key=lambda part: len(part.faces))


def _landmarks(anatomy: Anatomy, body: Field) -> dict[str, Array]:
    """Where rays from known places inside leave a surface, (3,) mm each."""
    reach = 0.6 * anatomy.plan.height_mm
    found = {
        name: body.leave(start, direction, reach)
        for name, (start, direction) in anatomy.rays().items()
    }
    # Paws stand on the ground, whatever the coat.
    for name, leg in (("front_foot", anatomy.fore[0]), ("rear_foot", anatomy.hind[0])):
        found[name] = np.array([leg.foot[0] - 0.024 * anatomy.plan.height_mm, 0.0, leg.foot[2]])
    return {name: found[name] for name in (*ALL_LANDMARKS, BEHIND_ELBOW)}


def make_dog(plan: DogPlan, resolution: int = BENCHMARK_RESOLUTION) -> Dog:
    """Build one phantom.

    Parameters
    ----------
    plan : DogPlan
    resolution : int
        Grid samples per height at the withers, 30 to 400.

    Returns
    -------
    Dog

    Raises
    ------
    ValueError
        When the resolution is out of range.
    """
    if not 30 <= resolution <= 400:
        raise ValueError("resolution must lie between 30 and 400")
    step = plan.height_mm / resolution
    anatomy = Anatomy(plan)
    visible = build_field(visible_masses(anatomy), step, ground=True)
    tape = build_field(tape_masses(anatomy), step, ground=False)
    on_tape = _landmarks(anatomy, tape)
    on_coat = _landmarks(anatomy, visible)
    # A raised tail lies over its own base: the back's outline goes on beneath it.
    _, upward = anatomy.rays()["tail_base"]
    stands_off = plan.coat_mm * (1.0 - plan.coat_squeeze)
    on_coat["tail_base"] = on_tape["tail_base"] + stands_off * upward
    return Dog(
        plan=plan,
        resolution=resolution,
        anatomy=anatomy,
        visible_field=visible,
        tape_field=tape,
        visible=MappingProxyType(on_coat),
        tape=MappingProxyType(on_tape),
    )
