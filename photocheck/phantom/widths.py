"""True widths of a phantom, measured on its mesh: the rings where neck and chest are held.

The ring at the neck is the taut one around the section through breastbone and shoulder top
(as in `photocheck.phantom.tape`), the chest's the section behind the elbows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import trimesh

from photocheck.phantom.field import Array
from photocheck.phantom.section import section_hull
from photocheck.phantom.solid import Dog


@dataclass(frozen=True)
class Widths:
    """True widths of a dog, mm."""

    neck: float
    chest: float


def ring_at_neck(mesh: trimesh.Trimesh, start: Array, end: Array) -> Array:
    """The taut ring around the section through two points of the mirror plane, (n, 3) mm."""
    chord = end - start
    along = chord / np.linalg.norm(chord)
    flat = np.array(section_hull(mesh, start, end).exterior.coords)
    return np.asarray(start + flat[:, :1] * along + flat[:, 1:] * np.array([0.0, 0.0, 1.0]))


def ring_at_chest(mesh: trimesh.Trimesh, dog: Dog) -> Array:
    """The same of the chest behind the elbows."""
    return ring_at_neck(mesh, *dog.anatomy.girth_plane())


def true_widths(dog: Dog) -> Widths:
    """What two boards would measure: widths where a tape lies, the coat pressed as by it."""
    neck = ring_at_neck(dog.tape_mesh, dog.tape["breastbone"], dog.tape["shoulder_top"])
    chest = ring_at_chest(dog.tape_mesh, dog)
    return Widths(float(np.ptp(neck[:, 2])), float(np.ptp(chest[:, 2])))
