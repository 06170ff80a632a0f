"""Rules whose turning points a planting of faults left free, each reached from both sides."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest
from scipy import optimize, stats

from photocheck.body import outline_cut, outline_trust, populations, silhouette
from photocheck.body.outline_trust import CONTRAST, NO_CONTRAST, UNDECIDED, trust_in
from photocheck.case.model import DogFacts, Marking
from photocheck.judge import shots
from photocheck.judge.budget import what_actions_leave
from photocheck.photo.framing import photo_remarks
from photocheck.scale import rough_quads, tag_detection, tag_fit, tips
from photocheck.scale.light import SRGB_TO_LIGHT, sample_rows
from photocheck.scale.tag_reading import FaceRead, read_face

# --- the outline's trust ------------------------------------------------------------------------


def block() -> np.ndarray:
    mask = np.zeros((60, 90), np.uint8)
    mask[20:40, 20:70] = 1
    return mask


def trusted(
    monkeypatch: pytest.MonkeyPatch,
    *,
    contrast: float = 1.0,
    moved: float = 0.0,
    parts: tuple[float, ...] = (1.0, 1.0),
    on_marks: float = 1.0,
) -> float:
    """The trust in a block whose four figures are these."""
    mask = block()
    inside = mask.astype(np.float32)
    # a thousand pixels; so many more are inside by a lower threshold that the share is `moved`
    more = round(1001 * moved / (1.0 - moved))
    inside.reshape(-1)[:more] = 0.5
    price = np.full(mask.shape, 1.0 - NO_CONTRAST - contrast * (CONTRAST - NO_CONTRAST))
    monkeypatch.setattr(outline_trust, "_parts", lambda *_: list(parts))
    monkeypatch.setattr(outline_trust, "_on_marks", lambda *_: on_marks)
    return trust_in(mask, inside, price, SimpleNamespace(), {}, 50.0)  # type: ignore[arg-type]


def test_trust_is_a_product_and_edges_and_decision_count_by_their_root(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def of(**figures: Any) -> float:
        return trusted(monkeypatch, **figures)

    assert of() == pytest.approx(1.0)
    assert of(contrast=1.7) == pytest.approx(1.0)  # never more than all
    half = of(moved=0.5 * UNDECIDED)
    assert half == pytest.approx(np.sqrt(0.5), abs=0.01)
    assert of(contrast=0.36) == pytest.approx(0.6)
    assert of(contrast=0.36, moved=0.5 * UNDECIDED) == pytest.approx(0.6 * half)
    # the worst part counts, up to where it is there; and the marks, up to where they agree
    assert of(parts=(0.15, 0.9)) == of(parts=(0.9, 0.15, 0.2)) == pytest.approx(0.5)
    assert of(on_marks=0.3) == pytest.approx(0.5)
    assert of(parts=(0.15,), on_marks=0.3, contrast=0.36) == pytest.approx(0.15)
    for none in ({"contrast": -0.1}, {"moved": 1.1 * UNDECIDED}, {"parts": (0.0, 1.0)}):
        assert of(**none) == 0.0


# --- what is still open: in any photo of several ------------------------------------------------

KNOWN = {
    "bar": 150.0,
    "kind": "marker_sheet",
    "focal": 26.0,
    "cut": 0.0,
}
"""A photo from which nothing is left to ask of its scale, camera or frame."""


def asked(*photos: Mapping[str, Any], marked: tuple[str, ...] = ()) -> set[str]:
    """The keys of what is asked for, of photos that differ from `KNOWN` by so much."""
    entries, views = [], []
    for told in (KNOWN | dict(photo) for photo in photos):
        marking = SimpleNamespace(by="owner", marks=dict.fromkeys(marked), bends={})
        entries.append(
            SimpleNamespace(
                view="side",
                markings=(marking,),
                reference=SimpleNamespace(kind=told["kind"], bar_mm=told["bar"]),
            )
        )
        views.append(
            SimpleNamespace(
                offset=SimpleNamespace(spread_mm=10.0),
                from_front=False,
                camera=SimpleNamespace(
                    focal_35mm=told["focal"], framing=SimpleNamespace(cut=told["cut"])
                ),
                seen=SimpleNamespace(kind=told["kind"]),
            )
        )
    case: Any = SimpleNamespace(photos=tuple(entries), dog=DogFacts(coat_depth_mm=0.0))
    return set(what_actions_leave(case, views))


@pytest.mark.parametrize(
    ("action", "lacking"),
    [
        ("size", {"bar": None}),
        ("focal", {"focal": None}),
        ("framing", {"cut": 0.99}),
        ("corners", {"kind": "a4"}),
    ],
)
def test_what_one_photo_of_several_lacks_is_asked_for(action: str, lacking: dict[str, Any]) -> None:
    assert action not in asked({}, {})
    assert action in asked({}, lacking)
    assert action in asked(lacking, {})
    assert action in asked(lacking)


# --- light at the picture's edges ---------------------------------------------------------------


@pytest.mark.parametrize("side", ["left", "right", "top", "bottom"])
def test_a_row_lies_in_the_picture_up_to_its_outermost_pixels_centres(side: str) -> None:
    picture = np.arange(30, dtype=np.uint8).reshape(5, 6) * 8
    along = 0 if side in {"left", "right"} else 1
    last = {"left": 0.0, "right": 5.0, "top": 0.0, "bottom": 4.0}[side]
    out = -1.0 if side in {"left", "top"} else 1.0
    for beyond, there in ((-0.01, True), (0.0, True), (0.01, False), (1.5, False)):
        point = np.array([2.0, 2.0])
        point[along] = last + out * beyond
        rows, inside = sample_rows(picture, point[None], np.array([[1.0, 0.0]]), np.zeros(1))
        assert inside.tolist() == [there]
        # beyond, the light of the edge goes on
        column, row = np.clip(point, 0.0, [5.0, 4.0])
        near = SRGB_TO_LIGHT[picture[round(float(row)), round(float(column))]]
        assert rows[0, 0, 0] == pytest.approx(float(near), abs=0.003)


# --- rough shapes -------------------------------------------------------------------------------


@pytest.mark.parametrize("wide", [1.1, 1.35, 1.6])
@pytest.mark.parametrize("better", [True, False])
def test_a_quad_of_other_proportions_must_have_the_clearer_outline(
    monkeypatch: pytest.MonkeyPatch, wide: float, better: bool
) -> None:
    """By the root of how much wider it is than what is looked for."""
    side = 40.0
    lines = np.array(
        [
            [0.0, side / 2],
            [np.pi / 2, side / 2],
            [np.pi, side / 2],
            [3 * np.pi / 2, side / 2],
            [0.0, side / 2 + (wide - 1.0) * side],
        ]
    )
    square = np.exp(-0.5 * np.log(wide)) * (0.98 if better else 1.02)

    def clear(_: object, corners: np.ndarray) -> np.ndarray:
        return np.where(np.ptp(corners[..., 0], axis=1) > 1.01 * side, 1.0, square)

    monkeypatch.setattr(rough_quads, "straight_lines", lambda *_: lines)
    monkeypatch.setattr(rough_quads, "_edge_scores", clear)
    window: Any = SimpleNamespace(mark=np.array([60.0, 60.0]), rgb=np.zeros((120, 120, 3)))
    kind: Any = SimpleNamespace(width_mm=50.0, height_mm=50.0)
    first, second = rough_quads._quads_of_lines(window, kind)
    widths = [float(np.ptp(quad[:, 0])) / side for quad in (first, second)]
    assert widths == pytest.approx([wide, 1.0] if better else [1.0, wide])


# --- a dog that the picture cuts off ------------------------------------------------------------


@pytest.mark.parametrize("touches", [(), ("bottom",), ("left", "top")])
def test_an_outline_that_runs_into_an_edge_is_told_where_no_mark_lies_there(
    touches: tuple[str, ...],
) -> None:
    marks = {
        "breastbone": (30.0, 50.0),
        "shoulder_top": (40.0, 40.0),
        "last_rib": (60.0, 50.0),
        "tail_base": (80.0, 45.0),
    }
    photo: Any = SimpleNamespace(rgb=np.full((100, 120, 3), 128, np.uint8), size=(120, 100))
    said = photo_remarks(
        photo,
        [Marking(marks)],
        reference_px=[(50.0, 60.0), (60.0, 60.0), (60.0, 70.0)],
        px_per_cm=20.0,
        distance_mm=2500.0,
        offset_spread_mm=1.0,
        yaw_deg=0.0,
        corner_px=0.1,
        measured_offset=True,
        touches=touches,
    )
    cut = [remark for remark in said if remark.name == "cut_off"]
    assert len(cut) == len(touches)
    for remark, side in zip(cut, touches, strict=True):
        assert f"into the {side} edge" in remark.sentence


# --- how far a posture moves the marks ----------------------------------------------------------


def test_a_posture_that_moves_nothing_has_no_power(monkeypatch: pytest.MonkeyPatch) -> None:
    """And one that moves a mark by so much has that, in standard deviations."""
    rng = np.random.default_rng(5)
    names = ("breastbone", "shoulder_top", "last_rib", "tail_base")
    base = np.array([[0.0, 0.0], [0.2, 0.3], [0.5, 0.1], [0.9, 0.25]])
    dogs = {
        name: at + rng.normal(0.0, 0.01, (400, 2)) for name, at in zip(names, base, strict=True)
    }
    square: Any = SimpleNamespace(
        mean=3.0, away=lambda rows: np.sum((rows - 3.0) ** 2, axis=-1) / 0.01**2
    )
    moved = {name: at + np.array([0.0, 0.02 * (name == "last_rib")]) for name, at in dogs.items()}
    for posed, power in ((dogs, 0.0), (moved, None)):
        monkeypatch.setattr(populations, "posed_dogs", lambda *_, posed=posed: posed)
        found = populations._power(square, rng, dogs, "crouching", names)
        by_hand = populations.shape_of(posed, names) - populations.shape_of(dogs, names)
        assert found == pytest.approx(np.median(np.linalg.norm(by_hand, axis=1)) / 0.01)
        if power is not None:
            assert found == pytest.approx(power)


# --- what cannot be laid into a picture ---------------------------------------------------------


def test_a_plane_seen_edge_on_is_refused() -> None:
    aslant: Any = SimpleNamespace(project=lambda level: level[:, :2])
    edge_on: Any = SimpleNamespace(project=lambda level: level[:, :2] * [1.0, 0.0])
    level = np.column_stack([shots.SQUARE_MM, np.zeros(4)])
    np.testing.assert_allclose(shots.plane_to_pixels(aslant, level), np.eye(3), atol=1e-9)
    with pytest.raises(ValueError, match="edge on"):
        shots.plane_to_pixels(edge_on, level)


@pytest.mark.parametrize("holds", [0, 1])
def test_a_tag_whose_fit_breaks_off_is_none(monkeypatch: pytest.MonkeyPatch, holds: int) -> None:
    """At the first, soft steps or at the last: what was found until then is not gone on with."""
    real, asked = tag_fit._steps, []

    def steps(*told: Any) -> Any:
        asked.append(told)
        return real(*told) if len(asked) <= holds else None

    grey = np.full((200, 200), 255, np.uint8)
    code = cv2.aruco.generateImageMarker(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), 1, 60
    )
    grey[70:130, 70:130] = code
    corners = np.array([[69.5, 69.5], [129.5, 69.5], [129.5, 129.5], [69.5, 129.5]])
    assert tag_fit.fit_tag(grey, corners, 1, lying=False, focal_px=800.0) is not None
    monkeypatch.setattr(tag_fit, "_steps", steps)
    assert tag_fit.fit_tag(grey, corners, 1, lying=False, focal_px=800.0) is None
    assert len(asked) == holds + 1


# --- a tag's face, part by part -----------------------------------------------------------------


@pytest.mark.parametrize("seed", range(4))
def test_cells_that_are_not_as_printed_are_counted_where_they_lie(seed: int) -> None:
    """16 inside, 20 of the border round them, 28 of the white round that."""
    rng = np.random.default_rng(seed)
    off = rng.choice([0.0, 0.1, -0.3, 0.41, -0.6], (11, 8), p=[0.4, 0.2, 0.1, 0.2, 0.1])
    fit: Any = SimpleNamespace(agreement=off, wedge=0.1, good=0.9, ink=0.1)
    counted = {"data": 0, "border": 0, "ring": 0}
    even = []
    for row in range(8):
        for column in range(8):
            rim = min(row, column, 7 - row, 7 - column)
            part = ("ring", "border", "data", "data")[rim]
            wrong = abs(off[row, column]) > 0.4
            counted[part] += wrong
            if part != "ring" and not wrong:
                even.append(off[row, column])
    read = read_face(fit)
    assert (read.data, read.border, read.ring) == tuple(counted.values())
    assert read.even == pytest.approx(np.sqrt(np.mean(np.square(even))))
    assert (read.wedge, read.good, read.ink) == (0.1, 0.9, 0.1)
    fit.agreement = np.ones((11, 8))
    read = read_face(fit)
    assert (read.data, read.border, read.ring, read.even) == (16, 20, 28, np.inf)


@pytest.mark.parametrize(
    ("part", "last", "beyond"),
    [
        ("data", 1, 2),
        ("border", 7, 8),
        ("ring", 10, 11),
        ("even", 0.2, 0.201),
        ("ink", 0.5, 0.501),
        ("good", 0.55, 0.549),
    ],
)
def test_a_face_is_sound_up_to_each_of_its_bounds(part: str, last: float, beyond: float) -> None:
    read = FaceRead(data=0, border=0, ring=0, wedge=0.25, even=0.0, good=1.0, ink=0.0)
    assert read.sound
    assert read.whole
    assert read.pointed
    assert not replace(read, wedge=0.251).pointed
    assert replace(read, **{part: last}).sound
    assert not replace(read, **{part: beyond}).sound
    assert replace(read, **{part: last}).whole is (part not in {"data", "border"})


# --- a mark beside its tag ----------------------------------------------------------------------


@pytest.mark.parametrize("spread_mm", [2.0, 5.5])
@pytest.mark.parametrize("px_per_mm", [0.5, 2.0])
def test_a_mark_lies_elsewhere_than_its_tag_once_in_a_thousand(
    spread_mm: float, px_per_mm: float
) -> None:
    """Chi-square with two degrees of freedom, of both spreads and the tip's own 1.5 mm."""
    far = np.sqrt(stats.chi2.isf(0.001, 2))
    cover = np.diag([0.3, 4.0])
    tag: Any = SimpleNamespace(
        tip_px=np.array([100.0, 80.0]), tip_covariance=cover, px_per_mm=px_per_mm
    )
    for axis in (0, 1):
        away = far * np.sqrt(cover[axis, axis] + (spread_mm**2 + 1.5**2) * px_per_mm**2)
        for share, elsewhere in ((0.99, False), (-0.99, False), (1.01, True), (-1.01, True)):
            mark = tag.tip_px + share * away * np.eye(2)[axis]
            assert tips._elsewhere(tag, tuple(mark.tolist()), spread_mm) is elsewhere


