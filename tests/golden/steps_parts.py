"""Parts of a search that only decide: what they say of small scenes, held still as `steps` are.

Shapes weighed against each other, places where nobody pointed, tags before they are believed:
most of it moves no answer until a photo comes that lies on the other side of a threshold.
"""

from __future__ import annotations

import ast
import inspect
import pkgutil
from collections.abc import Callable, Mapping, Set
from dataclasses import fields, is_dataclass, replace
from importlib import import_module
from itertools import product
from types import ModuleType
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

import photocheck.body
import photocheck.judge
import photocheck.photo
import photocheck.scale
from photocheck.body import outline_trust, silhouette
from photocheck.body.outline_colours import Colours
from photocheck.body.outline_cut import cut, edges
from photocheck.body.outline_frame import CloseUp
from photocheck.body.outline_shapes import Shapes
from photocheck.body.silhouette import Mask
from photocheck.errors import ScaleError
from photocheck.photo.earlier_grid import earlier_grid, periodicity
from photocheck.photo.whole import (
    framing_from,
    framing_of,
    framing_said,
    in_camera_shift,
    note_of,
    noted,
    of_shape,
    recorded_frame,
    smallest_frame,
)
from photocheck.scale import discs, marker_detection, rivals, tag_detection, unaided, unaided_rounds
from photocheck.scale.beside import strips_beside
from photocheck.scale.beyond import edges_beyond, shapes_around
from photocheck.scale.candidates import window_of, windows
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.closer import more_measured
from photocheck.scale.coarse import fitted_in, trims_of
from photocheck.scale.corner_marks import corner_marks
from photocheck.scale.edges import seen_as
from photocheck.scale.ellipses import Ellipse
from photocheck.scale.kinds import BesideDog, costs
from photocheck.scale.light import Halved, Picture
from photocheck.scale.outline_fits import fitted_outline, larger_ones
from photocheck.scale.refining import refined
from photocheck.scale.sheet import marker_cells
from photocheck.scale.tag_fit import TagFit, fit_tag
from photocheck.scale.tag_layout import PAPER_TAPER, TAG_IDS, WEDGE, WHITE, square_mm
from photocheck.scale.tag_print import grid, printed
from photocheck.scale.tag_reading import read_face
from photocheck.scale.tags import find_tags
from photocheck.scale.unaided import FourSides
from tests.golden.steps import RECTANGLES, Told, plain
from tests.support.plain_scenes import (
    card_photo,
    clutter,
    disc_photo,
    finished,
    inside_ellipse,
    over,
)

Array = NDArray[np.float64]


def parts_of(value: Any) -> Any:
    """`steps.plain` of dataclasses too, field by field, but for the window they were seen in."""
    if is_dataclass(value) and not isinstance(value, type):
        return [parts_of(getattr(value, f.name)) for f in fields(value) if f.name != "window"]
    if isinstance(value, dict):
        return {str(key): parts_of(each) for key, each in value.items()}
    if isinstance(value, (set, frozenset)):
        return sorted(parts_of(each) for each in value)
    if isinstance(value, (list, tuple)):
        return [parts_of(each) for each in value]
    if isinstance(value, float) and np.isnan(value):
        return "nan"  # which equals nothing, not even itself
    return plain(value)


# --- shapes, weighed ------------------------------------------------------------------------------


