"""Measured bodies under simulated cameras, judged by constants that their maker had no part in.

The bodies of `photocheck.benchmark.body_study` keep landmarks, widths and tape lengths, which is
all that a photo session needs: in several sizes, under the phantoms' cameras, with noisy marks,
they are estimated once by the shipped constants, and once by constants from which all bodies of
the same maker were taken out.  Every ratio that the bodies chose moves then as median and spread of
the remaining dogs and dog-likes do.  One body stands for few dogs: figures over thirty say whether
the doubt is honest, not how often dogs are so.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache, partial
from types import MappingProxyType, SimpleNamespace
from typing import Any, Final, TypeAlias, cast
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from photocheck.benchmark.body_study import Body, bodies, measured_mm
from photocheck.benchmark.pooled import over_phantoms
from photocheck.benchmark.trial import CORNER_PX, view_of
from photocheck.benchmark.ways import as_readings, four_cells, hands
from photocheck.body import shape
from photocheck.case.model import DogFacts, Marking
from photocheck.judge.compare import Comparison, compare
from photocheck.judge.estimate import estimate
from photocheck.judge.shared_points import readings_at_tags
from photocheck.judge.tolerances import AT_TAGS_SHARE, SHIPPED
from photocheck.numerics import IN_95
from photocheck.phantom.facing import random_front
from photocheck.phantom.scene import Scene, observed, random_scene
from photocheck.phantom.solid import Dog
from photocheck.scale.pose import View
from photocheck.scale.tag_layout import TAG_MM, square_mm, tip_mm
from photocheck.scale.tag_place import USUAL_FOCAL
from photocheck.scale.tags_seen import TagSeen, TagsSeen
from photocheck.words import LANDMARKS, READINGS, SPAN_ENDS, SPANS, TAGS

Array = NDArray[np.float64]

MARK_MM: Final = 3.0
HEIGHTS_MM: Final = (400.0, 520.0, 640.0)
"""At the back; each body in each."""
MEASURED_AT_MM: Final = 550.0
RING_SD: Final = 0.03
"""How far the ring is thought wider or narrower than it lies, in a photo from the front."""
CHEST: Final = ("back_top", "chest_bottom")
TIP_MM: Final = 1.5
"""How far a tag's tip, as it is found, is off where the tape is held, per axis (judgement)."""
TAG_MM_OFF: Final = 10.0
"""How far a tag's square is nearer or farther than its tip."""
PRINT_OFF, FOUND_OFF = 0.005, 0.006
"""Of the tags' size over nominal, all of one body alike; of how large each is found."""

CHOSEN: Final[Mapping[str, str]] = MappingProxyType(
    {
        "CHEST_DEPTH_OVER_F": "chest_depth_over_straight",
        "TRUNK_WIDTH_OVER_DEPTH": "trunk_width_over_depth",
        "FLANK_WIDTH_OVER_CHEST": "flank_width_over_chest",
        "GIRTH_OVER_ELLIPSE": "girth_over_ellipse",
        "NECK_WIDTH_OVER_CHORD": "neck_width_over_chord",
        "NECK_EXPONENT": "neck_exponent",
        "REAR_SURPLUS": "rear_surplus",
        "FRONT_SURPLUS": "front_surplus",
        "FRONT_TURN_BELOW": "turn_below",
    }
)
"""Each ratio of `photocheck.body.shape` that the bodies chose, and its figure in their table."""


@dataclass(frozen=True)
class PhotoSession:
    """How a body is photographed and what is told of it.

    Attributes
    ----------
    name : str
    photos : int
        From the side, a marker sheet beside it.
    told : bool
        Whether the chest is marked and the girth told.
    front : bool
        Whether there is a photo from the front.
    tags : bool
        Whether it wears tags, on back and chest and at the neck as well, and the tape goes by them.
    """

    name: str
    photos: int
    told: bool = False
    front: bool = False
    tags: bool = False


_Places: TypeAlias = Mapping[str, tuple[Array, float]]
"""Where each point appears, (2,) px, and how many px a mm has there."""
_Shot: TypeAlias = tuple[View, Marking, _Places]

WAYS: Final = (
    PhotoSession("One photo", 1),
    PhotoSession("Three photos", 3),
    PhotoSession("Ten photos", 10),
    PhotoSession("One photo, chest and girth", 1, told=True),
    PhotoSession("Three photos, chest and girth", 3, told=True),
    PhotoSession("One photo and one from the front, chest and girth", 1, told=True, front=True),
    PhotoSession("One photo and one from the front", 1, front=True),
    PhotoSession("The same with tags, those on back and chest too", 1, front=True, tags=True),
)


