"""What is refused, believed of places and takes, and said of them, held still as `steps` are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from typing import Any

import numpy as np
from PIL import Image

from photocheck.body.heights import heights_told
from photocheck.case.lengths import parse_length
from photocheck.case.model import DogFacts, Marking, Point, Reading, Reference, Take
from photocheck.errors import PhotocheckError
from photocheck.judge import widths, wording
from photocheck.judge.certainty import certainty_of, takes_said
from photocheck.judge.compare import compare
from photocheck.judge.estimate import estimate
from photocheck.judge.expected_marks import deviations, log_fit
from photocheck.judge.explain import discrepancy_of
from photocheck.judge.explanations import KINDS
from photocheck.judge.ratios import Ratios, ratios_from_dict, ratios_to_dict
from photocheck.judge.repeats import in_agreement, needs_third, tape_noise
from photocheck.judge.standing import body_points, flat_marks
from photocheck.judge.tolerances import fits, read_tolerances
from photocheck.photo import load
from photocheck.photo.bars import photo_between_bars
from photocheck.photo.camera import camera_facts
from photocheck.photo.photo import CameraFacts, Framing, Photo
from photocheck.photo.traces import with_traces
from photocheck.photo.whole import of_shape
from photocheck.scale import sheet
from photocheck.scale.bent import bend_of
from photocheck.scale.corners import check_corners
from photocheck.scale.ellipses import Ellipse, fit_circle, fit_ellipse
from photocheck.scale.find import see_reference
from photocheck.scale.lens import straighten, straighten_tags
from photocheck.scale.marker_detection import places_mm
from photocheck.scale.marker_plane import settled
from photocheck.scale.pinhole import Pinhole, ball_conic, conic_distance, disc_conic
from photocheck.scale.priors import offset_prior
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.tag_layout import square_mm
from photocheck.scale.tag_reference import reference_tag, tags_as_reference
from photocheck.scale.tags_seen import TagSeen, TagsSeen
from photocheck.words import FRONT_PLACES, PLACES, READINGS, SPANS
from tests.golden.steps import TYPED, Told
from tests.golden.steps_parts import parts_of
from tests.support.judged import marking, square_view
from tests.support.learnt import learnt


def said_or(way: Callable[[], Any]) -> Any:
    """What comes of it, or the words in which it is refused."""
    try:
        return parts_of(way())
    except PhotocheckError as error:
        return str(error)


# --- the scale -----------------------------------------------------------------------------------

SQUARE = np.array([[100.0, 100.0], [200.0, 100.0], [200.0, 160.0], [100.0, 160.0]])


def corners_refused() -> Told:
    """Corners crossed, in a line, on each other, outside, too near; just so and not quite."""
    told: Told = {}
    for corner in range(4):
        for dx, dy in product(
            (-101.0, -90.0, -40.0, 0.0, 45.0, 55.0, 90.0, 120.0), (-55.0, 0.0, 65.0)
        ):
            moved = SQUARE.copy()
            moved[corner] += [dx, dy]
            told[f"{corner} {dx} {dy}"] = said_or(partial(check_corners, moved, (300, 320)))
    for k in range(4):
        same = SQUARE.copy()
        same[k] = same[k - 1]
        swapped = SQUARE.copy()
        swapped[[k, k - 1]] = swapped[[k - 1, k]]
        for name, quad in (("same", same), ("swapped", swapped), ("fewer", SQUARE[:k])):
            told[f"{name} {k}"] = said_or(partial(check_corners, quad, (300, 320), "card"))
    for high in (19.9, 20.0, 21.0):
        flat = SQUARE * [1.0, high / 60.0]
        told[f"high {high}"] = said_or(partial(check_corners, flat, (300, 320)))
    for at in (-0.6, -0.5, 0.0, 319.0, 319.5, 319.6, float("nan"), float("inf")):
        edge = SQUARE.copy()
        edge[:2, 1] = 10.0
        edge[0, 0] = at if not at > 300.0 else 100.0
        edge[1, 0] = at if at > 300.0 else 200.0
        told[f"edge {at}"] = said_or(partial(check_corners, edge, (300, 320)))
    return told


def marked_badly() -> Told:
    """Two points, discs and spreads that cannot be used, and some that can."""
    photo = np.full((120, 160, 3), 90, np.uint8)
    ruler: tuple[Reference, ...] = tuple(
        Reference("two_points", length_mm=length, ends=ends, corner_spread_px=spread)
        for length, ends, spread in (
            (200.0, ((10.0, 10.0), (110.0, 20.0)), None),
            (200.0, ((10.0, 10.0), (110.0, 20.0)), 2.0),
            (None, ((10.0, 10.0), (110.0, 20.0)), None),
            (0.0, ((10.0, 10.0), (110.0, 20.0)), None),
            (float("inf"), ((10.0, 10.0), (110.0, 20.0)), None),
            (200.0, ((10.0, 10.0),), None),
            (200.0, ((10.0, 10.0), (30.0, 10.0)), None),
            (200.0, ((10.0, 10.0), (29.9, 10.0)), None),
            (200.0, ((10.0, 10.0), (165.0, 20.0)), None),
            (200.0, ((-1.0, 10.0), (100.0, 20.0)), None),
            (200.0, ((10.0, 10.0), (110.0, 20.0)), 0.0),
            (200.0, ((10.0, 10.0), (110.0, 20.0)), 200.0),
            (200.0, ((10.0, 10.0), (110.0, 20.0)), 201.0),
        )
    )
    angle = np.arange(9) * 2.0 * np.pi / 9.0
    ring = np.column_stack([80.0 + 30.0 * np.cos(angle), 60.0 + 25.0 * np.sin(angle)])

    def outline(points: np.ndarray) -> tuple[Point, ...]:
        return tuple((float(x), float(y)) for x, y in points)

    rounds = [
        Reference(kind, diameter_mm=size, near=near, outline=outline(points))
        for kind in ("disc", "ball")
        for size, near, points in (
            (66.0, None, ring), (None, None, ring), (-1.0, None, ring), (66.0, None, ring[:0]),
            (66.0, None, ring[:4]), (66.0, None, ring[:5]), (66.0, None, ring + 60.0),
            (66.0, None, 0.3 * ring), (66.0, None, ring * [1.0, 0.2]),
            (66.0, (300.0, 5.0), ring[:0]),
            (66.0, (80.0, 60.0), ring[:0]),
        )
    ]  # fmt: skip
    every = (*ruler, *rounds)
    return {str(k): said_or(partial(see_reference, photo, one)) for k, one in enumerate(every)}


def offsets() -> Told:
    """Every place from either side, measured or not, with spreads that may be and may not."""
    told: Told = {}
    for place, view in product((*PLACES, *FRONT_PLACES, "nowhere"), ("", "side", "front")):
        for mm, spread in product((None, -500.0, 30.0, 900.0), (None, 0.0, 20.0)):
            reference = Reference("a4", place=place, offset_mm=mm, offset_spread_mm=spread)
            told[f"{place} {view} {mm} {spread}"] = said_or(partial(offset_prior, reference, view))
    return told


def conics() -> Told:
    """Cameras aslant, with lenses that bend: points, rays, outlines of round things."""
    told: Told = {}
    rng = np.random.default_rng(2)
    points = rng.uniform(-200.0, 200.0, (5, 3))
    pixels = rng.uniform(200.0, 900.0, (6, 2))
    for number in range(4):
        turn = 0.15 * number
        c, s = np.cos(turn), np.sin(turn)
        pinhole = Pinhole(
            rotation=np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]]),
            translation=np.array([40.0 * number, -30.0, 1500.0]),
            focal_px=np.array(900.0 + 100.0 * number),
            corner_shift=np.array(0.02 * (number - 1)),
            centre_px=np.array([600.0, 450.0]),
            corner_radius_px=np.array(750.0),
        )
        told[str(number)] = parts_of(
            [
                pinhole.project(points), pinhole.undistort(pixels),
                pinhole.distort(0.3 * points[:, :2]),
                pinhole.position(),
                *(
                    conic_distance(conic(pinhole, np.array(33.0)), pixels - 500.0)
                    for conic in (disc_conic, ball_conic)
                ),
            ]
        )  # fmt: skip
    for number, half in enumerate(((40.0, 30.0), (12.0, 12.0), (80.0, 9.0))):
        one = Ellipse(np.array([100.0, 80.0]), np.array(half), 0.4 * number)
        around, normals = one.points(9)
        noisy = around + rng.normal(0.0, 0.3, around.shape)
        fitted = fit_ellipse(noisy)
        told[f"ellipse {number}"] = parts_of(
            [around, normals, fitted and [fitted.centre, np.sort(fitted.half)],
             fit_circle(noisy), fit_circle(noisy[:2])]
        )  # fmt: skip
    return told


def bends() -> Told:
    """The sheet's squares on paper that is flat, curled, folded, far off, or lacks corners."""
    told: Told = {}
    for seed, (curl, fold, scale, few) in enumerate(
        ((0.0, 0.0, 1.5, 16), (3e-5, 0.0, 1.5, 16), (2e-4, 0.0, 1.5, 16), (0.0, 3.0, 1.5, 16),
         (2e-4, 0.0, 1.5, 13), (2e-4, 0.0, 1.5, 12), (6e-4, 0.0, 1.5, 11), (2e-4, 0.0, 0.4, 16),
         (8e-3, 0.0, 1.5, 16), (0.0, 9.0, 2.0, 15))
    ):  # fmt: skip
        rng = np.random.default_rng(seed)
        found: dict[tuple[int, int], np.ndarray] = {}
        for place, corner in list(product(range(4), range(4)))[:few]:
            x, y = places_mm(place)[corner]
            out = curl * (x + 0.4 * y) ** 2 + fold * abs(x - 30.0) / 100.0
            at = np.array([x + out, y + 0.5 * out]) * scale * (1.0 + 2e-4 * x)
            found[place, corner] = at + 400.0 + rng.normal(0.0, 0.05, 2)
        told[str(seed)] = parts_of(bend_of(found) and _bend_told(found))
    return told