# --- the outline as a cheapest cut --------------------------------------------------------------


@pytest.mark.parametrize("seed", [0, 2, 3, 4, 5])
@pytest.mark.parametrize("upright", [False, True])
def test_a_row_is_cut_as_linear_programming_cuts_it(seed: int, upright: bool) -> None:
    """Least of what pixels say and outline costs, by SciPy's HiGHS; steps on the way are none."""
    rng = np.random.default_rng(seed)
    count = 40
    odds = np.repeat(rng.normal(0.0, 1.5, 8), 5)
    price = rng.uniform(0.05, 1.0, count)
    step = np.diff(np.eye(count), axis=0)
    both = np.block([[step, -np.eye(count - 1)], [-step, -np.eye(count - 1)]])
    best = optimize.linprog(
        np.concatenate([-outline_cut.SPEAKS * odds, price[:-1]]),
        both,
        np.zeros(2 * count - 2),
        bounds=[(0.0, 1.0)] * count + [(0.0, None)] * (count - 1),
    )
    row, cost = (each.astype(np.float32)[None] for each in (odds, price))
    start = np.full((1, count), 0.5, np.float32)
    if upright:
        row, cost, start = row.T.copy(), cost.T.copy(), start.T.copy()
    found = outline_cut.cut(row, cost, start, 160)
    np.testing.assert_allclose(found.ravel(), best.x[:count], atol=0.02)