@dataclass(frozen=True, eq=False)
class Found:
    """One body in one size, one way, under one set of constants.

    Attributes
    ----------
    error, spread : (4,)
        ln(estimate) - ln(truth), nan where no truth was measured, and its stated spread.
    flagged, agrees : bool
        What was said of good readings, each taken twice, with the ring.
    passed : float
        Of orders with one of these readings off by its tolerance, either way, the share that
        agreed.
    """

    error: Array
    spread: Array
    flagged: bool
    agrees: bool
    passed: float


def report(seed: int, jobs: int) -> str:
    """Every body in every size, as Markdown."""
    rows = over_phantoms(partial(trial, seed), len(bodies()) * len(HEIGHTS_MM), jobs)
    count = len(HEIGHTS_MM)
    kinds = [body.kind for body in bodies() for _ in range(count)]
    parts = [
        f"{len(bodies())} bodies of {len({b.maker for b in bodies()})} makers, each {count} times "
        f"({', '.join(f'{h:g}' for h in HEIGHTS_MM)} mm high), seed {seed}; a marker sheet beside "
        f"it, marks {MARK_MM:g} mm off, no coat, the build not told; readings taken twice, with "
        "the ring. Each cell: half neck / front / rear / full length, per cent."
    ]
    for name, among in (("Dogs and dog-likes", ("dog", "doglike")), ("Others", ("other",))):
        for which, constants in enumerate(("shipped", "without the body's maker")):
            picked = [row[which] for row, kind in zip(rows, kinds, strict=True) if kind in among]
            parts.append(_table(f"{name}, constants {constants}", picked, count))
    return "\n\n".join(parts)


def trial(seed: int, number: int) -> tuple[list[Found], list[Found]]:
    """One body in one size, every way: by the shipped constants, and without its maker."""
    body = bodies()[number // len(HEIGHTS_MM)]
    height = HEIGHTS_MM[number % len(HEIGHTS_MM)]
    rng = np.random.default_rng([seed, number, 31])
    truth = truths(body) * height / MEASURED_AT_MM
    dog = stand_in(body, height)
    most = max(way.photos for way in WAYS)
    sides = [_side(dog, rng) for _ in range(most)]
    front = _front(body, dog, rng)
    usual = np.where(np.isnan(truth), height, truth)
    takes = hands(usual, rng)
    tags_rng = np.random.default_rng([seed, number, 32])
    printed = tags_rng.normal(0.0, PRINT_OFF)
    worn = [_wearing(*shot, printed, tags_rng) for shot in (sides[0], front)]

    def every() -> list[Found]:
        shots = {True: (worn[:1], worn[1]), False: (sides, front)}
        return [_found(way, body, truth, height, *shots[way.tags], takes) for way in WAYS]

    shipped = every()
    with without(body.maker):
        return shipped, every()


def truths(body: Body) -> Array:
    """Its tape lengths, (4,), mm, as measured; nan where the front string failed."""
    long = measured_mm(body)
    return np.array([long.get(span, np.nan) for span in SPANS])


@contextmanager
def without(maker: str) -> Iterator[None]:
    """The constants as they would be had this maker made none of the bodies."""
    with patch.multiple(shape, **_moved(maker)):
        yield


@cache
def _moved(maker: str) -> dict[str, Any]:
    near = [body for body in bodies() if body.kind != "other"]
    left = [body for body in near if body.maker != maker]
    moved: dict[str, Any] = {}
    for name, figure in CHOSEN.items():
        (middle, spread), (middle_left, spread_left) = (_logs(b, figure) for b in (near, left))
        by, wider = float(np.exp(middle_left - middle)), spread_left / spread

        def other(ratio: shape.Ratio, by: float = by, wider: float = wider) -> shape.Ratio:
            return replace(ratio, median=ratio.median * by, log_spread=ratio.log_spread * wider)

        value = getattr(shape, name)
        if isinstance(value, shape.Ratio):
            moved[name] = other(value)
        else:
            moved[name] = {build: other(ratio) for build, ratio in value.items()}
    return moved


def _logs(among: Sequence[Body], figure: str) -> tuple[float, float]:
    """Median and standard deviation of ln of a figure."""
    values = [getattr(body, figure) for body in among]
    logs = np.log([value for value in values if value is not None])
    return float(np.median(logs)), float(np.std(logs, ddof=1))


def stand_in(body: Body, height: float) -> Dog:
    """What a photo session asks of a dog, from a body's figures: points, extent, widths.

    Feet, elbow and the box around it, which only place camera and reference, are those of a
    square dog.
    """
    scale = height / MEASURED_AT_MM
    flat = {name: scale * np.array(at) for name, at in body.landmarks.items()}
    depth = float(flat["back_top"][1] - flat["chest_bottom"][1])
    half = 0.5 * depth * body.trunk_width_over_depth * body.flank_width_over_chest
    visible = {name: np.array([x, y, 0.0]) for name, (x, y) in flat.items()}
    visible["last_rib"][2] = half
    chest, tail = flat["chest_bottom"], flat["tail_base"]
    others = {
        "elbow": [chest[0] - 0.05 * height, chest[1], 0.7 * half],
        "front_foot": [chest[0] - 0.05 * height, 0.0, 0.7 * half],
        "rear_foot": [tail[0] - 0.02 * height, 0.0, 0.7 * half],
    }
    visible |= {name: np.array(at) for name, at in others.items() if name not in visible}
    low = np.array([flat["breastbone"][0] - 0.45 * height, 0.0, -1.3 * half])
    high = np.array([tail[0] + 0.3 * height, 1.25 * height, 1.3 * half])
    corners = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], float)
    side = np.array([chest[0], 0.5 * (chest[1] + flat["back_top"][1]), 0.0])
    return cast(
        Dog,
        SimpleNamespace(
            visible=visible,
            extent=low + corners * (high - low),
            trunk_half_width=half,
            plan=SimpleNamespace(height_mm=height),
            anatomy=SimpleNamespace(girth_plane=lambda: (side, np.array([1.0, 0.0, 0.0]))),
        ),
    )