def settled_planes() -> Told:
    """Corners of the sheet, some of them moved: which are left out, and the plane of the others."""
    told: Told = {}
    for few, moved, by in product((16, 12, 8), (0, 1, 2, 3), (0.4, 3.0)):
        rng = np.random.default_rng(few + moved)
        found: dict[tuple[int, int], np.ndarray] = {}
        for place, corner in list(product(range(4), range(4)))[:few]:
            x, y = places_mm(place)[corner]
            at = np.array([x, y]) * 1.4 * (1.0 + 2e-4 * x) + 0.3 * np.sign([x, y])
            found[place, corner] = at + 400.0 + rng.normal(0.0, 0.05, 2)
        for corner in range(moved):
            found[1, corner] = found[1, corner] + np.array([by, -0.6 * by])
        told[f"{few} {moved} {by}"] = parts_of(settled(found))
    return told


def _bend_told(found: dict[tuple[int, int], np.ndarray]) -> list[Any]:
    bend = bend_of(found)
    assert bend is not None
    return [bend.points_px, bend.spread_px, sorted(bend.places), bend.off_mm, bend.share]


def _photo() -> Photo:
    size = (1200, 900)
    rgb = np.zeros((size[1], size[0], 3), np.uint8)
    return Photo(rgb, CameraFacts(26.0, "given", focal_spread=0.01), "0" * 64, "JPEG")


