"""Steps on the way to an answer, held still as the answers are: what a report does not show.

A threshold that decides between candidates moves no report until a photo comes that lies on the
other side of it.  Here each stage is led through many small scenes, with its runners-up.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import asdict
from itertools import product
from typing import Any

import numpy as np

from photocheck.body.outline_frame import CloseUp
from photocheck.body.outline_shapes import PARTS, Shapes
from photocheck.body.posed import POSTURES, posed_dogs, square_dogs
from photocheck.body.silhouette import find_silhouette
from photocheck.body.stance import BodyMarks, judge_stance
from photocheck.body.standards import Allowance, allowance
from photocheck.case.model import Reading, Reference
from photocheck.errors import ScaleError
from photocheck.judge.compare import compare
from photocheck.judge.explain import discrepancy_of, explanations_of, rank
from photocheck.judge.impossible_marks import furthest_off, judge_marks
from photocheck.photo.at_marks import blur_remarks, light_remarks
from photocheck.photo.blur import edge_blur
from photocheck.photo.camera import camera_facts
from photocheck.photo.framing import cut_remarks, scale_remarks
from photocheck.photo.photo import CameraFacts
from photocheck.photo.quality import quality_at
from photocheck.scale.candidates import outlines, straight_lines, windows
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.find import locate_any, see_reference
from photocheck.scale.marker_detection import detect_markers
from photocheck.scale.planes import homography
from photocheck.scale.pose import View, likely_poses
from photocheck.scale.priors import Offset
from photocheck.scale.rough_ellipses import rough_ellipses
from photocheck.scale.rough_quads import rough_quads
from photocheck.scale.seen import ReferenceSeen
from photocheck.words import LANDMARK_TITLES
from tests.support.plain_scenes import (
    Picture,
    card_photo,
    clutter,
    disc_photo,
    finished,
    inside_ellipse,
    inside_polygon,
    over,
    sheet_photo,
)
from tests.support.square_dog import SQUARE as DOG

Told = dict[str, Any]


def plain(value: Any) -> Any:
    """Numbers to seven digits, arrays as lists; long ones by their moments."""
    if isinstance(value, np.ndarray):
        if value.size > 64:
            flat = value.astype(float).ravel()
            weights = np.cos(np.arange(flat.size))
            return [list(value.shape), plain(float(flat.sum())), plain(float(flat @ weights))]
        return plain(value.tolist())
    if isinstance(value, dict):
        return {str(key): plain(v) for key, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (float, np.floating)):
        return float(f"{value:.7g}")
    return int(value) if isinstance(value, np.integer) else value


def looked_for(photo: Picture, reference: Reference) -> Any:
    """What is seen of it, or the sentence that says why nothing is."""
    try:
        return plain(seen(see_reference(photo, reference)))
    except ScaleError as error:
        return str(error)


def seen(found: ReferenceSeen) -> Told:
    return {
        "how": found.how,
        "px": found.points_px,
        "mm": found.points_mm,
        "outline": found.outline_px,
        "spread": found.spread_px,
        "size": [found.size_spread, found.size_factor],
        "remarks": list(found.remarks),
    }


# --- the scale ---------------------------------------------------------------------------------

RECTANGLES = {"id_card": (85.6, 53.98, 1.5), "a4": (297.0, 210.0, 0.5), "letter": (216, 279, 0.5)}


def cards() -> Told:
    """Found from a mark, from four corners by hand, and the candidates of every window."""
    told: Told = {}
    for seed, (kind, (width, height, scale)) in product(range(4), RECTANGLES.items()):
        photo, corners = card_photo(
            10 * seed + len(kind), width, height, scale * (0.35 if seed == 2 else 1)
        )
        near = (float(corners[:, 0].mean()) + 3.0, float(corners[:, 1].mean()) - 4.0)
        rng = np.random.default_rng(seed)
        by_hand = tuple(map(tuple, corners + rng.normal(0.0, 1.5 + 4.0 * (seed == 3), (4, 2))))
        told[f"{kind}-{seed}"] = {
            "found": looked_for(photo, Reference(kind, near=near)),
            "marked": looked_for(photo, Reference(kind, corners=by_hand)),
            "rough": [
                [plain([score, quad]) for score, quad in rough_quads(window, REFERENCES[kind], 4)]
                for window in windows(photo, np.array(near))
            ],
        }
    return told


def discs() -> Told:
    """The same of discs and balls, by a mark and by an outline."""
    told: Told = {}
    for seed, kind in product(range(4), ("disc", "ball")):
        photo, outline = disc_photo(seed, kind, (48.0, 30.0, 16.0, 60.0)[seed])
        near = (float(outline[:, 0].mean()) + 4.0, float(outline[:, 1].mean()) + 3.0)
        rng = np.random.default_rng(seed)
        by_hand = tuple(map(tuple, outline[:: 1 + seed % 2] + rng.normal(0.0, 1.0 + seed % 3, 2)))
        marked = Reference(kind, diameter_mm=66.0, outline=by_hand, corner_spread_px=2.0)
        told[f"{kind}-{seed}"] = {
            "found": looked_for(photo, Reference(kind, diameter_mm=66.0, near=near)),
            "marked": looked_for(photo, marked),
            "rough": [
                [
                    plain([score, e.centre, np.sort(e.half), step])
                    for score, e, step in rough_ellipses(window, kind)
                ]
                for window in windows(photo, np.array(near))
            ],
        }
    return told


def outlined() -> Told:
    """Contours and straight lines in the windows around a mark."""
    told: Told = {}
    for seed in (2, 3, 5):
        photo, corners = card_photo(seed, 85.6, 53.98, 1.4)
        for number, window in enumerate(windows(photo, corners.mean(axis=0))):
            told[f"{seed}-{number}"] = plain(
                {
                    "outlines": [[len(one), one.reshape(-1, 2)] for one in outlines(window)],
                    "lines": straight_lines(window, 20),
                    "mark": [window.mark, window.scale, window.origin],
                }
            )
    return told


def sheets() -> Told:
    """The marker sheet whole, half hidden, small, in the shade, mirrored; with its bar measured."""
    told: Told = {}
    ways: list[tuple[str, float, int, float]] = [
        ("whole", 1.6, 0, 1.0),
        ("one hidden", 1.6, 1, 1.0),
        ("two hidden", 1.5, 2, 1.0),
        ("three hidden", 1.6, 3, 1.0),
        ("small", 0.7, 0, 1.0),
        ("tiny", 0.35, 0, 1.0),
        ("shade", 1.3, 1, 0.35),
    ]
    for seed, (name, scale, hidden, shadow) in enumerate(ways):
        photo = sheet_photo(seed, scale, hidden=hidden, shadow=shadow)
        grey = np.ascontiguousarray(photo[:, :, 1])
        told[name] = {
            "detected": plain([[m.place, m.corners_px] for m in detect_markers(grey)]),
            "found": looked_for(photo, Reference("marker_sheet")),
            "bar": looked_for(photo, Reference("marker_sheet", bar_mm=147.0)),
            "any": plain([[one.kind, one.spread_px] for one in locate_any(photo)]),
        }
    flipped = np.ascontiguousarray(sheet_photo(1, 1.6)[:, ::-1])
    told["mirrored"] = looked_for(flipped, Reference("marker_sheet"))
    return told


def poses() -> Told:
    """How each reference found may have been turned, and how likely."""
    told: Told = {}
    for seed, (kind, (width, height, scale)) in product(range(3), RECTANGLES.items()):
        photo, corners = card_photo(10 * seed + len(kind), width, height, scale)
        marked = Reference(kind, corners=tuple(map(tuple, corners)))
        found = see_reference(photo, marked)
        size = (photo.shape[1], photo.shape[0])
        view = View(
            size, CameraFacts(26.0, "given", focal_spread=0.01), found, Offset(1.0, 50.0, 40.0)
        )
        told[f"{kind}-{seed}"] = plain([*likely_poses(view), homography(found)])
    return told


# --- the body ----------------------------------------------------------------------------------

SETS = {
    "four": ("breastbone", "shoulder_top", "last_rib", "tail_base"),
    "chest": ("breastbone", "shoulder_top", "last_rib", "tail_base", "back_top", "chest_bottom"),
    "all": tuple(DOG),
}


def marked_dogs() -> Iterable[tuple[str, dict[str, tuple[float, float]]]]:
    """Dogs square and posed, of several shapes, as fractions of the height; y up."""
    rng = np.random.default_rng(8)
    square = square_dogs(rng, 3, (0.02, 0.01), Allowance(short_legs=True, arched_back=True))
    for name in ("square", *POSTURES):
        few = {key: at.copy() for key, at in square.items()}
        if name != "square":
            middle = (POSTURES[name].least + POSTURES[name].most) / 2.0
            few = posed_dogs(np.random.default_rng(4), few, name, np.full(3, middle))
        for number in range(3):
            yield f"{name}-{number}", {k: (float(a[number, 0]), float(a[number, 1]))
                                       for k, a in few.items()}  # fmt: skip


def postures() -> Told:
    """Where every posture leads every landmark."""
    return {name: plain(dog) for name, dog in marked_dogs()}


def stances() -> Told:
    """Odds, figures and sentences of every posture, by four marks or by all."""
    told: Told = {}
    for (name, dog), few in product(list(marked_dogs())[::2], ("four", "all")):
        flat = {k: (600.0 * dog[k][0], -600.0 * dog[k][1]) for k in SETS[few]}
        head = (600.0 * dog["head"][0], -600.0 * dog["head"][1]) if few == "all" else None
        marks = BodyMarks(flat, head=head, mark_spread_mm=5.0)
        stance = judge_stance(marks)
        told[f"{name}-{few}"] = plain(
            {
                "odds": dict(stance.log_odds),
                "unchecked": dict(stance.unchecked),
                "found": [
                    [f.name, f.sentence, f.size, f.figure.value, f.figure.low, f.figure.high,
                     f.lines]
                    for f in stance.findings
                ],
            }
        )  # fmt: skip
    return told


def allowances() -> Told:
    breeds = ("", "Dachshund", "whippet cross", "BASSET hound", "greyhound", "Labrador", "spaniel")
    return {breed: str(allowance(breed)) for breed in breeds}


def outline_shapes() -> Told:
    """Where each part of a dog may lie around its marks: how much of each cell it takes."""
    told: Told = {}
    picture = np.zeros((480, 640, 3), np.uint8)
    for (name, marks), ahead in product(SETS.items(), (-1, 1)):
        at = {k: (300.0 - ahead * 240.0 * (DOG[k][0] - 0.5), 380.0 - 240.0 * DOG[k][1])
              for k in marks}  # fmt: skip
        frame = CloseUp.around(picture, at)
        assert frame is not None
        small = {key: 0.5 * frame.into(xy) for key, xy in at.items()}
        height, width = frame.copy(picture).shape[:2]
        shapes = Shapes(small, 0.5 * frame.trunk, frame.ahead, (height // 2, width // 2))
        parts = {part: shapes.part(part) for part in PARTS} | {"dog": shapes.dog()}
        told[f"{name}{ahead:+d}"] = {
            "frame": plain([frame.left, frame.top, frame.right, frame.bottom, frame.scale,
                            frame.trunk, frame.open_edges()]),
            "cells": {
                part: [[round(float(cell.sum()), 3) for cell in np.array_split(row, 8, axis=1)]
                       for row in np.array_split(grey, 6)]
                for part, grey in parts.items()
            },
        }  # fmt: skip
    return told


def silhouettes() -> Told:
    """Drawn dogs against clutter: trust, topline, head, feet, edges."""
    told: Told = {}
    size = (420, 320)
    for seed, (name, marks) in product(range(4), (("four", SETS["four"]), ("all", SETS["all"]))):
        rng = np.random.default_rng(seed)
        shift = np.array([rng.uniform(-20, 20) - 70.0 * (seed == 2), 40.0 * (seed == 3)])

        def put(x: float, y: float, shift: np.ndarray = shift) -> np.ndarray:
            return np.asarray(np.array([110.0 + 190.0 * x, 270.0 - 190.0 * y]) + shift)

        parts = [
            [(0.0, 0.72), (0.26, 1.0), (0.62, 0.97), (1.0, 0.92), (1.04, 0.72), (0.7, 0.6),
             (0.36, 0.5), (0.0, 0.6)],
            [(-0.1, 1.1), (0.1, 1.12), (0.3, 0.97), (0.0, 0.68)],
            [(0.2, 0.6), (0.32, 0.6), (0.3, 0.0), (0.22, 0.0)],
            [(0.92, 0.75), (1.04, 0.75), (1.1, 0.0), (1.02, 0.0)],
        ]  # fmt: skip
        picture = clutter(rng, size, (2.0, 8.0, 4.0, 12.0)[seed])
        coat = rng.uniform(20, 70, 3)
        for part in parts:
            corners = np.array([put(*xy) for xy in part])
            picture = over(picture, inside_polygon(size, corners, 0.8), coat)
        skull = inside_ellipse(size, put(-0.12, 1.1), np.array([30.0, 17.0]), 0.2, 0.8)
        rgb = finished(rng, over(picture, skull, coat), 3.0)
        at = {k: tuple(put(*DOG[k])) for k in marks}
        found = find_silhouette(rgb, at)
        assert found is not None
        told[f"{name}-{seed}"] = plain(
            [found.trust, found.mask.sum(), found.mask, np.array(found.topline), found.head,
             dict(found.feet), found.touches, found.scale]
        )  # fmt: skip
    return told


# --- the judgement -------------------------------------------------------------------------------


def impossible_marks() -> Told:
    """Marks exchanged, crowded, scattered and good: every probability."""
    told: Told = {}
    for (name, dog), few in product(list(marked_dogs())[::5], SETS):
        marks = {k: (600.0 * dog[k][0], -600.0 * dog[k][1]) for k in SETS[few]}
        changed = dict(marks)
        changed["breastbone"], changed["tail_base"] = marks["tail_base"], marks["breastbone"]
        crowded = {**marks, "last_rib": (marks["tail_base"][0] - 9.0, marks["tail_base"][1] + 5.0)}
        far = {**marks, "shoulder_top": (marks["shoulder_top"][0], -1500.0)}
        for kind, those in (
            ("good", marks), ("changed", changed), ("crowded", crowded), ("far", far)
        ):  # fmt: skip
            judged = judge_marks(those, 6.0)
            told[f"{name}-{few}-{kind}"] = plain(
                [
                    judged.fine,
                    judged.anywhere,
                    {"/".join(k): v for k, v in list(judged.exchanged.items())[:4] if v > 1e-9},
                    {"/".join(k): v for k, v in list(judged.crowded.items())[:4] if v > 1e-9},
                    judged.told,
                    furthest_off(those, 6.0),
                ]
            )
    return told


TYPED: tuple[dict[str, tuple[str, str]], ...] = (
    {"half_neck": ("30", "cm"), "front_length": ("42", "cm"), "rear_length": ("33", "cm")},
    {"half_neck": ("60", "cm"), "front_length": ("42", "cm"), "rear_length": ("33", "cm")},
    {"front_length": ("24", "cm"), "rear_length": ("33", "cm"), "full_length": ("75", "cm")},
    {"front_length": ("33", "cm"), "rear_length": ("42", "cm"), "neck_ring": ("60", "cm")},
    {"half_neck": ("12", "in"), "front_length": ("16.5", "in"), "rear_length": ("33", "in")},
    {"half_neck": ("12 1/4", "in"), "front_length": ("16 1/2", "in"), "rear_length": ("13", "in")},
    {"front_length": ("52", "cm"), "rear_length": ("43", "cm"), "full_length": ("95", "cm")},
    {"rear_length": ("75", "cm"), "full_length": ("75", "cm")},
    {"half_neck": ("29", "cm"), "neck_ring": ("30", "cm")},
    {"front_length": ("50", "cm"), "rear_length": ("25", "cm")},
    {"half_neck": ("21", "cm"), "front_length": ("29", "cm"), "rear_length": ("23", "cm")},
    {"rear_length": ("3.3", "cm")},
)


def explained() -> Told:
    """Every named explanation of odd readings, by plain doubts."""
    told: Told = {}
    photo = np.log([300.0, 420.0, 330.0, 750.0])
    covariance = 0.04**2 * np.ones((4, 4)) + 0.03**2 * np.eye(4)
    for number, typed in enumerate(TYPED):
        readings = {}
        for name, (text, unit) in typed.items():
            whole, _, part = text.partition(" ")
            value = float(whole)
            if part:
                above, below = part.split("/")
                value += float(above) / float(below)
            readings[name] = Reading(value * (10.0 if unit == "cm" else 25.4), text, unit)
        found = compare(photo, covariance, readings)
        posterior = rank(discrepancy_of(photo, covariance, readings))
        told[str(number)] = plain(
            {
                "faults": [fault.name for fault in found.faults],
                "scores": [found.scores, found.catches, found.largest, found.limit],
                "ranked": [[one.name, one.probability, one.sentence]
                           for one in explanations_of(posterior)],
            }
        )  # fmt: skip
    return told


# --- the photo -----------------------------------------------------------------------------------


def qualities() -> Told:
    """Contrast, blur and light at marks on cards, sharp and blurred, in shade and in glare."""
    told: Told = {}
    for seed in range(6):
        photo, corners = card_photo(seed, 85.6, 53.98, 1.5)
        shade = np.clip(photo.astype(float) * (1.0, 0.25, 1.8)[seed % 3], 0, 255).astype(np.uint8)
        middles = (corners + np.roll(corners, -1, axis=0)) / 2.0
        at = np.vstack([corners, middles, [[5.0, 5.0], [150.0, 110.0], [-3.0, 0.0]]])
        told[str(seed)] = [str(plain(list(vars(one).values()))) for one in quality_at(shade, at)]
    return told


REMARKED = (
    {"px_per_cm": 3.2}, {"px_per_cm": 4.6}, {"side": 30.0}, {"side": 85.0, "points": 8},
    {"offset_spread_mm": 90.0}, {"offset_spread_mm": 66.0, "measured_offset": True},
    {"offset_spread_mm": 55.0}, {"yaw_deg": 11.0}, {"yaw_deg": -17.0}, {"yaw_deg": 85.0},
    {"corner_px": 3.0},
)  # fmt: skip


def remarks() -> Told:
    """What is said of scale, light, blur and what is cut off, on either side of every limit."""
    told: Told = {}
    for number, change in enumerate(REMARKED):
        how: Told = {"px_per_cm": 9.0, "distance_mm": 2500.0, "offset_spread_mm": 20.0,
                     "yaw_deg": 3.0, "side": 200.0, "points": 4} | change  # fmt: skip
        angle = np.arange(how.pop("points")) * 2.0 * np.pi / change.get("points", 4)
        ring = 300.0 + how.pop("side") / 2.0 * np.column_stack([np.cos(angle), np.sin(angle)])
        told[f"scale-{number}"] = plain(
            [list(vars(one).values()) for one in scale_remarks(reference_px=ring, **how)]
        )
    for gap, facing in product((1.5, 2.3, 9.0), (-1, 1)):
        size = (500, 400)
        x = np.array([gap, 250.0, 499.0 - gap, 250.0])[::facing]
        marks = dict(zip(SETS["four"], zip(x, (200.0, gap, 399.0 - gap, 200.0), strict=True),
                         strict=True))  # fmt: skip
        found = cut_remarks(size, marks, LANDMARK_TITLES, touches=("bottom",) if gap > 5 else ())
        told[f"cut-{gap}{facing:+d}"] = plain([list(vars(one).values()) for one in found])
    for seed in range(4):
        photo, corners = card_photo(seed, 85.6, 53.98, 1.5)
        soft = photo.astype(float)
        for _ in range((0, 6, 24, 90)[seed]):  # a mean of neighbours, often: a Gaussian
            soft = (soft + np.roll(soft, 1, 0) + np.roll(soft, 1, 1) + np.roll(soft, -1, 0)) / 4.0
        light = np.clip((1.0, 0.1, 1.9, 1.0)[seed] * soft, 0, 255).astype(np.uint8)
        middles = (corners + np.roll(corners, -1, axis=0)) / 2.0
        points = {n: (float(x), float(y)) for n, (x, y) in zip(DOG, middles, strict=False)}
        at = np.array(list(points.values()))
        quality, blurs = quality_at(light, at), edge_blur(light, at)
        told[f"marks-{seed}"] = plain(
            [
                [*blurs],
                [list(vars(one).values()) for one in quality],
                [list(vars(one).values())
                 for px in (3.0, 6.0, 12.0)
                 for one in blur_remarks(LANDMARK_TITLES, points, blurs, px, quality)],
                [list(vars(one).values())
                 for one in light_remarks(LANDMARK_TITLES, points, quality)],
            ]
        )  # fmt: skip
    return told


def cameras() -> Told:
    """Focal lengths from EXIF: equivalent, zoom, sensor, cropped; each near its limits."""
    told: Told = {}
    tags = {"real": 0x920A, "35": 0xA405, "zoom": 0xA404, "x": 0xA002, "y": 0xA003,
            "per x": 0xA20E, "per y": 0xA20F, "unit": 0xA210}  # fmt: skip
    cases: list[Told] = [
        *({"35": f, "real": 4.3} for f in (4, 6, 14, 26, 48, 77, 130, 600, 2000)),
        *({"35": 26, "real": r} for r in (0.5, 1.0, 3.0, 9.0, 30.0, 60.0)),
        *({"35": f, "zoom": z} for f, z in product((20, 26, 40, 52), (1.01, 1.5, 2.0, 4.0))),
        *({"real": 4.3, "per x": p, "per y": p * 1.05, "unit": u} for p, u in
          product((700.0, 4000.0, 9000.0, 18000.0), (2, 3, 4, 5, 9))),
        *({"real": 4.3, "per x": 9000.0, "zoom": z} for z in (0.5, 1.5)),
        *({"35": 26, "x": x, "y": 3000} for x in (3900, 3965, 4000, 4035, 4060)),
        {"35": 0}, {"35": -5}, {"35": "26"}, {"35": "wide"}, {"real": 1e12, "35": 26}, {},
    ]  # fmt: skip
    for number, case in enumerate(cases):
        exif = {tags[name]: value for name, value in case.items()}
        found = camera_facts({0x010F: b" Maker\x00", 0x0110: "Model\n"}, exif, (4000, 3000))
        told[str(number)] = plain([case, *asdict(found).values()])
    return told


STEPS: dict[str, Callable[[], Told]] = {
    "cards": cards,
    "discs": discs,
    "outlined": outlined,
    "sheets": sheets,
    "poses": poses,
    "postures": postures,
    "stances": stances,
    "allowances": allowances,
    "outline_shapes": outline_shapes,
    "silhouettes": silhouettes,
    "impossible_marks": impossible_marks,
    "explained": explained,
    "qualities": qualities,
    "remarks": remarks,
    "cameras": cameras,
}