def weighed() -> Told:
    """Cards and sheets as drawn, shifted, smaller and larger: fitted, measured, chosen."""
    told: Told = {}
    for seed, (kind, (width, height, scale)) in product((1, 3), RECTANGLES.items()):
        photo, corners = card_photo(10 * seed + len(kind), width, height, scale)
        item = REFERENCES[kind]
        middle = corners.mean(axis=0)
        window = next(windows(photo, middle, 320))
        rng = np.random.default_rng(seed)
        ways = [corners + rng.normal(0.0, 1.0, (4, 2)),
                middle + 0.8 * (corners - middle), middle + 1.2 * (corners - middle),
                corners + np.array([6.0, -4.0]), middle + 0.45 * (corners - middle)]  # fmt: skip
        quads = (np.array(ways) - window.origin) / window.scale
        found = fitted_in(window, item, quads)
        bends = kind != "id_card"
        facts = rivals.measured(found, item.size_mm, photo.shape, bends=bends)
        places = np.array([one.corners for one in found])
        closely = found[:1] if seed == 1 and kind != "letter" else []
        beyond = [edges_beyond(window, one.in_window, one.bows) for one in found]
        likely = rivals.weigh(found, item.size_mm, photo.shape, bends=bends)
        told[f"{kind}-{seed}"] = parts_of(
            [
                [[one.corners, one.bows, one.sides] for one in found],
                facts,
                rivals._around(places, np.linspace(0.5, 2.0, len(found))),
                [list(group) for group in rivals._groups(places, np.ones(len(found)), facts[:, 1])],
                [[b.plain, b.off_px, shapes_around(one.in_window, b)]
                 for one, b in zip(found, beyond, strict=True)],
                [more_measured(item, one, b) for one, b in zip(found, beyond, strict=True)],
                None if likely is None else [likely.best.corners, likely.sure, likely.any_of_them,
                                             likely.rivals],
                [refined(photo, item, _begun(one, by)) for one in closely
                 for by in ((0.0, 0.0), (1.5, -1.0))],
                [corner_marks(window, quads[0], 1.3 * scale, rounded) for rounded in (False, True)],
                strips_beside(photo, ways[0], 2.0 * scale, (4.0, 4.0)),
                list(trims_of(item, corners)),
            ]
        )  # fmt: skip
    photo, _ = card_photo(3, 85.6, 53.98, 1.5)
    window = window_of(photo, 320)
    rows, columns = window.lab.shape[:2]
    rim = np.array([[x, y] for x in (-1.0, -0.5, 0.0, columns - 1.0, columns - 0.4, columns)
                    for y in (-1.0, 0.0, 7.5, rows - 1.0, rows)])  # fmt: skip
    told["rim"] = parts_of(list(rivals.lab_at(window, rim)))
    return told


def _begun(one: rivals.FittedShape, by: tuple[float, float]) -> rivals.FittedShape:
    """The same shape, its first corner seen elsewhere before it is looked at closely."""
    off = np.zeros((4, 2))
    off[0] = by
    return replace(one, corners=one.corners + off)


def detectors() -> Told:
    """What OpenCV's finders of markers are told."""
    told: Told = {}
    plainest = np.full((1000, 1000), 255, np.uint8)
    sizes_px = 7.5, 1000.0  # of tags, a side: they are told to OpenCV as shares of the picture
    for module, thorough in product((marker_detection, tag_detection), (False, True)):
        if module is marker_detection:
            detector = marker_detection._detector(plainest, thorough=thorough)
        else:
            detector = tag_detection._detector(plainest, sizes_px, thorough)
        settings, codes = detector.getDetectorParameters(), detector.getDictionary()
        held = {name: getattr(settings, name) for name in dir(settings) if name[0] != "_"}
        plainly = {name: value for name, value in held.items() if isinstance(value, (int, float))}
        sizes = [len(codes.bytesList), codes.markerSize, codes.maxCorrectionBits]
        told[f"{module.__name__} {thorough}"] = plain([plainly, sizes])
    return told


def of_each_kind() -> Told:
    """What a shape costs as a card, as a sheet of either paper, near and far off."""
    told: Told = {}
    for seed, (kind, (width, height, scale)) in product((0, 1), RECTANGLES.items()):
        photo, corners = card_photo(10 * seed + len(kind), width, height, scale)
        ways = []
        for name in RECTANGLES:
            try:
                ways.append(seen_as(REFERENCES[name], "found", corners, 0.5, []))
            except ScaleError as error:
                told[f"{kind}-{seed} as {name}"] = str(error)
        for focal, paper in ((700.0, ""), (2500.0, "a4"), (9000.0, "letter")):
            beside = BesideDog(focal, paper)
            told[f"{kind}-{seed}-{focal}"] = parts_of(
                [ways, costs(photo, ways, beside), costs(photo, ways),
                 [beside.oddness(REFERENCES[one.kind], corners) for one in ways]]
            )  # fmt: skip
    return told


# --- where nobody pointed -----------------------------------------------------------------------


