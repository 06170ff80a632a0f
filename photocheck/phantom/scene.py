"""A photo session: a phantom, a camera, and something of known size beside the dog.

The world is aligned with the plane the reference was meant to stand in; the dog
is turned against it by its own yaw about the upright line through the middle of
its trunk.  The true offset of the reference is its distance from the dog's
middle plane on that line, positive toward the camera.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from photocheck.case.model import Marking, Point, Reference
from photocheck.phantom.draws import random_camera, random_reference
from photocheck.phantom.field import Array
from photocheck.phantom.placed import PlacedReference
from photocheck.phantom.solid import BEHIND_ELBOW, BENCHMARK_RESOLUTION, Dog, make_dog, random_plan
from photocheck.phantom.true_camera import Camera
from photocheck.words import ALL_LANDMARKS, LANDMARKS

DOG_YAW_DEG: Final = 4.0
"""Standard deviation of how far the dog is turned out of the side view."""
OUTLINE_POINTS: Final = 24
"""How many points of a disc's or ball's outline an observation carries."""


@dataclass(frozen=True, eq=False)
class Scene:
    """One photo as it truly was.

    Attributes
    ----------
    dog : Dog
    camera : Camera
    reference : PlacedReference
    dog_yaw_deg : float
        The dog's middle plane against the plane of the reference, degrees;
        positive turns its right end, as seen, away from the camera.
    exif_focal_35mm : float or None
        What the file says about the focal length (whole millimetres), None for
        a file without that.
    faces_right : bool
        The dog shows its right side: its head is to the right in the picture.
    """

    dog: Dog
    camera: Camera
    reference: PlacedReference
    dog_yaw_deg: float = 0.0
    exif_focal_35mm: float | None = None
    faces_right: bool = False

    @cached_property
    def pivot(self) -> Array:
        """The upright line the dog is turned about, at the ground, (3,) mm."""
        marks = self.dog.visible
        return np.array([0.5 * (marks["breastbone"][0] + marks["tail_base"][0]), 0.0, 0.0])

    @cached_property
    def axes(self) -> Array:
        """Columns: the dog's own axes in the world, (3, 3)."""
        a = np.radians(self.dog_yaw_deg)
        c, s = np.cos(a), np.sin(a)
        turn = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
        # A symmetric dog seen from its other side is its mirror image.
        mirror = np.diag([-1.0 if self.faces_right else 1.0, 1.0, 1.0])
        return np.asarray(turn @ mirror)

    def to_world(self, points: Array) -> Array:
        """World coordinates of (n, 3) points given in the dog's own frame, mm."""
        arms = np.asarray(points, dtype=np.float64).reshape(-1, 3) - self.pivot
        return np.asarray(arms @ self.axes.T + self.pivot)

    def to_dog(self, points: Array) -> Array:
        """Coordinates in the dog's own frame of (n, 3) points of the world, mm."""
        arms = np.asarray(points, dtype=np.float64).reshape(-1, 3) - self.pivot
        return np.asarray(arms @ self.axes + self.pivot)

    @cached_property
    def landmarks(self) -> Mapping[str, Array]:
        """Visible landmarks in the world, (3,) mm each."""
        names = list(self.dog.visible)
        points = self.to_world(np.array([self.dog.visible[name] for name in names]))
        return dict(zip(names, points, strict=True))

    @cached_property
    def landmarks_px(self) -> Mapping[str, Point]:
        """True places of the landmarks in the picture, px."""
        names = list(self.landmarks)
        seen = self.camera.project(np.array([self.landmarks[name] for name in names]))
        return {name: (float(x), float(y)) for name, (x, y) in zip(names, seen, strict=True)}


@dataclass(frozen=True, eq=False)
class Observation:
    """What a careful person would hand in about one photo, without any rendering.

    Attributes
    ----------
    reference : Reference
        Kind, place, corners or ends or outline, length, diameter, proof bar.  Of a
        marker sheet the corners are those of the rectangle its markers fill.
    marking : Marking
    points_mm : (n, 2)
        Points of the reference in its own plane, nominal size, mm, x right and y
        down from its centre: 16 marker corners, 4 corners or 2 ends; empty for a
        disc or ball.
    points_px : (n, 2)
        The same as seen, px, with noise.
    outline_px : (m, 2)
        Outline of a disc or ball, px, with noise across it; empty otherwise.
    focal_35mm : float or None
        From the file, None without EXIF.
    size_px : (int, int)
    """

    reference: Reference
    marking: Marking
    points_mm: Array
    points_px: Array
    outline_px: Array
    focal_35mm: float | None
    size_px: tuple[int, int]


