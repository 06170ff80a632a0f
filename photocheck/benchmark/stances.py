"""How well a stance is named: phantoms in known postures, judged by marks and by silhouette.

"Height lost" is the largest relative drop of the shoulder top, the back above the elbow or
the tail base against the same phantom standing square.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from time import perf_counter
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.benchmark.order_tables import wilson
from photocheck.body.posed import FOOT_ASIDE
from photocheck.body.posed import POSTURES as NAMED
from photocheck.body.silhouette import Silhouette, find_silhouette
from photocheck.body.stance import (
    GROUND_SPREAD_MM,
    TILT_DEG,
    BodyMarks,
    coat_stand_off,
    judge_stance,
)
from photocheck.case.model import Point
from photocheck.phantom.plan import POSTURES, random_plan
from photocheck.phantom.solid import Dog, make_dog
from photocheck.words import ALL_LANDMARKS, LANDMARKS

Array = NDArray[np.float64]

MARK_SD_MM: Final = 4.0
LOST: Final = 0.12
"""Height lost from which a posture must be named."""
TURNED_DEG: Final = 35.0
MARKED: Final = {
    "all eight marks": ALL_LANDMARKS,
    "four marks and the feet": (*LANDMARKS, "front_foot", "rear_foot"),
    "four marks": LANDMARKS,
}
LOW: Final = ("crouching", "rear_lowered", "arched")
HEIGHTS: Final = ("shoulder_top", "back_top", "tail_base")


@dataclass(frozen=True)
class NamedStance:
    """One phantom as judged: true posture, height lost, severity, names by set of marks."""

    posture: str
    lost: float
    severity: float
    named: Mapping[str, tuple[str, ...]]


def height_lost(dog: Dog, square: Dog) -> float:
    """Largest relative drop of the trunk's upper landmarks, 0 to 1."""
    return max(1.0 - float(dog.visible[n][1] / square.visible[n][1]) for n in HEIGHTS)


def marks_of(dog: Dog, rng: np.random.Generator, yaw_deg: float = 0.0) -> BodyMarks:
    """A phantom's landmarks as marked: mark noise, a tilted upright, a guessed ground.

    Parameters
    ----------
    dog : Dog
    rng : numpy Generator
    yaw_deg : float
        How far the dog is turned out of the side view, degrees.
    """
    tilt = float(np.radians(rng.normal(0.0, TILT_DEG)))
    ground = float(rng.normal(0.0, GROUND_SPREAD_MM))
    yaw = np.radians(yaw_deg)
    points: dict[str, Point] = {}
    for name in ALL_LANDMARKS:
        x, y, z = dog.visible[name]
        lift = ground if name in ("front_foot", "rear_foot") else 0.0
        flat = np.array([np.cos(yaw) * x + np.sin(yaw) * z, -(y + lift)])
        flat = flat + rng.normal(0.0, MARK_SD_MM, 2)
        points[name] = (float(flat[0]), float(flat[1]))
    coat, spread = coat_stand_off(dog.plan.coat)
    return BodyMarks(
        points=points,
        up=(float(np.sin(tilt)), float(-np.cos(tilt))),
        mark_spread_mm=MARK_SD_MM,
        coat_mm=coat,
        coat_spread_mm=spread,
    )


def judged(seed: int, job: tuple[str, int]) -> NamedStance:
    """One phantom of a posture ("turned" for a square one turned away), judged."""
    posture, number = job
    rng = np.random.default_rng([seed, number, len(posture)])
    plan = random_plan(rng, posture="square" if posture == "turned" else posture)
    dog = make_dog(plan)
    square = make_dog(replace(plan, posture="square", severity=0.0))
    yaw = float(rng.choice([-1.0, 1.0])) * TURNED_DEG if posture == "turned" else 0.0
    marks = marks_of(dog, rng, yaw)
    named = {}
    for title, names in MARKED.items():
        few = replace(marks, points={n: marks.points[n] for n in names})
        named[title] = tuple(finding.name for finding in judge_stance(few).findings)
    return NamedStance(posture, height_lost(dog, square), plan.severity, named)


def outcomes(dogs: int, seed: int, jobs: int) -> list[NamedStance]:
    """That many phantoms of every posture, judged."""
    work = [(posture, number) for posture in (*POSTURES, "turned") for number in range(dogs)]
    if jobs <= 1:
        return [judged(seed, job) for job in work]
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(partial(judged, seed), work, chunksize=20))


def interval(hits: int, count: int) -> str:
    """A share with its 95 % interval."""
    if count == 0:
        return "none"
    low, high = wilson(hits, count)
    return f"{hits} of {count}, {hits / count:.1%} ({max(low, 0.0):.1%} to {high:.1%})"


