"""Tags on a phantom dog: where they stand or lie, and how they look in its photo.

Their spreads are the builder's judgement of what owners do.  Nothing of how tags are found is
used: a tag is paper in space, each pixel's place on the paper is solved for, and what lies before
it (the dog's own body, hair, tape, a shadow's edge) is laid over it.  Tags cast no shadow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import cv2
import numpy as np

from photocheck.phantom.facing import front_points
from photocheck.phantom.field import Array, Field
from photocheck.phantom.look import Look
from photocheck.phantom.phone import Light
from photocheck.phantom.scene import Scene
from photocheck.phantom.tag_face import ABOVE, BELOW, tag_face
from photocheck.phantom.textures import cloud
from photocheck.phantom.true_camera import Camera
from photocheck.scale.tag_layout import CELLS, STANDING, WHITE
from photocheck.words import FRONT_LANDMARKS

ROLL_DEG: Final = 8.0
"""Standard deviation of how a tag is turned in its own plane."""
TURN_DEG: Final = (12.0, 8.0)
"""And of how a standing tag is turned about its own upright and leans."""
PRINT_SPREAD: Final = 0.005
"""Of the print's size over nominal."""
TAPED: Final = 0.25
"""Share of tags over whose edge a strip of tape runs."""
SHADED: Final = 0.25
"""Share of tags over which a shadow's edge runs."""

_STEP_CELLS: Final = 0.5
_STEP_MM: Final = 2.0
"""Along a coat; bends of a flank in so little are nothing."""
_FINER: Final = 4
_FACE_PX: Final = 16


@dataclass(frozen=True, eq=False)
class PlacedTag:
    """One tag as it truly is.

    Attributes
    ----------
    landmark : str
        A key of `photocheck.scale.tag_layout.TAG_IDS`.
    side_mm : float
        True side of its black square.
    paper : (rows, columns, 3) float
        Places of the paper in the world, mm: half a cell apart, from its top left as the marker
        is read, 11 cells down and 8 across.
    hidden : (rows, columns) float
        Share of each of them that the dog's body hides.
    seed : int
        Of hair, tape and shade.
    """

    landmark: str
    side_mm: float
    paper: Array
    hidden: Array
    seed: int

    @cached_property
    def tip(self) -> Array:
        """The tip, (3,) mm in the world."""
        return np.asarray(self.paper[-1, int(WHITE / _STEP_CELLS)])

    @cached_property
    def middle(self) -> Array:
        """The middle of the square, (3,) mm in the world."""
        return np.asarray(self.paper[int(ABOVE / _STEP_CELLS), int(WHITE / _STEP_CELLS)])

    def tip_px(self, camera: Camera) -> Array:
        """Where the tip appears, (2,) px."""
        return np.asarray(camera.project(self.tip[None])[0])

    def px_per_mm(self, camera: Camera) -> float:
        """A mm across the line of sight at the square's middle, px."""
        return float(camera.px_per_mm(self.middle[None])[0])


def print_factor(rng: np.random.Generator) -> float:
    """How large tags come off a printer, true over nominal."""
    return float(1.0 + rng.normal(0.0, PRINT_SPREAD))


def side_tags(
    scene: Scene,
    rng: np.random.Generator,
    side_mm: float = 40.0,
    landmarks: Sequence[str] = (*STANDING, "last_rib"),
    *,
    printed: float | None = None,
) -> tuple[PlacedTag, ...]:
    """Tags on a dog that is seen from the side: each tip touches its landmark.

    Parameters
    ----------
    scene : Scene
    rng : numpy Generator
    side_mm : float
        Nominal side of the squares.
    landmarks : sequence of str
    printed : float or None
        True over nominal size of the print, one for all photos of a dog; drawn by default.
    """
    rays = scene.dog.anatomy.rays()
    factor = print_factor(rng) if printed is None else printed
    placed = []
    for name in landmarks:
        tip = scene.landmarks[name]
        if name in STANDING:
            outward = scene.axes @ rays[name][1]
            paper = _card(rng, tip, outward, _sight(scene, tip), side_mm * factor)
        else:
            paper = _bent(rng, scene, tip, side_mm * factor)
        hidden = _hidden(scene, paper, name in STANDING)
        seed = int(rng.integers(2**31))
        placed.append(PlacedTag(name, side_mm * factor, paper, hidden, seed))
    return tuple(placed)


