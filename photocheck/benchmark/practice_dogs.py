"""Makes the practice dogs: ``python -m photocheck.benchmark.practice_dogs OUTDIR [NAME ...]``.

Each is a rendered phantom: an invented dog whose true landmarks are known.  The lens is a
plain pinhole, so that a place in the picture follows from the numbers in the JSON by hand.
Needs what ``pip install photocheck[phantom]`` brings.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

import numpy as np

from photocheck.phantom.field import Array
from photocheck.phantom.look import Look
from photocheck.phantom.phone import save_photo
from photocheck.phantom.placed import PlacedReference
from photocheck.phantom.render import PICTURE_RESOLUTION, render
from photocheck.phantom.scene import Scene
from photocheck.phantom.solid import Dog, make_dog, random_plan
from photocheck.phantom.tape import tape_truth
from photocheck.phantom.taut import push_out
from photocheck.phantom.true_camera import Camera
from photocheck.practice.dogs import FORMAT
from photocheck.scale.sheet import page_mm
from photocheck.words import LANDMARKS

MADE: Final = "Rendered phantom dog, invented, for practising with photocheck"
PHOTO_PX: Final = (2000, 1500)
JPEG_QUALITY: Final = 72
"""Keeps a picture below 350 KB; the marks are found as well as at 90."""

FOCAL_35MM: Final = (24.0, 60.0)
"""From a phone's wide camera to its double zoom (common practice, no source)."""
LEAST_MARGIN: Final = 0.04
"""Room around dog and sheet, over the picture's width."""


@dataclass(frozen=True)
class Plan:
    """One practice dog before it is drawn; sizes mm, angles degrees.

    ``sheet`` says where the marker sheet stands: "ahead" or "behind" on the ground level with
    the dog's middle, "feet" on the ground beside the near feet, "wall" above the back.
    ``yaw_deg`` and ``camera_mm`` are how far the camera stood from square, and its height.
    ``shape`` overrides single `photocheck.phantom.plan.Proportions`.
    """

    name: str
    seed: int
    look: Look
    sheet: str
    height_mm: float
    broadness: float
    coat_mm: float
    shape: Mapping[str, float | bool]
    posture: str = "square"
    severity: float = 0.05
    faces_right: bool = False
    yaw_deg: float = 2.0
    camera_mm: float = 600.0


def _look(seed: int, coat: str, floor: str, wall: str, **more: Any) -> Look:
    return replace(Look(seed=seed, coat=coat, floor=floor, wall=wall, noise=0.6), **more)


SHORT_LEGS: Final = {
    "length": 1.52,
    "chest_depth": 0.60,
    "loin_depth": 0.47,
    "chest_width": 0.36,
    "shoulder_width": 0.48,
    "loin_width": 0.33,
    "rump_width": 0.38,
    "withers_at": 0.30,
    "head_length": 0.50,
    "neck_thickness": 0.27,
    "skull_width": 0.25,
    "ear_length": 0.19,
    "leg_thickness": 0.085,
    "thigh_thickness": 0.18,
    "tail_lift_deg": 20.0,
    "drop_ears": True,
}
PUPPY: Final = {
    "length": 0.98,
    "chest_depth": 0.47,
    "loin_depth": 0.41,
    "chest_width": 0.33,
    "head_length": 0.46,
    "muzzle_share": 0.40,
    "skull_width": 0.265,
    "ear_length": 0.16,
    "neck_length": 0.28,
    "neck_thickness": 0.25,
    "leg_thickness": 0.088,
    "tail_length": 0.33,
    "tail_lift_deg": 30.0,
    "drop_ears": True,
}
LEAN: Final = {
    "chest_depth": 0.52,
    "loin_depth": 0.29,
    "neck_length": 0.43,
    "head_length": 0.43,
    "tail_lift_deg": 10.0,
    "drop_ears": True,
}