def straightened() -> Told:
    """Marks, a sheet and tags under lenses that bend, too few numbers, and too strong ones."""
    told: Told = {}
    at = np.array([[200.0, 150.0], [900.0, 140.0], [950.0, 700.0], [180.0, 720.0]])
    seen_there = ReferenceSeen("a4", "marked", at - 500.0, at, 0.5, 0.001)
    tag = TagSeen("tail_base", 40.0, at[:1] + square_mm(40.0), 0.2, at[0], np.eye(2), 1.0, 0.01)
    marks = Marking({"breastbone": (300.0, 400.0)}, {"rear_length": ((800.0, 300.0),)})
    for lens in ((0.1, 0.0, 0.0, 0.0), (-0.2, 0.05, 0.001, -0.002), (-0.1, 0.02, 0.0, 0.0, 0.01),
                 (0.1, 0.0, 0.0), (-3.0, 0.0, 0.0, 0.0),
                 (float("nan"), 0.0, 0.0, 0.0)):  # fmt: skip
        told[str(lens)] = [
            said_or(partial(straighten, seen_there, (marks,), lens, _photo())),
            said_or(partial(straighten_tags, TagsSeen((tag,) * (len(lens) > 3)), lens, _photo())),
        ]
    for few in range(4):
        names = ("last_rib", "shoulder_top", "tail_base", "neck_left")[: few + 1]
        tags = TagsSeen(
            tuple(replace(tag, landmark=n, corner_spread_px=0.3 - 0.05 * k)
                  for k, n in enumerate(names))
        )  # fmt: skip
        for front in (False, True):
            one = reference_tag(tags, front=front)
            told[f"{few} {front}"] = [
                one and one.landmark, said_or(partial(tags_as_reference, tags, front=front))
            ]  # fmt: skip
    return told


