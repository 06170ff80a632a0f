from __future__ import annotations

import cv2
import numpy as np
import pytest

from photocheck.case.model import Reference
from photocheck.errors import ScaleError
from photocheck.scale import marker_detection
from photocheck.scale.find import see_reference
from photocheck.scale.marker_detection import detect_markers
from photocheck.scale.markers import find_sheet
from photocheck.scale.planes import fit_homography, homography, jacobian
from photocheck.scale.sheet import sheet_points
from photocheck.scale.subpixel import fit_side, fit_sides
from tests.support.scale_scenes import (
    Layer,
    blob_layer,
    clouds,
    decode,
    photograph,
    plane_to_photo,
    project,
    sheet_layer,
)


def _scene(seed, scale, *, blur=1.0, noise=3.0, layers=(), roll=None, turn=30):
    random = np.random.default_rng(seed)
    side = int(330 * scale) + 60
    if roll is None:
        roll = random.uniform(-10, 10)
    else:
        side = int(400 * scale)
    matrix = plane_to_photo(
        3000.0,
        (side / 2, side / 2),
        (0, 0, 3000 / scale),
        random.uniform(-turn, turn),
        random.uniform(-12, 12),
        roll,
    )
    back = 0.1 + 0.3 * clouds((side, side), seed)
    sheet = sheet_layer(matrix, px_per_mm=max(2.0, 2.5 * scale))
    extra = [make(matrix, (side, side)) for make in layers]
    return photograph(back, [sheet, *extra], blur=blur, noise=noise, seed=seed), matrix


@pytest.mark.parametrize(
    ("scale", "blur", "noise", "limit"),
    [(0.5, 0.7, 1, 0.05), (0.5, 1.0, 3, 0.08), (0.8, 1.0, 3, 0.05), (0.8, 1.6, 5, 0.15)],
)
def test_corners_to_a_tenth_of_a_pixel(scale, blur, noise, limit):
    squares, scales = [], []
    for seed in range(3):
        picture, matrix = _scene(seed, scale, blur=blur, noise=noise)
        seen = find_sheet(picture)
        assert seen is not None
        assert len(seen.points_px) == 16
        miss = seen.points_px - project(matrix, seen.points_mm)
        squares.append(np.mean(miss**2))
        assert np.max(np.abs(miss)) < 5 * seen.spread_px
        measured = np.linalg.det(jacobian(homography(seen)))
        true = np.linalg.det(jacobian(matrix / matrix[2, 2]))
        scales.append(0.5 * np.log(measured / true))
    assert np.sqrt(np.mean(squares)) < limit
    assert np.abs(np.mean(scales)) < 0.0005


def test_encoded_values_would_be_biased():
    """The same fit on a picture made to be read as if its codes were light is worse: the
    linearisation is not decoration."""
    picture, matrix = _scene(1, 0.8, blur=1.6, noise=1)
    plain = find_sheet(picture)
    # Codes c such that the table turns them into c / 255.
    from tests.support.scale_scenes import encode

    wrong = np.rint(encode(picture / 255.0)).astype(np.uint8)
    assert np.allclose(decode(wrong), picture / 255.0, atol=0.02)
    raw = find_sheet(wrong)
    assert plain is not None
    assert raw is not None

    def rms(seen):
        return np.sqrt(np.mean((seen.points_px - project(matrix, seen.points_mm)) ** 2))

    assert rms(plain) < rms(raw)


def test_growth_of_ink_is_taken_off():
    """Black grown by 0.6 mm on every side (a bleeding printer) leaves scale and corners be."""
    from photocheck.scale.sheet import marker_squares

    def grown(matrix, shape):
        layers = [blob_layer(shape, [(0, 0), (1, 0), (1, 1)], (0, 0, 0))]
        mask = np.zeros(shape, np.float32)
        for left, top, right, bottom in marker_squares():
            for box in (
                (left - 0.6, top - 0.6, right + 0.6, top),
                (left - 0.6, bottom, right + 0.6, bottom + 0.6),
                (left - 0.6, top, left, bottom),
                (right, top, right + 0.6, bottom),
            ):
                a, b, c, d = box
                outline = project(matrix, [(a, b), (c, b), (c, d), (a, d)])
                mask = np.maximum(mask, blob_layer(shape, outline, (0, 0, 0)).opacity)
        return Layer(np.full((*shape, 3), 0.04, np.float32), mask, layers[0].to_photo)

    picture, matrix = _scene(3, 1.0, layers=(grown,), turn=15)
    seen = find_sheet(picture)
    assert seen is not None
    miss = seen.points_px - project(matrix, seen.points_mm)
    assert np.sqrt(np.mean(miss**2)) < 0.12  # 0.6 px uncorrected


@pytest.mark.parametrize("roll", [90, 180, -90])
def test_turned_sheet(roll):
    picture, matrix = _scene(5, 0.6, roll=roll)
    seen = find_sheet(picture)
    assert seen is not None
    assert np.max(np.abs(seen.points_px - project(matrix, seen.points_mm))) < 0.2