def _side(dog: Dog, rng: np.random.Generator) -> _Shot:
    place = str(rng.choice(["near_flank", "near_feet", "middle", "far_feet"]))
    scene = random_scene(rng, dog=dog, kind="marker_sheet", place=place)
    names = (*LANDMARKS, *CHEST)
    points = scene.to_world(np.array([dog.visible[name] for name in names]))
    return _marked(scene, names, points, 0.0, rng)


def _front(body: Body, dog: Dog, rng: np.random.Generator) -> _Shot:
    scene = random_front(rng, dog, kind="marker_sheet", place="front_feet")
    ends = [dog.visible[name] for name in SPAN_ENDS["half_neck"]]
    half = 0.5 * body.neck_width_over_chord * float(np.linalg.norm(ends[1] - ends[0]))
    middle = 0.5 * (ends[0] + ends[1])
    ring = scene.to_world(middle + half * np.array([[0.0, 0.0, -1.0], [0.0, 0.0, 1.0]]))
    ring = ring[np.argsort(scene.camera.project(ring)[:, 0])]
    return _marked(scene, ("neck_left", "neck_right"), ring, RING_SD, rng)


def _marked(
    scene: Scene, names: tuple[str, ...], points: Array, ring_sd: float, rng: np.random.Generator
) -> _Shot:
    """A scene as the program is told of it, marks at world points (n, 3) with noise."""
    camera = scene.camera
    slips = rng.normal(0.0, MARK_MM, size=(len(names), 2))
    thought = camera.project(points)
    thought = thought + (thought - thought.mean(axis=0)) * rng.normal(0.0, ring_sd)
    seen = thought + slips * camera.px_per_mm(points)[:, None]
    marks = {name: (float(x), float(y)) for name, (x, y) in zip(names, seen, strict=True)}
    told = observed(scene, rng, Marking(marks, by="owner"), CORNER_PX[scene.reference.form])
    places = dict(zip(names, zip(thought, camera.px_per_mm(points), strict=True), strict=True))
    return view_of(told), told.marking, places