def random_scene(
    rng: np.random.Generator,
    *,
    dog: Dog | None = None,
    kind: str | None = None,
    place: str | None = None,
    posture: str | None = None,
    oblique: bool | None = None,
    exif: bool | None = None,
    faces_right: bool | None = None,
    careless: bool = False,
    size_px: tuple[int, int] = (4032, 3024),
    resolution: int = BENCHMARK_RESOLUTION,
) -> Scene:
    """Draw a photo session.

    Parameters
    ----------
    rng : numpy Generator
    dog : Dog or None
        None makes a new one by `random_plan`.
    kind, place : str or None
        Fix the reference and where it stood; None draws them.
    posture : str or None
        Of a new dog.
    oblique : bool or None
        True for a camera 12 to 25 degrees off square; None draws one in seven.
    exif : bool or None
        Whether the file tells the focal length; None draws seven in ten.
    faces_right : bool or None
        Whether the dog's head is to the right; None draws one in two.
    careless : bool
        The camera at any height, the distance to a wall never measured.
    size_px : (int, int)
    resolution : int
        Of a new dog, see `make_dog`.

    Returns
    -------
    Scene
        With the dog and the reference inside the picture.
    """
    if dog is None:
        dog = make_dog(random_plan(rng, posture=posture), resolution)
    yaw = float(rng.normal(0.0, DOG_YAW_DEG))
    has_exif = bool(rng.random() < 0.7) if exif is None else exif
    mirrored = bool(rng.random() < 0.5) if faces_right is None else faces_right
    for _ in range(200):
        placed = random_reference(rng, dog, kind, place, careless=careless)
        camera = random_camera(rng, dog, placed.offset_mm, oblique, size_px, careless=careless)
        stated = float(round(camera.focal_35mm)) if has_exif else None
        scene = Scene(dog, camera, placed, yaw, stated, mirrored)
        if mirrored:
            scene = _mirrored(scene)
        extent = scene.to_world(dog.extent)
        if camera.sees(extent, 0.004) and camera.sees(placed.hull_points(), 0.004):
            return scene
    raise RuntimeError("no camera sees this dog and this reference together")


def _mirrored(scene: Scene) -> Scene:
    """The same draw with everything but the dog's own turn moved to its mirror place."""
    twice = 2.0 * float(scene.pivot[0])
    camera, placed = scene.camera, scene.reference
    x, y, z = camera.position
    ax, ay, az = camera.aim
    cx, cy, cz = placed.centre
    camera = replace(camera, position=(twice - x, y, z), aim=(twice - ax, ay, az))
    return replace(scene, camera=camera, reference=replace(placed, centre=(twice - cx, cy, cz)))


def _noisy(points: Array, rng: np.random.Generator, sd: float) -> Array:
    return np.asarray(points + rng.normal(0.0, sd, size=points.shape)) if sd > 0 else points


def _points(array: Array) -> tuple[Point, ...]:
    return tuple((float(x), float(y)) for x, y in array)


def observe(
    scene: Scene,
    rng: np.random.Generator,
    mark_sd_mm: float = 5.0,
    corner_sd_px: float = 1.0,
    *,
    helpers: bool = True,
    bends: bool = False,
    by: str = "owner",
) -> Observation:
    """What a person and a detector would give for a scene, with noise.

    Parameters
    ----------
    scene : Scene
    rng : numpy Generator
    mark_sd_mm : float
        Standard deviation of each mark per axis, mm at the landmark across the
        line of sight.
    corner_sd_px : float
        Standard deviation per axis of the reference's points, px; of an outline
        across it.
    helpers : bool
        Mark the helper landmarks too.
    bends : bool
        Mark where the tape appears behind the elbow as a bend of the front length.
    by : str
        Who marks.

    Returns
    -------
    Observation
    """
    camera = scene.camera
    names = list(ALL_LANDMARKS if helpers else LANDMARKS)
    if bends:
        names.append(BEHIND_ELBOW)
    points = np.array([scene.landmarks[name] for name in names])
    slips = rng.normal(0.0, mark_sd_mm, size=(len(names), 2)) if mark_sd_mm > 0 else 0.0
    seen = camera.project(points) + slips * camera.px_per_mm(points)[:, None]
    marks = dict(zip(names, _points(seen), strict=True))
    bent = {"front_length": (marks.pop(BEHIND_ELBOW),)} if bends else {}
    spread = mark_sd_mm if mark_sd_mm > 0 else None
    marking = Marking(marks=marks, bends=bent, by=by, spread_mm=spread)
    return observed(scene, rng, marking, corner_sd_px)


def observed(
    scene: Scene, rng: np.random.Generator, marking: Marking, corner_sd_px: float
) -> Observation:
    """An observation of a scene whose marks are placed: its reference as seen, with noise."""
    camera, placed = scene.camera, scene.reference
    corners: Array = np.zeros((0, 2))
    points_px: Array = np.zeros((0, 2))
    outline: Array = np.zeros((0, 2))
    if placed.form in ("disc", "ball"):
        clean = camera.project(placed.outline(camera.position, OUTLINE_POINTS))
        away = clean - clean.mean(axis=0)
        away = away / np.linalg.norm(away, axis=1, keepdims=True)
        outline = clean + away * rng.normal(0.0, corner_sd_px, size=(OUTLINE_POINTS, 1))
    else:
        points_px = _noisy(camera.project(placed.points()), rng, corner_sd_px)
        if placed.form != "points":
            corners = points_px
        if placed.form == "markers":
            # Top left of the first marker, top right of the second, and so on round.
            corners = points_px[[0, 5, 10, 15]]
    near = camera.project(np.array([placed.centre]))[0]
    reference = Reference(
        kind=placed.kind,
        place=placed.place,
        offset_mm=placed.told_offset_mm,
        corners=_points(_clockwise(corners)),
        near=(float(near[0]), float(near[1])),
        ends=_points(points_px) if placed.form == "points" else (),
        length_mm=placed.length_mm,
        diameter_mm=placed.diameter_mm,
        outline=_points(outline),
        bar_mm=placed.bar_mm,
        corner_spread_px=corner_sd_px if corner_sd_px > 0 else None,
    )
    return Observation(
        reference=reference,
        marking=marking,
        points_mm=placed.nominal_points(),
        points_px=points_px,
        outline_px=outline,
        focal_35mm=scene.exif_focal_35mm,
        size_px=camera.size_px,
    )


def _clockwise(corners: Array) -> Array:
    """Four corners in ring order, beginning at the top left as seen."""
    if len(corners) != 4:
        return corners
    return np.asarray(np.roll(corners, -int(np.argmin(corners.sum(axis=1))), axis=0))