@pytest.mark.parametrize(("number", "wrong"), [(0, 0.06), (1, 0.03), (2, 0.03)])
@pytest.mark.parametrize("place", [0.0, 0.3, 1.0])
def test_what_shapes_say_is_wrong_now_and_then(number: int, wrong: float, place: float) -> None:
    """Where a dog may be at all; far from it, and where all have it, by one in a hundred."""
    for first, slip in ((0.5, wrong), (0.005, 0.01)):
        said = silhouette._placed(
            np.full((9, 9), place, np.float32), np.full((9, 9), first, np.float32), 30.0, number
        )
        likely = place * (1.0 - slip) + (1.0 - place) * slip
        np.testing.assert_allclose(said, np.log(likely / (1.0 - likely)), rtol=1e-4)
    everywhere = np.ones((9, 9), np.float32)
    said = silhouette._placed(place * everywhere, everywhere, 30.0, number)
    np.testing.assert_allclose(said, np.log(99.0), rtol=1e-4)


# --- where faint tags are looked for ------------------------------------------------------------


@pytest.mark.parametrize("shrink", [1.0, 2.0])
def test_faint_tags_are_looked_for_thirty_sides_about_those_found(
    monkeypatch: pytest.MonkeyPatch, shrink: float
) -> None:
    square = 10.0 * np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
    tags = [square + np.array([500.0, 600.0]), square + np.array([700.0, 650.0])]
    edges = {"left": 200.0, "right": 1000.0, "top": 300.0, "bottom": 950.0}
    inside, outside = [], []
    for side, at in edges.items():
        out = -1.0 if side in {"left", "top"} else 1.0
        for beyond, boxes in ((-3.0, inside), (3.0, outside)):
            x, y = (at + out * beyond, 620.0) if side in {"left", "right"} else (600.0, 0.0)
            y = y or at + out * beyond
            left, top = x - (out < 0) * 4.0, y - (out < 0) * 4.0
            box = (left, top, left + 4.0, top + 4.0)
            boxes.append(tuple(edge / shrink for edge in box))
    looked: list[Any] = []
    monkeypatch.setattr(
        tag_detection, "_squares_in", lambda _, near, *__: looked.extend(near) or []
    )
    monkeypatch.setattr(tag_detection, "_named", lambda *_: [])
    search = object.__new__(tag_detection.Search)
    search._grey = np.zeros((9, 9), np.uint8)
    search.squares = []
    search._levels = [
        SimpleNamespace(copy=None, shrink=shrink, faint=inside + outside, least_px=13)
    ]
    assert search.faint_near(tags) == []
    assert looked == inside
