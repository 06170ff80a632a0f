"""Limits of finding tags, of files and of marks: none moves by a fifth unnoticed.

What `tests/judge/test_limits_hold.py` is for the rest.  Each is judgement or was settled on
simulated photos; its reason stands beside it in the code, and whoever means to move one changes
its line here as well.
"""

from __future__ import annotations

import re
from types import ModuleType
from typing import Any

import pytest
from PIL import ExifTags

import photocheck.body
import photocheck.judge
import photocheck.photo
import photocheck.scale
from photocheck.body import (
    heights,
    outline_colours,
    outline_cut,
    outline_shapes,
    populations,
    posed,
    silhouette,
    stance,
)
from photocheck.body.stance_figures import FigurePlan
from photocheck.judge import (
    budget,
    expected_marks,
    explanations,
    framed,
    held_out,
    hierarchy,
    impossible_marks,
    limits,
    marks_told,
    outliers,
    repeats,
    steps,
    tag_sizes,
    tagged,
    widths,
)
from photocheck.photo import (
    bars,
    blur,
    camera,
    clean,
    earlier_grid,
    framing,
    kind,
    load,
    preview,
    quality,
    traces,
    whole,
)
from photocheck.propose import heat_places, looks, network, proposing, weights_facts
from photocheck.scale import (
    bent,
    beside,
    beyond,
    candidates,
    catalogue,
    closer,
    corner_marks,
    discs,
    edges,
    kinds,
    marker_detection,
    outline_fits,
    pose,
    rivals,
    robust_lines,
    rough_ellipses,
    rough_quads,
    sheet,
    sides,
    tag_detection,
    tag_fit,
    tag_place,
    tag_print,
    tag_reading,
    tags,
    tips,
    unaided,
    unaided_rounds,
)
from photocheck.scale.catalogue import ReferenceObject
from tests.support.figures_held import figures_in
from tests.support.places import ROOT

