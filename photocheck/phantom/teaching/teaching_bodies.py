"""Bodies to take pictures of: phantoms of many builds, and bodies of other makers from a file.

A body is a mesh with the points that are taught.  Coordinates as in `photocheck.phantom.solid`
but in heights at the withers: x from head to tail, y up from the ground, z across, positive
on the near side.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from photocheck.phantom.anatomy import Anatomy
from photocheck.phantom.field import Array, Field, build_field
from photocheck.phantom.masses import limb_masses
from photocheck.phantom.plan import DogPlan, Proportions, random_plan
from photocheck.phantom.solid import mesh_of
from photocheck.phantom.teaching.features import EARS, TAILS, ears, hair_masses, tail
from photocheck.phantom.teaching.poses import FOLDED, STANDING, FoldedAnatomy, draw_pose

POINTS: Final = (
    "breastbone",
    "shoulder_top",
    "last_rib",
    "tail_base",
    "near_front_foot",
    "near_hind_foot",
    "far_front_foot",
    "far_hind_foot",
    "back_top",
    "chest_bottom",
    "nose",
)
"""What is taught, in the order of the network's channels."""

RESOLUTION: Final = 50
"""Grid samples per height: 2 cm of a large dog, a pixel or two of a look."""

TAIL_BEHIND: Final = {"raised": 0.010, "hanging": 0.032}
TAIL_BELOW: Final = {"raised": 0.010, "hanging": 0.026}
"""How far behind and below the phantom's tail base the eye puts it, fraction of the height: a
raised tail leaves the back before its root, a hanging one behind the croup's bend."""
FLUFFY: Final = 0.2
"""Share of phantoms whose coat is far longer than any plan's."""
RAISED: Final = ("up", "over", "curled")

Floats = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class TeachingBody:
    """A mesh in one pose.

    Attributes
    ----------
    vertices, faces : (n, 3) heights, (m, 3) int
    points : mapping of `POINTS` to (3,) heights
    poll, nose_root, eye : (3,) heights
        Where the neck carries the skull, the muzzle's middle, and the near eye.
    tint : (n,) 0, or 1 where it is dark whatever the coat (nose, eyes), or None
    kind : str
        A kind of look that it can be shown in when seen from the side.
    length : float
        Breastbone to tail base, heights.
    """

    vertices: Floats
    faces: npt.NDArray[np.int32]
    points: Mapping[str, Array]
    poll: Array
    eye: Array
    kind: str = STANDING
    tint: Floats | None = None
    name: str = "phantom"

    @property
    def trunk(self) -> float:
        """Breastbone to tail base in side view, heights."""
        gap = self.points["tail_base"] - self.points["breastbone"]
        return float(np.hypot(gap[0], gap[1]))


def unusual_plan(rng: np.random.Generator) -> DogPlan:
    """A plan like `random_plan`'s, of builds beyond the usual one time in two."""
    plan = random_plan(rng)
    p = plan.proportions
    if rng.random() < 0.5:
        u = rng.uniform
        p = replace(
            p,
            length=float(np.clip(p.length * u(0.92, 1.12), 0.92, 1.2)),
            chest_depth=float(np.clip(p.chest_depth * u(0.85, 1.2), 0.38, 0.58)),
            loin_depth=float(np.clip(p.loin_depth * u(0.72, 1.2), 0.22, 0.48)),
            neck_length=float(p.neck_length * u(0.7, 1.25)),
            neck_thickness=float(p.neck_thickness * u(0.75, 1.35)),
            head_length=float(p.head_length * u(0.8, 1.2)),
            muzzle_share=float(np.clip(p.muzzle_share * u(0.6, 1.15), 0.25, 0.56)),
            skull_width=float(p.skull_width * u(0.75, 1.35)),
            leg_thickness=float(p.leg_thickness * u(0.7, 1.4)),
            thigh_thickness=float(p.thigh_thickness * u(0.85, 1.25)),
            croup_height=float(np.clip(p.croup_height + u(-0.04, 0.05), 0.88, 1.03)),
            # dogs in open photographs show 0.68 to 0.74 of the shoulder's height (`plan`)
            breastbone_height=float(np.clip(p.breastbone_height + u(-0.04, 0.08), 0.57, 0.79)),
            withers_at=float(np.clip(p.withers_at + u(-0.04, 0.04), 0.19, 0.33)),
            tail_drop=float(np.clip(p.tail_drop + u(-0.03, 0.05), 0.02, 0.18)),
        )
    walk = float(rng.normal(0.0, 0.07))
    p = replace(
        p,
        front_foot_shift=float(np.clip(p.front_foot_shift + walk, -0.16, 0.16)),
        far_front_shift=float(np.clip(rng.normal(0.0, 0.09), -0.22, 0.22)),
        rear_foot_shift=float(np.clip(p.rear_foot_shift + rng.normal(0.0, 0.06), -0.18, 0.16)),
        far_rear_shift=float(np.clip(rng.normal(0.0, 0.10), -0.25, 0.25)),
    )
    carriage = float(np.clip(rng.normal(42.0, 18.0), -15.0, 75.0))
    coat = min(plan.coat_mm * float(rng.choice([0.5, 1.0, 1.0, 1.5])), 0.075 * plan.height_mm, 45.0)
    return replace(plan, proportions=p, neck_carriage_deg=carriage, coat_mm=coat)


