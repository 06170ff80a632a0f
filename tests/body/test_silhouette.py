"""The silhouette: drawn dogs with a known mask; rendered phantoms."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from photocheck.body.silhouette import TRUSTED, find_silhouette


def drawn(*, shift: tuple[int, int] = (0, 0), size=(640, 480), mirrored: bool = False):
    """A plain dog on a lawn: picture, true mask, marks."""
    width, height = size
    mask = np.zeros((height, width), np.uint8)
    move = np.array(shift)

    def put(points) -> np.ndarray:
        return (np.array(points) + move).astype(np.int32)

    cv2.fillPoly(
        mask, [put([(200, 150), (250, 140), (400, 150), (420, 190), (400, 240), (330, 230),
                    (260, 260), (200, 230)])], 1
    )  # fmt: skip
    cv2.fillPoly(mask, [put([(205, 225), (250, 145), (190, 80), (150, 110)])], 1)
    cv2.ellipse(mask, put([(150, 95)])[0].tolist(), (50, 25), 10, 0, 360, 1, -1)
    cv2.fillPoly(mask, [put([(235, 240), (262, 240), (256, 360), (238, 360)])], 1)
    cv2.fillPoly(mask, [put([(380, 220), (410, 220), (418, 360), (400, 360)])], 1)
    marks = {
        "breastbone": (196, 212),
        "shoulder_top": (252, 142),
        "last_rib": (320, 200),
        "tail_base": (408, 160),
        "chest_bottom": (265, 258),
        "front_foot": (247, 360),
        "rear_foot": (409, 360),
    }
    moved = {n: (float(x + shift[0]), float(y + shift[1])) for n, (x, y) in marks.items()}
    rng = np.random.default_rng(3)
    rgb = np.zeros((height, width, 3))
    rgb[:] = (90, 130, 70)
    rgb[: height // 2] = (170, 180, 190)
    rgb = np.where(mask[..., None] > 0, (120, 85, 55), rgb)
    rgb = cv2.GaussianBlur(rgb, (0, 0), 0.8) + rng.normal(0, 6, rgb.shape)
    rgb = np.clip(rgb, 0, 255).astype(np.uint8)
    if mirrored:
        mask, rgb = mask[:, ::-1].copy(), rgb[:, ::-1].copy()
        moved = {n: (width - 1 - x, y) for n, (x, y) in moved.items()}
    return rgb, mask, moved


def overlap(one: np.ndarray, other: np.ndarray) -> float:
    return float((one & other).sum() / (one | other).sum())


@pytest.mark.slow
@pytest.mark.parametrize("mirrored", [False, True])
def test_a_drawn_dog_is_found(mirrored):
    rgb, mask, marks = drawn(mirrored=mirrored)
    found = find_silhouette(rgb, marks)
    assert found is not None
    assert overlap(found.full_mask((640, 480)), mask) > 0.93
    assert found.trust > 0.8
    assert found.trusted
    assert found.touches == ()
    assert found.mask.shape[0] <= 400
    # the back, within two pixels of where it was drawn
    truth = [np.flatnonzero(mask[:, round(x)])[0] for x, _ in found.topline]
    assert np.median(np.abs([y - t for (_, y), t in zip(found.topline, truth, strict=True)])) < 2
    assert found.head is not None
    head_x = 150 if not mirrored else 639 - 150
    assert abs(found.head[0] - head_x) < 60
    assert found.head[1] < marks["shoulder_top"][1]
    for name, at in found.feet.items():
        assert abs(at[1] - marks[name][1]) < 6


@pytest.mark.slow
def test_the_four_marks_alone_find_the_back():
    rgb, mask, marks = drawn()
    four = {n: marks[n] for n in ("breastbone", "shoulder_top", "last_rib", "tail_base")}
    found = find_silhouette(rgb, four)
    assert found is not None
    assert overlap(found.full_mask((640, 480)), mask) > 0.8
    assert len(found.topline) > 50


@pytest.mark.slow
@pytest.mark.parametrize(
    ("shift", "edge"), [((-102, 0), "left"), ((0, 121), "bottom"), ((0, -72), "top")]
)
def test_a_dog_cut_off_touches_that_edge(shift, edge):
    rgb, _, marks = drawn(shift=shift)
    found = find_silhouette(rgb, marks)
    assert found is not None
    assert edge in found.touches


def test_a_sheet_beside_the_dog_is_not_the_dog():
    rgb, _, marks = drawn()
    cv2.rectangle(rgb, (300, 262), (370, 350), (250, 250, 250), -1)
    ring = [(300.0, 262.0), (370.0, 262.0), (370.0, 350.0), (300.0, 350.0)]
    found = find_silhouette(rgb, marks, reference_px=ring)
    assert found is not None
    assert found.full_mask((640, 480))[270:340, 310:360].mean() < 0.05


@pytest.mark.slow
def test_marks_that_miss_the_dog_are_not_trusted():
    rgb, _, marks = drawn()
    flat = np.full_like(rgb, 128)
    assert find_silhouette(rgb, {"breastbone": (1.0, 1.0)}) is None
    found = find_silhouette(flat, marks)
    if found is not None and found.trust < TRUSTED:
        assert found.topline == ()
        assert found.feet == {}
    aside = {n: (x + 150.0, y + 60.0) for n, (x, y) in marks.items()}
    missed = find_silhouette(rgb, aside)
    right = find_silhouette(rgb, marks)
    assert right is not None
    assert missed is None or missed.trust < right.trust


@pytest.mark.slow
def test_the_same_photo_gives_the_same_outline():
    rgb, _, marks = drawn()
    one, other = find_silhouette(rgb, marks), find_silhouette(rgb, marks)
    assert one is not None
    assert other is not None
    assert np.array_equal(one.mask, other.mask)


@pytest.mark.slow
def test_rendered_phantoms_are_outlined():
    from photocheck.benchmark.stances import shown

    seen = [shown(2, number, (800, 600)) for number in range(3)]
    assert np.median([s.trunk_overlap for s in seen]) > 0.93
    assert np.median([s.overlap for s in seen]) > 0.75
    assert np.nanmedian([s.off for s in seen]) < 0.015