@pytest.mark.slow
def test_partly_hidden_sheet():
    def paw(x, y, radius):
        def make(matrix, shape):
            angle = np.linspace(0, 2 * np.pi, 40)
            outline = np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)])
            return blob_layer(shape, project(matrix, outline), (0.5, 0.3, 0.2))

        return make

    for seed, (x, y, radius) in enumerate([(-50, -80, 45), (88, -40, 35), (60, 60, 40)]):
        picture, matrix = _scene(seed, 0.8, layers=(paw(x, y, radius),))
        seen = find_sheet(picture)
        assert seen is not None
        assert 8 <= len(seen.points_px) < 17
        assert np.max(np.abs(seen.points_px - project(matrix, seen.points_mm))) < 0.4
    # Two squares covered: the other two still do; three covered: no sheet.
    two = (paw(-50, -80, 50), paw(50, 80, 50))
    picture, matrix = _scene(9, 0.8, layers=two)
    seen = find_sheet(picture)
    assert seen is not None
    assert any("2 of 4 markers not seen" in remark for remark in seen.remarks)
    picture, _ = _scene(9, 0.8, layers=(*two, paw(50, -80, 50)))
    assert find_sheet(picture) is None


def test_homography_against_two_libraries():
    from skimage.transform import ProjectiveTransform

    picture, matrix = _scene(2, 0.8)
    seen = find_sheet(picture)
    assert seen is not None
    ours = fit_homography(seen.points_mm, seen.points_px)
    opencv, _ = cv2.findHomography(seen.points_mm, seen.points_px)
    if hasattr(ProjectiveTransform, "from_estimate"):
        ski = ProjectiveTransform.from_estimate(seen.points_mm, seen.points_px)
    else:  # before scikit-image 0.26
        ski = ProjectiveTransform()
        assert ski.estimate(seen.points_mm, seen.points_px)
    grid = np.array([[x, y] for x in (-150, 0, 150) for y in (-200, 0, 200)], float)
    assert ours is not None
    assert np.max(np.abs(project(ours, grid) - project(opencv, grid))) < 1e-3
    assert np.max(np.abs(project(ours, grid) - project(ski.params, grid))) < 0.05
    assert np.max(np.abs(project(ours, grid) - project(matrix, grid))) < 0.3


def test_proof_bar():
    picture, _ = _scene(0, 0.6)
    unknown = find_sheet(picture)
    assert unknown is not None
    assert (unknown.size_factor, unknown.size_spread) == (1.0, 0.010)
    assert any("proof bar" in remark for remark in unknown.remarks)
    known = find_sheet(picture, bar_mm=147.0)
    assert known is not None
    assert known.size_factor == pytest.approx(0.98)
    assert known.size_spread == pytest.approx(0.5 / 150)
    for wrong in (99.0, 201.0, 15.0, float("nan")):
        with pytest.raises(ScaleError, match="proof bar"):
            find_sheet(picture, bar_mm=wrong)


@pytest.mark.slow
def test_nothing_is_made_of_leaves_and_noise():
    random = np.random.default_rng(0)
    for seed in range(40):
        kind = seed % 4
        if kind == 0:
            picture = (255 * clouds((300, 400), seed, scales=(2, 5, 14, 40))).astype(np.uint8)
        elif kind == 1:
            picture = random.integers(0, 256, (300, 400, 3), dtype=np.uint8)
        elif kind == 2:  # dark blocks on white: windows, tiles, foliage in the sun
            picture = np.full((300, 400, 3), 230, np.uint8)
            for _ in range(150):
                x, y, w, h = random.integers(0, [400, 300, 60, 60])
                cv2.rectangle(picture, (x, y), (x + w, y + h), (20, 20, 20), -1)
                x, y, w, h = random.integers(0, [400, 300, 20, 20])
                cv2.rectangle(picture, (x, y), (x + w, y + h), (230, 230, 230), -1)
        else:  # random codes of the very same make
            cells = random.integers(0, 2, (9, 12)).astype(np.uint8) * 200 + 20
            picture = cv2.resize(cells, (400, 300), interpolation=cv2.INTER_NEAREST)
        assert find_sheet(picture) is None


