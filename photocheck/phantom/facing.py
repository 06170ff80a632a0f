"""The same dog from the front: a camera before it, and what a careful person would mark there.

True widths are measured on the mesh: the ring at the neck is the taut one around the section
through breastbone and shoulder top (as in `photocheck.phantom.tape`), the chest the section
behind the elbows.  Whether the chest can be seen past the shoulders is told by the outline.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import trimesh

from photocheck.case.model import Marking
from photocheck.phantom.draws import (
    FOCALS_35MM,
    KIND_WEIGHTS,
    LEAN_DEG,
    LENS_SPREADS,
    SQUARE_YAW_DEG,
    SWING_DEG,
    random_reference,
)
from photocheck.phantom.field import Array
from photocheck.phantom.placed import PlacedReference
from photocheck.phantom.scene import Observation, Scene, observed
from photocheck.phantom.section import section_hull
from photocheck.phantom.solid import Dog
from photocheck.phantom.true_camera import Camera

FRONT_PLACE_WEIGHTS: Final = {
    "front_feet": 0.5,
    "chest_side": 0.15,
    "before_dog": 0.2,
    "behind_dog": 0.15,
}
"""Where owners put it; all ranges are the builder's judgement of what they do, not measured."""
FRONT_OFFSETS: Final = {
    "front_feet": (-40.0, 100.0),
    "chest_side": (-80.0, 80.0),
    "before_dog": (80.0, 420.0),
    "behind_dog": (-700.0, -120.0),
}
"""How far before the front feet, the place behind the elbows, the breastbone and the tail base it
stands, mm."""
FRONT_YAW_DEG: Final = 8.0
"""Standard deviation of how far a dog that looks at the camera stands askew."""


FACING_DEG: Final = 90.0
"""The head lies at small x: a quarter turn brings it towards the camera."""


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


def random_front(
    rng: np.random.Generator,
    dog: Dog,
    *,
    kind: str | None = None,
    place: str | None = None,
    exif: bool | None = None,
    size_px: tuple[int, int] = (3024, 4032),
) -> Scene:
    """Draw a photo from the front, by the same phone draws as from the side.

    In the world the camera looks along z as ever; the dog is turned to face it.

    Parameters
    ----------
    rng : numpy Generator
    dog : Dog
    kind, place : str or None
        Fix the reference and where it stood, a key of `FRONT_OFFSETS`; None draws them.
    exif : bool or None
    size_px : (int, int)
        A phone held upright.

    Returns
    -------
    Scene
        `landmarks` are those of the dog, turned; `Scene.dog_yaw_deg` is 90 degrees from the side.
    """
    places = list(FRONT_PLACE_WEIGHTS)
    place = place or str(rng.choice(places, p=[FRONT_PLACE_WEIGHTS[p] for p in places]))
    kinds = list(KIND_WEIGHTS)
    kind = kind or str(rng.choice(kinds, p=[KIND_WEIGHTS[k] for k in kinds]))
    has_exif = bool(rng.random() < 0.7) if exif is None else exif
    yaw = FACING_DEG + float(rng.normal(0.0, FRONT_YAW_DEG))
    for _ in range(200):
        placed = placed_before(rng, dog, kind, place)
        camera = _camera(rng, dog, size_px)
        scene = Scene(dog, camera, placed, yaw, None, False)
        extent = scene.to_world(dog.extent)
        stated = float(round(camera.focal_35mm)) if has_exif else None
        scene = replace(scene, exif_focal_35mm=stated)
        if camera.sees(extent, 0.004) and camera.sees(placed.hull_points(), 0.004):
            return scene
    raise RuntimeError("no camera sees this dog and this reference together")


def placed_before(rng: np.random.Generator, dog: Dog, kind: str, place: str) -> PlacedReference:
    """A reference beside, before or behind a dog that faces the camera, in the world."""
    # kind, size, print and turn are drawn as for a photo from the side
    drawn = random_reference(rng, dog, kind, "near_feet")
    marks = dog.visible
    anchors = {
        "front_feet": marks["front_foot"][0],
        "chest_side": dog.anatomy.girth_plane()[0][0],
        "before_dog": marks["breastbone"][0],
        "behind_dog": marks["tail_base"][0],
    }
    low, high = FRONT_OFFSETS[place]
    ahead = float(rng.uniform(low, high))
    # the world's z towards the camera; the dog's x from head to tail turns into -z
    middle = 0.5 * (marks["breastbone"][0] + marks["tail_base"][0])
    z = middle - (anchors[place] - ahead)
    corners = drawn.hull_points() - np.array(drawn.centre)
    half_x, half_y = np.abs(corners[:, 0]).max(), np.abs(corners[:, 1]).max()
    across = 0.5 * np.ptp(dog.extent[:, 2]) + half_x + float(rng.uniform(20.0, 120.0))
    across *= float(rng.choice([-1.0, 1.0]))
    up = half_y + float(rng.uniform(0.0, 8.0))
    if place == "chest_side":
        up = marks["breastbone"][1] + float(rng.uniform(-80.0, 30.0))
    if place == "behind_dog":
        up = half_y + float(rng.uniform(0.0, 500.0))
    hung = place == "behind_dog"
    return replace(
        drawn,
        place=place,
        offset_mm=anchors["before_dog"] - (anchors[place] - ahead),
        centre=(middle + across, up, z),
        told_offset_mm=None,
        swing_deg=float(rng.normal(0.0, SWING_DEG[hung])),
        lean_deg=float(rng.normal(*LEAN_DEG[hung])),
    )


