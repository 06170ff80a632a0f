"""The true tape readings of a phantom: taut paths over the body, never a formula.

The half neck is half of the taut ring around the section through the breastbone
and the shoulder top.  The rear is the taut string from the last rib to the tail
base.  The front runs from the breastbone between the forelegs to where it
appears behind the elbow and from there up the ribs to the last rib.  The full
length is the sum of both by definition.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photocheck.phantom.field import Array
from photocheck.phantom.section import hull_perimeter
from photocheck.phantom.solid import BEHIND_ELBOW, Dog
from photocheck.phantom.taut import length, pull_taut, push_out, resample


@dataclass(frozen=True, eq=False)
class TapePaths:
    """Where the tape lies, polylines (n, 3), mm.

    ``under`` runs from the breastbone to behind the elbow, ``ribs`` from there
    to the last rib, ``rear`` from the last rib to the tail base.
    """

    under: Array
    ribs: Array
    rear: Array


def tape_paths(dog: Dog) -> TapePaths:
    """The taut paths of the front and the rear length."""
    marks, body = dog.tape, dog.tape_field
    h = dog.plan.height_mm
    behind, low = marks[BEHIND_ELBOW], marks["chest_bottom"]
    # Along the keel of the chest, so that the string passes between the forelegs.
    keel = np.linspace(marks["breastbone"], low, 9)
    keel[1:, 1] -= 0.02 * h
    keel[:, 2] = 0.0
    keel = push_out(body, keel, onto=True, rounds=6)
    keel[:, 2] = 0.0
    under = np.concatenate([marks["breastbone"][None], keel[1:], behind[None]])
    ribs = push_out(body, resample(np.stack([behind, marks["last_rib"]]), 17), onto=True, rounds=6)
    ribs[0], ribs[-1] = behind, marks["last_rib"]
    rear = resample(np.stack([marks["last_rib"], marks["tail_base"]]), 17)
    rear[1:-1] = push_out(body, rear[1:-1], onto=True, rounds=8)
    return TapePaths(pull_taut(body, under), pull_taut(body, ribs), pull_taut(body, rear))


def tape_truth(dog: Dog) -> dict[str, float]:
    """The true tape readings.

    Returns
    -------
    dict
        For each span of `photocheck.words.SPANS` its length, mm.
    """
    paths = tape_paths(dog)
    front = length(paths.under) + length(paths.ribs)
    rear = length(paths.rear)
    marks = dog.tape
    ring = hull_perimeter(dog.tape_mesh, marks["breastbone"], marks["shoulder_top"])
    return {
        "half_neck": 0.5 * ring,
        "front_length": front,
        "rear_length": rear,
        "full_length": front + rear,
    }