PLANS: Final = (
    Plan(
        "linnet", 41, _look(21, "fawn", "boards", "plaster"), "behind",
        600.0, 0.05, 4.0, LEAN, yaw_deg=2.0,
    ),
    Plan(
        "badger", 42, _look(22, "saddle", "gravel", "planks"), "behind",
        620.0, 0.95, 12.0, {"drop_ears": True, "tail_lift_deg": 25.0},
        faces_right=True, yaw_deg=-3.0,
    ),
    Plan(
        "sloe", 45, _look(25, "brown", "gravel", "plaster", exposure=0.9), "feet",
        580.0, 0.4, 9.0, {"drop_ears": True, "tail_lift_deg": 15.0},
        faces_right=True, yaw_deg=4.0,
    ),
    Plan(
        "otter", 47, _look(27, "red", "gravel", "hedge"), "ahead",
        560.0, 0.7, 15.0, {"drop_ears": True, "tail_lift_deg": 50.0}, yaw_deg=-4.0,
    ),
    Plan(
        "clover", 46, _look(26, "cream", "grass", "planks"), "behind",
        340.0, 0.55, 12.0, PUPPY, yaw_deg=1.0, camera_mm=420.0,
    ),
    Plan(
        "hazel", 44, _look(24, "red", "boards", "plaster"), "behind",
        300.0, 0.6, 7.0, SHORT_LEGS, yaw_deg=-2.0, camera_mm=380.0,
    ),
    Plan(
        "thistle", 48, _look(28, "saddle", "boards", "plaster"), "wall",
        480.0, 0.3, 26.0, {"drop_ears": True, "tail_lift_deg": 30.0},
        faces_right=True, yaw_deg=2.0, camera_mm=700.0,
    ),
    Plan(
        "burdock", 43, _look(23, "grey", "grass", "hedge"), "ahead",
        600.0, 0.5, 27.0, {"drop_ears": False, "tail_lift_deg": 40.0}, yaw_deg=3.0,
    ),
    Plan(
        "yarrow", 49, _look(29, "fawn", "gravel", "planks"), "behind",
        560.0, 0.45, 8.0, {"drop_ears": True, "tail_lift_deg": 20.0},
        posture="crouching", severity=0.9, yaw_deg=-2.0,
    ),
    Plan(
        "plover", 50, _look(30, "grey", "boards", "plaster"), "ahead",
        600.0, 0.35, 10.0, {"drop_ears": True, "tail_lift_deg": 10.0},
        posture="arched", severity=0.9, faces_right=True, yaw_deg=3.0,
    ),
)  # fmt: skip


def _dog(plan: Plan, posture: str, severity: float, resolution: int) -> Dog:
    drawn = random_plan(np.random.default_rng(plan.seed), posture=posture, severity=severity)
    shape: dict[str, Any] = dict(plan.shape)
    dog = make_dog(
        replace(
            drawn,
            height_mm=plan.height_mm,
            broadness=plan.broadness,
            coat_mm=plan.coat_mm,
            proportions=replace(drawn.proportions, **shape),
        ),
        resolution,
    )
    seen = _tail_hollow(dog)
    felt = push_out(dog.tape_field, seen[None], onto=True, rounds=8)[0]
    return replace(
        dog,
        visible=MappingProxyType({**dog.visible, "tail_base": seen}),
        tape=MappingProxyType({**dog.tape, "tail_base": felt}),
    )


def _tail_hollow(dog: Dog) -> Array:
    """Where the outline of the back turns into the tail, (3,) mm.

    The phantom's own tail base lies a tenth of the dog's height further forward, beneath the
    croup, where nobody sees anything; a learner is to find what can be seen.  It is the place
    of the upper outline farthest below a straight line from the croup to the tail.
    """
    h, croup = dog.plan.height_mm, dog.visible["tail_base"]
    x = np.arange(croup[0] - 0.06 * h, croup[0] + 0.20 * h, 1.0)
    y = np.arange(0.35 * h, 1.2 * h, 1.0)
    grid = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    value, _ = dog.visible_field.sample(np.column_stack([grid, np.zeros(len(grid))]))
    inside = value.reshape(len(x), len(y)) < 0
    top = y[len(y) - 1 - np.argmax(inside[:, ::-1], axis=1)]
    below = np.linspace(top[0], top[-1], len(x)) - top
    deepest = int(np.argmax(below))
    return np.array([x[deepest], top[deepest], 0.0])


def _sheet(plan: Plan, dog: Dog, turns: Sequence[float]) -> PlacedReference:
    """The marker sheet upright on A4 where the plan wants it; ``turns`` in degrees."""
    width, height = page_mm("a4")
    marks, half = dog.visible, dog.trunk_half_width
    head, tail = float(dog.extent[:, 0].min()), float(dog.extent[:, 0].max())
    feet = 0.5 * (marks["front_foot"][0] + marks["rear_foot"][0])
    back = 0.5 * (marks["shoulder_top"][0] + marks["tail_base"][0])
    ground = 0.5 * height + 3.0
    place, x, y, z = {
        "ahead": ("middle", head - 0.5 * width - 20.0, ground, 5.0),
        "behind": ("middle", tail + 0.5 * width + 40.0, ground, -5.0),
        "feet": ("near_feet", feet, ground, half + 60.0),
        "wall": ("wall_close", back, 1.12 * plan.height_mm + 0.5 * height, -half - 140.0),
    }[plan.sheet]
    if plan.faces_right:
        x = float(marks["breastbone"][0] + marks["tail_base"][0]) - x
    turn, swing, lean = turns if place != "wall_close" else (turns[0], 0.0, 0.0)
    return PlacedReference(
        "marker_sheet", place, float(z), (float(x), float(y), float(z)),
        turn_deg=turn, swing_deg=swing, lean_deg=abs(lean),
    )  # fmt: skip


