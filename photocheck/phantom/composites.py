"""Photos of one card or sheet of paper before a real or drawn surface, with its corners known.

No dog is in them: they are for whatever finds the reference.  What owners' photos have and
clean renderings lack is drawn: print of every sort, worn and bent corners, paper that curls,
creases, shadows of and over it, fingers over an edge, something larger lying under it, and
surfaces with edges of their own.

Surfaces are photographs that come with scikit-image (brick, grass and gravel are CC0 textures;
coffee, cat and rocket are CC0 or public domain; see its docstrings), blown up, tinted and
mirrored, and the phantoms' own floors and walls.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import cv2
import numpy as np

from photocheck.phantom.field import Array
from photocheck.phantom.phone import Picture, decode_picture, encode
from photocheck.phantom.placed import CARD_CORNER_MM
from photocheck.phantom.prints import CARD_DESIGNS, SHEET_DESIGNS, card_face, sheet_face
from photocheck.phantom.textures import cloud, floor_texture, wall_texture
from photocheck.scale.catalogue import REFERENCES

PHOTOGRAPHED: Final = ("brick", "grass", "gravel", "coffee", "chelsea", "rocket")
"""Surfaces from scikit-image's data."""

DRAWN: Final = ("boards", "lawn", "concrete", "planks", "hedge", "plaster", "cloth", "tiles")
"""Surfaces drawn here."""

SIZES: Final = {
    "dog": {"id_card": (75, 190), "a4": (260, 620), "letter": (260, 620)},
    "near": {"id_card": (500, 1300), "a4": (750, 1500), "letter": (750, 1500)},
}
"""Longer side in the picture, px: as beside a dog, and as photographed by itself."""

_SHAPES: Final = {"dog": (1000, 1300), "near": (1200, 1600)}
_FINE: Final = 2  # samples per px and axis where an edge may run
_SKIN: Final = (0.50, 0.31, 0.22)


@dataclass(frozen=True, eq=False)
class Composite:
    """One picture and what is true of it.

    Attributes
    ----------
    picture : (H, W, 3) uint8
    kind : str
        A key of the catalogue, or "" where there is nothing of known size.
    corners_px : (4, 2) float
        Where its flat sides would meet, clockwise from its own top left; a bent corner
        and a rounded one count as if they were whole.  Empty where there is nothing.
    tap : (float, float)
        A rough mark inside, px.
    what : str
        Design, surface and mishaps, for whoever looks at failures.
    """

    picture: Picture
    kind: str
    corners_px: Array
    tap: tuple[float, float]
    what: str


def composite(kind: str, size: str, seed: int) -> Composite:
    """A picture of a card ("id_card") or sheet ("a4", "letter"), or of nothing ("").

    ``size`` is a key of `SIZES`; equal seeds give equal pictures.
    """
    rng = np.random.default_rng([seed, sum(map(ord, kind)), sum(map(ord, size))])
    shape = _SHAPES[size]
    ground, name = surface(rng, shape, 1.0 if size == "dog" else 2.5)
    if not kind:
        tap = rng.uniform(0.1, 0.9, 2) * np.array(shape[::-1])
        picture = photographed(rng, ground * _light(rng, shape), size)
        return Composite(picture, "", np.zeros((0, 2)), (float(tap[0]), float(tap[1])), name)
    return _with_object(rng, kind, size, ground, name)


