"""Photos of phantom scenes: VTK for what hides what, our own light, hair and lens.

The picture is made without distortion and a little too large; reference faces
are warped into it by their exact homography, hair is drawn along its direction,
and the lens bends the whole at the end.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import cv2
import numpy as np
import pyvista

from photocheck.phantom.body import Dog
from photocheck.phantom.camera import Camera
from photocheck.phantom.field import Array
from photocheck.phantom.lens import Picture, bend, decode, encode, expose
from photocheck.phantom.look import Look
from photocheck.phantom.paint import baked_light, coat_colour, hair_direction
from photocheck.phantom.scene import Scene
from photocheck.phantom.textures import cloud, floor_texture, reference_face, wall_texture

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


def render(scene: Scene, look: Look | None = None) -> Picture:
    """The photo of a scene.

    Parameters
    ----------
    scene : Scene
        Its dog should be built with about `PICTURE_RESOLUTION`.
    look : Look or None

    Returns
    -------
    (H, W, 3) uint8 RGB, upright.
    """
    look = look or Look()
    rng = np.random.default_rng(look.seed)
    margin = int(np.ceil(MARGIN * scene.camera.size_px[0]))
    stage = _stage(scene, look, rng)
    clean = decode(_draw(scene, stage, margin, "colour") / 255.0)
    cover = _draw(scene, stage, margin, "cover") / 255.0
    flow = _draw(scene, stage, margin, "hair").astype(np.float64)
    clean = _add_hair(clean, cover[..., 0], flow, scene, look, rng)
    clean = _add_reference(clean, cover[..., 1], cover[..., 0], scene, look, margin)
    bent = bend(clean.astype(np.float32), scene.camera, margin)
    return expose(np.asarray(bent, dtype=np.float64), look, rng)


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


def _draw(scene: Scene, stage: _Stage, margin: int, what: str) -> Array:
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
        return np.asarray(picture[..., :3], dtype=np.float64)
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


def _eyes(dog: Dog) -> list[tuple[Array, float, tuple[float, float, float]]]:
    """Balls of the eyes in the dog's frame: centre, radius, sRGB colour."""
    p, h = dog.plan.proportions, dog.plan.height_mm
    stop = 0.5 * (1.0 - p.muzzle_share) * p.head_length
    balls = []
    for side in (1.0, -1.0):
        z = side * 0.385 * p.skull_width
        eye = dog.anatomy.head_point(0.70 * stop, 0.022, z)
        balls.append((eye, 0.019 * h, (0.10, 0.06, 0.04)))
        glint = dog.anatomy.head_point(0.70 * stop + 0.006, 0.029, z + side * 0.0155)
        balls.append((glint, 0.0035 * h, (0.85, 0.86, 0.88)))
    return balls


def _add_eyes(plotter: Any, scene: Scene, *, plain: bool = False) -> None:
    for centre, radius, colour in _eyes(scene.dog):
        ball = pyvista.Sphere(radius=radius, center=scene.to_world(centre)[0])
        plotter.add_mesh(ball, color=(0.0, 0.0, 0.0) if plain else colour, lighting=False)


# --- hair and reference ----------------------------------------------------