JUDGED: dict[ModuleType, dict[str, Any]] = {
    heights: {"OFF_STANDARD": 0.06, "PUPPY_MONTHS": 18},
    outline_colours: {"LEARNT_FROM": 3000, "SPREAD": (3.0, 2.0, 2.0, 4.0, 4.0)},
    outline_cut: {"STEP": 0.35},
    outline_shapes: {"COARSE_PX": 120, "_FINE": 4, "_UNIT": 16},
    populations: {"SIZES": 6, "LEAST_ODDS": -1.386294, "CENTRAL": (0.05, 0.5, 0.95), "STEP": 1.12,
        "UNSEEN": -1e6},
    posed: {"HAIR_HIDES": 0.4, "HAIR_HANGS": 0.4, "EYE_HEIGHT": (1.6, 0.5),
        "DISTANCE": (4.5, 0.5)},
    silhouette: {"STEPS": 160, "BEYOND": 0.01, "BLUR": 0.02, "BESIDE": 8.0},
    stance: {"UNKNOWN_COAT": (14.0, 14.0)},
    budget: {"_LEFT_FRAMING": 0.02},
    expected_marks: {"ROOM": 1.5},
    explanations: {"PER_FIELD": 0.01},
    framed: {"FILE_LIMIT": 3.5, "EVENLY": 0.5},
    held_out: {"DIGITS": 6},
    hierarchy: {"STEPS": 200, "STEADY": 0.0001},
    impossible_marks: {"HAND_MM": 110.0, "RIGHTED_FROM": 0.9, "TURN": 0.20944, "LEAN": 0.10472},
    limits: {"DRAWS": 20_000},
    marks_told: {"SPOT": 0.06},
    outliers: {"LEAST_TOLD": 0.02},
    steps: {"TAPE_WORK": 1, "LEAST_OFFERED": 0.1},
    tag_sizes: {"_LIMIT": 4.0, "_NEAR": 0.12, "_NOWHERE_MM": 1000.0, "_UNKNOWN": 10.0,
        "_FEWEST": 3, "_TELLS_APART": 9.0},
    tagged: {"_PATCH_MM": 5.0},
    widths: {"WIDTH_LIMIT": 3.5},
    bars: {"OF_A_ROW": 0.7, "NO_LONGER": 0.4, "SAME": 2, "LEAST": 0.012, "_COLUMNS": 400},
    blur: {"EDGES": 6},
    camera: {"SENSOR_UNCLEAR": 0.3},
    earlier_grid: {"SIDE_PX": 768, "CLIP": 12.0, "LEAST_SUM": 32.0, "LEAST_LEAD": 1.4,
        "LEAST_LEAD_OF_MIRROR": 1.7, "_LITTLE": 5.0, "_FEWEST": 300},
    framing: {"FAR_FROM_CHEST": 0.04},
    kind: {"MOST_FILL_BYTES": 64, "MOST_SEGMENTS": 2000, "MOST_SCANS": 100},
    load: {"_BAND_ROWS": 256, "_MOST_PREVIEW_PX": 640},
    preview: {"LEAST_ALIKE": 0.9, "MOST_SHARE": 0.94, "LEAST_SHARE": 0.25, "_STEPS": 40,
        "_DARK": 20, "_LEAST_SIDE": 60},
    traces: {"SURE": 0.99, "OVERWRITTEN": 0.3, "SHOWN_WHOLE": 0.15},
    whole: {"NAMED_FROM": 0.5, "WEIGHED_FROM": 0.01, "SHAPE_SLACK": 0.012,
        "CAMERA_SHAPES": (1.333333, 1.5), "FULL_SCREEN": (1.95, 2.36), "PANORAMA": 2.4,
        "NATIVE_PIXELS": 4900000.0, "OLD_NATIVE_PIXELS": 1900000.0, "SMALL_COPY_PX": 700,
        "CUT_FRAME": 0.97, "NOT_NATIVE": 0.6, "ODD_SHAPE": 0.95, "EDITED_SHAPE": 0.8,
        "SCREEN_SHAPE": 0.2, "IN_CAMERA_OR_CUT": 0.15, "MADE_SMALLER": 0.1, "_LONGEST_NOTE": 600,
        "_FARTHEST": 1000000.0},
    heat_places: {"CELLS": 128, "WIDE": 1.5, "ABOUT": 0.08, "SURE": 0.05},
    looks: {"GREY": (124, 116, 104), "ROOM": 1.15, "MORE_ROOM": 1.45, "LEAST": 0.05},
    network: {"MOST_BYTES": 64_000_000},
    proposing: {"SURELY_NONE": 0.9, "TRUNK": 0.6},
    weights_facts: {"SIDE_ON_FROM": 0.5},
    bent: {"LEAST_RATIO_OF_THREE": 25.0, "LEAST_MM": 0.6, "CREASED_MM": 0.4,
        "_CREASED_CORNERS": 6, "_LEAST_CORNERS": {4: 14, 3: 11}, "MOST_MM": 60.0,
        "LEAST_MODULE_PX": 7.0, "MOST_OF_SIDE": 0.25},
    beside: {"_REACH_MM": 4.0, "_LEAST_PX": 2.5, "_AS_STEEP": 0.4, "_SHADE": (0.1, 0.92),
        "_SAME_COLOUR": (1.25, 2.0), "_BLOCKS": 24, "_SHARE": 0.5},
    beyond: {"_DOUBT_FROM": 0.42, "_SHARE": 0.5, "_LOOK_FROM": 0.3, "_ALL_FROM": 0.2,
        "_ALONE_FROM": 0.45, "_PARTS": 16, "_FROM_PX": 4.0, "_STEP_PX": 2.0, "_STEPS": 40,
        "_MOST": 0.6, "_TURNS": (0, -1, 1, -2, 2), "_BENDS": (0, -1, 1)},
    candidates: {"_GROWN_MOST": 0.4},
    closer: {"_MOST": 4, "_ROOM": 0.3, "_AGAIN": 6, "_SAME_PX": 1.2, "_PLAIN": 4.0,
        "_LIGHTER": 5.0, "BIAS": (-10.94, -13.41)},
    corner_marks: {"CARD_CORNER_MM": 3.18, "_END_MM": 5.0, "_BESIDE_PX": (-1.0, 0.0, 1.0)},
    discs: {"_MOST_TRIED": 16},
    edges: {"_FOUND_PX": 0.6, "_LEAST_ANY": 0.7, "_HARDLY_ANY": 0.85, "_ELSEWHERE": 0.4},
    kinds: {"_CORNER_MM": 1.317199, "_CORNER_SPREAD_MM": 0.4, "_CORNER_SPREAD_PX": 0.7,
        "_USUAL_TILT": 0.3, "_OUTER": 3.0, "_MOST_MISFIT": 25.0, "_DISTANCE_MM": 2300.0,
        "_DISTANCE_SPREAD": 0.6, "_RARE_PAPER": 6.802395},
    marker_detection: {"_GLANCE_SIDE": 1100, "_SMALL_SIDE": 1400},
    quality: {"_ROUNDED": 1e-9},
    outline_fits: {"_TURNS": 72, "_GROW_LEAST": 1.03, "_LEAST_CODES": 2.0,
        "_RINGS": 3, "_ONE_RING": 4},
    rivals: {"_FLAT": 0.005, "_BENT": 0.007, "_SIZE": 9, "BIAS": -2.71},
    robust_lines: {"_PAIRS": 100},
    rough_ellipses: {"_VOTERS": 3000, "_LEAST_SLOPE": 3.0, "_CENTRES": 10, "_RADIUS_STEP_PX": 2.0,
        "_LEAST_ROUND": 0.35},
    rough_quads: {"MOST_OBLIQUE": 1.082104, "_ROUGH_PX": 2.0, "_ROUGH_SHARE": 0.03,
        "_ROUGH_MISFIT": 12.0},
    sides: {"_LEAST_ROW_PX": 2.0},
    tag_detection: {"_LARGEST": 4200, "_SMALLEST": 500, "_STEP": 60, "_AROUND": 14,
        "_THOROUGH": 0.15, "_SMALL_PLACE": 160, "_LEAST_SIDE_PX": 13.0, "_LEAST_LIKENESS": 0.6,
        "_CLEAR": 110, "_MANY": 0.02, "_APART_SIDES": 27.0, "_SMALLER": 0.7, "_LARGER": 1.5},
    tag_fit: {"_INK": 0.06, "_GAIN_CELLS": 1.1, "_BEND": 0.01, "_LEAST_TILT": 0.15,
        "_LEAST_NOISE": 0.01, "_FEW_DARK": 8.0, "_STILL_PX": 0.03, "_GROWTH_PX": 0.15,
        "_FIRST": (0.5, 0.3), "_THEN": (0.1, 0.0, 0.0, 0.0, 0.0, 0.0), "_BLUR_SPREAD": 0.15},
    tag_place: {"USUAL_FOCAL": 0.78, "_DRAWS": 64},
    tag_print: {"_FINE": 12, "_BELOW": 6.5, "_RIM": 0.3, "_INNER": 2.4, "_DARK": 0.15},
    tag_reading: {"_WRONG": 0.4, "_MOST_DATA": 1, "_MOST_BORDER": 7, "_MOST_RING": 10,
        "_LEAST_GOOD": 0.55, "_MOST_UNEVEN": 0.2, "_MOST_WEDGE": 0.25, "_MOST_INK": 0.5},
    tags: {"_LEAST_CELL_PX": 2.5, "_FLATTEST": 0.3, "_OFTEN": 2.0, "_COVERED_RING": 5,
        "_OTHERS_LIKENESS": 0.9, "_MOST_OTHERS": 8, "_ONE_SET": 1.6,
        "_NOT_FLAT_MM": {"standing": 0.25, "lying": 0.45},
        "_SCALE_FLOOR": {"standing": 0.004, "lying": 0.007}},
    tips: {"BEYOND": 13.8},
    unaided: {"_CLOSE": 3, "_EDGES": (20.0, 45.0), "_FIRST_SURE": 0.25, "_FULL": 0.8,
        "_MOST_RIVALS": 0.15, "_MOST_UNSURE": 0.03, "_LARGER": 1.25, "_LEVELS_PX": (1600, 640),
        "_MOST_LEFT": 6.0, "_MOST_ODD": 2.5, "_MOST_TILTED": 0.872665, "_MOST_TURNED": 0.610865,
        "_PLACES": 10, "_ROUGH_MISFIT": 12.0},
    unaided_rounds: {"_SIDE_PX": 1600, "_LEAST_HALF_PX": 6.0, "_MOST_HALF": 0.16, "_FULL": 0.9,
        "_RAGGED": 2.0, "_LEAST_EDGE": 0.5, "_PLACES": 8, "_FIRST_SUPPORT": 0.7, "_CLOSE": 3,
        "_AROUND": (2.6, 8.0), "_LEAST_SUPPORT": 0.8, "_LEAST_CONTRAST": 0.15,
        "_MOST_SCATTER": 0.005, "_LEAST_HALF_FOUND_PX": 16.0, "_BALL_LIKE": 0.93, "_PART": 0.8,
        "_ALIKE": 2.5, "_NEAR": 6.0, "_MOST_ROUND": 2},
    pose: {"POSE_STEP": 1e-6},
    sheet: {"LABEL_PT": 6.5, "_BAR_THICK": 3.0, "_BAR_TOP": -9.0, "_TEXT_PT": 7.4,
        "_TEXT_ROOM": 158.0, "_TEXT_STEP": 3.25, "_UPRIGHT_AT": 81.0,
        "_UPRIGHT_MM": {"a4": 50.0, "letter": 50.8}},
}  # fmt: skip