def places_found() -> Told:
    """Rough places of cards, what of them is edge, and which are left."""
    told: Told = {}
    beside = BesideDog(400.0, "a4")
    for seed, (kind, (width, height, scale)) in product((1, 2), RECTANGLES.items()):
        photo, _ = card_photo(10 * seed + len(kind), width, height, 0.7 * scale)
        window = window_of(photo, 250)
        rough = np.array(list(unaided._quads(window))).reshape(-1, 4, 2)
        found = unaided.places(photo, 5)
        closer = unaided._closer(photo, found, beside) if seed == 2 else []
        told[f"{kind}-{seed}"] = parts_of(
            [
                [int(mask.sum()) for mask in unaided.masks(window)],
                rough, unaided._edge_of(window, rough), unaided._could_be(rough, photo.shape),
                found,
                [[place.edge, item.kind] for place, item in closer],
            ]
        )  # fmt: skip
    return told


def rounds_found() -> Told:
    """The same of round things."""
    told: Told = {}
    for seed, kind in product((0, 1, 2), ("disc", "ball")):
        photo, _ = disc_photo(seed, kind, (44.0, 30.0, 18.0, 25.0)[seed])
        window = window_of(photo, 250)
        rounds = unaided_rounds.round_places(photo, 3)
        told[f"{kind}-{seed}"] = parts_of(
            [
                [[edge, one.centre, np.sort(one.half)] for edge, one in
                 unaided_rounds._rough(window)],
                [[one.centre, np.sort(one.half)] for one in rounds],
                [one.centre for one in unaided_rounds._closer(photo, rounds)],
                [[unaided_rounds._beside(one, other) for one in rounds] for other in rounds],
            ]
        )  # fmt: skip
    return told


def outlines_fitted() -> Told:
    """Outlines from rough ellipses near and far, a core in a rim, large ones; which hides which."""
    told: Told = {}
    for seed, (kind, half) in enumerate((("disc", 44.0), ("ball", 34.0), ("disc", 150.0))):
        rng = np.random.default_rng(seed)
        size = (340, 330) if half > 100.0 else (200, 160)
        centre = np.array(size) / 2.0 + [5.0, -4.0]
        picture = clutter(rng, size, 5.0)
        for share, light in ((1.0, 210.0), (0.72, 150.0), (0.3, 60.0)):
            axes = share * half * np.array([1.0, 0.9 if kind == "disc" else 1.0])
            inside = inside_ellipse(size, centre, axes, 0.5, 0.9)
            picture = over(picture, inside, light + 15.0 * rng.normal(size=3))
        at = centre + half * np.array([0.8, 0.6])
        finger = inside_ellipse(size, at, np.array([24.0, 9.0]), 0.3, 1.2)
        picture = over(picture, finger, np.array([190.0, 140.0, 120.0]))
        photo = finished(rng, picture, 1.5)
        pictures = Halved(photo)
        fits = []
        for grown, moved, reach in (
            (1.0, 0.0, 2.5),
            (1.04, 1.5, 6.2),
            (0.7, 1.0, 5.0),
            (0.3, 0.5, 3.0),
        ):
            rough = Ellipse(
                centre + moved, grown * half * np.array([1.0, 0.9 if kind == "disc" else 1.0]), 0.5
            )
            fit = fitted_outline(pictures, rough, reach, kind)
            fits += [] if fit is None else [fit]
        told[f"{kind} {half}"] = parts_of(
            [
                [[f.ellipse.centre, np.sort(f.ellipse.half), f.points, f.support, f.scatter_px,
                  f.steepness, f.contrast, f.score] for f in fits],
                [np.sort(one.half) for one in larger_ones(pictures, fits[-1].ellipse)],
                [[[which(kind, a, b) for a in fits] for b in fits]
                 for which in (discs._hides, discs._wraps)],
                [discs._plausible(kind, fit, centre + off, shape) for fit in fits
                 for off in (0.0, 0.9 * half) for shape in (photo.shape, (4000, 3000))],
                [score for score, _ in discs._weighed(kind, fits)],
            ]
        )  # fmt: skip
    return told


