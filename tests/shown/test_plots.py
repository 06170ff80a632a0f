"""The desk's plots: what is drawn of lengths and doubt, and how it is told."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from photocheck.body.shape import TERM_TITLES
from photocheck.judge.wording import DOUBT_TITLES
from photocheck.report.model import DoubtSource, Report
from photocheck.scale.planes import angles
from photocheck.shown.colours import (
    DARK,
    REST_COLOUR,
    SOURCE_COLOURS,
    WHITE,
    contrast,
    source_colour,
)
from photocheck.shown.doubt_bars import doubt_bars
from photocheck.shown.spans_plot import seen_from, spans_plot
from tests.support.made_report import made_report


def test_every_source_of_doubt_has_a_colour_of_its_own() -> None:
    """CIEDE2000 by scikit-image; 17 is far above what is told apart side by side (2.3 in CIE76:
    Mahy, Van Eycken and Oosterlinck, Color Research and Application 19, 1994; from memory)."""
    assert set(SOURCE_COLOURS) == {*DOUBT_TITLES, *TERM_TITLES}
    lab = rgb2lab(np.array([[*SOURCE_COLOURS.values(), REST_COLOUR]]) / 255)[0]
    assert min(deltaE_ciede2000(a, b) for a, b in combinations(lab, 2)) > 10


@pytest.mark.parametrize("source", SOURCE_COLOURS)
def test_the_share_of_a_source_is_read_on_its_colour(source: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5 : 1."""
    assert max(contrast(ink, source_colour(source)) for ink in (DARK, WHITE)) >= 4.5


def budget(*sources: str) -> Report:
    report = made_report()
    shares = {span.span: 1 / len(sources) for span in report.spans}
    told = tuple(DoubtSource(source, source, shares, "") for source in sources)
    return replace(report, budget=told)


def test_a_source_keeps_its_colour_wherever_it_stands() -> None:
    first, second = doubt_bars(budget("marks", "offset")), doubt_bars(budget("offset", "marks"))
    by_title = [dict(zip(bars.titles, bars.colours, strict=True)) for bars in (first, second)]
    assert by_title[0] == by_title[1]
    assert by_title[0]["marks"] != by_title[0]["offset"]
    assert doubt_bars(budget("of an older version")).colours == (REST_COLOUR,)


def with_reading(report: Report, number: int, ratio: float, verdict: str) -> Report:
    spans = list(report.spans)
    spans[number] = replace(
        spans[number], reading_mm=ratio * spans[number].photo_mm, verdict=verdict
    )
    return replace(report, spans=tuple(spans))


def test_a_reading_beside_its_bar_that_is_not_in_doubt_is_explained() -> None:
    inside = spans_plot(with_reading(made_report(), 0, 1.05, "agrees"))
    assert not inside.rows[0].beside
    assert "beside its bar" not in inside.key
    for ratio in (0.88, 1.12):  # the bar ends at 1.96 times 4.5 %
        beside = spans_plot(with_reading(made_report(), 0, ratio, "agrees"))
        assert beside.rows[0].beside
        assert "beside its bar" in beside.key
    assert not spans_plot(with_reading(made_report(), 0, 1.12, "measure_again")).rows[0].beside


def test_a_short_and_a_long_span_have_bars_of_one_width() -> None:
    """All have the same spread here, 4.5 %, on lengths of 338 to 866 mm."""
    rows = spans_plot(made_report()).rows
    widths = [row.high - row.low for row in rows]
    assert max(widths) == pytest.approx(min(widths))
    assert max(widths) > 0.25


def looking(right: float, down: float) -> tuple[float, float]:
    """Yaw and pitch, degrees, of a camera that looks so far to its right and down.

    By the rows of its rotation: its own right, down and forward, in a world that has x to the
    right, y down and z away from it; with no other part of photocheck.
    """
    forward = np.array([np.tan(np.radians(right)), np.tan(np.radians(down)), 1.0])
    forward /= np.linalg.norm(forward)
    side = np.cross([0.0, 1.0, 0.0], forward)
    side /= np.linalg.norm(side)
    yaw, pitch, _ = angles(np.stack([side, np.cross(forward, side), forward]))
    return float(np.degrees(yaw)), float(np.degrees(pitch))


@pytest.mark.parametrize(
    ("right", "down", "said"),
    [
        (0.0, 12.0, "12\N{DEGREE SIGN} down"),
        (0.0, -12.0, "12\N{DEGREE SIGN} up"),
        (9.0, 0.0, "9\N{DEGREE SIGN} to its right"),
        (-9.0, 0.0, "9\N{DEGREE SIGN} to its left"),
    ],
)
def test_where_the_camera_looked_keeps_its_sign(right: float, down: float, said: str) -> None:
    yaw, pitch = looking(right, down)
    photo = replace(made_report().photos[0], yaw_deg=yaw, pitch_deg=pitch)
    assert said in seen_from(photo)