def phantom_body(rng: np.random.Generator, kind: str = STANDING) -> TeachingBody:
    """Draw a phantom: standing (or about to walk), or in one of `poses.FOLDED`."""
    for _ in range(20):
        plan = unusual_plan(rng)
        try:
            return _phantom(rng, plan, kind)
        except ValueError:  # a mark's ray met no surface: a body that cannot be
            continue
    raise RuntimeError("twenty bodies in a row could not be built")


def _phantom(rng: np.random.Generator, plan: DogPlan, kind: str) -> TeachingBody:
    anatomy = FoldedAnatomy(plan, draw_pose(rng, kind)) if kind in FOLDED else Anatomy(plan)
    h = plan.height_mm
    held = str(rng.choice(TAILS, p=[0.3, 0.15, 0.17, 0.1, 0.1, 0.1, 0.08]))
    parts = [
        *limb_masses(anatomy),
        *ears(anatomy, str(rng.choice(EARS)), rng),
        *tail(anatomy, held, rng),
        *hair_masses(anatomy, rng),
    ]
    coat = plan.coat_mm
    if rng.random() < FLUFFY:  # a dog that is half hair: on legs and ears as on the trunk
        coat = float(rng.uniform(0.05, 0.11)) * h
        even = float(rng.uniform(0.3, 0.9))
        parts = [(mass, even + (1.0 - even) * share) for mass, share in parts]
    masses = [(mass, coat * share) for mass, share in parts]
    body = build_field(masses, h / RESOLUTION, ground=True)
    mesh = mesh_of(body)
    return TeachingBody(
        vertices=np.asarray(mesh.vertices / h, np.float32),
        faces=np.asarray(mesh.faces, np.int32),
        points=_points(anatomy, body, coat, "raised" if held in RAISED else "hanging"),
        poll=anatomy.poll / h,
        eye=_eye(anatomy) / h,
        kind=kind,
    )


def _eye(a: Anatomy) -> Array:
    p = a.plan.proportions
    stop = 0.5 * (1.0 - p.muzzle_share) * p.head_length
    return a.head_point(stop - 0.03, 0.035, 0.40 * p.skull_width)


def _points(a: Anatomy, body: Field, coat: float, held: str) -> dict[str, Array]:
    p, h = a.plan.proportions, a.plan.height_mm
    rays = a.rays()
    found = {
        name: body.leave(*rays[name], 0.7 * h)
        for name in ("breastbone", "shoulder_top", "last_rib", "back_top", "chest_bottom")
    }
    # A raised tail lies over its own base: the place comes from the trunk, not the outline.
    start, upward = rays["tail_base"]
    trunk = build_field([(a.trunk, coat)], h / RESOLUTION, ground=False)
    back = np.array([upward[1], -upward[0], 0.0])
    found["tail_base"] = trunk.leave(start, upward, 0.6 * h) + h * (
        TAIL_BEHIND[held] * back - TAIL_BELOW[held] * upward
    )
    for name, leg in (
        ("near_front_foot", a.fore[0]),
        ("far_front_foot", a.fore[1]),
        ("near_hind_foot", a.hind[0]),
        ("far_hind_foot", a.hind[1]),
    ):
        found[name] = np.array([leg.foot[0] - 0.024 * h, 0.0, leg.foot[2]])
    stop = 0.5 * (1.0 - p.muzzle_share) * p.head_length
    found["nose"] = a.head_point(stop + p.muzzle_share * p.head_length - 0.005, -0.04)
    return {name: found[name] / h for name in POINTS}


def read_bodies(path: Path) -> list[TeachingBody]:
    """Bodies of other makers from an ``.npz`` file (see `photocheck.train.other_bodies`).

    For each ``name``: ``name/vertices`` (poses, n, 3), ``name/faces``, ``name/points``
    (poses, 11, 3), ``name/poll`` and ``name/eye`` (poses, 3), ``name/tint`` (n,),
    ``name/kinds`` (poses,).
    """
    bodies = []
    with np.load(path) as data:
        names = sorted({key.split("/")[0] for key in data.files})
        for name in names:
            every = data[f"{name}/vertices"].astype(np.float32)
            faces = data[f"{name}/faces"].astype(np.int32)
            for k, vertices in enumerate(every):
                bodies.append(
                    TeachingBody(
                        vertices=vertices,
                        faces=faces,
                        points=dict(zip(POINTS, data[f"{name}/points"][k], strict=True)),
                        poll=data[f"{name}/poll"][k],
                        eye=data[f"{name}/eye"][k],
                        kind=str(data[f"{name}/kinds"][k]),
                        tint=data[f"{name}/tint"].astype(np.float32),
                        name=name,
                    )
                )
    return bodies


def usual_proportions() -> Proportions:
    """Those of the middle dog, for tests."""
    return Proportions()
