"""What is read, believed and said on the way, held still: `steps` for words, readings and doubt."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from itertools import product
from typing import Any

import numpy as np

from photocheck.body import shape
from photocheck.body.trunk import build_trunk, girth, log_spans, weight
from photocheck.case.lengths import format_length, parse_length, parse_reading, parse_weight
from photocheck.case.model import DogFacts, Marking, Reading, Reference
from photocheck.errors import CaseError
from photocheck.judge import typed, wording
from photocheck.judge.estimate import Estimate, estimate
from photocheck.judge.misnamed import known_factors
from photocheck.judge.standing import body_points, upright
from photocheck.report.model import Explanation
from photocheck.scale.pose import View
from photocheck.scale.priors import Offset
from photocheck.scale.sheet import LAYOUT, rulers, sheet_bitmap, white_cells
from photocheck.words import PLACES
from tests.support.judged import marking, square_view

Told = dict[str, Any]

TEXTS = (
    "42", "42 cm", "42,5", "42.5cm", "420 mm", "0.42 m", "1.234", "1,234", "12,345", "16 1/2 in",
    "16-1/2\"", "16½", "16 65/64 in", "16 1/65 in", "16 1/0 in", "16 3/2 in", "1 ft 4 in",
    "1' 4\"", "1 ft 12 in", "1.5 ft 2 in", "1 m 4 cm", "4 cm 1 m", "4 cm 5", "12 13", "-4 cm",
    "\u22124", "+4", "4e2", "4_2", "\u0664\u0662", "\uff14\uff12 cm", "", " ", "cm", "about 42",
    "42 yards", "42..5", ".5 in", "5. in", "1/2", "1/2 m", "42 cm.", "42  cm", "4 2 cm",
    "1\u00a0ft\u202f4\u00a0in", "42 CM", "nan", "inf", "0", "0 cm", "999999", "3 \" 5", "5'",
    "5''", "5' 3''", "42 cm 3 mm", "42 mm 3 cm", "4½ cm", "4 ½ in", "4⅜", "28 kg", "28", "62 lb",
    "62 lb 3 oz", "28000 g", "62 lb 17 oz", "1 st 2 lb", "0.2 kg", "300 kg",
)  # fmt: skip


def refused_or(way: Callable[[], Any]) -> Any:
    try:
        return way()
    except CaseError as error:
        return str(error)


def readings() -> Told:
    """Every text as a length in either unit, as a reading and as a weight."""
    told: Told = {}
    for text in (*TEXTS, 42, 42.5, 0.0, 1e9):
        told[repr(text)] = [
            *(refused_or(partial(parse_length, text, unit)) for unit in ("cm", "in")),
            refused_or(partial(parse_reading, "rear_length", text, "cm")),
            refused_or(partial(parse_reading, "neck_ring", text, "in")),
            refused_or(partial(parse_weight, text, "kg")),
        ]
    for mm, unit in product((0.04, 1.0, 9.96, 123.4, 305.0, 421.64, 1999.9), ("cm", "in")):
        told[f"{mm} {unit}"] = format_length(mm, unit)
    return told


def slips() -> Told:
    """What may have been meant by a typed text, and how likely each is."""
    ways = (typed.swapped_digits, typed.wrong_digit, typed.lost_or_doubled_digit,
            typed.shifted_decimal, typed.misread_fraction)  # fmt: skip
    told: Told = {}
    for text, unit in (("42", "cm"), ("42.5", "cm"), ("4,25", "cm"), ("422", "cm"), ("40.0", "cm"),
                       ("16 1/2", "in"), ("16", "in"), ("16.25 in", "in"), ("1 ft 4 in", "in"),
                       ("16 3/8", "in"), ("9 5/16", "in"), ("33", "cm"), ("7", "cm")):  # fmt: skip
        mm = parse_length(text, unit)[0]
        for way, even in product(ways, (False, True)):
            found = way("rear_length", Reading(mm, text, unit), even)
            some = sorted(((c.text, c.mm, c.weight) for c in found), key=lambda c: -c[2])
            told[f"{text} {unit} {way.__name__} {even}"] = [
                len(some), sum(c[2] for c in some), some[:6]
            ]  # fmt: skip
    return told


def sentences() -> Told:
    """Everything that is said of readings, with numbers of all sizes."""
    told: Told = {}
    for name, verdict, unit in product(
        ("half_neck", "rear_length"), ("agrees", "cannot_tell", "measure_again", "retake"),
        ("cm", "in"),
    ):  # fmt: skip
        for mm in (None, 391.0, 470.0):
            reading = None if mm is None else Reading(mm, f"{mm}", "cm")
            told[f"{name} {verdict} {unit} {mm}"] = wording.reading_sentence(
                name, reading, 421.0, 385.0, 455.0, verdict if reading else "", unit, 0.123
            )
    for unit in ("cm", "in"):
        told[f"sums {unit}"] = [
            *(wording.sum_sentence(420.0, 330.0, 755.0, fits, unit) for fits in (True, False)),
            *(wording.ring_sentence(300.0, 612.0, fits, unit) for fits in (True, False)),
            wording.interval_text(381.2, 444.4, unit),
            wording.between(381.2, 444.4, unit),
        ]
    told["off"] = [wording.percent_off(a, 400.0) for a in (398.1, 300.0, 409.0, 700.0)]
    told["more"] = [
        wording.one_more_photo_sentence({str(k): share for k, share in enumerate(r)})
        for r in ((0.99, 0.8), (0.996, 0.999), (0.5, 0.7, 0.61))
    ]
    told["chance"] = [wording.chance_text(p) for p in (0.004, 0.0101, 0.5, 0.985, 0.9901)]
    told["unchecked"] = [
        wording.unchecked(names)
        for names in ((), ("half_neck",), ("neck_ring", "full_length"), ("front_length",))
    ]
    one = Explanation("wrong_digit", "a digit was mistyped", 0.62, "Said.", "Do.",
                      (("rear_length", "43 cm", 430.0), ("rear_length", "44 cm", 440.0),
                       ("half_neck", "30 cm", 300.0)))  # fmt: skip
    told["explained"] = wording.explanation_sentences((one, one))
    return told


POINTS = {
    "breastbone": (0.0, 0.0),
    "shoulder_top": (150.0, -190.0),
    "last_rib": (380.0, -50.0),
    "tail_base": (620.0, -120.0),
    "back_top": (190.0, -185.0),
    "chest_bottom": (215.0, 85.0),
}
BENDS = {
    "half_neck": ((40.0, -130.0),),
    "front_length": ((90.0, 60.0), (240.0, 70.0)),
    "rear_length": ((500.0, -140.0),),
}


def trunks() -> Told:
    """Tape lengths, girth and weight of dogs of every build, marked a little or fully."""
    told: Told = {}
    rng = np.random.default_rng(6)
    for (few, bent), build, coat in product(
        ((4, False), (6, False), (6, True), (4, True)), ("slim", "unknown"), ("short", "long")
    ):
        points = {k: np.array(v) for k, v in list(POINTS.items())[:few]}
        bends = {k: [np.array(p) for p in v] for k, v in BENDS.items()} if bent else {}
        terms = {name: np.asarray(rng.normal()) for name in shape.TERM_TITLES}
        trunk = build_trunk(points, bends, terms, DogFacts(build=build, coat=coat))
        told[f"{few} {bent} {build} {coat}"] = [
            log_spans(trunk), girth(trunk), weight(trunk), trunk.half_flank, trunk.straight
        ]  # fmt: skip
    return told


def estimates() -> Told:
    """Plain views of one dog, marks more and more amiss: lengths, shares of doubt, what is off."""

    def view(number: int, scale: float = 1.0) -> View:
        where = Offset((1.0, -1.0, 0.0)[number % 3], (60.0, -300.0, 0.0)[number % 3], 40.0)
        return square_view(
            ("a4", "id_card")[number % 2],
            distance=scale * (2100.0 + 300.0 * number),
            offset=where,
            at=(40.0 * number, 250.0),
            focal_known=number != 2,
        )

    def amiss(mm: float, seed: int, **more: Any) -> Marking:
        noise = np.random.default_rng(seed).normal(0.0, 4.0, (4, 2))
        noise[3, 0] += mm
        return marking(2300.0, noise=noise, half_flank=80.0, **more)

    facts = DogFacts(girth_mm=720.0, weight_kg=27.0, coat="medium")
    told: Told = {}

    def put(name: str, found: Estimate) -> None:
        told[name] = [
            found.log_spans,
            np.sqrt(np.diag(found.covariance)),
            {k: v for k, v in found.shares.items() if float(np.max(v)) > 1e-9},
            list(found.outliers),
            [found.half_flank_mm, found.straight_mm, [vars(c) for c in found.cameras]],
        ]

    for mm in (0.0, 22.0, 30.0, 45.0, 120.0):
        put(f"one {mm}", estimate([view(0)], [[amiss(0.0, 1), amiss(mm, 2, by="staff")]], facts))
        three = [amiss(0.0, 1), amiss(mm, 2, by="staff"), amiss(0.0, 3, by="helper")]
        put(f"three {mm}", estimate([view(0)], [three], DogFacts()))
    for factor in (1.0, 1.1, 1.2):
        views = [view(0), view(1, factor), view(2)]
        put(f"photos {factor}", estimate(views, [[amiss(0.0, k)] for k in range(3)], facts))
        put(f"pair {factor}", estimate(views[:2], [[amiss(0.0, k)] for k in range(2)], facts))
    return told


def stood() -> Told:
    """Upright directions by roll and place, and which references are taken for each other."""
    told: Told = {f"{roll} {place}": upright(roll, place)
                  for roll, place in product((-12.0, 0.0, 4.0), PLACES)}  # fmt: skip
    kinds = (("a4",), ("letter",), ("id_card",), ("a4", "id_card"), ("disc",), ("marker_sheet",))
    for names in kinds:
        references = tuple(
            Reference(name, diameter_mm=66.0 if name == "disc" else None) for name in names
        )
        told["/".join(names)] = [list(one) for one in known_factors(references)]
    found = estimate([square_view(offset=Offset(1.0, 60.0, 40.0))], [[marking()]], DogFacts())
    marks = {**marking().marks, "front_foot": (1500.0, 2300.0), "rear_foot": (2500.0, 2300.0)}
    told["points"] = body_points(marks, found.to_pixels[0], found.half_flank_mm)
    return told


def sheet_drawn() -> Told:
    """The marker sheet as drawn: rulers, cells, and the bitmap of each paper."""
    told: Told = {"rulers": np.array(list(rulers())), "cells": np.array(list(white_cells()))}
    told["centres"] = LAYOUT.marker_centres()
    for paper in ("a4", "letter"):
        told[paper] = sheet_bitmap(2.0, paper)
    return told


STEPS: dict[str, Callable[[], Told]] = {
    "readings": readings,
    "slips": slips,
    "sentences": sentences,
    "trunks": trunks,
    "estimates": estimates,
    "stood": stood,
    "sheet_drawn": sheet_drawn,
}