def test_markers_not_on_one_sheet_are_not_a_sheet():
    """The right four codes in the wrong places."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    picture = np.full((500, 500), 240, np.uint8)
    for marker, (x, y) in zip(
        sheet_points()[0], [(300, 40), (40, 300), (60, 40), (320, 320)], strict=True
    ):
        picture[y : y + 96, x : x + 96] = cv2.aruco.generateImageMarker(dictionary, marker, 96)
    assert find_sheet(picture) is None


def test_a_second_copy_of_a_marker_does_not_disturb():
    picture, matrix = _scene(0, 0.6)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    wide = np.full((picture.shape[0], picture.shape[1] + 220), 240, np.uint8)
    wide[:, : picture.shape[1]] = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    for k, top in enumerate((10, 100)):
        lone = cv2.aruco.generateImageMarker(dictionary, sheet_points()[0][k], 60)
        wide[top : top + 60, -100:-40] = lone
    seen = find_sheet(wide)
    assert seen is not None
    assert np.max(np.abs(seen.points_px - project(matrix, seen.points_mm))) < 0.2


def test_mirrored_sheet_is_refused():
    picture, _ = _scene(0, 0.6)
    assert find_sheet(np.ascontiguousarray(picture[:, ::-1])) is None


def test_a_mirrored_sheet_is_called_so():
    photo, _ = _scene(0, 0.6)
    with pytest.raises(ScaleError, match="mirrored"):
        see_reference(np.ascontiguousarray(photo[:, ::-1]), Reference("marker_sheet"))


def test_large_photo_small_sheet():
    picture, matrix = _scene(4, 0.6)
    height, width = picture.shape[:2]
    whole = np.full((3024, 4032), 120, np.uint8)
    whole[1500 : 1500 + height, 2000 : 2000 + width] = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    seen = find_sheet(whole)
    assert seen is not None
    miss = seen.points_px - [2000, 1500] - project(matrix, seen.points_mm)
    assert np.sqrt(np.mean(miss**2)) < 0.1


def test_a_glance_is_enough_for_a_whole_sheet(monkeypatch):
    picture, matrix = _scene(1, 0.8)
    large = cv2.resize(picture, None, fx=8, fy=8, interpolation=cv2.INTER_CUBIC)
    grey = cv2.cvtColor(large, cv2.COLOR_RGB2GRAY)
    searched = []
    monkeypatch.setattr(
        marker_detection, "_detect_at", lambda grey, shrink, counted: searched.append(shrink) or ()
    )
    seen = detect_markers(grey)
    assert sorted(marker.place for marker in seen) == [0, 1, 2, 3]
    assert not searched
    for marker in seen:
        true = project(matrix, sheet_points()[1][4 * marker.place : 4 * marker.place + 4])
        assert np.max(np.abs((marker.corners_px + 0.5) / 8 - 0.5 - true)) < 2.5


def test_what_a_glance_misses_is_searched_for(monkeypatch):
    """Three markers agree at a glance; all four are there for the thorough search."""
    picture, _ = _scene(1, 0.8)
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    every = detect_markers(grey)
    monkeypatch.setattr(marker_detection, "_glance", lambda grey, counted: every[:3])
    assert len(detect_markers(grey)) == 4
    # And a search that finds fewer does not take away what the glance saw.
    monkeypatch.setattr(marker_detection, "_detect_at", lambda grey, shrink, counted: every[:1])
    assert detect_markers(grey) == every[:3]


@pytest.mark.parametrize("colour", [False, True])
def test_sides_together_as_alone(colour):
    picture, matrix = _scene(2, 0.8, turn=10)
    if not colour:
        picture = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    corners = project(matrix, sheet_points()[1]).reshape(4, 4, 2)
    corners = corners + np.random.default_rng(0).normal(0, 1, corners.shape)
    corners[3] += 3 * np.array(picture.shape[1::-1])  # no side of this one is in the picture
    following = np.roll(corners, -1, axis=1)
    together = fit_sides(picture, corners, following, reach_px=4.0, polarity=-1 + colour)
    assert [line is None for line in together] == [False] * 12 + [True] * 4
    for k, line in enumerate(together[:12]):
        marker, side = divmod(k, 4)
        ends = corners[marker, side], following[marker, side]
        alone = fit_side(picture, *ends, reach_px=4.0, polarity=-1 + colour)
        true = project(matrix, sheet_points()[1][[4 * marker + side, 4 * marker + (side + 1) % 4]])
        along = (true[1] - true[0]) / np.linalg.norm(true[1] - true[0])
        for one in (line, alone):
            for point in (one.start, one.end):
                off = point - true[0]
                assert abs(off[0] * along[1] - off[1] * along[0]) < 0.2
            assert one.support > 0.8
        assert np.max(np.abs(line.start - alone.start)) < 0.1
        assert np.max(np.abs(line.end - alone.end)) < 0.1


def test_a_side_across_the_rim_of_the_picture():
    """The part in the picture counts, and its share is reported."""
    picture = np.full((120, 160), 230, np.uint8)
    picture[60:, :] = 20
    ends = np.array([100.0, 60.5]), np.array([220.0, 60.5])  # half of it outside
    line = fit_side(picture, *ends, reach_px=4.0, trim=(0.0, 0.0), polarity=-1)
    assert line is not None
    assert 0.3 < line.support < 0.6
    assert abs(line.start[1] - 59.5) < 0.02  # between the centres of rows 59 and 60
