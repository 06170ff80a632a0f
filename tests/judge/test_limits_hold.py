"""Limits and judgements outside priors, shape and tolerances: none moves by a fifth unnoticed.

Where a figure follows from others it is worked out here; the rest is judgement, whose reason
stands beside it in the code.  Whoever means to move one changes its line in `JUDGED`.
"""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np
import pytest
from scipy import stats

from photocheck.body import (
    outline_colours,
    outline_cut,
    outline_frame,
    outline_shapes,
    outline_trust,
    populations,
    posed,
    silhouette,
    stance,
)
from photocheck.judge import (
    budget,
    estimate,
    evidence,
    explain,
    held_out,
    hierarchy,
    impossible_marks,
    learning,
    misnamed,
    outliers,
    standing,
    steps,
    tape_habits,
    typed,
)
from photocheck.photo import at_marks, camera, framing, kind, load, quality
from photocheck.scale import (
    candidates,
    coarse,
    discs,
    edges,
    light,
    marker_plane,
    markers,
    outline_fits,
    pose,
    refining,
    rivals,
    rough_ellipses,
    rough_quads,
    shapes,
    subpixel,
    thresholds,
)

JUDGED: dict[ModuleType, dict[str, Any]] = {
    # how much of a doubt an action leaves
    budget: {"_LEFT_SHARP": 0.15, "_LEFT_SQUARE": 0.25, "_LEFT_FRONT": 0.1,
             "_LEFT_COAT": 0.3},
    estimate: {"LEAST_EVIDENCE": 6.0},
    explain: {"SHOWN_FROM": 0.02, "CANDIDATES": 3},
    # what shops and dogs may differ by, over the shipped spread; and how sure that is
    held_out: {"MOST_FOLDS": 10},
    hierarchy: {"OVERALL_SHARE": 0.2, "BUILD_SHARE": 0.1, "GROUP_SHARE": 0.3, "DOG_SHARE": 0.4,
                "DOG_FREEDOM": 8.0, "GROUP_FREEDOM": 3.0, "BUILD_FREEDOM": 3.0,
                "SHOP_FREEDOM": 3.0, "LEAST_BETWEEN": 0.012},
    # how shops' owners may differ with the tape
    tape_habits: {"SHOP_LOG_SPREAD": {"repeat": 0.5, "led": 0.7, "freedom": 0.7},
                  "CLOSURE_SPREAD": 0.02, "READ_TO": 0.02},
    # how much an order counts of which nobody has heard
    evidence: {"TEACHES": {"fitted": 1.0, "accepted": 0.5}},
    impossible_marks: {"EXCHANGED_ODDS": 0.01, "CROWDED_ODDS": 0.002, "ANYWHERE_ODDS": 0.002,
                       "TOLD_FROM": 0.8, "CROWDED": 0.04, "FURTHER": 1.25, "HAIR": (0.02, 0.02),
                       "MARK": 0.03, "WIDER": 1.15, "TAIL": 12.0},
    learning: {"LEAST_ORDERS": 5, "LEAST_KEPT": 0.5, "CLEARLY": 2.0,
               "WORTH": 0.05, "OUTLYING": 3.5, "SCREEN_SHIFT": 0.05},
    outliers: {"NOISE_PRIOR_FREEDOM": 10.0, "ALIKE": 0.9, "PHOTO_LIMIT": 3.5},
    standing: {"PHONE_TILT_DEG": 3.0, "PLUMB_DEG": 2.5},
    steps: {"ERROR_SIZES": (0.08, 0.12, 0.18, 0.25, 0.35, 0.5), "LEAST_GAIN": 0.02, "NEARLY": 0.9},
    typed: {"NEIGHBOUR_SHARE": 0.6, "ACROSS_THE_POINT": 0.5, "UNEVEN": 0.1, "FINER": 0.01},
    # how far a dog reaches beyond its marks, over its trunk
    outline_frame: {"SMALL_PX": 240, "AHEAD": 0.75, "BEHIND": 0.6, "ABOVE": 0.75, "BELOW": 1.05,
                    "BELOW_FEET": 0.08},
    # the outline: settled on photographs of horses, see outline_trust
    outline_colours: {"DOG_COLOURS": 6, "GROUND_COLOURS": 10, "PLACE": 5.0, "NEW_ON_DOG": 0.1,
                      "NEW_ON_GROUND": 0.02, "MOST": 4.0},
    outline_cut: {"SPEAKS": 0.4, "FREE": 0.05},
    outline_shapes: {"SHAPES": 240, "OFF_SIDE": 0.8, "EVEN": 0.3, "TEMPER": 0.02},
    outline_trust: {"NO_CONTRAST": 0.3, "CONTRAST": 0.7, "UNDECIDED": 0.06, "PART": 0.3,
                    "MARKS": 0.6},
    populations: {"DOGS": 3000},
    posed: {"FOOT_ASIDE": 0.09, "RIB_ASIDE": 0.15, "SHORTEST_LEG": 0.45, "ANY_ARCH": 0.06},
    silhouette: {"ROUNDS": 3, "SHAPE_SPEAKS": 0.7, "UNSURE": 0.06, "UNSURE_LATER": 0.03,
                 "EDGE_PX": 2.0, "HOLE": 0.004, "TRUSTED": 0.6},
    stance: {"ACCUSED": 0.05, "TILT_DEG": 2.5, "GROUND_SPREAD_MM": 8.0},
    at_marks: {"EDGE_SHARE": 0.5},
    camera: {"FOCAL_LIMITS_MM": (8.0, 1000.0), "SENSOR_LIMITS_MM": (2.5, 80.0),
             "MAIN_CAMERA_35MM": 26.0, "ZOOM_UNCLEAR": 0.2},
    framing: {"COARSE_PX_PER_CM": 4.0, "PLACED_PX": 1.5, "SMALL_DOUBT": 0.02, "CORNER_PX": 1.0,
              "FAR_DOUBT": 0.025, "OBLIQUE_DOUBT": 0.02, "RIM": 0.004},
    kind: {"MAX_BYTES": 60_000_000},
    load: {"MAX_PIXELS": 80_000_000, "MAX_SIDE_PX": 30_000, "MIN_SIDE_PX": 100},
    quality: {"BLURRED": 0.85, "FLAT": 4.0, "CLIPPED": 0.5},
    # what counts as an edge, a side or an outline: settled on simulated photos
    candidates: {"_WINDOW_PX": 320, "_FIRST_HALF": 0.3, "_GROWTH": 1.7, "BORDER_PX": 8,
                 "_AS_IT_IS": 1.05, "_HALVED_FROM": 4.0, "_LEAST_HALVED": 16,
                 "_FILL_TOLERANCES": (5, 9, 15, 24),
                 "_UNPRINTED_TOLERANCES": (8, 18), "_PRINT_PX": 9, "_EDGE_LEVELS": (25.0, 60.0)},
    coarse: {"_SHEET_WINDOW_PX": 420, "_EACH": 12, "_MOST_FITTED": {"id_card": 34},
             "_MOST_SHEETS_FITTED": 26, "_BLOCKS": 18,
             "_GROWTH": 1.7, "_PASSES": 2, "_BOWED_SEEN": 0.35,
             "_REACH_PX": 3.0, "_BOW_MOST": 0.02, "_BOWED_GAIN": 0.05, "_STRAIGHT": 0.8,
             "_LEAST_SEEN": 0.3, "TRIM_MM": 6.0},
    discs: {"_ROUND_WITHIN": 0.04, "_LEAST_SUPPORT": 0.58, "_SMALL_BALL_PX": 90.0,
            "_SMALL_BALL_SPREAD": 0.06, "_EDGE_SPREAD": {"disc": 0.015, "ball": 0.0},
            "_WRAPPED": 0.5, "_WRAP_LEAST": 1.06, "_BETTER": 0.6, "_TOUCHING": 0.97},
    outline_fits: {"_RAYS": 120, "_POINTS": 48, "_ON_OUTLINE_PX": 0.8, "_FINE_HALF_PX": 130.0,
                   "_GROW_MOST": 1.7, "_GROW_SEEN": 0.4},
    edges: {"_LEAST_SUPPORT": 0.45, "_LEAST_SURE": 0.5, "_LEAST_ANY": 0.7,
            "_MOST_UNSURE": 0.03, "_MOST_RIVALS": 0.3, "_MOST_RIVAL_SHEETS": 0.15,
            "_FAR_OFF_PX": 36.0, "_UNSEEN_PX": 10.0,
            "_STRANGE_SHARE": 0.3,
            "_TURNED": np.deg2rad(15.0), "_LESS_TURNED": np.deg2rad(5.0)},
    light: {"STEP_PX": 0.5, "LEAST_STEP_LIGHT": 0.01},
    marker_plane: {"_SPREAD_FLOOR_PX": 0.1},
    markers: {"_LEAST_MODULE_PX": 2.5, "_BAR_SPREAD_MM": 0.5, "_BAR_LIMITS_MM": (100.0, 200.0)},
    pose: {"SAME_TILT": 0.01, "HOPELESS": 12.0, "MOST_TILT": 1.0},
    refining: {"_REACH_PX": 2.0, "_STIFF_REACH_PX": 1.0, "_CLOSELY_PX": 2.5,
               "_FINE_PX": 1000.0, "_FAINT_PX": 3.5, "_UNSEEN_BOW": 0.012, "_PIECE": 0.3,
               "_WHOLE_SEEN": 0.8, "_PIECE_SEEN": 0.55},
    rivals: {"RIVAL_FROM": 0.1, "_WRAP_MOST": 3.0},
    rough_quads: {"_GROWN_FROM": 4, "_GROW_MOST": 0.9},
    shapes: {"_USUAL_FOCAL": 0.9, "_FOCAL_SPREAD": 0.5, "_CENTRE_SPREAD": 0.06},
    rough_ellipses: {"LEAST_RATIO": {"disc": 0.45, "ball": 0.8}},
    subpixel: {"_NEAR_ENOUGH_PX": 1.0, "_ON_LINE_PX": 1.0, "_COARSE_TRIES": 10,
               "_COARSE_ROWS": 96},
    thresholds: {"LEAST_ACROSS_PX": 20.0, "HAND_SPREAD_PX": 4.0, "FLOOR_PX": 0.15,
                 "LEAST_CONTRAST": 0.03, "FLAT_MM": {"id_card": 0.2}, "PAPER_FLAT_MM": 1.0},
}  # fmt: skip