def front_tags(
    scene: Scene,
    rng: np.random.Generator,
    side_mm: float = 40.0,
    *,
    printed: float | None = None,
    at: Array | None = None,
) -> tuple[PlacedTag, ...]:
    """Tags left and right at the neck of a dog that faces the camera, `side_tags` else.

    Parameters
    ----------
    at : (2, 3) or None
        Where their tips are, left and right in the picture, mm in the world; by default where the
        outline ends, as it is seen in this very photo.
    """
    factor = print_factor(rng) if printed is None else printed
    points = front_points(scene) if at is None else dict(zip(FRONT_LANDMARKS, at, strict=True))
    placed = []
    for name, sign in zip(FRONT_LANDMARKS, (-1.0, 1.0), strict=True):
        tip = points[name]
        outward = np.array([sign, 0.0, 0.0])
        paper = _card(rng, tip, outward, _sight(scene, tip), side_mm * factor)
        seed = int(rng.integers(2**31))
        placed.append(PlacedTag(name, side_mm * factor, paper, _hidden(scene, paper, True), seed))
    return tuple(placed)


def _sight(scene: Scene, tip: Array) -> Array:
    """From a place to the camera, a level unit vector: owners turn tags to face it about."""
    gap = np.array(scene.camera.position) - tip
    gap[1] = 0.0
    return np.asarray(gap / np.linalg.norm(gap))


def _cells() -> tuple[Array, Array]:
    """Places of the paper from the tip, cells: right and down, (rows, columns) each."""
    x = np.arange(-WHITE, WHITE + 0.01, _STEP_CELLS)
    y = np.arange(-ABOVE, BELOW + 0.01, _STEP_CELLS) - BELOW
    across, down = np.meshgrid(x, y)
    return across, down


def _card(
    rng: np.random.Generator, tip: Array, outward: Array, sight: Array, side_mm: float
) -> Array:
    """A flat card that stands off the dog, its square facing about where the camera is."""
    down = -outward / np.linalg.norm(outward)
    down = down - (down @ sight) * sight
    down = down / np.linalg.norm(down)
    right = np.cross(down, -sight)
    roll, yaw, pitch = np.radians(rng.normal(0.0, (ROLL_DEG, *TURN_DEG)))
    for angle, axis in ((roll, sight), (yaw, down), (pitch, right)):
        turn, _ = cv2.Rodrigues(angle * axis)
        right, down = turn @ right, turn @ down
    x, y = _cells()
    cell = side_mm / CELLS
    return np.asarray(tip + cell * (x[..., None] * right + y[..., None] * down))


def _bent(rng: np.random.Generator, scene: Scene, tip: Array, side_mm: float) -> Array:
    """Paper that lies on the coat, its tip on the point.

    Paper bends and does not stretch: it follows the coat along one direction and stays straight
    across it (a cylinder over any curve), the way that lies nearest to the coat.
    """
    body = scene.dog.visible_field
    start = scene.to_dog(tip[None])[0]
    _, slope = body.sample(start[None])
    normal = slope[0] / np.linalg.norm(slope[0])
    up = np.array([0.0, 1.0, 0.0]) - normal[1] * normal
    roll, _ = cv2.Rodrigues(np.radians(rng.normal(0.0, ROLL_DEG)) * normal)
    up = roll @ (up / np.linalg.norm(up))
    # Its right as seen, whichever side of the dog it is on: the world may be its mirror image.
    right = np.cross(scene.axes @ up, scene.axes @ normal) @ scene.axes
    x, y = _cells()
    flat = np.stack([x, -y], axis=-1) * (side_mm / CELLS)  # mm right and up from the tip
    best, least = flat, np.inf
    for turn in np.radians(np.arange(0.0, 180.0, 15.0)):
        along, straight = (
            np.array([np.cos(turn), np.sin(turn)]),
            np.array([-np.sin(turn), np.cos(turn)]),
        )
        ahead = along[0] * right + along[1] * up
        way = flat @ along
        section = _section(body, start, ahead, normal, np.unique(np.round(way, 6)))
        at = np.searchsorted(section[0], way.ravel() - 1e-5)
        across = straight[0] * right + straight[1] * up
        paper = section[1][at].reshape(*flat.shape[:2], 3) + (flat @ straight)[..., None] * across
        gap = float(np.mean(body.sample(paper.reshape(-1, 3))[0] ** 2))
        if gap < least:
            best, least = paper, gap
    return scene.to_world(best.reshape(-1, 3)).reshape(best.shape)