def _camera(plan: Plan, points: Array) -> Camera:
    """As near as dog and sheet allow: the longest focal length that keeps them in the picture."""
    middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
    away = 1500.0 + 1.5 * plan.height_mm
    a = np.radians(plan.yaw_deg)
    wide, narrow = FOCAL_35MM
    for focal in np.arange(narrow, wide - 0.25, -0.5):
        camera = Camera(
            position=(
                float(middle[0] + away * np.sin(a)), plan.camera_mm, float(away * np.cos(a)),
            ),
            aim=(float(middle[0]), float(middle[1]), 0.0),
            focal_35mm=float(focal),
            size_px=PHOTO_PX,
        )  # fmt: skip
        if camera.sees(points, LEAST_MARGIN):
            return camera
    raise RuntimeError(f"{plan.name} and its sheet do not fit into the picture")


def scene_of(plan: Plan, resolution: int = PICTURE_RESOLUTION) -> Scene:
    """The dog, camera and reference of one practice photo, seen through a pinhole."""
    dog = _dog(plan, plan.posture, plan.severity, resolution)
    rng = np.random.default_rng(plan.seed)
    placed = _sheet(plan, dog, [float(v) for v in rng.normal(0.0, 1.5, 3)])
    blind = Camera((0.0, 0.0, 2000.0), (0.0, 0.0, 0.0))
    scene = Scene(dog, blind, placed, float(rng.normal(0.0, 2.0)), None, plan.faces_right)
    points = np.concatenate([scene.to_world(dog.extent), placed.hull_points()])
    camera = _camera(plan, points)
    return replace(scene, camera=camera, exif_focal_35mm=camera.focal_35mm)


def truth_of(plan: Plan, scene: Scene) -> dict[str, Any]:
    """What is known of one practice photo, for `photocheck.practice.dogs.read_dog`."""
    camera, placed = scene.camera, scene.reference
    standing = _dog(plan, "square", 0.0, scene.dog.resolution)
    reference: dict[str, Any] = {"kind": placed.kind, "place": placed.place}
    # Practice is about the marks: where the sheet stood is told as measured well.
    reference["offset_mm"] = round(placed.offset_mm)
    return {
        "format": FORMAT,
        "note": "Invented dog, rendered picture. Lengths in mm; px of the upright photo.",
        "name": plan.name,
        "photo": f"{plan.name}.jpg",
        "coat": scene.dog.plan.coat,
        "build": scene.dog.plan.build,
        "stance": plan.posture,
        "height_mm": plan.height_mm,
        "reference": reference,
        "camera": {
            "size_px": list(camera.size_px),
            "focal_px": round(camera.focal_px, 3),
            "position_mm": _rounded(camera.position),
            "right": _rounded(camera.axes[0], 7),
            "down": _rounded(camera.axes[1], 7),
            "ahead": _rounded(camera.axes[2], 7),
        },
        "forward": _rounded(-scene.axes[:, 0], 7),
        "up": _rounded(scene.axes[:, 1], 7),
        "landmarks_mm": {name: _rounded(scene.landmarks[name]) for name in LANDMARKS},
        "marks_px": {name: _rounded(scene.landmarks_px[name], 2) for name in LANDMARKS},
        "spans_mm": {name: round(mm, 1) for name, mm in tape_truth(standing).items()},
    }


def _rounded(values: Sequence[float] | np.ndarray[Any, Any], places: int = 2) -> list[float]:
    return [round(float(v), places) for v in values]


def write_dog(plan: Plan, folder: Path, *, draw: Callable[[Scene, Look], Any] = render) -> None:
    """Write one practice dog: ``NAME.jpg`` and ``NAME.json``."""
    folder.mkdir(parents=True, exist_ok=True)
    scene = scene_of(plan)
    look = replace(plan.look, jpeg_quality=JPEG_QUALITY)
    path = folder / f"{plan.name}.jpg"
    save_photo(path, draw(scene, look), look, scene.exif_focal_35mm, made=MADE)
    text = json.dumps(truth_of(plan, scene), indent=1)
    (folder / f"{plan.name}.json").write_text(text + "\n", encoding="utf-8")


def main(arguments: Sequence[str]) -> int:
    """Write all dogs into the folder named first; further names pick some of them."""
    if not arguments:
        print("usage: python -m photocheck.benchmark.practice_dogs OUTDIR [NAME ...]")
        return 2
    wanted = set(arguments[1:])
    for plan in PLANS:
        if not wanted or plan.name in wanted:
            write_dog(plan, Path(arguments[0]))
            print(plan.name)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
