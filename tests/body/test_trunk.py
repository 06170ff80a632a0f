"""The tape's way over the trunk: mesh geodesics, unrolled cylinders, and what must hold."""

import numpy as np
import pygeodesic.geodesic as geodesic
import pytest
import shapely

from photocheck.body import shape, trunk
from photocheck.body.sections import quarter_ellipse
from photocheck.body.trunk import Trunk, build_trunk, girth, log_spans, weight
from photocheck.case.model import DogFacts
from photocheck.words import SPANS

POINTS = {
    "breastbone": np.array([-300.0, 60.0]),
    "shoulder_top": np.array([-160.0, -120.0]),
    "last_rib": np.array([70.0, 0.0]),
    "tail_base": np.array([300.0, -120.0]),
}
BARE = shape.Depth(0.0, 1e-9, "test")


def zero_terms() -> dict[str, np.ndarray]:
    return {term: np.zeros(()) for term in shape.TERM_TITLES}


def bare(
    points: dict[str, np.ndarray] = POINTS, bends: dict | None = None, **terms: float
) -> Trunk:
    given = zero_terms() | {name: np.asarray(value) for name, value in terms.items()}
    built = build_trunk(points, bends or {}, given, DogFacts())
    return Trunk(built.points, built.bends, built.depth, built.width, given, BARE)


def lengths(body: Trunk) -> dict[str, float]:
    return dict(zip(SPANS, np.exp(log_spans(body)), strict=True))


def cylinder_mesh(half_width: float, half_depth: float, length: float) -> tuple:
    """A quarter of an elliptic cylinder from the flank to the top of the back."""
    around, along = 60, 80
    angle = np.linspace(0.0, np.pi / 2, around)
    x = np.linspace(0.0, length, along)
    z, y = half_width * np.cos(angle), half_depth * np.sin(angle)
    vertices = np.array([[xi, yi, zi] for xi in x for yi, zi in zip(y, z, strict=True)])
    faces = []
    for i in range(along - 1):
        for j in range(around - 1):
            a = i * around + j
            faces += [[a, a + 1, a + around], [a + 1, a + around + 1, a + around]]
    return vertices, np.array(faces)


