"""One look: a small square picture with what is true of it; and blocks of them, seeded."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from photocheck.phantom.field import Array
from photocheck.phantom.teaching.coat import Noise, add_strands, draw_lamp, lit, painted
from photocheck.phantom.teaching.dress import hand, leash, legs_of_somebody, sheet, worn
from photocheck.phantom.teaching.fur import fluffed
from photocheck.phantom.teaching.mesh_drawing import BodyView, SeenMesh, draw
from photocheck.phantom.teaching.poses import FOLDED, STANDING
from photocheck.phantom.teaching.sceneries import Scenery, background, shadow_mask
from photocheck.phantom.teaching.sensor import photographed
from photocheck.phantom.teaching.teaching_bodies import POINTS, TeachingBody, phantom_body
from photocheck.phantom.teaching.warp import other_side, warped

SIDE: Final = 256
"""Pixels of a look's side."""
FINER: Final = 1.5
"""How many times finer it is drawn."""
FINE_SIDE: Final = int(SIDE * FINER)

KINDS: Final = ("side_on", "no_dog", "turned", "sitting", "lying", "bowing", "cut_off")
SHARES: Final = (0.56, 0.07, 0.12, 0.08, 0.06, 0.05, 0.06)
"""How often each kind is drawn."""

SQUARE_DEG: Final = 22.0
"""How far a dog may be turned and still be side-on."""
TURNED_DEG: Final = 32.0
"""From where on it is turned; between the two nothing is taught."""
BEYOND: Final = (124, 116, 104)
"""What whoever proposes puts beyond a photo (`photocheck.propose.looks.GREY`), RGB."""
BLOCK: Final = 24
"""Looks that share a few bodies and are made together."""

FURRED: Final = {STANDING: 0.35, "sitting": 0.2, "lying": 0.2, "bowing": 0.2}
"""Share of dogs by pose that wear more hair than their body has."""
HELD_OUT_FROM: Final = 10_000_000
"""Numbers of blocks from here on are never trained with."""

Floats = npt.NDArray[np.float32]
Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class DrawnLook:
    """A picture with its labels.

    Attributes
    ----------
    picture : (256, 256, 3) uint8 RGB
    kind : str
        One of `KINDS`.
    points : (11, 2) px of the look, NaN where nothing is taught
    facing_right : bool
    frame : (4,)
        x0, y0, x1, y1 of what is seen of the dog, 0 to 1; NaN without a dog.
    trunk : float
        Breastbone to tail base, px; NaN without a dog.
    body : str
        Whose body it is.
    """

    picture: Bytes
    kind: str
    points: Floats
    facing_right: bool
    frame: Floats
    trunk: float
    body: str