def places_apart() -> Told:
    """Which of drawn places count as one, and which lie in another, at either side of the limit."""
    told: Told = {}
    square = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 60.0], [0.0, 60.0]])
    for by in (0.0, 19.0, 20.0, 21.0, 90.0):
        both = [FourSides(square, 0.9), FourSides(square + np.array([by, 0.0]), 0.8)]
        told[f"apart {by}"] = [len(unaided._apart(both, most)) for most in (1, 2)]
    for size, at in product((0.7, 0.79, 0.81, 1.0, 1.3), (0.0, 70.0)):
        other = size * (square - square.mean(axis=0)) + square.mean(axis=0) + np.array([at, 0.0])
        told[f"in {size} {at}"] = [unaided._lies_in(other, square), unaided._lies_in(square, other)]
    return told


# --- tags ---------------------------------------------------------------------------------------

TAG_CELL = 12
"""Px a cell of the drawing that is looked at through a homography."""


def _face(code: int, *, wedge: bool = True, covered: str = "") -> Array:
    drawn = np.full((11 * TAG_CELL, 8 * TAG_CELL), -1.0)
    drawn[: 8 * TAG_CELL] = 1.0
    y, x = (np.mgrid[0 : drawn.shape[0], 0 : drawn.shape[1]] + 0.5) / TAG_CELL - WHITE
    (_, top), (_, tip), _ = PAPER_TAPER
    drawn[(y > top) & (np.abs(x) < PAPER_TAPER[2][0] * (tip - y) / (tip - top))] = 1.0
    if wedge:
        (_, top), _, (_, tip) = WEDGE
        drawn[(y > top) & (np.abs(x) < WEDGE[1][0] * (tip - y) / (tip - top))] = 0.0
    inner = slice(TAG_CELL, 7 * TAG_CELL)
    drawn[inner, inner] = 1.0 - np.kron(marker_cells(code), np.ones((TAG_CELL, TAG_CELL)))
    if covered == "side":
        drawn[:, : 2 * TAG_CELL] = 0.45
    if covered == "cell":
        drawn[3 * TAG_CELL : 4 * TAG_CELL, 3 * TAG_CELL : 4 * TAG_CELL] = 0.5
    return drawn