def _wearing(
    view: View, marking: Marking, places: _Places, printed: float, rng: np.random.Generator
) -> _Shot:
    """The same photo with a tag at each point, as the finder tells of it, and nothing by hand.

    Each tag faces the camera and stands up in the picture; nothing is drawn.
    """
    size = TAG_MM["usual"]
    focal = USUAL_FOCAL * max(view.size_px)
    tags = []
    for name, (point, px_per_mm) in places.items():
        tip = point + TIP_MM * px_per_mm * rng.normal(size=2)
        square = px_per_mm * (square_mm(size) - tip_mm(size))
        off = rng.normal(0.0, TAG_MM_OFF) * px_per_mm / focal + printed + rng.normal(0.0, FOUND_OFF)
        tags.append(
            TagSeen(
                landmark=name,
                side_mm=size,
                corners_px=tip + square,
                corner_spread_px=0.2,
                tip_px=tip,
                tip_covariance=(0.3 * px_per_mm) ** 2 * np.eye(2),
                px_per_mm=float(px_per_mm * np.exp(off)),
                px_per_mm_spread=FOUND_OFF,
            )
        )
    marks = {tag.landmark: (float(tag.tip_px[0]), float(tag.tip_px[1])) for tag in tags}
    seen = replace(view, tags=TagsSeen(tuple(tags)), at_tags=True)
    return seen, replace(marking, marks=marks, by=TAGS, spread_mm=None), places


def _found(
    way: PhotoSession,
    body: Body,
    truth: Array,
    height: float,
    sides: Sequence[_Shot],
    front: _Shot,
    takes: Array,
) -> Found:
    facts = DogFacts(coat_depth_mm=0.0)
    names: tuple[str, ...] = (*LANDMARKS, *CHEST) if way.told or way.tags else LANDMARKS
    if way.told:
        depth = body.landmarks["back_top"][1] - body.landmarks["chest_bottom"][1]
        girth = body.girth_over_depth * depth * height / MEASURED_AT_MM
        facts = replace(facts, girth_mm=girth)
    shots = [
        (view, replace(marked, marks={name: marked.marks[name] for name in names}))
        for view, marked, _ in sides[: way.photos]
    ]
    shots += [front[:2]] * way.front
    found = estimate([view for view, _ in shots], [[m] for _, m in shots], facts)
    tape = np.sqrt(AT_TAGS_SHARE) if way.tags else 1.0
    lengths = np.append(truth, 2.0 * truth[0]) * np.exp(tape * takes)
    read = [name for name, mm in zip(READINGS, lengths[0], strict=True) if not np.isnan(mm)]
    keep = [READINGS.index(name) for name in read]
    at_tags = readings_at_tags(read, [view for view, _ in shots])

    def judged(off: Array) -> Comparison:
        told = as_readings((lengths * np.exp(off))[:, keep], read)
        return compare(found.log_spans, found.covariance, told, at_tags=at_tags)

    good = judged(np.zeros(len(READINGS)))
    slips = [
        sign * np.log1p(SHIPPED[READINGS[i]]) * np.eye(len(READINGS))[i]
        for i in keep
        for sign in (1.0, -1.0)
    ]
    return Found(
        found.log_spans - np.log(truth),
        np.sqrt(np.diag(found.covariance)),
        bool(good.faults),
        good.agrees,
        float(np.mean([judged(slip).agrees for slip in slips])),
    )


def _table(name: str, rows: Sequence[Sequence[Found]], sizes: int) -> str:
    lines = [
        f"**{name}** ({len(rows) // sizes} bodies)",
        "",
        "| way | bias | RMSE | stated sd | 95 % covers | good orders flagged | agree | one reading "
        "off by its tolerance: agree |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for k, way in enumerate(WAYS):
        error = np.array([row[k].error for row in rows])
        spread = np.where(np.isnan(error), np.nan, np.array([row[k].spread for row in rows]))
        inside = np.where(np.isnan(error), np.nan, np.abs(error) <= IN_95 * spread)
        cells = (
            four_cells(100 * np.nanmean(error, axis=0), "+.1f"),
            four_cells(100 * np.sqrt(np.nanmean(error**2, axis=0)), ".1f"),
            four_cells(100 * np.sqrt(np.nanmean(spread**2, axis=0)), ".1f"),
            four_cells(100 * np.nanmean(inside, axis=0), ".0f"),
            f"{100 * np.mean([row[k].flagged for row in rows]):.1f}",
            f"{100 * np.mean([row[k].agrees for row in rows]):.0f}",
            f"{100 * np.mean([row[k].passed for row in rows]):.1f}",
        )
        lines.append(f"| {way.name} | {' | '.join(cells)} |")
    return "\n".join(lines)
