"""The measured bodies: complete, physically possible, and split without overlap."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from photocheck.benchmark.body_study import (
    ERRORS,
    KINDS,
    PAIRS,
    RATIOS,
    Body,
    bodies,
    by_maker,
    correlation,
    figure_of,
    groups,
    report,
    spread,
    within_makers,
)
from photocheck.body.sections import half_superellipse
from photocheck.body.shape import FLANK_WIDTH_OVER_CHEST, TRUNK_WIDTH_OVER_DEPTH
from photocheck.words import LANDMARKS

EVERY = pytest.mark.parametrize("body", bodies(), ids=lambda b: f"{b.package}-{b.name}")
# Bodies whose judging is elsewhere: no figure of theirs may be looked at here.
RESERVED = ("doberman", "beagle", "corgi", "shepherd", "bloodhound")


def test_as_many_bodies_and_makers_as_the_study_says() -> None:
    assert len(bodies()) >= 25
    assert len(by_maker()) >= 8
    assert sum(body.kind != "other" for body in bodies()) >= 10
    assert len({(b.package, b.name) for b in bodies()}) == len(bodies())


def test_makers_and_kinds_are_disjoint_and_leave_nobody_out() -> None:
    shared = [body for among in by_maker().values() for body in among]
    assert len(shared) == len(set(map(id, shared))) == len(bodies())
    named = groups()
    assert not {id(b) for b in named["others"]} & {id(b) for b in named["dogs and dog-likes"]}
    assert len(named["others"]) + len(named["dogs and dog-likes"]) == len(bodies())


@EVERY
def test_where_it_comes_from_is_told(body: Body) -> None:
    assert body.package
    assert body.version
    assert body.licence
    assert body.maker
    assert body.kind in KINDS
    assert not any(name in body.name.lower() for name in RESERVED)


@EVERY
def test_figures_are_physically_possible(body: Body) -> None:
    """A closed convex curve is longer than twice its chord and than its width twice, and
    shorter than the rectangle round it; a string is at least as long as its chord."""
    chord_twice, round_box = 2.0, 2.0 * (1.0 + body.neck_width_over_chord)
    assert max(chord_twice, 2.0 * body.neck_width_over_chord) < 2.0 * body.half_neck_over_chord
    assert 2.0 * body.half_neck_over_chord < round_box
    assert 0.3 < body.neck_width_over_chord < 1.5
    assert 0.3 < body.trunk_width_over_depth < 1.5
    assert 0.4 < body.flank_width_over_chest < 1.5
    assert 2.0 < body.girth_over_depth < 2.0 * (1.0 + body.trunk_width_over_depth)
    assert body.rear_over_chord > 1.0
    assert body.rear_surplus > 0.95
    if body.front_over_chord is not None:
        assert body.front_surplus is not None
        assert body.front_over_chord > body.front_surplus > 1.0
    else:
        assert body.remark


@EVERY
def test_the_exponent_is_that_of_the_section(body: Body) -> None:
    one = np.array(1.0)
    width, exponent = np.array(body.neck_width_over_chord), np.array(body.neck_exponent)
    half = float(half_superellipse(one, width, exponent))
    assert half == pytest.approx(body.half_neck_over_chord, abs=2e-3)


@EVERY
def test_landmarks_stand_as_on_a_quadruped(body: Body) -> None:
    at = body.landmarks
    assert set(LANDMARKS) <= set(at)
    assert at["breastbone"][0] < at["shoulder_top"][0] < at["last_rib"][0] < at["tail_base"][0]
    assert at["chest_bottom"][1] < at["last_rib"][1] < at["back_top"][1]
    assert at["breastbone"][1] < at["shoulder_top"][1]
    straight = np.hypot(*np.subtract(at["tail_base"], at["breastbone"]))
    depth = at["back_top"][1] - at["chest_bottom"][1]
    # Landmarks are kept to the millimetre.
    assert depth / straight == pytest.approx(body.chest_depth_over_straight, abs=0.004)


def test_errors_follow_the_model() -> None:
    """A body as long on the tape as the model says has no error, one 10 % longer ln 1.1."""
    husky = next(body for body in bodies() if body.name == "husky")
    error = figure_of(husky, "half_neck_error")
    assert error is not None
    as_said = husky.half_neck_over_chord * np.exp(-error)
    assert figure_of(replace(husky, half_neck_over_chord=as_said), "half_neck_error") == (
        pytest.approx(0.0, abs=1e-9)
    )
    longer = replace(husky, half_neck_over_chord=1.1 * as_said)
    assert figure_of(longer, "half_neck_error") == pytest.approx(np.log(1.1))
    with_width = replace(
        husky,
        trunk_width_over_depth=TRUNK_WIDTH_OVER_DEPTH["unknown"].median,
        flank_width_over_chest=FLANK_WIDTH_OVER_CHEST.median,
    )
    assert figure_of(with_width, "rear_error_widths_known") == pytest.approx(
        figure_of(with_width, "rear_error_marked"), abs=1e-9
    ), "the shipped medians"


@pytest.mark.parametrize("figure", [*RATIOS, *ERRORS])
def test_every_figure_has_a_spread(figure: str) -> None:
    for among in groups().values():
        found = spread(among, figure)
        assert found.count >= 5
        assert 0.0 < found.log_sd < 0.5
    assert 0.0 < within_makers(figure) < 0.5


def test_spread_and_correlation_by_hand() -> None:
    """Against NumPy's own on a figure that every body has."""
    dogs = groups()["dogs"]
    widths = np.array([dog.neck_width_over_chord for dog in dogs])
    trunks = np.array([dog.trunk_width_over_depth for dog in dogs])
    found = spread(dogs, "neck_width_over_chord")
    assert found.median == pytest.approx(np.median(widths))
    assert found.log_sd == pytest.approx(np.log(widths).std(ddof=1))
    r, count = correlation(dogs, *PAIRS[0])
    assert count == len(dogs)
    assert r == pytest.approx(np.corrcoef(np.log(widths), np.log(trunks))[0, 1])


def test_the_report_is_whole() -> None:
    printed = report()
    assert f"{len(bodies())} bodies" in printed
    assert "nan" not in printed
    for maker in by_maker():
        assert f"| {maker} |" in printed