def _laid(picture: Array, drawn: Array, corners: Array) -> None:
    """A face laid into a grey picture, its square's corners (4, 2) px there; by arithmetic."""
    cells = square_mm(6.0)
    rows, right = [], []
    for (x, y), (u, v) in zip(corners, cells, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    a, b, c, d, e, f, g, h = np.linalg.solve(np.array(rows), np.array(right))
    reach = int(2.0 * np.ptp(corners, axis=0).max())
    left, top = np.maximum(corners.mean(axis=0).astype(int) - reach, 0)
    picture = picture[top : top + 2 * reach, left : left + 2 * reach]
    y, x = np.mgrid[0 : picture.shape[0], 0 : picture.shape[1]].astype(float)
    x, y = x + left, y + top
    total, share = np.zeros_like(picture), np.zeros_like(picture)
    for dx, dy in product((-0.375, -0.125, 0.125, 0.375), repeat=2):
        p, q = x + dx, y + dy
        w = g * p + h * q + 1.0
        column = ((a * p + b * q + c) / w + WHITE) * TAG_CELL
        row = ((d * p + e * q + f) / w + WHITE) * TAG_CELL
        inside = (column >= 0) & (row >= 0) & (column < drawn.shape[1]) & (row < drawn.shape[0])
        inside &= w > 0.0
        at = drawn[np.where(inside, row, 0).astype(int), np.where(inside, column, 0).astype(int)]
        inside &= at >= 0.0
        total += np.where(inside, at, 0.0) / 16.0
        share += inside / 16.0
    picture += 20.0 * share + 200.0 * total - share * picture


def _tag_photo(
    seed: int, tags: dict[tuple[str, str], tuple[float, float, float, float]]
) -> Picture:
    """Tags (landmark, how) at x, y px, sides px long and turned, before a lawn of two greens."""
    rng = np.random.default_rng(seed)
    grey = clutter(rng, (420, 320), 5.0)[:, :, 1]
    for (landmark, how), (x, y, side, turn) in tags.items():
        c, s = np.cos(turn), np.sin(turn)
        flat = square_mm(side) * [1.0, 1.0 - 0.1 * (seed % 3)] + 0.02 * side * rng.normal(
            size=(4, 2)
        )
        corners = flat @ np.array([[c, s], [-s, c]]) + np.array([x, y])
        drawn = _face(TAG_IDS.get(landmark, 20), wedge=how != "bare", covered=how)
        _laid(grey, drawn, corners)
    return finished(rng, np.repeat(grey[:, :, None], 3, axis=2), 1.5)


TAG_SCENES: dict[str, dict[tuple[str, str], tuple[float, float, float, float]]] = {
    "four": {("breastbone", ""): (70, 150, 33, -1.5), ("shoulder_top", ""): (150, 80, 30, 0.1),
             ("last_rib", ""): (250, 170, 31, 0.0), ("tail_base", ""): (350, 100, 28, 0.5)},
    "covered": {("breastbone", "side"): (80, 150, 40, 0.2),
                ("shoulder_top", "cell"): (200, 90, 42, 0.0),
                ("tail_base", "bare"): (320, 120, 40, 0.4)},
    "sizes": {("breastbone", ""): (70, 150, 22, 0.2), ("shoulder_top", ""): (170, 90, 24, 0.1),
              ("tail_base", ""): (320, 160, 52, 0.3)},
    "twice": {("breastbone", ""): (70, 150, 30, 0.2), ("breastbone", "cell"): (300, 90, 30, 0.1),
              ("tail_base", ""): (180, 160, 30, 0.3)},
    "others": {("nobody's", ""): (100, 120, 44, 0.3), ("tail_base", ""): (280, 140, 40, 2.9)},
    "small": {("breastbone", ""): (90, 150, 15.5, 0.1), ("last_rib", ""): (260, 150, 14, -0.2)},
}  # fmt: skip


def tags_searched() -> Told:
    """Squares as first seen, faces laid over them, and the tags that are left."""
    told: Told = {}
    for seed, (name, tags) in enumerate(TAG_SCENES.items()):
        photo = _tag_photo(seed, tags)
        grey = np.ascontiguousarray(photo[:, :, 1])
        search = tag_detection.Search(grey)
        fits: list[Any] = []
        for square in search.squares[:3]:
            fit = fit_tag(grey, square.corners_px, square.code, lying=seed % 2 == 1, focal_px=500.0)
            fits.append(fit if fit is None else _fit_told(fit))
        told[name] = parts_of(
            [
                search.squares, fits,
                find_tags(photo, small=seed == 5, focal_px=None if seed % 2 else 500.0),
            ]
        )  # fmt: skip
    return told


def _fit_told(fit: TagFit) -> list[Any]:
    read = read_face(fit)
    return [fit, fit.corners_px(), fit.corner_spread_px(), read, read.sound, read.whole,
            read.pointed]  # fmt: skip


def tag_places() -> Told:
    """Where light and dark lie together in grounds of all kinds, and which lie near other tags."""
    told: Told = {}
    for seed, (contrast, step) in enumerate(((0.0, 0.0), (40.0, 0.0), (90.0, 0.0), (60.0, 40.0))):
        rng = np.random.default_rng(seed)
        half = np.full((90, 120), 128.0)
        for _ in range(2 + 5 * seed):
            x, y, wide, high = rng.integers(4, 60, 4)
            half[y : y + high, x : x + wide] += rng.choice([-1.0, 1.0]) * (contrast + step)
        first, faint = tag_detection._places(np.clip(half, 0, 255).astype(np.uint8))
        level = tag_detection._Shrunk(np.zeros((180, 240), np.uint8), 2.0, first + faint)
        near = [
            tag_detection._near(level, np.array([50.0, 20.0]), np.array([300.0, 210.0]), least)
            for least in (14.0, 40.0, 90.0)
        ]
        told[f"{contrast} {step}"] = parts_of([first, faint, near])
    return told


def tag_prints() -> Told:
    """The printed face at a grid's places, softened."""
    told: Told = {}
    for code, hundredths, each, inner in ((1, 15, 3, False), (7, 30, 4, True), (34, 45, 4, False)):
        told[f"{code} {hundredths} {each}"] = parts_of(
            [grid(each, inner=inner), printed(code, hundredths, each, inner=inner)]
        )
    return told


# --- what the picture's file tells of what was cut off ------------------------------------------


def framings() -> Told:
    """Sizes of all kinds, with a recorded frame and without, and what is said of them."""
    told: Told = {}
    sizes = [(4032, 3024), (3024, 4032), (4000, 2250), (4032, 2268), (3000, 3000), (2992, 2992),
             (2621, 1530), (2621, 1966), (1600, 1200), (1599, 1200), (640, 480), (700, 525),
             (696, 522), (1284, 963), (2340, 1080), (2400, 1080), (1080, 1920), (1081, 1921),
             (1000, 300), (900, 420), (2500, 1000), (2520, 1080), (333, 250), (2016, 1512),
             (3264, 2448), (3270, 2452), (1920, 1440), (1504, 1128), (2304, 1728), (3000, 2000),
             (3008, 2000), (1704, 960), (2240, 2240), (1080, 1080), (750, 1334),
             (1170, 2532)]  # fmt: skip
    frames = (None, (4032, 3024), (3024, 4032), (2000, 1500), (1600, 1600), (1, 1), (10**6, 5))
    for size, frame in product(sizes, frames):
        exif: dict[int, Any] = {} if frame is None else {0xA002: frame[0], 0xA003: frame[1]}
        base: dict[int, Any] = {0x0112: 6} if frame == (1600, 1600) else {}
        rows = []
        for camera in (True, False):
            if camera:
                base = base | {0x0110: "x"}
            found = framing_of(base, exif, size)
            again = framing_from(parts_by_name(found))
            rows += [parts_of(found), len(framing_said(found, size)), again == found,
                     noted({0x9286: note_of(found)}) == found,
                     parts_of(of_shape(size, camera_data=camera))]  # fmt: skip
            base = {key: value for key, value in base.items() if key != 0x0110}
        told[f"{size} {frame}"] = [rows, parts_of(recorded_frame(base, exif, size))]
    for size in sizes:
        told[str(size)] = parts_of([in_camera_shift(size), smallest_frame(size)])
    whole: dict[str, Any] = {"cut": 0.5, "why": "size", "frame_px": [1.0, 2.0], "corner_px": None,
                             "photo_px": [0, 0, 5, 5]}  # fmt: skip
    for key, value in (
        ("cut", 1.0), ("cut", 1.01), ("cut", 0.0), ("cut", -0.01), ("cut", "x"), ("why", ""),
        ("why", "other"), ("frame_px", [1.0]), ("frame_px", [1e6, 0.0]), ("frame_px", [-1e5, 9e5]),
        ("frame_px", [float("nan"), 1.0]), ("corner_px", [3.0, 4.0]), ("photo_px", []),
        ("photo_px", [0, 0, 5]), ("photo_px", [5, 0, 5, 5]), ("photo_px", [0, 5, 5, 5]),
        ("photo_px", [-1, 0, 5, 5]), ("photo_px", [0, -1, 5, 5]), ("photo_px", [4, 4, 5, 5]),
    ):  # fmt: skip
        told[f"{key} {value}"] = parts_of(framing_from(whole | {key: value}))
    return told


def parts_by_name(value: Any) -> dict[str, Any]:
    return {each.name: getattr(value, each.name) for each in fields(value)}


def grids() -> Told:
    """Pictures of blocks whose waves stand at multiples of a step, cut so many pixels off."""
    told: Told = {}
    x = np.arange(8)
    basis = np.array([np.cos((2 * x + 1) * k * np.pi / 16) * (np.sqrt(0.125) if k == 0 else 0.5)
                      for k in range(8)])  # fmt: skip
    ways = ((3, 5), (0, 3), (6, 0), (1, 7), (2, 2), (0, 0))
    strengths = ((11.0, 3.0), (14.0, 4.5))
    for (seed, (right, down)), (step, noise) in product(enumerate(ways), strengths):
        rng = np.random.default_rng(seed)
        rough = clutter(rng, (208, 200), 16.0)[:, :, 1] - 128.0 + rng.normal(0.0, 30.0, (200, 208))
        blocks = rough.reshape(25, 8, 26, 8).transpose(0, 2, 1, 3)
        waves = step * np.rint((basis @ blocks @ basis.T) / step)
        light = (basis.T @ waves @ basis).transpose(0, 2, 1, 3).reshape(200, 208) + 128.0
        soft = light + rng.normal(0.0, noise, light.shape)
        grey = np.clip(np.rint(soft), 0, 255).astype(np.uint8)[down:-3, right:-2]
        picture = np.ascontiguousarray(np.repeat(grey[:, :, None], 3, axis=2))
        # where it begins, and no sums: waves are counted by 32-bit quarters, which fall to one
        # side or the other as a processor has it
        likeliest = np.unravel_index(np.argmax(periodicity(picture)), (8, 8))
        told[f"{right} {down} {step}"] = parts_of([earlier_grid(picture), [*map(int, likeliest)]])
    return told


# --- the outline ----------------------------------------------------------------------------------


def _drawn_dog(shift: float, gap: bool) -> Mask:
    """A trunk, a head and two pairs of legs of one mask, 160 x 120 px, with holes and a crumb."""
    y, x = np.mgrid[0:120, 0:160].astype(float)
    x = x - shift
    mask = (np.abs(x - 85.0) < 38.0) & (np.abs(y - 50.0 + 0.05 * x) < 16.0)
    mask |= np.hypot(x - 40.0, 1.2 * (y - 28.0)) < 14.0
    for at in (55.0, 63.0, 112.0, 120.0):
        mask |= (np.abs(x - at) < 3.5) & (y > 50.0) & (y < 108.0 + 0.02 * at)
    mask &= ~((np.abs(x - 90.0) < 2.0) & (np.abs(y - 48.0) < 2.0))
    if not gap:
        mask |= (np.abs(x - 88.0) < 20.0) & (y > 60.0) & (y < 100.0)
    mask |= np.hypot(x - 12.0, y - 100.0) < 4.0
    return mask.astype(np.uint8)


def outline_parts() -> Told:
    """An outline step by step: colours, edges, the cut, one piece, back, head, feet and trust."""
    told: Told = {}
    for number, (shift, gap, few) in enumerate(((36.0, True, 8), (-34.0, False, 6))):
        rng = np.random.default_rng(number)
        mask = _drawn_dog(shift, gap)
        noise = rng.normal(0.0, 3.0, (120, 160, 3))
        coat = 25.0 * mask[..., None] * np.array([1.0, 0.3, -0.4])
        lab = np.asarray(coat + noise + np.array([50.0, 5.0, 5.0]), np.float32)
        flat = {"breastbone": (46.0, 52.0), "shoulder_top": (58.0, 33.0), "last_rib": (95.0, 52.0),
                "tail_base": (122.0, 30.0), "back_top": (66.0, 32.0), "chest_bottom": (68.0, 64.0),
                "front_foot": (59.0, 109.0), "rear_foot": (116.0, 110.0)}  # fmt: skip
        marks = {name: np.array([at[0] + shift, at[1]]) for name, at in list(flat.items())[:few]}
        rgb = np.repeat((90 * mask + 60)[:, :, None], 3, axis=2).astype(np.uint8)
        frame = CloseUp.around(rgb, {name: (float(x), float(y)) for name, (x, y) in marks.items()})
        assert frame is not None
        colours = Colours(lab, frame.trunk)
        teach = np.asarray(cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 2.0), np.float32)
        price = edges(lab)
        odds = colours.speak(teach**2, (1.0 - teach) ** 4)
        inside = cut(odds, price, teach, 15)
        piece = silhouette._one_piece(mask, marks)
        there = {name: (at + 0.5) * 0.5 - 0.5 for name, at in marks.items()}
        shapes = Shapes(there, 0.5 * frame.trunk, frame.ahead, (60, 80))
        ring = [np.array(at) for at in ((9.0, 9.0), (40.0, 12.0), (20.0, 50.0))]
        told[str(number)] = parts_of(
            [
                [price, odds, inside, piece],
                silhouette._topline(piece, marks)[::7], silhouette._head(piece, marks, frame.ahead),
                silhouette._feet(piece, marks, frame), silhouette._touches(piece, frame),
                silhouette._placed(teach, mask.astype(np.float32), frame.trunk, number),
                outline_trust._parts(piece, shapes, marks, frame.trunk),
                outline_trust._on_marks(piece, marks, frame.trunk),
                outline_trust._under_the_belly(marks, frame.trunk),
                outline_trust.trust_in(piece, inside, price, shapes, marks, frame.trunk),
                silhouette._beside((120, 160), ring),
            ]
        )  # fmt: skip
    return told


