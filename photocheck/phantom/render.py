"""Photos of phantom scenes: VTK for what hides what, our own light, hair and lens.

The picture is made without distortion and a little too large; reference faces
are warped into it by their exact homography, hair is drawn along its direction,
and the lens bends the whole at the end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import cv2
import numpy as np
import pyvista

from photocheck.phantom.compose import add_hair, add_reference
from photocheck.phantom.field import Array
from photocheck.phantom.look import Look
from photocheck.phantom.paint import baked_light, coat_colour, hair_direction
from photocheck.phantom.phone import Light, Picture, bend, decode_picture, encode, expose
from photocheck.phantom.placed_tags import PlacedTag, add_tags
from photocheck.phantom.scene import Scene
from photocheck.phantom.solid import Dog
from photocheck.phantom.textures import floor_texture, wall_texture
from photocheck.phantom.true_camera import Camera

MARGIN: Final = 0.03
"""Room around the picture for the lens, fraction of its width."""

PICTURE_RESOLUTION: Final = 170
"""Grid samples per height at the withers for a dog that will be rendered."""


@dataclass(frozen=True, eq=False)
class _Stage:
    """What VTK draws: world geometry with its colours (sRGB uint8)."""

    vertices: Array
    faces: Array
    colours: Array
    hair: Array
    floor: tuple[Array, Array]
    wall: tuple[Array, Array]


def render(scene: Scene, look: Look | None = None, tags: Sequence[PlacedTag] = ()) -> Picture:
    """The photo of a scene.

    Parameters
    ----------
    scene : Scene
        Its dog should be built with about `PICTURE_RESOLUTION`.
    look : Look or None
    tags : sequence of PlacedTag
        Tags on the dog.

    Returns
    -------
    (H, W, 3) uint8 RGB, upright.
    """
    look = look or Look()
    rng = np.random.default_rng(look.seed)
    clean, margin = drawn(scene, look, rng)
    add_tags(clean, scene, tags, look, margin)
    return expose(bend(clean, scene.camera, margin), look, rng)


def drawn(scene: Scene, look: Look, rng: np.random.Generator) -> tuple[Light, int]:
    """The picture before the lens, linear light, and how many px it has around it to spare."""
    margin = int(np.ceil(MARGIN * scene.camera.size_px[0]))
    stage = _stage(scene, look, rng)
    clean = decode_picture(_draw(scene, stage, margin, "colour"))
    cover = _draw(scene, stage, margin, "cover")
    add_hair(clean, cover[..., 0].copy(), _draw(scene, stage, margin, "hair"), scene, rng)
    add_reference(clean, cover[..., 1].copy(), cover[..., 0].copy(), scene, look, margin)
    return clean, margin


# --- the stage -------------------------------------------------------------


def _stage(scene: Scene, look: Look, rng: np.random.Generator) -> _Stage:
    dog = scene.dog
    mesh = dog.visible_mesh
    points = np.asarray(mesh.vertices, dtype=np.float64)
    _, slope = dog.visible_field.sample(points)
    normals = slope / np.maximum(np.linalg.norm(slope, axis=1, keepdims=True), 1e-9)
    axes = scene.axes.T  # rows: the dog's axes in the world
    sun = np.array(look.sun) / np.linalg.norm(look.sun)
    light = baked_light(dog, points, normals, axes @ sun, look.sun_share)
    colour = coat_colour(dog, points, look) * light[:, None]
    world = scene.to_world(points)
    wall_z = _wall_distance(scene)
    casting = world[::2]
    if not scene.reference.place.startswith("wall"):  # what lies flush casts no shadow
        casting = np.concatenate([casting, _solid_points(scene)])
    floor = _floor(scene, look, rng, casting, sun, wall_z)
    wall = _wall(scene, look, rng, casting, sun, wall_z)
    return _Stage(
        vertices=world,
        faces=np.asarray(mesh.faces),
        colours=np.rint(255 * encode(colour)).astype(np.uint8),
        hair=hair_direction(dog, points) @ axes,
        floor=floor,
        wall=wall,
    )


def _wall_distance(scene: Scene) -> float:
    placed = scene.reference
    if placed.place.startswith("wall"):
        return float(placed.hull_points()[:, 2].min() - 3.0)
    return -1500.0


def _solid_points(scene: Scene) -> Array:
    """Points all over the reference, (n, 3) mm, to cast its shadow."""
    corners = scene.reference.hull_points()
    if len(corners) == 4:
        u, v = (
            k.ravel()[:, None] for k in np.meshgrid(np.linspace(0, 1, 90), np.linspace(0, 1, 90))
        )
        a, b, _, d = corners
        return np.asarray(a + u * (b - a) + v * (d - a))
    middle = np.array(scene.reference.centre)
    out = np.linspace(0.0, 1.0, 20)[:, None, None]
    return np.asarray(middle + out * (corners - middle)).reshape(-1, 3)


def _shadow(
    world: Array,
    sun: Array,
    spread: float,
    axis: int,
    level: float,
    frame: tuple[float, ...],
    shape: tuple[int, int],
    rng: np.random.Generator,
    count: int,
) -> Array:
    """How much of a light is blocked on a plane, (rows, columns) 0 to 1.

    Points of the dog are splatted along directions around the light.
    """
    x0, y0, step = frame
    other = 2 if axis == 1 else 1
    total = np.zeros(shape)
    for _ in range(count):
        ray = sun + spread * rng.normal(size=3)
        if (ray[axis] <= 0.12) if axis == 1 else (ray[axis] <= 0.05):
            continue
        t = (world[:, axis] - level) / ray[axis]
        hit = world - t[:, None] * ray
        column = ((hit[:, 0] - x0) / step).astype(int)
        row = ((hit[:, other] - y0) / step).astype(int)
        good = (t > 0) & (column >= 0) & (row >= 0) & (column < shape[1]) & (row < shape[0])
        one = np.zeros(shape, dtype=np.uint8)
        one[row[good], column[good]] = 1
        total += cv2.morphologyEx(one, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    return np.asarray(cv2.GaussianBlur(total / count, (0, 0), 1.5))


def _floor(
    scene: Scene, look: Look, rng: np.random.Generator, world: Array, sun: Array, wall_z: float
) -> tuple[Array, Array]:
    step = 3.0
    middle = float(scene.pivot[0])
    x0, z0 = middle - 4200.0, wall_z
    shape = (int((2600.0 - z0) / step), int(8400.0 / step))
    surface = floor_texture(rng, look.floor, shape, step)
    frame = (x0, z0, step)
    dark = _shadow(world, sun, 0.05, 1, 0.0, frame, shape, rng, 12)
    ambient = _shadow(world, np.array([0.0, 0.8, 0.0]), 0.55, 1, 0.0, frame, shape, rng, 40)
    soft = np.asarray(cv2.GaussianBlur(ambient, (0, 0), 4.0))
    light = look.sun_share * 1.7 * sun[1] * (1 - dark)
    light += (1 - look.sun_share) * 1.2 * (1 - 0.8 * soft)
    x1, z1 = x0 + shape[1] * step, z0 + shape[0] * step
    corners = np.array([[x0, 0.0, z0], [x1, 0.0, z0], [x1, 0.0, z1], [x0, 0.0, z1]])
    return corners, np.rint(255 * encode(surface * light[..., None])).astype(np.uint8)


def _wall(
    scene: Scene, look: Look, rng: np.random.Generator, world: Array, sun: Array, wall_z: float
) -> tuple[Array, Array]:
    step = 3.0
    middle = float(scene.pivot[0])
    x0, height = middle - 4200.0, 3600.0
    shape = (int(height / step), int(8400.0 / step))
    kind = "plaster" if look.wall == "hedge" and wall_z > -1400.0 else look.wall
    surface = wall_texture(rng, kind, shape, step)
    dark = _shadow(world, sun, 0.06, 2, wall_z, (x0, 0.0, step), shape, rng, 12)[::-1]
    rows = np.arange(shape[0])[:, None] * step
    foot = 1.0 - 0.25 * np.exp(-(height - rows) / 250.0)
    light = look.sun_share * 1.7 * max(sun[2], 0.1) * (1 - dark) + (1 - look.sun_share) * foot
    x1 = x0 + shape[1] * step
    corners = np.array(
        [[x0, height, wall_z], [x1, height, wall_z], [x1, 0.0, wall_z], [x0, 0.0, wall_z]]
    )
    return corners, np.rint(255 * encode(surface * light[..., None])).astype(np.uint8)


# --- drawing with VTK ------------------------------------------------------


def _quad(corners: Array) -> Any:
    """Corners in the order of the texture's top left, top right, bottom right, bottom left."""
    quad: Any = pyvista.PolyData(corners, faces=np.array([4, 0, 1, 2, 3]))
    quad.active_texture_coordinates = np.array([[0.0, 1], [1, 1], [1, 0], [0, 0]], dtype=np.float32)
    return quad