def _section(
    body: Field, start: Array, ahead: Array, normal: Array, lengths: Array
) -> tuple[Array, Array]:
    """Places (n, 3) mm on a plane section of a surface, so far (n,) mm from its start."""
    reach = max(float(np.abs(lengths).max()), 1.0)
    steps = int(np.ceil(reach / _STEP_MM))
    flat = np.stack([ahead, normal])
    sides = []
    for sign in (1.0, -1.0):
        place, way, out = start, sign * ahead, [start]
        for _ in range(steps):
            after = place + _STEP_MM * way
            for _ in range(4):
                far, slope = body.sample(after[None])
                inside = flat.T @ (flat @ slope[0])  # the plane is not left
                after = after - far[0] * inside / max(float(inside @ inside), 1e-9)
            step = after - place
            way = step / np.linalg.norm(step)
            place = place + _STEP_MM * way
            out.append(place)
        sides.append(out)
    curve = np.array(sides[1][:0:-1] + sides[0])
    known = _STEP_MM * np.arange(-steps, steps + 1)
    return lengths, np.stack([np.interp(lengths, known, curve[:, k]) for k in range(3)], axis=1)


def _hidden(scene: Scene, paper: Array, standing: bool) -> Array:
    """Share of each place that the dog's body lies before."""
    places = paper.reshape(-1, 3)
    ahead = np.array(scene.camera.position) - places
    ahead = ahead / np.linalg.norm(ahead, axis=1, keepdims=True)
    far = np.linspace(8.0, 320.0, 40)
    between = places[:, None] + far[:, None] * ahead[:, None]
    depth, _ = scene.dog.visible_field.sample(scene.to_dog(between.reshape(-1, 3)))
    least = depth.reshape(len(places), -1).min(axis=1)
    # What lies on the coat is not in it.
    return np.asarray((least < (-2.0 if standing else -6.0)).astype(np.float64)).reshape(
        paper.shape[:2]
    )


# --- the picture -----------------------------------------------------------


def add_tags(
    clean: Light, scene: Scene, tags: Sequence[PlacedTag], look: Look, margin: int
) -> None:
    """Lay tags into a picture without distortion, in place; linear light."""
    straight = replace(scene.camera, distortion=())
    # the farthest first
    for tag in sorted(tags, key=lambda one: one.px_per_mm(straight)):
        _add(clean, straight, tag, look, margin, scene.dog.plan.coat_mm)


def _add(
    clean: Light, camera: Camera, tag: PlacedTag, look: Look, margin: int, coat_mm: float
) -> None:
    rng = np.random.default_rng(tag.seed)
    rows, columns = tag.paper.shape[:2]
    seen = camera.project(tag.paper.reshape(-1, 3)).reshape(rows, columns, 2) + margin
    low = np.floor(seen.min(axis=(0, 1))).astype(int) - 4
    high = np.ceil(seen.max(axis=(0, 1))).astype(int) + 5
    low, high = np.maximum(low, 0), np.minimum(high, clean.shape[1::-1])
    if np.any(high - low < 4):
        return
    window = np.s_[low[1] : high[1], low[0] : high[0]]
    size = high - low
    at = [low[k] + (np.arange(size[k] * _FINER) - 0.5 * (_FINER - 1)) / _FINER for k in (0, 1)]
    where = _on_paper(seen, np.stack(np.meshgrid(*at), axis=-1))
    cells = where * _STEP_CELLS
    pale, paper = _face(tag, cells, float(camera.px_per_mm(tag.middle[None])[0]))
    paper = paper * (1.0 - _looked_up(tag.hidden, where))
    fringe = _fringe(rng, cells, coat_mm, tag.side_mm)
    colour = (0.03 + 0.78 * pale)[..., None] * rng.uniform(0.94, 1.0, 3)
    if rng.random() < TAPED:
        colour = _taped(rng, colour, cells)
    light = _light(tag, where, look)
    if rng.random() < SHADED:
        light = light * _shade(rng, cells)
    opaque = (paper * (1.0 - fringe))[..., None]
    mixed = _shrunk(colour * light[..., None] * opaque, size)
    share = _shrunk(np.repeat(opaque, 3, axis=2), size)
    clean[window] = clean[window] * (1.0 - share) + mixed


def _shrunk(fine: Array, size: Array) -> Array:
    small = cv2.resize(fine, (int(size[0]), int(size[1])), interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.float64)