def _add_hair(
    clean: Array, cover: Array, flow: Array, scene: Scene, look: Look, rng: np.random.Generator
) -> Array:
    """Streaks along the hair, and an outline that is not cut with a knife."""
    del look
    rows, columns = np.nonzero(cover > 0.02)
    if not len(rows):
        return clean
    pad = 24
    top, left = max(rows.min() - pad, 0), max(columns.min() - pad, 0)
    window = np.s_[top : rows.max() + pad, left : columns.max() + pad]
    scale = float(scene.camera.px_per_mm(scene.pivot)[0])
    coat = scene.dog.plan.coat_mm
    inside = flow[window][..., 2] > 128
    away = np.where(inside[..., None], flow[window][..., :2] / 127.5 - 1.0, 0.0)
    # Carry directions a little past the outline, where the hair ends.
    weight = cv2.GaussianBlur(inside.astype(np.float64), (0, 0), 6.0)
    away = np.asarray(cv2.GaussianBlur(away, (0, 0), 6.0)) / np.maximum(weight, 1e-3)[..., None]
    away = away / np.maximum(np.linalg.norm(away, axis=2, keepdims=True), 0.2)
    shape = away.shape[:2]
    # Locks wander a little from the flow.
    swing = 0.35 * cloud(rng, shape, max(18.0 * scale, 4.0)) + 0.15 * cloud(rng, shape, 5.0)
    c, s = np.cos(swing), np.sin(swing)
    away = np.stack(
        [c * away[..., 0] - s * away[..., 1], s * away[..., 0] + c * away[..., 1]], axis=2
    )
    hair_px = (8.0 + 0.9 * coat) * scale
    streak = _along(rng.normal(size=shape), away, hair_px)
    locks = _along(cloud(rng, shape, max(4.0 * scale, 2.0)), away, 1.5 * hair_px)
    grain = 0.6 * streak + 0.5 * locks
    depth = 0.10 + 0.004 * min(coat, 25.0)
    # Push the picture along the hair by the streaks: the outline frays.
    fray = (0.8 + 0.12 * coat) * scale * streak
    at_y, at_x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    edge = np.asarray(cv2.GaussianBlur(cover[window], (0, 0), max(2.0 * scale, 1.0)))
    edge = np.clip(4.0 * edge * (1.0 - edge), 0.0, 1.0)
    shift = (fray * edge)[..., None] * away
    part = cv2.remap(
        clean[window].astype(np.float32),
        (at_x - shift[..., 0]).astype(np.float32),
        (at_y - shift[..., 1]).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    tone = np.exp(depth * grain * cover[window])
    out = clean.copy()
    out[window] = part * tone[..., None]
    return out


def _along(noise: Array, away: Array, length_px: float) -> Array:
    """Smear noise along a direction field (line integral convolution), unit variance."""
    shape = noise.shape
    at_y, at_x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    source = noise.astype(np.float32)
    total = source.copy()
    steps = int(np.clip(length_px, 4, 28))
    stride = float(length_px / steps)
    ax, ay = away[..., 0].astype(np.float32), away[..., 1].astype(np.float32)
    for sign in (1.0, -1.0):
        px, py = at_x.copy(), at_y.copy()
        for _ in range(steps // 2):
            dx = cv2.remap(ax, px, py, cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)
            dy = cv2.remap(ay, px, py, cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)
            px += np.float32(sign * stride) * dx
            py += np.float32(sign * stride) * dy
            total += cv2.remap(source, px, py, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(total / (total.std() + 1e-6), dtype=np.float64)


def _add_reference(
    clean: Array, cover: Array, hidden: Array, scene: Scene, look: Look, margin: int
) -> Array:
    """Lay the reference's face into the picture where nothing hides it."""
    placed, camera = scene.reference, scene.camera
    facing = abs(float(placed.axes[2] @ np.array([0.0, 0.0, 1.0])))
    light = look.sun_share * 1.7 * max(look.sun[2], 0.15) * facing + (1 - look.sun_share) * 1.05
    if placed.form == "ball":
        colour, opaque = _ball_face(scene, look, margin, clean.shape[:2])
    else:
        scale = float(camera.px_per_mm(np.array([placed.centre]))[0])
        face, alpha, to_mm = reference_face(placed, float(np.clip(2.0 * scale, 0.6, 12.0)))
        to_px = _face_homography(scene, margin) @ to_mm
        colour, opaque = _warp(face * light, alpha, to_px, clean.shape[:2])
    if placed.form != "ball":
        # The warp knows the object's own edge best; VTK only what the dog hides of it.
        beside = cv2.dilate(hidden, np.ones((5, 5))) > 0.0
        cover = np.where(beside, np.minimum(cover, opaque), opaque)
    share = cover[..., None]
    return np.asarray(clean * (1.0 - share) + colour * share)


def _face_homography(scene: Scene, margin: int) -> Array:
    """Nominal mm of the reference's plane to px of the undistorted picture, (3, 3)."""
    placed, camera = scene.reference, scene.camera
    middle = np.array(placed.centre) - np.array(camera.position)
    axes = placed.size_factor * placed.axes[:2]
    into = np.stack([axes[0], axes[1], middle], axis=1)
    matrix = camera.matrix.copy()
    matrix[:2, 2] += margin
    return np.asarray(matrix @ camera.axes @ into)


def _warp(face: Array, alpha: Array, to_px: Array, shape: tuple[int, int]) -> tuple[Array, Array]:
    """Warp a face with threefold supersampling inside its window."""
    rows, columns = alpha.shape
    ring = np.array([[-1.0, -1], [columns, -1], [columns, rows], [-1, rows]])
    seen = cv2.perspectiveTransform(ring[None], to_px)[0]
    low = np.maximum(np.floor(seen.min(axis=0)).astype(int) - 2, 0)
    high = np.minimum(np.ceil(seen.max(axis=0)).astype(int) + 3, [shape[1], shape[0]])
    size = high - low
    many = 3
    # Pixel p of the window holds the fine pixels many p ... many p + many - 1.
    finer = np.array(
        [
            [many, 0.0, 0.5 * (many - 1) - many * low[0]],
            [0.0, many, 0.5 * (many - 1) - many * low[1]],
            [0.0, 0.0, 1.0],
        ]
    )
    grown = (int(size[0] * many), int(size[1] * many))
    colour = cv2.warpPerspective(
        face.astype(np.float32),
        finer @ to_px,
        grown,
        flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    opaque = cv2.warpPerspective(
        alpha.astype(np.float32), finer @ to_px, grown, flags=cv2.INTER_LINEAR
    )
    target = (int(size[0]), int(size[1]))
    out = np.zeros((*shape, 3))
    cover = np.zeros(shape)
    window = np.s_[low[1] : high[1], low[0] : high[0]]
    out[window] = cv2.resize(colour, target, interpolation=cv2.INTER_AREA)
    cover[window] = cv2.resize(opaque, target, interpolation=cv2.INTER_AREA)
    return out, cover


def _ball_face(
    scene: Scene, look: Look, margin: int, shape: tuple[int, int]
) -> tuple[Array, Array]:
    """A lit ball: each pixel's ray meets the sphere."""
    placed, camera = scene.reference, scene.camera
    r = 0.5 * placed.size_factor * (placed.diameter_mm or 0.0)
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float64)
    matrix = camera.matrix
    rays = (
        np.stack(
            [
                (x - margin - matrix[0, 2]) / matrix[0, 0],
                (y - margin - matrix[1, 2]) / matrix[1, 1],
                np.ones(shape),
            ],
            axis=-1,
        )
        @ camera.axes
    )
    rays /= np.linalg.norm(rays, axis=-1, keepdims=True)
    centre = np.array(placed.centre) - np.array(camera.position)
    along = rays @ centre
    root = np.sqrt(np.maximum(along**2 - centre @ centre + r * r, 0.0))
    normal = (rays * (along - root)[..., None] - centre) / r
    sun = np.array(look.sun) / np.linalg.norm(look.sun)
    light = look.sun_share * 1.7 * np.clip(normal @ sun, 0.0, None)
    light += (1 - look.sun_share) * (0.65 + 0.45 * normal[..., 1])
    seam = np.abs(normal[..., 0] * 0.8 + 0.6 * np.sin(2.2 * normal[..., 1])) < 0.07
    colour = np.where(seam[..., None], (0.75, 0.75, 0.72), (0.55, 0.42, 0.03)) * light[..., None]
    return colour, np.ones(shape)