@pytest.mark.parametrize(
    ("module", "name"), [(module, name) for module, named in JUDGED.items() for name in named]
)
def test_a_limit_is_not_moved_by_a_fifth_unnoticed(module: ModuleType, name: str) -> None:
    assert getattr(module, name) == pytest.approx(JUDGED[module][name], rel=0.2)


def test_what_actions_leave_where_that_can_be_worked_out() -> None:
    """Variances: half a millimetre of the 150 mm bar against 1 %; two chest marks 5.5 mm off per
    axis against a tenth of a depth of 240 mm; EXIF's 3 % against a main camera's 14 %."""
    bar = (100.0 * 0.5 / 150.0) ** 2
    assert pytest.approx(bar, rel=0.05) == budget._LEFT_SIZE
    chest = (np.sqrt(2.0) * 5.5 / 240.0 / 0.10) ** 2
    assert pytest.approx(chest, rel=0.2) == budget._LEFT_CHEST
    assert pytest.approx((0.03 / 0.14) ** 2, rel=0.2) == budget._LEFT_FOCAL


def test_a_mark_is_called_amiss_once_in_two_thousand() -> None:
    """Chi-square with two degrees of freedom: the standard table."""
    assert pytest.approx(stats.chi2.isf(1.0 / 2000.0, 2), abs=0.05) == outliers.MARK_LIMIT