def confusion(found: Sequence[NamedStance], title: str) -> str:
    """Markdown: true posture by the name given first."""
    names = ("square", *NAMED)
    lines = [
        f"Named first, by {title}:",
        "",
        "| true posture | " + " | ".join(name.replace("_", " ") for name in names) + " |",
        "| --- |" + " ---: |" * len(names),
    ]
    for posture in dict.fromkeys(one.posture for one in found):
        counts = Counter(
            (*one.named[title], "square")[0] for one in found if one.posture == posture
        )
        cells = " | ".join(str(counts[name]) for name in names)
        lines.append(f"| {posture.replace('_', ' ')} | {cells} |")
    return "\n".join(lines)


def bars(found: Sequence[NamedStance]) -> str:
    """Markdown: what was promised, by set of marks."""
    head = "| | " + " | ".join(MARKED) + " |"
    lines = [head, "| --- |" + " ---: |" * len(MARKED)]
    groups: dict[str, list[NamedStance]] = {
        "square, accused of anything": [o for o in found if o.posture == "square"],
    }
    for name in ("crouching", "rear_lowered"):
        groups[f"{name.replace('_', ' ')} beyond {LOST:.0%}, named"] = [
            o for o in found if o.posture == name and o.lost > LOST
        ]
    groups[f"any beyond {LOST:.0%}, named"] = [o for o in found if o.lost > LOST]
    groups["arched, all, named"] = [o for o in found if o.posture == "arched"]
    groups["arched, severity over a half, named"] = [
        o for o in found if o.posture == "arched" and o.severity > 0.5
    ]
    for label, group in groups.items():
        cells = []
        for title in MARKED:
            if label.startswith("square"):
                hits = sum(bool(o.named[title]) for o in group)
            else:
                hits = sum(bool(set(o.named[title]) & set(LOW)) for o in group)
            cells.append(interval(hits, len(group)))
        lines.append(f"| {label} | " + " | ".join(cells) + " |")
    worst = max((o.lost for o in found if o.posture == "arched"), default=0.0)
    lines += ["", f"No arched phantom loses more than {worst:.1%} of its height."]
    return "\n".join(lines)


def report(dogs: int, seed: int, jobs: int, photos: int) -> str:
    """All tables as Markdown."""
    found = outcomes(dogs, seed, jobs)
    parts = [
        f"Stances: {dogs} phantoms per posture, marks {MARK_SD_MM:g} mm off per axis, upright "
        f"{TILT_DEG:g} degrees, ground {GROUND_SPREAD_MM:g} mm (standard deviations).",
        bars(found),
        *(confusion(found, title) for title in MARKED),
    ]
    if photos:
        parts.append(photo_table(photos, seed))
    return "\n\n".join(parts)


# -- rendered photos ----------------------------------------------------------------


@dataclass(frozen=True)
class SilhouetteTrial:
    """One rendered photo's silhouette against the truth.

    ``overlap`` is intersection over union of the whole dog, ``trunk_overlap`` of the part
    between breastbone and tail base above the chest's bottom; ``off`` the root mean square
    distance of the topline over the trunk's length; ``accused`` what was named from the
    marks and from marks and topline.
    """

    posture: str
    overlap: float
    trunk_overlap: float
    off: float
    trust: float
    seconds: float
    by_marks: tuple[str, ...]
    with_topline: tuple[str, ...]


def true_mask(scene: Any) -> NDArray[np.uint8]:
    """Where the phantom is seen, (H, W) uint8, from its projected triangles."""
    mesh = scene.dog.visible_mesh
    corners = scene.camera.project(scene.to_world(np.asarray(mesh.vertices)))
    width, height = scene.camera.size_px
    mask = np.zeros((height, width), np.uint8)
    fine = 4
    for triangle in np.rint(corners[np.asarray(mesh.faces)] * 2**fine).astype(np.int32):
        cv2.fillConvexPoly(mask, triangle, 1, shift=fine)
    return mask


def shown(seed: int, number: int, size_px: tuple[int, int] = (1200, 900)) -> SilhouetteTrial:
    """Render one photo and judge it."""
    from photocheck.phantom.look import COATS, FLOORS, WALLS, Look
    from photocheck.phantom.render import render
    from photocheck.phantom.scene import observe, random_scene

    rng = np.random.default_rng([seed, number, 7])
    posture = POSTURES[number % len(POSTURES)]
    dog = make_dog(random_plan(rng, posture=posture), 90)
    scene = random_scene(rng, dog=dog, kind="marker_sheet", size_px=size_px, oblique=False)
    look = Look(
        seed=number,
        coat=str(rng.choice(list(COATS))),
        floor=str(rng.choice(FLOORS)),
        wall=str(rng.choice(WALLS)),
    )
    rgb = np.asarray(render(scene, look))
    marks = dict(observe(scene, rng, MARK_SD_MM).marking.marks)
    ring = scene.camera.project(scene.reference.outer_corners())
    start = perf_counter()
    found = find_silhouette(rgb, marks, reference_px=[(float(x), float(y)) for x, y in ring])
    seconds = perf_counter() - start
    if found is None:
        raise RuntimeError("a phantom's marks gave no silhouette")
    truth = true_mask(scene)
    mask = found.full_mask(size_px)
    trunk = np.zeros_like(truth)
    names = ("breastbone", "shoulder_top", "tail_base", "last_rib", "chest_bottom")
    hull = cv2.convexHull(np.array([scene.landmarks_px[n] for n in names], np.float32))
    cv2.fillConvexPoly(trunk, np.rint(hull).astype(np.int32), 1)
    room = cv2.dilate(trunk, np.ones((9, 9), np.uint8)) > 0
    body = body_marks(scene, marks)
    line = on_body(scene, found.topline)
    return SilhouetteTrial(
        posture=posture,
        overlap=_overlap(mask, truth),
        trunk_overlap=_overlap(mask[room], truth[room]),
        off=_topline_off(found, truth, marks),
        trust=found.trust,
        seconds=seconds,
        by_marks=tuple(f.name for f in judge_stance(body).findings),
        with_topline=tuple(f.name for f in judge_stance(replace(body, topline=line)).findings),
    )