def _looked_up(grid: Array, where: Array) -> Array:
    """Values of a grid at (column, row) places, linearly between."""
    found = cv2.remap(
        grid.astype(np.float32),
        where[..., 0].astype(np.float32),
        where[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(found, dtype=np.float64)


def _on_paper(seen: Array, pixels: Array) -> Array:
    """Places (column, row) of the paper's grid that pixels (h, w, 2) show.

    A homography comes near; what paper that is not flat leaves over is taken off in turns.
    """
    rows, columns = seen.shape[:2]
    grid = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1).astype(np.float64)
    middle = seen.mean(axis=(0, 1))
    matrix, _ = cv2.findHomography(grid.reshape(-1, 2), (seen - middle).reshape(-1, 2), 0)
    over = (
        seen
        - middle
        - cv2.perspectiveTransform(grid.reshape(1, -1, 2), matrix).reshape(rows, columns, 2)
    )
    back = np.linalg.inv(matrix)
    flat = (pixels - middle).reshape(1, -1, 2)
    where = cv2.perspectiveTransform(flat, back)
    if np.abs(over).max() > 1e-6:
        for _ in range(8):
            near: Array = np.asarray(where.reshape(*pixels.shape), np.float64)
            off = np.stack([_looked_up(over[..., k], near) for k in (0, 1)], axis=-1)
            where = cv2.perspectiveTransform(flat - off.reshape(1, -1, 2), back)
    return np.asarray(where.reshape(pixels.shape), dtype=np.float64)


def _face(tag: PlacedTag, cells: Array, px_per_mm: float) -> tuple[Array, Array]:
    """How pale the print is, and where there is paper, at places of it in cells."""
    fine_px = px_per_mm * tag.side_mm / CELLS * _FINER
    shapes = []
    for one in tag_face(tag.landmark, _FACE_PX):
        soft = cv2.GaussianBlur(one, (0, 0), max(0.5 * _FACE_PX / fine_px, 0.05))
        at = cells * _FACE_PX - 0.5
        border = cv2.BORDER_CONSTANT
        found = cv2.remap(
            soft.astype(np.float32),
            at[..., 0].astype(np.float32),
            at[..., 1].astype(np.float32),
            cv2.INTER_LINEAR,
            borderMode=border,
            borderValue=0.0,
        )
        shapes.append(np.asarray(found, dtype=np.float64))
    pale, paper = shapes
    return pale, paper


def _fringe(rng: np.random.Generator, cells: Array, coat_mm: float, side_mm: float) -> Array:
    """How much of each place hair from the rim lies over, 0 to 1."""
    mm = side_mm / CELLS
    x, y = cells[..., 0], cells[..., 1]
    width, height = 2 * WHITE, ABOVE + BELOW
    tuft = np.asarray(cloud(rng, (64, 96), 1.2))
    cover = np.zeros(x.shape)
    for inward, along in ((x, y), (width - x, y), (y, x), (height - y, x)):
        long = rng.uniform(0.0, min(0.12 * coat_mm + 1.0, 5.0))
        strand = _looked_up(tuft, np.stack([(along * 7.0) % 95, (inward * 2.0) % 63], axis=-1))
        reach = long * (0.5 + 0.7 * strand) / mm
        cover = np.maximum(cover, np.clip((reach - inward) * 3.0, 0.0, 1.0))
    return cover


def _taped(rng: np.random.Generator, colour: Array, cells: Array) -> Array:
    """A strip of pale tape over one edge of the paper, up to a cell into the square."""
    deep = rng.uniform(0.3, 1.6)
    side = int(rng.integers(3))
    inward = (cells[..., 0], 2 * WHITE - cells[..., 0], cells[..., 1])[side]
    over = np.clip((deep - inward) * 8.0 + 0.5, 0.0, 1.0)[..., None]
    return np.asarray(colour * (1 - over) + rng.uniform(0.45, 0.7) * over)


def _shade(rng: np.random.Generator, cells: Array) -> Array:
    """A shadow's soft edge across the tag."""
    a = rng.uniform(0.0, 2 * np.pi)
    off = np.array([rng.uniform(1.0, 7.0), rng.uniform(1.0, 9.0)])
    far = (cells - off) @ np.array([np.cos(a), np.sin(a)])
    part = 1.0 / (1.0 + np.exp(-far / rng.uniform(0.15, 1.5)))
    return np.asarray(1.0 - rng.uniform(0.3, 0.7) * part)


def _light(tag: PlacedTag, where: Array, look: Look) -> Array:
    """How much light falls on each place of the paper."""
    across = np.gradient(tag.paper, axis=1)
    down = np.gradient(tag.paper, axis=0)
    normal = np.cross(down, across)
    normal = normal / np.linalg.norm(normal, axis=2, keepdims=True)
    sun = np.array(look.sun) / np.linalg.norm(look.sun)
    fall = np.clip(normal @ sun, 0.15, None)
    light = look.sun_share * 1.7 * fall + (1 - look.sun_share) * 1.05
    return _looked_up(light, where)
