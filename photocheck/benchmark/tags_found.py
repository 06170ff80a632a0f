"""Tags on rendered dogs: how many are found, where their tips are, how large a mm is there.

One picture is drawn of each dog and laid at each scale behind tags that are drawn anew; the
background is then smoother at the larger scales, the tags are not.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np

from photocheck.phantom.field import Array
from photocheck.phantom.look import COATS, FLOORS, WALLS, Look
from photocheck.phantom.phone import Light, Picture, bend, expose
from photocheck.phantom.placed_tags import PlacedTag, add_tags, side_tags
from photocheck.phantom.render import MARGIN, drawn
from photocheck.phantom.scene import Scene, random_scene
from photocheck.phantom.solid import make_dog, random_plan
from photocheck.scale.tag_layout import CELLS, TAG_MM
from photocheck.scale.tags import find_tags
from photocheck.scale.tags_seen import TagSeen

PX_PER_CM: Final = (4.0, 5.0, 6.0, 8.0, 12.0, 20.0)
FIRST_SEED: Final = 20_000
"""Limits and spreads of `photocheck.scale.tags` were chosen on seeds below it."""
SIDE_TAGS: Final = ("breastbone", "shoulder_top", "last_rib", "tail_base")
"""The points that every check needs."""
TALL_MM: Final = 400.0
"""Dogs below wear the small tags."""
IN_VIEW: Final = 0.02
"""Tags of which the dog's body hides more are counted apart."""

_RESOLUTION: Final = 90
_DRAWN_PX: Final = 1344
_WITHIN_MM: Final = 2.0


@dataclass(frozen=True)
class TagRecord:
    """One tag: what is true and what was found of it.

    Attributes
    ----------
    landmark : str
    px_per_cm : float
        Asked for at the dog's middle.
    cell_px : float
    in_view : bool
    found : bool
    tip_mm : float
        How far off the tip is.
    tip_sds : (float, float)
        The error along the axes of the stated covariance, over its standard deviations.
    scale : float
        ln of px a mm, found over true; the print's own size taken off.
    scale_sds : float
        The same over its stated spread.
    """

    landmark: str
    px_per_cm: float
    cell_px: float
    in_view: bool
    found: bool
    tip_mm: float = np.nan
    tip_sds: tuple[float, float] = (np.nan, np.nan)
    scale: float = np.nan
    scale_sds: float = np.nan


@dataclass(frozen=True, eq=False)
class TaggedPicture:
    """A photo of a rendered dog with tags, and what is true of it."""

    picture: Picture
    scene: Scene
    tags: tuple[PlacedTag, ...]
    small: bool
    px_per_cm: float


def tagged_pictures(
    seed: int, scales: tuple[float, ...] = PX_PER_CM, draws: int = 2
) -> Iterator[TaggedPicture]:
    """One dog at each scale in several draws; at 12 px per cm and more in one."""
    rng = np.random.default_rng(seed)
    dog = make_dog(random_plan(rng), _RESOLUTION)
    scene = random_scene(rng, dog=dog, kind="marker_sheet")
    size = "usual" if dog.plan.height_mm >= TALL_MM else "small"
    look = random_look(rng)
    base = _sized(scene, _DRAWN_PX)
    clean, margin = drawn(base, look, rng)
    for scale in scales:
        px_per_mm = float(base.camera.px_per_mm(base.pivot[None] + [[0.0, 300.0, 0.0]])[0])
        wide = round(_DRAWN_PX * scale / 10.0 / px_per_mm)
        asked = _sized(scene, wide)
        ground, around = _enlarged(clean, margin, asked)
        for _ in range(draws if scale < 12.0 else 1):
            tags = side_tags(asked, rng, TAG_MM[size], SIDE_TAGS)
            own = replace(
                look, blur_px=float(rng.uniform(0.5, 1.2)), noise=float(rng.uniform(1.0, 4.0))
            )
            quality = int(rng.choice([70, 85, 92]))
            picture = photographed(ground, around, asked, tags, own, quality, rng)
            yield TaggedPicture(picture, asked, tags, size == "small", scale)


def dog_records(
    seed: int, scales: tuple[float, ...] = PX_PER_CM, draws: int = 2
) -> list[TagRecord]:
    """All tags of one dog, as `tagged_pictures` draws them."""
    records = []
    for one in tagged_pictures(seed, scales, draws):
        seen = find_tags(one.picture, small=one.small)
        records += [
            _record(one.scene, tag, seen.of(tag.landmark), one.px_per_cm) for tag in one.tags
        ]
    return records


def random_look(rng: np.random.Generator) -> Look:
    """A coat, a ground and a light."""
    return Look(
        seed=int(rng.integers(2**31)),
        coat=str(rng.choice(list(COATS))),
        floor=str(rng.choice(FLOORS)),
        wall=str(rng.choice(WALLS)),
        sun_share=float(rng.uniform(0.2, 0.7)),
        exposure=float(np.exp(rng.normal(0.0, 0.25))),
    )