@pytest.mark.parametrize("half_width", [70.0, 110.0, 150.0])
def test_rear_is_the_geodesic_of_an_elliptic_cylinder(
    half_width: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exact mesh geodesic (pygeodesic, Mitchell-Mount-Papadimitriou) from flank to back."""
    monkeypatch.setattr(shape, "REAR_SURPLUS", shape.Ratio(1.0, 0.03, "test"))
    body = bare()
    object.__setattr__(
        body, "width", np.asarray(2 * half_width / shape.FLANK_WIDTH_OVER_CHEST.median)
    )
    # last rib to tail base: 230 mm along the back, 120 mm up
    vertices, faces = cylinder_mesh(half_width, 120.0, 230.0)
    solver = geodesic.PyGeodesicAlgorithmExact(vertices, faces)
    target = len(vertices) - 1  # far end, top of the back
    exact, _ = solver.geodesicDistance(0, target)
    assert lengths(body)["rear_length"] == pytest.approx(exact, rel=2e-3)
    unrolled = np.hypot(230.0, quarter_ellipse(120.0, half_width))
    assert exact == pytest.approx(float(unrolled), rel=2e-3)


def test_a_rounder_trunk_has_a_longer_way() -> None:
    ways = [lengths(bare(trunk_width=w)) for w in (-2.0, 0.0, 2.0)]
    for span in ("front_length", "rear_length", "full_length"):
        assert ways[0][span] < ways[1][span] < ways[2][span]
    straight = np.hypot(230.0, 120.0)
    assert ways[0]["rear_length"] > straight


def test_half_neck_is_half_a_shapely_superellipse() -> None:
    chord = float(np.linalg.norm(POINTS["shoulder_top"] - POINTS["breastbone"]))
    t = np.linspace(0, 2 * np.pi, 20001)
    power = 2.0 / shape.NECK_EXPONENT.median
    c, s = np.cos(t), np.sin(t)
    x = chord / 2 * np.sign(c) * np.abs(c) ** power
    width = chord * shape.NECK_WIDTH_OVER_CHORD.median
    y = width / 2 * np.sign(s) * np.abs(s) ** power
    outline = shapely.Polygon(np.column_stack([x, y]))
    assert lengths(bare())["half_neck"] == pytest.approx(outline.length / 2, rel=1e-3)


def test_ratios_lie_where_quadruped_bodies_lie() -> None:
    """Four detailed quadruped bodies (design figures): half neck 1.43 to 1.45 of its chord,
    rear 1.16 to 1.28 of its chord; a margin for other builds.
    """
    found = lengths(bare())
    neck = np.linalg.norm(POINTS["shoulder_top"] - POINTS["breastbone"])
    rear = np.linalg.norm(POINTS["tail_base"] - POINTS["last_rib"])
    assert 1.41 < found["half_neck"] / neck < 1.47
    assert 1.12 < found["rear_length"] / rear < 1.30


def test_full_is_front_plus_rear() -> None:
    found = lengths(bare(front_surplus=1.3, rear_surplus=-0.7))
    total = found["front_length"] + found["rear_length"]
    assert found["full_length"] == pytest.approx(total, rel=1e-12)


@pytest.mark.parametrize("span", ["half_neck", "front_length", "rear_length"])
def test_a_bend_away_from_the_line_lengthens_it(span: str) -> None:
    ends = {"half_neck": (0, 1), "front_length": (0, 2), "rear_length": (2, 3)}[span]
    names = list(POINTS)
    a, b = (POINTS[names[i]] for i in ends)
    across = np.array([-(b - a)[1], (b - a)[0]])

    def way(share: float) -> float:
        return lengths(bare(bends={span: [(a + b) / 2 + share * across]}))[span]

    assert way(0.3) > way(0.15) > way(0.0)
    if span == "rear_length":
        assert way(0.0) == pytest.approx(lengths(bare())[span], rel=1e-9)


def test_a_bend_of_the_front_is_a_shapely_line_over_the_trunk(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(shape, "FRONT_SURPLUS", shape.Ratio(1.0, 0.03, "test"))
    bend = np.array([-130.0, 110.0])
    body = bare(bends={"front_length": [bend]})
    line = shapely.LineString([POINTS["breastbone"], bend, POINTS["last_rib"]])
    expected = np.hypot(line.length, float(body.half_flank))
    assert lengths(body)["front_length"] == pytest.approx(expected, rel=1e-9)


def test_the_chest_mark_takes_the_place_of_the_usual_turn() -> None:
    low = POINTS | {
        "back_top": np.array([-140.0, -120.0]),
        "chest_bottom": np.array([-140.0, 150.0]),
    }
    lower = low | {"chest_bottom": np.array([-140.0, 190.0])}
    assert lengths(bare(low))["front_length"] < lengths(bare(lower))["front_length"]


def test_coat_shortens_every_way() -> None:
    smooth = lengths(bare())
    built = build_trunk(POINTS, {}, zero_terms(), DogFacts(coat="long"))
    shaggy = lengths(built)
    for span in ("half_neck", "front_length", "full_length"):
        assert shaggy[span] < smooth[span]


def test_a_mirrored_dog_is_as_long() -> None:
    flipped = {name: xy * np.array([-1.0, 1.0]) for name, xy in POINTS.items()}
    np.testing.assert_allclose(log_spans(bare(flipped)), log_spans(bare()), rtol=1e-12)


def test_everything_scales() -> None:
    double = {name: 2.0 * xy for name, xy in POINTS.items()}
    np.testing.assert_allclose(log_spans(bare(double)) - log_spans(bare()), np.log(2), atol=1e-9)


def test_stacks_of_trunks_give_stacks_of_spans() -> None:
    stacked = {name: np.stack([xy, 1.1 * xy]) for name, xy in POINTS.items()}
    terms = {name: np.zeros(2) for name in shape.TERM_TITLES}
    built = build_trunk(stacked, {}, terms, DogFacts())
    assert log_spans(built).shape == (2, 4)


def test_girth_and_weight_of_a_middling_dog() -> None:
    """Girth over height about 1.15 to 1.19 (Kangal and Akbash studies); a dog of 620 mm
    straight length weighs some 20 to 35 kg (from memory).
    """
    body = bare()
    assert 500.0 < float(girth(body)) < 800.0
    assert 15.0 < float(weight(body)) < 40.0
    assert trunk.scaled(shape.NECK_EXPONENT, np.zeros(())) == shape.NECK_EXPONENT.median