@pytest.mark.parametrize("module", JUDGED, ids=lambda module: str(module.__name__))
def test_figures_of_a_module_are_not_moved_by_a_fifth_unnoticed(module: ModuleType) -> None:
    for name, held in JUDGED[module].items():
        assert getattr(module, name) == pytest.approx(held, rel=0.2), name


def test_figures_that_are_counts_or_agreed_stand_as_they_are() -> None:
    assert clean.QUALITIES == ((95, 0), (85, 2), (70, 2))
    assert unaided._LOCAL == ((25, 6), (61, 8))
    assert catalogue.CM_PER_INCH == 2.54  # the yard of 1959
    assert whole.AS_SAVED == 0.0
    low = ((0, 1), (1, 0), (1, 1), (0, 2), (2, 0), (1, 2), (2, 1), (2, 2), (0, 3))
    assert low == earlier_grid.FREQUENCIES
    assert len(b"Exif\0\0") == load._TIFF_BEGINS
    assert load._JPEG_BYTES == 12
    assert tagged.TAG_SIZE == ("size", ("dog_tags", 1.0, None))
    assert repeats.SUMS == {
        "half_neck": (("neck_ring", 0.5),),
        "neck_ring": (("half_neck", 2.0),),
        "front_length": (("full_length", 1.0), ("rear_length", -1.0)),
        "rear_length": (("full_length", 1.0), ("front_length", -1.0)),
        "full_length": (("front_length", 1.0), ("rear_length", 1.0)),
    }