def small_outline() -> Told:
    """The whole way in a copy of fewer pixels than are first looked at."""
    mask = _drawn_dog(0.0, gap=True)
    rgb = np.repeat((90 * mask + 60)[:, :, None], 3, axis=2).astype(np.uint8)
    small = cv2.resize(rgb, None, fx=0.4, fy=0.4, interpolation=cv2.INTER_AREA)
    marks = {"breastbone": (46.0, 52.0), "shoulder_top": (58.0, 33.0), "last_rib": (95.0, 52.0),
             "tail_base": (122.0, 30.0)}  # fmt: skip
    near = {name: (0.4 * x, 0.4 * y) for name, (x, y) in marks.items()}
    found = silhouette.find_silhouette(np.asarray(small, np.uint8), near)
    assert found is not None
    return {"small": parts_of([found.trust, found.mask, found.head, found.touches])}


# --- figures ------------------------------------------------------------------------------------


def figures() -> Told:
    """Every figure at the top of a module of these rooms, and what is taken where nothing is said.

    `tests/judge/test_limits_hold.py` and its like say what most of them must be, to a fifth; here
    whole numbers, tables and defaults are held as well, to the last digit.
    """
    told: Told = {}
    for room in (photocheck.photo, photocheck.scale, photocheck.body, photocheck.judge):
        for found in pkgutil.iter_modules(room.__path__):
            module = import_module(f"{room.__name__}.{found.name}")
            names = sorted(_assigned(module))
            held = {name: _figures_of(getattr(module, name, None)) for name in names}
            for name, one in vars(module).items():
                if getattr(one, "__module__", "") == module.__name__ and callable(one):
                    held[f"{name}()"] = _defaults_of(one)
            told[module.__name__] = {k: v for k, v in held.items() if v not in (None, {}, [])}
    return told