def test_four_of_five_postures_are_found_from_where_they_are_called_checkable() -> None:
    """A normal score moved by so much passes the one-sided 5 % limit in four of five."""
    assert stats.norm.sf(stats.norm.isf(0.05) - stance.TELLS) == pytest.approx(0.8, abs=0.02)
    assert pytest.approx(np.log(2.0), rel=0.02) == stance.ALSO  # half as likely


def test_a_wide_lens_is_19_mm_over_a_frame_of_36() -> None:
    assert pytest.approx(19.0 / 36.0, rel=0.06) == discs._SHORT_FOCAL


def test_prints_fitted_to_a_page_are_3_to_6_per_cent_small() -> None:
    factor, spread = misnamed.FITTED_PRINT
    assert factor == pytest.approx((0.94 + 0.97) / 2.0, abs=0.005)
    assert spread == pytest.approx(0.015, rel=0.35)  # the range as one to two deviations


def test_what_tapes_show_and_people_round_to() -> None:
    assert pytest.approx({"cm": 1.0, "in": 25.4 / 16.0}) == typed.TAPE_MM
    assert pytest.approx({"cm": 5.0, "in": 25.4 / 4.0}) == typed.EVEN_MM
    assert typed._TAPE_PARTS == (2, 4, 8, 16)