def body_marks(scene: Any, marks: Mapping[str, Point]) -> BodyMarks:
    """Marks of a photo in the dog's middle plane, by the true camera, feet at a guessed depth.

    The dog's own turn against the reference is not used.
    """
    coat, spread = coat_stand_off(scene.dog.plan.coat)
    at = {}
    for name, xy in marks.items():
        foot = name in ("front_foot", "rear_foot")
        lift = FOOT_ASIDE * scene.dog.plan.height_mm if foot else 0.0
        if name == "last_rib":
            lift = scene.dog.trunk_half_width
        at[name] = on_body(scene, [xy], lift)[0]
    return BodyMarks(points=at, mark_spread_mm=MARK_SD_MM, coat_mm=coat, coat_spread_mm=spread)


def on_body(scene: Any, pixels: Sequence[Point], lift: float = 0.0) -> tuple[Point, ...]:
    """Where viewing rays meet the plane `lift` mm nearer than the middle, x and y down, mm."""
    if not pixels:
        return ()
    camera = scene.camera
    bent = np.array(camera.distortion) if camera.distortion else np.zeros(5)
    flat = cv2.undistortPoints(np.array(pixels, float)[:, None], camera.matrix, bent)[:, 0]
    rays = np.concatenate([flat, np.ones((len(flat), 1))], axis=1) @ camera.axes
    start = np.array(camera.position)
    reach = (lift - start[2]) / rays[:, 2]
    hit = start + reach[:, None] * rays
    return tuple((float(x), float(-y)) for x, y, _ in hit)


def _overlap(one: Array | NDArray[np.uint8], other: Array | NDArray[np.uint8]) -> float:
    a, b = one > 0, other > 0
    return float((a & b).sum() / max((a | b).sum(), 1))


def _topline_off(found: Silhouette, truth: NDArray[np.uint8], marks: Mapping[str, Point]) -> float:
    """Root mean square height of the topline over the true one, over the trunk; NaN if none."""
    miss = []
    for x, y in found.topline:
        column = truth[:, min(max(round(x), 0), truth.shape[1] - 1)]
        rows = np.flatnonzero(column)
        near = rows[np.abs(rows - y) < 0.2 * truth.shape[0]]
        if len(near):
            miss.append(near[0] - 0.5 - y)
    trunk = np.hypot(*np.subtract(marks["breastbone"], marks["tail_base"]))
    # A raised tail hides the end of the back: the middle half is what arch is read from.
    middle = miss[len(miss) // 4 : -len(miss) // 4 or None]
    return float(np.sqrt(np.mean(np.square(middle))) / trunk) if middle else float("nan")


def photo_table(photos: int, seed: int) -> str:
    """Markdown: silhouettes on rendered photos."""
    seen = [shown(seed, number) for number in range(photos)]
    rows = {
        "intersection over union, whole dog": [s.overlap for s in seen],
        "intersection over union, trunk": [s.trunk_overlap for s in seen],
        "topline off, over the trunk's length": [s.off for s in seen],
        "trust": [s.trust for s in seen],
        "milliseconds": [1000.0 * s.seconds for s in seen],
    }
    lines = [
        f"Silhouettes on {photos} rendered photos of 1200 x 900 px:",
        "",
        "| | median | worst tenth |",
        "| --- | ---: | ---: |",
    ]
    for title, values in rows.items():
        worst = 0.9 if title.startswith(("topline", "milli")) else 0.1
        middle, edge = np.nanquantile(values, [0.5, worst])
        lines.append(f"| {title} | {middle:.3g} | {edge:.3g} |")
    lines += ["", "| posture | named by marks | with the topline |", "| --- | --- | --- |"]
    for posture in POSTURES:
        group = [s for s in seen if s.posture == posture]
        cells = [
            interval(sum(bool(getattr(s, how)) for s in group), len(group))
            for how in ("by_marks", "with_topline")
        ]
        lines.append(f"| {posture.replace('_', ' ')} | {cells[0]} | {cells[1]} |")
    return "\n".join(lines)