def _texture(picture: Array) -> Any:
    make: Any = pyvista.Texture
    texture = make(picture)
    texture.interpolate = True
    texture.mipmap = True  # without, a floor seen at a slant glitters
    return texture


def _dog_surface(stage: _Stage) -> Any:
    cells = np.concatenate([np.full((len(stage.faces), 1), 3), stage.faces], axis=1)
    return pyvista.PolyData(stage.vertices, faces=cells.ravel())


def _reference_surface(scene: Scene) -> Any:
    placed = scene.reference
    if placed.form == "ball":
        r = 0.5 * placed.size_factor * (placed.diameter_mm or 0.0)
        return pyvista.Sphere(
            radius=r, center=placed.centre, theta_resolution=96, phi_resolution=96
        )
    if placed.form == "disc":
        rim = placed.outline(scene.camera.position, 128)
        return pyvista.PolyData(rim, faces=np.concatenate([[128], np.arange(128)]))
    if placed.form == "points":
        w, h = (placed.length_mm or 0.0) + 40.0, 34.0
        flat = 0.5 * np.array([[-w, -h], [w, -h], [w, h], [-w, h]])
        return _quad(placed.place_points(placed.size_factor * flat))
    return _quad(placed.outer_corners())


def _draw(scene: Scene, stage: _Stage, margin: int, what: str) -> Picture:
    """One pass, (H + 2 margin, W + 2 margin, 3) uint8: "colour", "cover" or "hair"."""
    camera = scene.camera
    size = (camera.size_px[0] + 2 * margin, camera.size_px[1] + 2 * margin)
    plotter: Any = pyvista.Plotter(off_screen=True, window_size=list(size), lighting="none")
    try:
        plotter.set_background("black" if what != "colour" else (0.72, 0.80, 0.90))
        flat: dict[str, Any] = {"lighting": False, "show_scalar_bar": False}
        dog = _dog_surface(stage)
        if what == "colour":
            plotter.enable_anti_aliasing("msaa", multi_samples=8)
            for corners, texture in (stage.floor, stage.wall):
                plotter.add_mesh(_quad(corners), texture=_texture(texture), **flat)
            dog["rgb"] = stage.colours
            plotter.add_mesh(dog, scalars="rgb", rgb=True, **flat)
            _add_eyes(plotter, scene)
        elif what == "cover":
            plotter.enable_anti_aliasing("msaa", multi_samples=8)
            plotter.add_mesh(dog, color=(1.0, 0.0, 0.0), **flat)
            _add_eyes(plotter, scene, plain=True)
            plotter.add_mesh(_reference_surface(scene), color=(0.0, 1.0, 0.0), **flat)
        else:
            plotter.disable_anti_aliasing()
            dog["rgb"] = _screen_direction(scene, stage)
            plotter.add_mesh(dog, scalars="rgb", rgb=True, **flat)
        _aim(plotter, camera, size[1])
        picture: Any = plotter.screenshot(return_img=True)
        return np.asarray(picture[..., :3], dtype=np.uint8)
    finally:
        plotter.close()