def _assigned(module: ModuleType) -> set[str]:
    body = ast.parse(inspect.getsource(module)).body
    targets = [
        target
        for node in body
        if isinstance(node, (ast.Assign, ast.AnnAssign))
        for whole in (node.targets if isinstance(node, ast.Assign) else [node.target])
        for target in ast.walk(whole)
    ]
    return {target.id for target in targets if isinstance(target, ast.Name)}


def _figures_of(value: Any) -> Any:
    """Numbers, tables of them and what is made of them; None for anything else."""
    if isinstance(value, (bool, int, float, np.number, np.ndarray)):
        return parts_of(value)
    if isinstance(value, (set, frozenset)):
        return [_figures_of(each) for each in sorted(value)] if _numeric(value) else None
    if isinstance(value, Mapping):
        return {str(key): _figures_of(each) for key, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_figures_of(each) for each in value]
    if is_dataclass(value) and not isinstance(value, type):
        return [_figures_of(getattr(value, each.name)) for each in fields(value)]
    return None


def _numeric(values: Set[Any]) -> bool:
    return all(isinstance(each, (int, float, tuple)) for each in values)


def _defaults_of(one: Callable[..., Any]) -> Any:
    try:
        parameters = inspect.signature(one).parameters.values()
    except ValueError:
        return None
    return {
        each.name: _figures_of(each.default)
        for each in parameters
        if each.default is not inspect.Parameter.empty and _figures_of(each.default) is not None
    }


STEPS: dict[str, Callable[[], Told]] = {
    "figures": figures,
    "weighed": weighed,
    "of_each_kind": of_each_kind,
    "detectors": detectors,
    "places_found": places_found,
    "rounds_found": rounds_found,
    "outlines_fitted": outlines_fitted,
    "places_apart": places_apart,
    "tags_searched": tags_searched,
    "tag_places": tag_places,
    "tag_prints": tag_prints,
    "outline_parts": outline_parts,
    "small_outline": small_outline,
    "framings": framings,
    "grids": grids,
}
