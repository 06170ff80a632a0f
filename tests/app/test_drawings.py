"""The drawings: one dog's build for all of them, nothing unstyled, readable on any ground."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import pytest

import photocheck_app
from photocheck.body.standards import PROPORTIONS
from photocheck.words import FRONT_PLACES, LANDMARKS, PLACES, SPAN_ENDS, SPANS
from photocheck_app.practise.landmarks import landmark_svg
from photocheck_app.shared import drawing

APP: Final = Path(photocheck_app.__file__).parent
DRAWN: Final = sorted((APP / "drawings").glob("*.svg"))
DOG: Final = (APP / "marking" / "dog.svg").read_text(encoding="utf-8")
GROUND: Final = 172.0
"""Where the drawn feet stand (``front_foot`` and ``rear_foot`` of the drawing)."""


def drawn_at(landmark: str) -> tuple[float, float]:
    found = re.search(rf'data-landmark="{landmark}" cx="([\d.]+)" cy="([\d.]+)"', DOG)
    assert found, landmark
    return float(found[1]), float(found[2])


def classes(svg: str) -> set[str]:
    return {name for names in re.findall(r'class="([^"]*)"', svg) for name in names.split()}


def test_the_drawn_dog_is_built_as_the_standards_say() -> None:
    # Every figure from FCI standards and surveys as `photocheck.body.standards` names them.
    x, y = zip(*(drawn_at(name) for name in LANDMARKS), strict=True)
    front, withers, rib, _ = x
    height = GROUND - y[1]
    assert {drawn_at(foot)[1] for foot in ("front_foot", "rear_foot")} == {GROUND}
    mean = {name: item.mean for name, item in PROPORTIONS.items()}
    drawn = {
        "breastbone_height": (GROUND - y[0]) / height,
        "breastbone_to_withers": (withers - front) / height,
        "last_rib_height": (GROUND - y[2]) / height,
        "last_rib_along": (rib - front) / height / mean["length"],
        "tail_drop": mean["rump_height"] - (GROUND - y[3]) / height,
    }
    for name, at in drawn.items():
        assert abs(at - mean[name]) < 0.6 * PROPORTIONS[name].spread, (name, at)
    # Where a learner would be told that the mark is too high.
    assert drawn["breastbone_height"] == pytest.approx(mean["breastbone_height"], abs=0.005)


@pytest.mark.parametrize("span", SPANS)
def test_a_drawn_tape_begins_and_ends_at_the_drawn_marks(span: str) -> None:
    svg = (APP / "drawings" / "tape.svg").read_text(encoding="utf-8")
    group = re.search(rf'<g class="tape {span}">.*', svg)
    assert group
    ends = re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)"', group[0])
    assert [(float(a), float(b)) for a, b in ends] == [drawn_at(end) for end in SPAN_ENDS[span]]


@pytest.mark.parametrize("landmark", LANDMARKS)
def test_nothing_in_how_to_find_is_left_to_be_painted_black(landmark: str) -> None:
    svg = landmark_svg(landmark)
    style = svg[svg.index("<style>") : svg.index("</style>")]
    for name in classes(DOG) - {"dog", "dog-turn"}:
        assert f".{name}" in style, name


@pytest.mark.parametrize("place", sorted({*PLACES, *FRONT_PLACES}))
def test_every_place_of_the_reference_is_drawn(place: str) -> None:
    svg = (APP / "drawings" / "place.svg").read_text(encoding="utf-8")
    assert place in classes(svg)
    assert drawing("place", "x", shown=place) != drawing("place", "x", shown="none of them")


@pytest.mark.parametrize("file", DRAWN, ids=lambda file: file.stem)
def test_a_drawing_brings_its_own_light_ground(file: Path) -> None:
    """So that its dark lines are seen on a dark page too."""
    svg = file.read_text(encoding="utf-8")
    box = re.search(r'viewBox="(\S+) (\S+) (\S+) (\S+)"', svg)
    rect = re.search(r"<rect[^>]*>", svg)
    assert box
    assert rect
    width = re.search(r' width="([\d.]+)"', rect[0])
    assert width
    assert abs(float(width[1]) - float(box[3])) <= 6
    assert rect.start() < svg.index("<path")