def _aim(plotter: Any, camera: Camera, rows: int) -> None:
    view = plotter.camera
    view.position = camera.position
    view.focal_point = camera.aim
    view.up = tuple(-camera.axes[1])
    view.view_angle = float(np.degrees(2.0 * np.arctan(0.5 * rows / camera.focal_px)))
    view.clipping_range = (100.0, 20000.0)


def _screen_direction(scene: Scene, stage: _Stage) -> Array:
    camera = scene.camera
    start = (stage.vertices - np.array(camera.position)) @ camera.axes.T
    end = start + 10.0 * stage.hair @ camera.axes.T
    gap = end[:, :2] / end[:, 2:] - start[:, :2] / start[:, 2:]
    unit = gap / np.maximum(np.linalg.norm(gap, axis=1, keepdims=True), 1e-12)
    blue = np.full((len(unit), 1), 255.0)
    coded = np.concatenate([127.5 + 127.5 * unit, blue], axis=1)
    return np.asarray(np.rint(coded), dtype=np.uint8)


def eyes_of(dog: Dog) -> list[tuple[Array, float, tuple[float, float, float]]]:
    """Balls of the eyes in the dog's frame, in its coat whatever its length: centre, radius, sRGB
    colour.
    """
    p, h = dog.plan.proportions, dog.plan.height_mm
    stop = 0.5 * (1.0 - p.muzzle_share) * p.head_length
    middle = dog.anatomy.head_point(0.70 * stop, 0.022)
    balls = []
    for side in (1.0, -1.0):
        coat = dog.visible_field.leave(middle, np.array([0.0, 0.0, side]), 0.5 * h)
        eye = coat - [0.0, 0.0, side * 0.012 * h]
        balls.append((eye, 0.019 * h, (0.10, 0.06, 0.04)))
        glint = dog.anatomy.head_point(0.70 * stop + 0.006, 0.029)
        glint[2] = eye[2] + side * 0.0155 * h
        balls.append((glint, 0.0035 * h, (0.85, 0.86, 0.88)))
    return balls


def _add_eyes(plotter: Any, scene: Scene, *, plain: bool = False) -> None:
    for centre, radius, colour in eyes_of(scene.dog):
        ball = pyvista.Sphere(radius=radius, center=scene.to_world(centre)[0])
        plotter.add_mesh(ball, color=(0.0, 0.0, 0.0) if plain else colour, lighting=False)