def photographed(
    clean: Light,
    margin: int,
    scene: Scene,
    tags: tuple[PlacedTag, ...],
    look: Look,
    quality: int,
    rng: np.random.Generator,
) -> Picture:
    """A photo with tags on a ground that was drawn before, through JPEG."""
    ground = clean.copy()
    add_tags(ground, scene, tags, look, margin)
    picture = expose(bend(ground, scene.camera, margin), look, rng)
    _, file = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.asarray(cv2.imdecode(file, cv2.IMREAD_COLOR), np.uint8)[..., ::-1].copy()


def _sized(scene: Scene, wide: int) -> Scene:
    """The scene photographed with fewer or more pixels."""
    width, height = scene.camera.size_px
    size = (wide, round(wide * height / width))
    return replace(scene, camera=replace(scene.camera, size_px=size))


def _enlarged(clean: Light, margin: int, asked: Scene) -> tuple[Light, int]:
    width, height = asked.camera.size_px
    around = int(np.ceil(MARGIN * width))
    over = _DRAWN_PX / width
    move = 0.5 * over - 0.5 + margin - around * over
    matrix = np.array([[over, 0.0, move], [0.0, over, move]])
    size = (width + 2 * around, height + 2 * around)
    method = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    larger = cv2.warpAffine(clean, matrix, size, flags=method, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(larger, np.float32), around


def _record(scene: Scene, tag: PlacedTag, seen: TagSeen | None, scale: float) -> TagRecord:
    px = tag.px_per_mm(scene.camera)
    cell = px * tag.side_mm / CELLS
    in_view = bool(tag.hidden.mean() <= IN_VIEW)
    if seen is None:
        return TagRecord(tag.landmark, scale, cell, in_view, False)
    miss = seen.tip_px - tag.tip_px(scene.camera)
    variances, axes = np.linalg.eigh(seen.tip_covariance)
    along: Array = axes.T @ miss / np.sqrt(variances)
    off = float(np.log(seen.px_per_mm / px) - np.log(tag.side_mm / seen.side_mm))
    return TagRecord(
        landmark=tag.landmark,
        px_per_cm=scale,
        cell_px=cell,
        in_view=in_view,
        found=True,
        tip_mm=float(np.hypot(*miss)) / px,
        tip_sds=(float(along[0]), float(along[1])),
        scale=off,
        scale_sds=off / seen.px_per_mm_spread,
    )


def report(dogs: int, seed: int, jobs: int) -> str:
    """Tables as Markdown."""
    with ProcessPoolExecutor(jobs) as executor:
        each = list(executor.map(dog_records, range(FIRST_SEED + seed, FIRST_SEED + seed + dogs)))
    return table([record for records in each for record in records])


def table(records: list[TagRecord]) -> str:
    """What was found at each scale, then for each landmark at 6 px per cm and more."""
    heads = (
        "tags in view", "found", "of those found: tip within 2 mm", "of all in view: within 2 mm",
        "tip off, median and 95th percentile, mm", "over stated sd (RMS)",
        "px per mm off (RMS), %", "over stated sd (RMS)", "found of those partly hidden",
    )  # fmt: skip
    lines = [
        "| px per cm | " + " | ".join(heads) + " |",
        "| --- |" + " --- |" * len(heads),
    ]
    for scale in sorted({record.px_per_cm for record in records}):
        lines.append(_line(f"{scale:g}", [r for r in records if r.px_per_cm == scale]))
    for landmark in SIDE_TAGS:
        some = [r for r in records if r.landmark == landmark and r.px_per_cm >= 6.0]
        lines.append(_line(f"{landmark}, from 6", some))
    return "\n".join(lines)


def _line(title: str, records: list[TagRecord]) -> str:
    view = [record for record in records if record.in_view]
    found = [record for record in view if record.found]
    behind = [record for record in records if not record.in_view]
    if not found:
        return f"| {title} | {len(view)} | 0 | | | | | | | |"
    tips = np.array([record.tip_mm for record in found])
    near = int(np.count_nonzero(tips <= _WITHIN_MM))
    cells = (
        f"{len(view)}",
        f"{100 * len(found) / len(view):.1f} %",
        f"{100 * near / len(found):.1f} %",
        f"{100 * near / len(view):.1f} %",
        f"{np.median(tips):.2f}, {np.quantile(tips, 0.95):.2f}",
        f"{_rms([s for record in found for s in record.tip_sds]):.2f}",
        f"{100 * _rms([record.scale for record in found]):.2f}",
        f"{_rms([record.scale_sds for record in found]):.2f}",
        f"{sum(record.found for record in behind)} of {len(behind)}",
    )
    return f"| {title} | " + " | ".join(cells) + " |"


def _rms(values: list[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values))))