def test_numbers_of_exif_are_those_that_pillow_has() -> None:
    base, directories = ExifTags.Base, ExifTags.IFD
    assert base.FocalLength == camera._FOCAL_LENGTH
    assert directories.Exif == clean._EXIF_DIRECTORY
    assert base.Orientation == whole._ORIENTATION
    assert base.UserComment == whole.USER_COMMENT
    assert load._PREVIEW_DIRECTORY == directories.IFD1
    assert set(camera._NUMBERS_READ) == {
        base.FocalLength,
        base.FocalLengthIn35mmFilm,
        base.DigitalZoomRatio,
        base.FocalPlaneXResolution,
        base.FocalPlaneYResolution,
        base.FocalPlaneResolutionUnit,
        base.ExifImageWidth,
        base.ExifImageHeight,
    }


TABLES = {
    "catalogue._ALL": "REFERENCES by another key",
    "stance_figures._FIGURES": "the plans themselves, held by what postures move",
}

ROOMS = (photocheck.photo, photocheck.scale, photocheck.body, photocheck.judge)


@pytest.mark.parametrize("room", ROOMS, ids=lambda room: str(room.__name__))
def test_every_figure_is_named_by_a_test(room: ModuleType) -> None:
    """A new one needs its line in `JUDGED`, or better a test that says what it must be."""
    said = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "tests").rglob("*.py"))
    words = set(re.findall(r"\w+", said))
    lone = {
        f"{module}.{name}"
        for module, figures in figures_in(room).items()
        for name, value in figures.items()
        if name not in words and not isinstance(value, (FigurePlan, ReferenceObject))
    }
    assert lone <= TABLES.keys()