def _camera(rng: np.random.Generator, dog: Dog, size_px: tuple[int, int]) -> Camera:
    """Held at the dog's chest, 1.5 to 3 m before its nose, or by somebody who stays on his feet."""
    h = dog.plan.height_mm
    marks = dog.visible
    middle = 0.5 * (marks["breastbone"][0] + marks["tail_base"][0])
    reach = middle - float(dog.extent[:, 0].min())
    level = reach + float(rng.uniform(1500.0, min(3000.0, 1800.0 + 2.0 * h)))
    height = float(rng.normal(0.7 * h, 130.0)) if rng.random() > 0.3 else 1200.0
    a = np.radians(float(rng.normal(0.0, SQUARE_YAW_DEG)))
    aim = np.array([middle, 0.5 * h, 0.0]) + rng.normal(0.0, 0.05 * h, size=3) * [1.0, 1.0, 0.0]
    first, second = (float(rng.normal(0.0, spread)) for spread in LENS_SPREADS)
    return Camera(
        position=(middle + level * float(np.sin(a)), max(height, 250.0), level * float(np.cos(a))),
        aim=(float(aim[0]), float(aim[1]), float(aim[2])),
        focal_35mm=float(rng.choice(FOCALS_35MM) + rng.uniform(-0.5, 0.5)),
        size_px=size_px,
        roll_deg=float(rng.normal(0.0, 1.5)),
        distortion=(first, second, 0.0, 0.0),
    )


def front_points(scene: Scene) -> dict[str, Array]:
    """Where the ring at the neck and, if it is seen, the chest end left and right, (3,) mm.

    World coordinates.  The chest is seen where its ends lie outside the outline of all that is
    nearer to the camera at their height.
    """
    dog, camera = scene.dog, scene.camera
    ring = scene.to_world(
        ring_at_neck(dog.visible_mesh, dog.visible["breastbone"], dog.visible["shoulder_top"])
    )
    found = dict(zip(("neck_left", "neck_right"), _ends(camera, ring), strict=True))
    chest = _ends(camera, scene.to_world(ring_at_chest(dog.visible_mesh, dog)))
    nearer: Any = scene.to_world(np.asarray(dog.visible_mesh.vertices))
    nearer = nearer[camera.depth(nearer) < camera.depth(np.array(chest)).min()]
    seen = camera.project(nearer)
    ends = camera.project(np.array(chest))
    hidden = []
    for i, sign in enumerate((-1.0, 1.0)):
        level = np.abs(seen[:, 1] - ends[i, 1]) < 4.0 * float(camera.px_per_mm(chest[i])[0])
        hidden.append(bool((sign * (seen[level, 0] - ends[i, 0]) > 0).any()))
    if not any(hidden):
        found |= dict(zip(("chest_left", "chest_right"), chest, strict=True))
    return found


def _ends(camera: Camera, ring: Array) -> tuple[Array, Array]:
    """The points of a ring that are outermost in the picture, left and right."""
    across = camera.project(ring)[:, 0]
    return ring[int(np.argmin(across))], ring[int(np.argmax(across))]


def observe_front(
    scene: Scene,
    rng: np.random.Generator,
    mark_sd_mm: float = 5.0,
    corner_sd_px: float = 1.0,
    *,
    ring_sd: float = 0.03,
    by: str = "owner",
) -> Observation:
    """What a person and a detector would give for a scene from the front, with noise.

    Parameters
    ----------
    scene : Scene
        Of `random_front`.
    rng : numpy Generator
    mark_sd_mm, corner_sd_px
        As for `photocheck.phantom.scene.observe`.
    ring_sd : float
        How far, as a share of the width, people think the ring wider or narrower than it lies:
        both marks move (the builder's judgement).
    by : str
    """
    points = front_points(scene)
    names = list(points)
    places = np.array([points[name] for name in names])
    seen = scene.camera.project(places)
    for left in range(0, len(names), 2):
        half = 0.5 * (seen[left + 1] - seen[left]) * rng.normal(0.0, ring_sd)
        seen[left], seen[left + 1] = seen[left] - half, seen[left + 1] + half
    slips = rng.normal(0.0, mark_sd_mm, size=seen.shape) if mark_sd_mm > 0 else 0.0
    seen = seen + slips * scene.camera.px_per_mm(places)[:, None]
    marks = {name: (float(x), float(y)) for name, (x, y) in zip(names, seen, strict=True)}
    spread = mark_sd_mm if mark_sd_mm > 0 else None
    return observed(scene, rng, Marking(marks, by=by, spread_mm=spread), corner_sd_px)