def _with_object(
    rng: np.random.Generator, kind: str, size: str, ground: Array, name: str
) -> Composite:
    long_mm, short_mm = REFERENCES[kind].size_mm
    card = kind == "id_card"
    shape = ground.shape[:2]
    long_px = rng.uniform(*SIZES[size][kind])
    wide = (long_mm, short_mm) if card else (short_mm, long_mm)
    quarter = 90.0 * (rng.random() < (0.25 if card else 0.4))
    view = _View.drawn(rng, shape, long_px / long_mm, quarter, size == "near")
    what = [name]
    bend, told = _bend(rng, wide, card)
    what += told
    corners_mm = 0.5 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(wide)
    corners = view.project(corners_mm, bend(corners_mm))
    part = rng.uniform(0, 1, 2)
    for attempt in range(40):
        low, high = corners.min(axis=0), corners.max(axis=0)
        room = np.array(shape[::-1]) - (high - low) - 24
        if attempt % 4 < 3 and np.all(room > 0):
            to = 12 + part * room - low
            if float(np.max(np.abs(to))) < 3:
                break
            view = view.moved(to)
        else:
            view = view.shrunk(0.9)
        corners = view.project(corners_mm, bend(corners_mm))
    px = float(np.clip(1.6 * view.px_per_mm, 0.8, 24.0))
    face_shape = (round(wide[1] * px), round(wide[0] * px))
    design = str(rng.choice(list(CARD_DESIGNS if card else SHEET_DESIGNS)))
    face = (card_face if card else sheet_face)(rng, design, face_shape, px)
    what.insert(0, design)
    face, opaque = _worn(rng, face, px, card, what)
    light = _light(rng, shape)
    scene = ground
    if rng.random() < 0.1:
        scene = _underlay(rng, scene, view, wide, bend, what)
    scene = _cast_shadow(rng, scene, view, wide, bend, what)
    scene = _laid(scene, view, face, opaque, wide, px, bend)
    scene = scene * light
    scene = _fingers(rng, scene, view, wide, what)
    part = rng.uniform(0.12, 0.88, 2) - 0.5
    tap = view.project((part * np.array(wide))[None], bend((part * np.array(wide))[None]))[0]
    picture = photographed(rng, scene, size)
    return Composite(picture, kind, corners, (float(tap[0]), float(tap[1])), ", ".join(what))


@dataclass(frozen=True, eq=False)
class _View:
    """A pinhole over the object's plane: rotation (3, 3), shift (3,) mm, focal length px."""

    turn: Array
    shift: Array
    focal: float
    centre: Array
    move: Array

    @classmethod
    def drawn(
        cls,
        rng: np.random.Generator,
        shape: tuple[int, ...],
        scale: float,
        quarter: float,
        near: bool,
    ) -> _View:
        focal = rng.uniform(0.66, 1.0) * max(shape) * (1.0 if near else rng.uniform(1.0, 2.5))
        lean = 12.0 if rng.random() < 0.7 else 24.0
        yaw, pitch = np.radians(rng.normal(0, lean, 2).clip(-40, 40))
        roll = np.radians(quarter + rng.normal(0, 9.0))
        turn, _ = cv2.Rodrigues(np.array([pitch, yaw, 0.0]))
        spin, _ = cv2.Rodrigues(np.array([0.0, 0.0, roll]))
        centre = (np.array(shape[1::-1]) - 1) / 2
        shift = np.array([0.0, 0.0, focal / scale])
        return cls(np.asarray(turn @ spin, np.float64), shift, float(focal), centre, np.zeros(2))

    @property
    def px_per_mm(self) -> float:
        return float(self.focal / self.shift[2])

    def moved(self, by: Array) -> _View:
        """The object moved in the picture by about ``by`` px, the camera left where it is."""
        along = by * self.shift[2] / self.focal
        shift = self.shift + np.array([along[0], along[1], 0.0])
        return _View(self.turn, shift, self.focal, self.centre, self.move)

    def shrunk(self, factor: float) -> _View:
        return _View(self.turn, self.shift / factor, self.focal, self.centre, self.move)

    def project(self, flat: Array, height: Array) -> Array:
        """Points (n, 2) mm of the plane lifted by (n,) mm towards the camera, px."""
        solid = np.column_stack([flat, -height]) @ self.turn.T + self.shift
        return np.asarray(
            self.focal * solid[:, :2] / solid[:, 2:] + self.centre + self.move, np.float64
        )

    def matrix(self) -> Array:
        """Plane mm to px for the flat object, (3, 3)."""
        columns = np.column_stack([self.turn[:, :2], self.shift])
        c = self.centre + self.move
        return np.array([[self.focal, 0, c[0]], [0, self.focal, c[1]], [0, 0, 1.0]]) @ columns