@dataclass(eq=False)
class Studio:
    """What a block of looks shares: scenery, others' bodies, noise, cut-outs to put behind."""

    rng: np.random.Generator
    scenery: Scenery
    dogs: Sequence[TeachingBody] = ()
    others: Sequence[TeachingBody] = ()
    noise: Noise = field(init=False)
    cutouts: list[tuple[Floats, Floats]] = field(default_factory=list)
    phantoms: dict[str, list[TeachingBody]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Draw the noise."""
        self.noise = Noise.of(self.rng)

    def body(self, kind: str) -> TeachingBody:
        """A dog in a pose: of another maker's or a phantom (three of each kind a block)."""
        rng = self.rng
        foreign = [b for b in self.dogs if b.kind == kind]
        if foreign and rng.random() < (0.45 if kind == STANDING else 0.4):
            names = sorted({b.name for b in foreign})
            name = str(rng.choice(names))
            some = [b for b in foreign if b.name == name]
            body = some[int(rng.integers(len(some)))]
        else:
            kept = self.phantoms.setdefault(kind, [])
            if len(kept) < (4 if kind == STANDING else 1):
                kept.append(phantom_body(rng, kind))
            body = kept[int(rng.integers(len(kept)))]
        return other_side(body) if rng.random() < 0.5 else body


def draw_view(rng: np.random.Generator, kind: str) -> BodyView:
    """How a camera looks at a dog of this kind."""
    if kind in ("side_on", "cut_off"):
        yaw = float(np.clip(rng.normal(0.0, 9.0), -SQUARE_DEG, SQUARE_DEG))
    elif kind == "turned":
        yaw = float(rng.uniform(TURNED_DEG, 180 - TURNED_DEG) * rng.choice([-1, 1]))
    elif kind == "bowing":
        yaw = float(rng.uniform(-50, 50))
    else:
        yaw = float(rng.uniform(-80, 80))
    pitch = float(np.clip(rng.normal(9.0, 8.0), -4.0, 35.0))
    return BodyView(
        np.radians(yaw),
        np.radians(pitch),
        np.radians(float(np.clip(rng.normal(0.0, 2.5), -8, 8))),
        distance=float(np.exp(rng.uniform(np.log(2.4), np.log(8.0)))),
    )


def _aimed(view: BodyView, vertices: Floats) -> BodyView:
    """The view with the middle of a body in its own middle."""
    x, y, z = (0.5 * (vertices.min(axis=0) + vertices.max(axis=0))).tolist()
    return replace(view, middle=(x, y, z))


def _placed(
    view: BodyView, vertices: Floats, kind: str, size: int, rng: np.random.Generator
) -> tuple[BodyView, tuple[int, int, int, int]]:
    """The view with its scale and shift; and the part of the look that the photo fills."""
    x0, y0, x1, y1 = 0, 0, size, size
    if rng.random() < 0.3:  # a photo padded to a square
        bar = int(rng.uniform(0.08, 0.22) * size)
        if rng.random() < 0.7:
            y0, y1 = bar, size - bar
        else:
            x0, x1 = bar, size - bar
    plain, _ = view.project(vertices)
    low, high = plain.min(axis=0), plain.max(axis=0)
    extent = high - low
    room = np.array([x1 - x0, y1 - y0], np.float64)
    share = rng.uniform(0.55, 0.97) if rng.random() < 0.6 else rng.uniform(0.30, 0.65)
    scale = min(share * size / extent.max(), 0.985 * float((room / extent).min()))
    middle = 0.5 * (low + high)
    slack = np.maximum(0.5 * (room - scale * extent), 0.0)
    where = np.array([0.5 * (x0 + x1), 0.5 * (y0 + y1)]) + slack * np.clip(
        rng.normal(0.0, 0.5, 2), -1, 1
    )
    if kind == "cut_off":
        scale *= rng.uniform(0.95, 1.5)
        push = (0.5 * room + rng.uniform(-0.3, 0.12) * scale * extent) * rng.choice([-1, 1], 2)
        axis = int(rng.random() < 0.3)
        where[axis] = (0.5 * (x0 + x1), 0.5 * (y0 + y1))[axis] + push[axis]
    shift = where - scale * middle
    placed = replace(view, scale=scale, shift=(float(shift[0]), float(shift[1])))
    return placed, (x0, y0, x1, y1)


def make_look(studio: Studio, kind: str) -> DrawnLook | None:
    """Draw one look; None where the draw did not give what the kind asks (draw again)."""
    rng, size = studio.rng, FINE_SIDE
    if kind == "no_dog":
        return _without_dog(studio)
    pose = kind if kind in FOLDED else STANDING
    rest = studio.body(pose)
    on_its_side = kind == "lying" and rng.random() < 0.35
    if on_its_side:
        rest = studio.body(STANDING)
    body = warped(rest, rng, amount=1.0 if rest.name == "phantom" else 1.25)
    furred = rng.random() < FURRED[pose]
    if furred:
        body = fluffed(body, rng)
    vertices, points = body.vertices, np.stack([body.points[name] for name in POINTS])
    if on_its_side:
        turn = np.radians(rng.uniform(65, 92))
        c, s = np.cos(turn), np.sin(turn)
        about = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
        vertices = (vertices @ about.T).astype(np.float32)
        points = points @ about.T
        low = float(vertices[:, 1].min())
        vertices[:, 1] -= low
        points[:, 1] -= low
    view = draw_view(rng, kind)
    view, inner = _placed(_aimed(view, vertices), vertices, kind, size, rng)
    marks, _ = view.project(points)
    x0, y0, x1, y1 = inner
    within = (
        (marks[:, 0] > x0) & (marks[:, 0] < x1 - 1) & (marks[:, 1] > y0) & (marks[:, 1] < y1 - 1)
    )
    if kind == "cut_off" and (within[:6].all() or within[:4].sum() == 0):
        return None
    seen = draw(vertices, body.faces, rest.vertices, view, (size, size), body.tint)
    if len(seen.rows) < 600:
        return None
    lamp = draw_lamp(rng)
    horizon = view.shift[1] - np.tan(view.pitch) * view.distance * view.scale
    picture = background(rng, studio.scenery, view.pitch, view.roll, float(horizon), size)
    trunk_px = float(np.hypot(*(marks[POINTS.index("tail_base")] - marks[0])))
    trunk_size = max(body.trunk * view.scale, 20.0)
    if studio.cutouts and rng.random() < 0.25:
        _put_behind(picture, studio, float(horizon), trunk_size)
    if rng.random() < 0.18:
        foot = np.array(
            [rng.uniform(0, size), marks[4:8, 1].max() + rng.uniform(-0.15, 0.1) * trunk_size]
        )
        legs_of_somebody(picture, foot, trunk_size * rng.uniform(0.7, 1.2), rng)
    if rng.random() < 0.18:
        at = rng.uniform([0, 0.35 * size], [size, size])
        sheet(picture, at, trunk_size * rng.uniform(0.1, 0.5), rng)
    _shade_ground(picture, vertices, view, lamp.toward, lamp.share, rng)
    coat = float(rng.uniform(0.4, 1.0) if furred else rng.beta(0.9, 1.6))
    colour = worn(painted(seen, rest, rng, studio.noise), seen, rest, rng)
    light = lit(colour, seen, view, lamp, studio.noise, rng, coat)
    gain = float(np.exp(rng.normal(0.0, 0.28)))  # white dogs burn out, black ones drown
    layer = np.zeros((size, size, 3), np.float32)
    shown = 255 * np.clip(gain * light, 0, 1) ** (1 / 2.2)
    layer[seen.rows, seen.columns] = shown
    alpha = np.zeros((size, size), np.float32)
    alpha[seen.rows, seen.columns] = 1.0
    _bleed(layer, alpha)
    add_strands(layer, alpha, seen, view, rng, coat, trunk_size)
    soft = cv2.GaussianBlur(alpha, (0, 0), rng.uniform(0.5, 1.3))
    if kind == STANDING and len(studio.cutouts) < 12:
        studio.cutouts.append(_cut(layer, alpha))
    picture = picture * (1 - soft[..., None]) + layer * soft[..., None]
    if rng.random() < 0.22:
        neck = 0.5 * (marks[1] + marks[0]) + rng.normal(0, 0.05, 2) * trunk_size
        leash(picture, None, neck, size, rng)
    if rng.random() < 0.1:
        spot = marks[int(rng.choice([1, 3, 8, 10, 9]))] + rng.normal(0, 0.12, 2) * trunk_size
        hand(picture, spot, trunk_size * rng.uniform(0.7, 1.1), rng)
    if rng.random() < 0.28:
        _grass(picture, marks[4:8], trunk_size, rng)
    small = np.asarray(cv2.resize(picture, (SIDE, SIDE), interpolation=cv2.INTER_AREA), np.float32)
    file = photographed(small, rng)
    inner_small = tuple(round(v / FINER) for v in inner)
    if inner != (0, 0, size, size):
        file = _padded(file, inner_small, rng)
    right = bool(rng.random() < 0.5)
    return _labelled(file, kind, marks, within, seen, inner, trunk_px, right, rest.name)


def _labelled(
    file: Bytes,
    kind: str,
    marks: Array,
    within: npt.NDArray[np.bool_],
    seen: SeenMesh,
    inner: tuple[int, int, int, int],
    trunk_px: float,
    right: bool,
    body: str,
) -> DrawnLook:
    size = FINE_SIDE
    seen_at = np.where(within[:, None], (marks + 0.5) / FINER - 0.5, np.nan)
    points = np.asarray(seen_at, np.float32)
    x0, y0, x1, y1 = inner
    rows, columns = seen.rows, seen.columns
    box = [
        max(columns.min(), x0),
        max(rows.min(), y0),
        min(columns.max() + 1, x1),
        min(rows.max() + 1, y1),
    ]
    frame = np.array([edge / size for edge in box], np.float32)
    if right:
        file = np.ascontiguousarray(file[:, ::-1])
        points[:, 0] = SIDE - 1 - points[:, 0]
        frame = np.array([1 - frame[2], frame[1], 1 - frame[0], frame[3]], np.float32)
    return DrawnLook(file, kind, points, right, frame, trunk_px / FINER, body)


def _without_dog(studio: Studio) -> DrawnLook:
    rng, size = studio.rng, FINE_SIDE
    picture = background(
        rng,
        studio.scenery,
        rng.uniform(-0.1, 0.5),
        rng.normal(0, 0.04),
        rng.uniform(0, 0.7) * size,
        size,
    )
    for _ in range(int(rng.integers(0, 3))):
        sheet(picture, rng.uniform(0, size, 2), size * rng.uniform(0.05, 0.4), rng)
    if rng.random() < 0.4:
        foot = np.array([rng.uniform(0, size), rng.uniform(0.6, 1.2) * size])
        legs_of_somebody(picture, foot, size * rng.uniform(0.2, 0.7), rng)
    if studio.others and rng.random() < 0.3:
        body = studio.others[int(rng.integers(len(studio.others)))]
        body = warped(body, rng, 0.6)
        view = draw_view(rng, str(rng.choice(["side_on", "turned", "sitting"])))
        view, _ = _placed(_aimed(view, body.vertices), body.vertices, "side_on", size, rng)
        seen = draw(body.vertices, body.faces, body.vertices, view, (size, size))
        if len(seen.rows):
            lamp = draw_lamp(rng)
            colour = painted(seen, body, rng, studio.noise)
            light = lit(colour, seen, view, lamp, studio.noise, rng, 0.3)
            _shade_ground(picture, body.vertices, view, lamp.toward, lamp.share, rng)
            picture[seen.rows, seen.columns] = 255 * np.clip(light, 0, 1) ** (1 / 2.2)
    small = np.asarray(cv2.resize(picture, (SIDE, SIDE), interpolation=cv2.INTER_AREA), np.float32)
    nothing = np.full((len(POINTS), 2), np.nan, np.float32)
    return DrawnLook(
        photographed(small, rng),
        "no_dog",
        nothing,
        False,
        np.full(4, np.nan, np.float32),
        np.nan,
        "",
    )


def _bleed(layer: Floats, alpha: Floats) -> None:
    """Let the outermost colours run over the edge, so that a soft edge stays of the dog."""
    spread = cv2.blur(layer, (7, 7))
    weight = cv2.blur(alpha, (7, 7))
    outside = (alpha < 0.5) & (weight > 1e-3)
    layer[outside] = spread[outside] / weight[outside][:, None]


def _cut(layer: Floats, alpha: Floats) -> tuple[Floats, Floats]:
    rows, columns = np.nonzero(alpha > 0.5)
    box = (slice(rows.min(), rows.max() + 1), slice(columns.min(), columns.max() + 1))
    return layer[box].copy(), alpha[box].copy()


def _put_behind(picture: Floats, studio: Studio, horizon: float, trunk: float) -> None:
    """Another dog further off, smaller and cut as it comes."""
    rng, size = studio.rng, picture.shape[0]
    layer, alpha = studio.cutouts[int(rng.integers(len(studio.cutouts)))]
    factor = rng.uniform(0.2, 0.6) * trunk / (0.65 * layer.shape[1])
    shape = (max(int(layer.shape[1] * factor), 4), max(int(layer.shape[0] * factor), 4))
    small = cv2.resize(layer, shape, interpolation=cv2.INTER_AREA)
    cover = cv2.resize(alpha, shape, interpolation=cv2.INTER_AREA)
    if rng.random() < 0.5:
        small, cover = small[:, ::-1], cover[:, ::-1]
    x, y = int(rng.uniform(-0.2, 0.9) * size), int(rng.uniform(0.0, 0.7) * size)
    x0, y0 = max(x, 0), max(y, 0)
    x1, y1 = min(x + shape[0], size), min(y + shape[1], size)
    if x1 <= x0 or y1 <= y0:
        return
    piece = (slice(y0 - y, y1 - y), slice(x0 - x, x1 - x))
    share = cover[piece][..., None]
    picture[y0:y1, x0:x1] = picture[y0:y1, x0:x1] * (1 - share) + small[piece] * share


def _shade_ground(
    picture: Floats,
    vertices: Floats,
    view: BodyView,
    toward: tuple[float, float, float],
    share: float,
    rng: np.random.Generator,
) -> None:
    """Shadows on the ground: one that the sun casts, and the dark about the feet."""
    size = picture.shape[0]
    axes = view.axes
    sun = toward[0] * axes[0] - toward[1] * axes[1] + toward[2] * axes[2]
    v = vertices[::2].astype(np.float64)
    if sun[1] > 0.2 and rng.random() < 0.85:
        cast = v - (v[:, 1] / sun[1])[:, None] * sun
        pixels, _ = view.project(cast)
        dark = shadow_mask(pixels, size, rng.uniform(1.0, 9.0))
        picture *= 1 - (rng.uniform(0.3, 0.9) * share * np.minimum(dark, 1.0))[..., None]
    low = v[v[:, 1] < 0.15] * [1.0, 0.0, 1.0]
    if len(low):
        pixels, _ = view.project(low)
        dark = shadow_mask(pixels, size, rng.uniform(2.0, 8.0))
        picture *= 1 - (rng.uniform(0.2, 0.75) * np.minimum(dark, 1.0))[..., None]


def _grass(picture: Floats, feet: Array, trunk: float, rng: np.random.Generator) -> None:
    """Blades before the feet."""
    size = picture.shape[0]
    level = float(np.nanmax(feet[:, 1]))
    tall = trunk * rng.uniform(0.03, 0.3)
    base = np.array([80, 110, 50]) * rng.uniform(0.4, 1.5) * (1 + 0.12 * rng.normal(size=3))
    if rng.random() < 0.35:  # anything else that feet sink into: snow, sand, leaves
        base = rng.uniform(60, 245) * (1 + 0.06 * rng.normal(size=3))
    count = int(rng.uniform(250, 1500))
    x = rng.uniform(0, size, count)
    y = level + rng.uniform(0.0, 0.8, count) * tall + 2
    tip = np.stack(
        [x + rng.normal(0, 0.3, count) * tall, y - tall * rng.uniform(0.4, 1.2, count)], 1
    )
    tone = np.exp(rng.normal(0, 0.25, count))
    for a, b, t in zip(np.stack([x, y], 1), tip, tone, strict=True):
        cv2.line(
            picture,
            (int(a[0]), int(a[1])),
            (int(b[0]), int(b[1])),
            np.clip(base * t, 0, 255).tolist(),
            1,
            cv2.LINE_AA,
        )


def _padded(file: Bytes, inner: tuple[int, ...], rng: np.random.Generator) -> Bytes:
    """The part of a look that the photo fills, bars about it."""
    x0, y0, x1, y1 = inner
    kind = rng.random()
    piece = file[y0:y1, x0:x1]
    top, bottom, left, right = y0, SIDE - y1, x0, SIDE - x1
    if kind < 0.15:
        return np.asarray(
            cv2.copyMakeBorder(piece, top, bottom, left, right, cv2.BORDER_REPLICATE), np.uint8
        )
    colour = BEYOND if kind < 0.65 else (0, 0, 0) if kind < 0.8 else (255, 255, 255)
    out = np.empty_like(file)
    out[:] = colour
    out[y0:y1, x0:x1] = piece
    return out


def looks_of_block(
    seed: int,
    number: int,
    scenery: Scenery,
    dogs: Sequence[TeachingBody] = (),
    others: Sequence[TeachingBody] = (),
    count: int = BLOCK,
) -> Iterator[DrawnLook]:
    """The looks of one block; the same for the same seed, number and material.

    Parameters
    ----------
    seed, number : int
    scenery : Scenery
    dogs, others : bodies of other makers: dogs, and animals that are none
    count : int
    """
    rng = np.random.default_rng([seed, number])
    studio = Studio(rng, scenery, dogs, others)
    made = 0
    while made < count:
        look = make_look(studio, str(rng.choice(KINDS, p=SHARES)))
        if look is not None:
            made += 1
            yield look