def pages() -> Told:
    """All that stands on the sheet's pages, and where."""
    told: Told = {}
    for paper in ("a4", "letter"):
        told[paper] = parts_of(
            [
                list(sheet._texts(sheet.LAYOUT, paper)), list(sheet.upright(paper)),
                list(sheet.ruler_labels()), sheet.upright_label(paper), sheet.page_mm(paper),
            ]
        )  # fmt: skip
    return told


# --- the photo -----------------------------------------------------------------------------------


def bars_seen() -> Told:
    """Pictures between bars wide and narrow, alike and not, ragged, on one side only."""
    told: Told = {}
    rng = np.random.default_rng(4)
    base = rng.integers(60, 200, (240, 320, 3)).astype(np.uint8)
    ways: dict[str, tuple[int, int, int, int, int, int]] = {
        "none": (0, 0, 0, 0, 0, 0), "above and below": (30, 30, 0, 0, 0, 0),
        "beside": (0, 0, 40, 40, 0, 0), "round": (30, 20, 26, 40, 5, 5),
        "unlike": (30, 30, 0, 0, 0, 30),
        "hardly alike": (30, 30, 0, 0, 10, 34), "narrow": (2, 2, 0, 0, 0, 0),
        "just": (3, 3, 0, 0, 0, 0), "nearly all": (100, 93, 0, 0, 0, 0), "one": (30, 0, 0, 0, 0, 0),
        "a camera's": (0, 0, 0, 0, 0, 0), "all": (120, 120, 0, 0, 0, 0),
    }  # fmt: skip
    for name, (top, bottom, left, right, one, other) in ways.items():
        for noise in (2,) if name != "round" else (2, 3):
            picture = base.copy()
            picture[:, :left], picture[:, 320 - right :] = one, other
            picture[:top], picture[240 - bottom :] = one, other
            dots = rng.random(picture.shape[:2]) < 0.1
            picture[dots] = np.minimum(picture[dots].astype(int) + noise, 255).astype(np.uint8)
            rows = [photo_between_bars(picture)]
            for cut in (0.0, 0.3):
                rows.append(parts_of(with_traces(Framing(cut), picture, None, as_stored=False)))
            told[f"{name} {noise}"] = parts_of(rows)
    ragged = base.copy()
    for column in range(320):
        ragged[: 20 + column // 12, column], ragged[200:, column] = 0, 0
    told["ragged"] = parts_of(photo_between_bars(ragged))
    told["shapes"] = parts_of(
        [of_shape((w, 900.0)) for w in (900.0, 1195.0, 1200.0, 1350.0, 1601.0)]
    )
    return told


def decoded() -> Told:
    """Pictures turned each way, of every mode, of sizes that are read and not; JPEGs cut short."""
    told: Told = {}
    corner = np.arange(2 * 3 * 3, dtype=np.uint8).reshape(2, 3, 3)
    for way in range(1, 9):
        told[f"turned {way}"] = load.turned(corner, way).tolist()
    for value in (0, 1, 8, 9, 2.0, "3", None):
        told[f"orientation {value!r}"] = load._orientation({0x0112: value})
    for size in ((99, 200), (100, 100), (30_000, 200), (30_001, 200), (10_000, 8_000),
                 (10_000, 8_001)):  # fmt: skip
        told[str(size)] = said_or(partial(load._check_size, *size, "photo"))
    for mode in ("L", "LA", "P", "RGB", "RGBA", "CMYK", "I;16", "I", "1"):
        small = Image.new("RGBA", (3, 2), (10, 200, 30, 90)).convert(
            "LA" if mode == "LA" else "RGB"
        )
        if mode in ("I;16", "I"):
            values = np.array([[0, 128, 129], [32768, 65534, 65535]])
            small = Image.fromarray(values.astype(np.uint16 if mode == "I;16" else np.int32))
        elif mode == "RGBA":
            small = Image.new("RGBA", (3, 2), (10, 200, 30, 90))
        elif mode != "LA":
            small = small.convert(mode)
        told[f"mode {mode}"] = load._rgb(small).tolist()
    whole = (
        b"\xff\xd8\xff\xe0\0\4ab\xff\xff\xdb\0\3c\xff\xda\0\4xy12\xff\x00\xff\xd0\x34\xff\xc4\0\2"
    )
    whole += b"\xff\xda\0\3z56\xff\xff\xd9"
    told["whole"] = [load._jpeg_is_whole(whole[:end]) for end in range(len(whole) + 1)]
    told["other"] = [
        load._jpeg_is_whole(whole[:k] + b"\x01" + whole[k + 1 :]) for k in range(len(whole))
    ]
    return told


# --- the judgement -------------------------------------------------------------------------------


def _reading(*mm: float, by: tuple[str, ...] = ()) -> Reading:
    hands = (*by, *("",) * len(mm))
    return Reading.of([Take(one, f"{one:g} mm", "cm", by=hand) for one, hand in
                       zip(mm, hands, strict=False)])  # fmt: skip


def takes() -> Told:
    """Readings taken once, twice, often, by several, alike and not: noise, and what is said."""
    told: Told = {}
    log_spans = np.log([300.0, 420.0, 330.0, 750.0])
    covariance = 0.03**2 * np.ones((4, 4)) + 0.02**2 * np.eye(4)
    sets: list[dict[str, Reading]] = [
        {"half_neck": _reading(300.0), "neck_ring": _reading(603.0, 598.0)},
        {"half_neck": _reading(300.0, 306.0), "front_length": _reading(420.0, 424.0, 417.0)},
        {"half_neck": _reading(300.0, 330.0), "rear_length": _reading(330.0, 332.0)},
        {"rear_length": _reading(330.0, 332.0, 410.0), "front_length": _reading(420.0)},
        {"rear_length": _reading(330.0, 370.0, 410.0), "full_length": _reading(750.0, 755.0)},
        {"rear_length": _reading(330.0, 338.0, by=("Jo", "staff")), "front_length": _reading(420.0),
         "full_length": _reading(749.0, 752.0, 747.0, 751.0, 700.0)},
        {name: _reading(mm, 1.02 * mm)
         for name, mm in zip(READINGS, (300.0, 420.0, 330.0, 750.0, 600.0), strict=True)},
        {name: _reading(mm) for name, mm in zip(SPANS, (300.0, 420.0, 330.0, 750.0), strict=True)},
    ]  # fmt: skip
    for number, readings in enumerate(sets):
        for at_tags in ((), tuple(readings)):
            noise = tape_noise(readings, at_tags=at_tags)
            found = compare(log_spans, covariance, readings, at_tags=at_tags)
            told[f"{number} {len(at_tags)}"] = parts_of(
                [
                    {k: v for k, v in vars(noise).items() if k not in ("at_tags", "habits")},
                    list(certainty_of(log_spans, covariance, readings, noise, "cm")),
                    list(takes_said(readings, noise, "in")), sorted(in_agreement(readings)),
                    [found.scores, found.catches, found.catches_common, found.limit, found.limits],
                    sorted(widths.proved(readings)), list(wording.unchecked(tuple(readings))),
                    list(wording.at_tags(at_tags, tuple(readings)[:1])),
                ]
            )  # fmt: skip
    for gap in (4.0, 12.0, 20.0, 24.0, 28.0, 30.0, 32.0, 40.0):
        told[f"third {gap}"] = [
            needs_third([Take(410.0 + k, "", "cm") for k in some])
            for some in ((0.0,), (0.0, gap), (0.0, gap, -gap), (0.0, gap, 2.0),
                         (gap, 0.0, 1.0, 2.0),
                         (0.0, gap, -gap, 2 * gap))
        ]  # fmt: skip
        told[f"fits {gap}"] = [fits(parts, sum(parts) + sign * gap) for sign in (-1.0, 1.0)
                               for parts in ((420.0, 330.0), (300.0, 300.0))]  # fmt: skip
    for text in ("half_neck=10", "half neck: 8 %; common=0.9", "common=1", "common=50",
                 "common=50,5", "full length = 12,5, neck_ring=9", "paws=3", "half_neck=", "",
                 " ; ", "common=1e1"):  # fmt: skip
        told[f"tolerances {text}"] = said_or(partial(read_tolerances, text))
    return told


@dataclass(frozen=True)
class Expected:
    """A place expected by hand."""

    xy: Point
    covariance: tuple[tuple[float, float], tuple[float, float]] = ((90.0, 20.0), (20.0, 60.0))
    confidence: float = 0.8


def beliefs() -> Told:
    """Where marks are expected, how high dogs stand, which widths go with what, files changed."""
    told: Told = {}
    expected = {"breastbone": Expected((100.0, 100.0)), "tail_base": Expected((400.0, 90.0)),
                "last_rib": Expected((250.0, 150.0), confidence=1.0)}  # fmt: skip
    for off in (0.0, 5.0, 30.0, 400.0):
        marks = {"breastbone": (100.0 + off, 100.0), "tail_base": (400.0, 90.0 - off)}
        more = marks | {"last_rib": (250.0 + off, 150.0)}
        told[f"marks {off}"] = parts_of(
            [log_fit(some, expected, own) for some in (marks, more) for own in (3.0, 12.0)]
            + [deviations(at, expected[name], 4.0) for name, at in more.items()]
        )
    for breed, months, height in product(
        ("", "Labrador", "Labrador mix", "dachshund", "husky cross", "Greyhound"),
        (None, 17, 18), (None, 600.0),
    ):  # fmt: skip
        dog = DogFacts(breed=breed, age_months=months, height_mm=height)
        told[f"{breed} {months} {height}"] = parts_of(list(heights_told(dog)))
    for view in (square_view(), square_view(distance=1700.0)):
        found = estimate([view], [[marking()]], DogFacts())
        marks = {**marking().marks, "front_foot": (1500.0, 2300.0), "rear_foot": (2500.0, 2310.0)}
        told[f"points {view.seen.points_px[0][0]:.0f}"] = parts_of(
            [body_points(marks, found.to_pixels[0], 80.0), flat_marks(marks, found.to_pixels[0])]
        )
    known = ratios_to_dict(learnt())
    changes: dict[str, Callable[[dict[str, Any]], Any]] = {
        "as it was": lambda told: None,
        "format": lambda told: told.update(format="other"),
        "no format": lambda told: told.pop("format"),
        "current": lambda told: told.update(current="7-nothing"),
        "shipped": lambda told: told.update(current="shipped"),
        "parent": lambda told: told["versions"][0].update(parent="6-nobody"),
        "orders": lambda told: told["versions"][0].update(orders=10),
        "twice": lambda told: told["versions"].append(told["versions"][0]),
        "more": lambda told: told.update(more=1),
    }
    for name, change in changes.items():
        changed = _copied(known)
        change(changed)
        told[f"ratios {name}"] = said_or(partial(_in_use_of, changed))
    told["undone"] = said_or(lambda: _in_use(learnt().undone()))
    told["nothing to undo"] = said_or(lambda: _in_use(Ratios().undone()))
    return told


def _copied(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _copied(each) for key, each in value.items()}
    return [_copied(each) for each in value] if isinstance(value, list) else value


def _in_use_of(told: dict[str, Any]) -> list[Any]:
    return _in_use(ratios_from_dict(told))


def _in_use(ratios: Ratios) -> list[Any]:
    dogs = [DogFacts(breed="Mix"), DogFacts(breed="other", build="slim"), DogFacts()]
    return [ratios.current, len(ratios.versions), [ratios.for_dog(dog) for dog in dogs],
            ratios.habits, ratios.habits_at_tags]  # fmt: skip


def against_files() -> Told:
    """Photos that contradict their file more and more, and one another."""
    told: Told = {}
    for grown, moved in ((0.93, 300.0), (1.15, 0.0)):
        view = square_view()
        tilted = view.seen.points_px.copy()
        tilted[:2, 0] = 2015.5 + (tilted[:2, 0] - 2015.5) * grown
        seen = replace(view.seen, points_px=tilted + np.array([moved, 0.0]))
        found = estimate([replace(view, seen=seen)], [[marking()]], DogFacts())
        camera = found.cameras[0]
        told[f"{grown} {moved}"] = parts_of(
            [
                list(found.outliers),
                found.log_spans,
                np.sqrt(np.diag(found.covariance)),
                vars(camera),
            ]
        )
    return told


ALIKE = (
    {"front_length": ("75", "cm"), "rear_length": ("75", "cm"), "full_length": ("75", "cm")},
    {"front_length": ("74", "cm"), "rear_length": ("33", "cm"), "full_length": ("75", "cm")},
    {"half_neck": ("60", "cm"), "neck_ring": ("60", "cm"), "rear_length": ("17", "in")},
    {"half_neck": ("11 13/16", "in"), "front_length": ("17 1/2", "in"), "neck_ring": ("24", "in")},
    {"half_neck": ("30", "cm"), "front_length": ("42", "cm"), "rear_length": ("35", "cm"),
     "full_length": ("73", "cm"), "neck_ring": ("59", "cm")},
)  # fmt: skip


def every_cause() -> Told:
    """Every way in which every explanation can have come about, likely or not."""
    told: Told = {}
    log_spans = np.log([300.0, 420.0, 330.0, 750.0])
    covariance = 0.04**2 * np.ones((4, 4)) + 0.03**2 * np.eye(4)
    references = (Reference("letter"), Reference("a4"))
    for number, typed in enumerate((*TYPED, *ALIKE)):
        readings = {
            name: Reading(parse_length(text, unit)[0], text, unit)
            for name, (text, unit) in typed.items()
        }
        seen = discrepancy_of(log_spans, covariance, readings, references[: 1 + number % 2])
        told[str(number)] = {
            kind.name: parts_of(
                [
                    [c.weight, c.readings, c.left, _weighed(c.covariance), c.candidates, c.remark]
                    for c in list(kind.ways(seen))[:4]
                ]
            )
            for kind in KINDS
        }
    return told


def _weighed(covariance: np.ndarray | None) -> float | None:
    if covariance is None:
        return None
    return float(covariance.ravel() @ np.cos(np.arange(covariance.size)))


def zooms() -> Told:
    """Focal lengths from EXIF with every zoom, as the equivalent has it in it or has not."""
    told: Told = {}
    for focal in (13, 24, 26, 30, 52, 70):
        row = []
        for zoom in (
            0.0,
            0.9,
            0.99,
            1.0,
            1.01,
            1.02,
            1.021,
            1.03,
            1.1,
            1.2,
            1.3,
            1.4,
            1.7,
            2.5,
            9.0,
        ):
            found = camera_facts({}, {0xA405: focal, 0xA404: zoom}, (4000, 3000))
            row.append(parts_of([found.focal_35mm, found.focal_source, found.focal_spread]))
        told[str(focal)] = row
    return told


STEPS: dict[str, Callable[[], Told]] = {
    "corners_refused": corners_refused,
    "marked_badly": marked_badly,
    "offsets": offsets,
    "conics": conics,
    "bends": bends,
    "settled_planes": settled_planes,
    "straightened": straightened,
    "pages": pages,
    "bars_seen": bars_seen,
    "decoded": decoded,
    "takes": takes,
    "beliefs": beliefs,
    "against_files": against_files,
    "every_cause": every_cause,
    "zooms": zooms,
}