class _Bend:
    """How far paper stands off its plane, mm: a roll along one direction and lifted corners."""

    def __init__(
        self, rng: np.random.Generator, wide: tuple[float, float], roll: float, lift: float
    ):
        angle = rng.uniform(0, 2 * np.pi)
        self._along = np.array([np.cos(angle), np.sin(angle)]) / (0.5 * np.hypot(*wide))
        self._roll, self._lift = roll, lift
        self._corner = 0.5 * np.array(wide) * rng.choice([-1.0, 1.0], 2)
        self._size = min(wide)

    @property
    def level(self) -> bool:
        """Whether it lies flat."""
        return self._roll == 0.0 and self._lift == 0.0

    def __call__(self, flat: Array) -> Array:
        rolled = self._roll * ((flat @ self._along) ** 2)
        away = np.hypot(*(flat - self._corner).T) / (0.6 * self._size)
        return np.asarray(rolled + self._lift * np.maximum(1.0 - away, 0.0) ** 2)


def _bend(
    rng: np.random.Generator, wide: tuple[float, float], card: bool
) -> tuple[_Bend, list[str]]:
    if card:
        bowed = rng.random() < 0.2
        return _Bend(rng, wide, rng.normal(0, 0.8) * bowed, 0.0), ["bowed"] * bowed
    curled, lifted = rng.random() < 0.4, rng.random() < 0.25
    bend = _Bend(rng, wide, rng.normal(0, 7.0) * curled, rng.uniform(4, 18) * lifted)
    return bend, ["curled"] * curled + ["lifted"] * lifted


def _worn(
    rng: np.random.Generator, face: Array, px: float, card: bool, what: list[str]
) -> tuple[Array, Array]:
    """The face with creases, and how opaque it is: rounded, nibbled and bent corners."""
    rows, columns = face.shape[:2]
    y, x = np.mgrid[0:rows, 0:columns] + 0.5
    half = np.array([columns, rows]) / 2
    radius = CARD_CORNER_MM * px if card else 0.3 * px
    worn = rng.random() < 0.3
    edge = np.zeros((rows, columns))
    if worn:
        what.append("worn")
        edge = np.maximum(cloud(rng, (rows, columns), 4.0 * px), 0) * 0.15 * px
        radius = radius * rng.uniform(1.0, 1.6)
    qx, qy = np.abs(x - half[0]) - half[0] + radius, np.abs(y - half[1]) - half[1] + radius
    away = np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) + np.minimum(np.maximum(qx, qy), 0)
    opaque = np.clip(radius - edge - away + 0.5, 0.0, 1.0)
    if not card and rng.random() < 0.2:
        what.append("bent corner")
        leg = rng.uniform(6, 22) * px
        sx, sy = rng.choice([-1, 1], 2)
        from_corner = (half[0] - sx * (x - half[0])) + (half[1] - sy * (y - half[1]))
        opaque = opaque * np.clip(from_corner - leg + 0.5, 0, 1)
        flap = (from_corner < 2 * leg) & (from_corner >= leg)
        flap &= (half[0] - sx * (x - half[0]) < leg) & (half[1] - sy * (y - half[1]) < leg)
        face = np.where(flap[..., None], 0.8 * np.median(face.reshape(-1, 3), axis=0), face)
    if not card and rng.random() < 0.3:
        what.append("creased")
        for _ in range(int(rng.integers(1, 4))):
            level = rng.random() < 0.5
            at = rng.uniform(0.25, 0.75) * (rows if level else columns)
            off = (y if level else x) - at
            tone = 1 - rng.uniform(0.05, 0.35) * np.exp(-0.5 * (off / (0.7 * px)) ** 2)
            tone *= np.where(off > 0, rng.uniform(0.9, 1.0), 1.0)
            face = face * tone[..., None]
    return face, opaque


def _laid(
    scene: Array,
    view: _View,
    face: Array,
    opaque: Array,
    wide: tuple[float, float],
    px: float,
    bend: _Bend,
) -> Array:
    """The face over the scene, sampled finely."""
    size = np.array(wide)
    around = 0.5 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * size
    run = np.roll(around, -1, axis=0) - around
    edge = (around[:, None] + np.linspace(0, 1, 12)[:, None] * run[:, None]).reshape(-1, 2)
    seen = view.project(edge, bend(edge))
    rows, columns = scene.shape[:2]
    left, top = np.clip(np.floor(seen.min(axis=0)) - 3, 0, [columns - 2, rows - 2]).astype(int)
    right, bottom = np.clip(np.ceil(seen.max(axis=0)) + 4, [2, 2], [columns, rows]).astype(int)
    fine = _FINE
    # Exact on a coarse grid, then interpolated: perspective and curl are smooth.
    coarse = 8
    whole = np.array([(right - left) * fine, (bottom - top) * fine])
    ys, xs = np.mgrid[0 : whole[1] + coarse : coarse, 0 : whole[0] + coarse : coarse]
    at = np.stack([(xs + 0.5) / fine - 0.5 + left, (ys + 0.5) / fine - 0.5 + top], axis=2)
    at = at.reshape(-1, 2)
    back = np.asarray(np.linalg.inv(view.matrix()), np.float64)
    flat = _apply(back, at)
    for _ in range(0 if bend.level else 2):  # where the lifted paper is seen, by and by
        lifted = view.project(flat, bend(flat)) - view.project(flat, np.zeros(len(flat)))
        flat = _apply(back, at - lifted)
    where = ((flat + size / 2) * px - 0.5).astype(np.float32).reshape(*xs.shape, 2)
    near_x, near_y = np.meshgrid(*(np.arange(n, dtype=np.float32) / coarse for n in whole))
    map_x, map_y = (
        np.asarray(cv2.remap(where[..., k].copy(), near_x, near_y, cv2.INTER_LINEAR), np.float32)
        for k in (0, 1)
    )
    soft = cv2.GaussianBlur(face.astype(np.float32), (0, 0), 0.6)
    colour = cv2.remap(soft, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    cover = cv2.remap(
        np.pad(opaque, 1).astype(np.float32), map_x + 1, map_y + 1, cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT, borderValue=0,
    )  # fmt: skip
    small = (right - left, bottom - top)
    painted = cv2.resize(colour * cover[..., None], small, interpolation=cv2.INTER_AREA)
    cover = cv2.resize(cover, small, interpolation=cv2.INTER_AREA)[..., None]
    out = scene.copy()
    out[top:bottom, left:right] = out[top:bottom, left:right] * (1 - cover) + painted
    return out


def _apply(matrix: Array, points: Array) -> Array:
    raised = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(raised[:, :2] / raised[:, 2:])


def _outline_mask(
    shape: tuple[int, ...], view: _View, corners_mm: Array, bend: _Bend | None = None
) -> Array:
    height = np.zeros(len(corners_mm)) if bend is None else bend(corners_mm)
    points = np.rint(view.project(corners_mm, height) * 16).astype(np.int32)
    mask = np.zeros(shape[:2], np.float32)
    cv2.fillPoly(mask, [points.reshape(-1, 1, 2)], 1.0, cv2.LINE_AA, 4)
    return mask.astype(np.float64)


def _rectangle(wide: tuple[float, float]) -> Array:
    unit = 0.5 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    return np.asarray(unit * np.array(wide))


def _cast_shadow(
    rng: np.random.Generator,
    scene: Array,
    view: _View,
    wide: tuple[float, float],
    bend: _Bend,
    what: list[str],
) -> Array:
    if rng.random() < 0.35:
        return scene
    size = min(wide)
    far = rng.uniform(0.002, 0.05) * size
    angle = rng.uniform(0, 2 * np.pi)
    moved = _rectangle(wide) + far * np.array([np.cos(angle), np.sin(angle)])
    mask = _outline_mask(scene.shape, view, moved)
    soft = max(far * rng.uniform(0.15, 0.8) * view.px_per_mm, 0.4)
    mask = np.asarray(cv2.GaussianBlur(mask, (0, 0), soft), np.float64)
    what.append(f"shadow {far:.1f} mm")
    return np.asarray(scene * (1 - rng.uniform(0.25, 0.7) * mask[..., None]))


def _underlay(
    rng: np.random.Generator,
    scene: Array,
    view: _View,
    wide: tuple[float, float],
    bend: _Bend,
    what: list[str],
) -> Array:
    """Something larger under it: a book, a board, a mat."""
    what.append("on something")
    size = min(wide)
    margins = rng.uniform(0.08, 0.8, 4) * size
    left, top, right, bottom = margins
    out = np.array([[-left, -top], [right, -top], [right, bottom], [-left, bottom]])
    corners = _rectangle(wide) + out
    angle = np.radians(rng.normal(0, 6.0))
    spin = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    mask = _outline_mask(scene.shape, view, corners @ spin)[..., None]
    return np.asarray(scene * (1 - mask) + rng.uniform(0.02, 0.7, 3) * mask)


def _fingers(
    rng: np.random.Generator, scene: Array, view: _View, wide: tuple[float, float], what: list[str]
) -> Array:
    count = int(rng.choice([0, 1, 2], p=[0.65, 0.22, 0.13]))
    if count:
        what.append(f"{count} fingers")
    angle = np.linspace(0, 2 * np.pi, 60)
    tone = np.array(_SKIN) * rng.uniform(0.35, 1.2)
    corners = _rectangle(wide)
    for _ in range(count):
        k = int(rng.integers(4))
        part = rng.uniform(0.2, 0.8)
        foot = corners[k] * (1 - part) + corners[(k + 1) % 4] * part
        out = 0.5 * (corners[k] + corners[(k + 1) % 4])
        out = out / np.hypot(*out)
        out = np.array([[np.cos(0.3), -np.sin(0.3)], [np.sin(0.3), np.cos(0.3)]]) @ out
        side = np.array([-out[1], out[0]])
        deep, broad = rng.uniform(6, 22), rng.uniform(7, 10)
        outline = (
            foot + (45 - deep) * out + 45 * np.cos(angle)[:, None] * out
            + broad * np.sin(angle)[:, None] * side
        )  # fmt: skip
        mask = _outline_mask(scene.shape, view, outline)
        scene = scene * (1 - 0.4 * _soft(mask, max(2.0 * view.px_per_mm, 0.5)))
        cover = _soft(mask, 0.7)
        lit = 0.75 + 0.5 * _soft(mask, max(4.0 * view.px_per_mm, 0.6))
        scene = scene * (1 - cover) + tone * lit * cover
    return scene


def _soft(mask: Array, sigma_px: float) -> Array:
    """A mask blurred, (rows, columns, 1)."""
    return np.asarray(cv2.GaussianBlur(mask, (0, 0), sigma_px), np.float64)[..., None]


def _light(rng: np.random.Generator, shape: tuple[int, int]) -> Array:
    """Light over the scene, (rows, columns, 1): a slope, sometimes the edge of a shadow."""
    rows, columns = np.mgrid[-0.5 : 0.5 : shape[0] * 1j, -0.5 : 0.5 : shape[1] * 1j]
    light = np.exp(rng.normal(0, 0.35) * rows + rng.normal(0, 0.35) * columns)
    if rng.random() < 0.25:
        angle = rng.uniform(0, 2 * np.pi)
        far = np.cos(angle) * columns + np.sin(angle) * rows - rng.normal(0, 0.15)
        soft = rng.uniform(0.004, 0.05)
        light = light * (1 - rng.uniform(0.3, 0.7) / (1 + np.exp(np.clip(far / soft, -40, 40))))
    return np.asarray(light[..., None])


def photographed(rng: np.random.Generator, scene: Array, size: str = "dog") -> Picture:
    """A scene (rows, columns, 3), linear, through lens, sensor and file; `size` as in `SIZES`."""
    blur = rng.uniform(0.5, 1.3) if size == "dog" else rng.uniform(0.7, 2.0)
    soft = cv2.GaussianBlur(scene.astype(np.float32), (0, 0), blur)
    level = np.quantile(soft, 0.97)
    soft = soft * (rng.uniform(0.45, 0.95) / max(float(level), 1e-3)) ** 0.6
    coded = 255.0 * encode(np.asarray(soft, np.float64))
    noise = rng.uniform(0.8, 3.5)
    grain = rng.standard_normal(coded.shape[:2])[..., None]
    coded += noise * (grain + 0.4 * rng.standard_normal(coded.shape))
    picture = np.clip(np.rint(coded), 0, 255).astype(np.uint8)
    quality = int(rng.integers(72, 96))
    _, file = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.ascontiguousarray(
        np.asarray(cv2.imdecode(file, cv2.IMREAD_COLOR), np.uint8)[..., ::-1]
    )


@lru_cache(maxsize=16)
def _photograph(name: str) -> Array:
    import skimage.data

    picture = np.asarray(getattr(skimage.data, name)())
    if picture.ndim == 2:
        picture = np.repeat(picture[..., None], 3, axis=2)
    return np.asarray(decode_picture(picture), np.float32)


def surface(
    rng: np.random.Generator, shape: tuple[int, int], blow: float, among: Sequence[str] = ()
) -> tuple[Array, str]:
    """Something behind the object, (rows, columns, 3) linear, and its name."""
    name = str(rng.choice(among or PHOTOGRAPHED + DRAWN))
    if name in PHOTOGRAPHED:
        return _blown_up(rng, _photograph(name), shape, blow), name
    step = rng.uniform(1.2, 4.0) / blow
    if name in ("boards", "lawn", "concrete"):
        kind = {"lawn": "grass", "concrete": "concrete"}.get(name, name)
        ground = floor_texture(rng, kind, shape, step)
        ground = ground if rng.random() < 0.5 else ground[::-1]
    elif name in ("planks", "hedge", "plaster"):
        ground = wall_texture(rng, name, shape, step)
    else:
        ground = _woven(rng, shape, blow, name == "tiles")
    return np.clip(ground * np.exp(rng.normal(0, 0.25)), 0.004, 0.9), name


def _blown_up(
    rng: np.random.Generator, picture: Array, shape: tuple[int, int], blow: float
) -> Array:
    factor = blow * rng.uniform(0.8, 2.2)
    small = np.array(shape) / factor
    tile = np.concatenate([picture, picture[::-1]])
    tile = np.concatenate([tile, tile[:, ::-1]], axis=1)
    while min(tile.shape[0] - small[0], tile.shape[1] - small[1]) < 2:
        tile = np.concatenate([tile, tile])
        tile = np.concatenate([tile, tile], axis=1)
    top = int(rng.integers(0, int(tile.shape[0] - small[0])))
    left = int(rng.integers(0, int(tile.shape[1] - small[1])))
    part = tile[top : top + int(small[0]) + 1, left : left + int(small[1]) + 1]
    ground = cv2.resize(part, shape[::-1], interpolation=cv2.INTER_CUBIC)
    rough = np.asarray(ground, np.float64) * np.exp(0.05 * cloud(rng, shape, 2.0))[..., None]
    tinted = rough * rng.uniform(0.6, 1.1, 3) * np.exp(rng.normal(0, 0.3))
    return np.asarray(np.clip(tinted, 0.004, 0.9))


def _woven(rng: np.random.Generator, shape: tuple[int, int], blow: float, tiled: bool) -> Array:
    """A striped cloth or tiles with joints, turned a little."""
    rows, columns = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float64)
    angle = np.radians(rng.normal(0, 8))
    u = np.cos(angle) * columns + np.sin(angle) * rows
    v = -np.sin(angle) * columns + np.cos(angle) * rows
    one, other = rng.uniform(0.03, 0.7, 3), rng.uniform(0.03, 0.7, 3)
    step = blow * rng.uniform(40, 260)
    tone = np.exp(0.05 * cloud(rng, shape, 3.0) + 0.05 * cloud(rng, shape, 120.0))[..., None]
    if tiled:
        joint = blow * rng.uniform(2, 8)
        rate = rng.choice([1.0, 1.0, 1.5, 2.0])
        line = (u % (rate * step) < joint) | (v % step < joint)
        return np.asarray(np.where(line[..., None], other, one) * tone)
    weave = 0.5 + 0.5 * np.sign(np.sin(2 * np.pi * u / step))
    if rng.random() < 0.5:
        weave = 0.5 * weave + 0.5 * (0.5 + 0.5 * np.sign(np.sin(2 * np.pi * v / step)))
    return np.asarray((one * weave[..., None] + other * (1 - weave[..., None])) * tone)
