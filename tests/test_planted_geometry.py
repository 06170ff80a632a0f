"""Faults that random planting found unnoticed, held by other programs and by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest
from scipy import stats

from photocheck.body.posed import ANY_ARCH, POSTURES, square_dogs
from photocheck.body.silhouette import Silhouette
from photocheck.body.stance_figures import figures
from photocheck.body.standards import Allowance
from photocheck.case.typed_numbers import shown
from photocheck.errors import PhotoError
from photocheck.judge import impossible_marks, outliers
from photocheck.judge.standing import upright
from photocheck.photo.kind import kind_of
from photocheck.photo.quality import quality_at
from photocheck.scale.ellipses import Ellipse, fit_ellipse
from photocheck.scale.marker_detection import _looks_forward
from photocheck.scale.markers import _partly_there
from photocheck.scale.sheet import LAYOUT, _white_pairs, sheet_bitmap, white_cells

# --- shapes of dogs ------------------------------------------------------------------------------


@pytest.mark.parametrize("spread", [0.0, 0.3])
def test_densities_of_shapes_are_those_of_scipys_student_t(spread: float) -> None:
    """Half of each way a dog may face, over the density that marking has across the sphere."""
    rng = np.random.default_rng(2)
    d, count = 4, 3
    means = rng.normal(0.0, 0.4, (count, d))
    roots = rng.normal(0.0, 0.2, (count, d, d))
    covariances = roots @ roots.transpose(0, 2, 1) + 0.01 * np.eye(d)
    odds = np.log([0.5, 0.3, 0.2])
    dogs = impossible_marks._Dogs(means, covariances, odds, 1.3)
    shapes = rng.normal(0.0, 0.5, (5, d))
    marking = max(impossible_marks.MARK / 1.3, spread)
    mirrored = shapes * [-1.0, 1.0, -1.0, 1.0]
    density = sum(
        np.exp(odds[k])
        * stats.multivariate_t(
            means[k], covariances[k] + marking**2 * np.eye(d), df=impossible_marks.TAIL
        ).pdf(np.array([shapes, mirrored]))
        for k in range(count)
    ).mean(axis=0)
    expected = np.log(density) - stats.norm.logpdf(0.0, scale=marking)
    np.testing.assert_allclose(dogs.log_density(shapes, spread), expected, rtol=1e-10)


def test_marks_of_one_shape_differ_by_size_place_and_nothing_else() -> None:
    """Kendall's pre-shapes keep the distances between marks, but for their common size."""
    rng = np.random.default_rng(3)
    at = rng.normal(0.0, 1.0, (4, 5, 2))
    shapes, size = impossible_marks._shapes(at)
    centred = at - at.mean(axis=1, keepdims=True)
    np.testing.assert_allclose(size, np.sqrt(np.sum(centred**2, axis=(1, 2))))
    np.testing.assert_allclose(np.linalg.norm(shapes, axis=1), 1.0)
    again, _ = impossible_marks._shapes(7.0 * at + [3.0, -2.0])
    np.testing.assert_allclose(again, shapes, atol=1e-12)
    # inner products of the centred marks are kept: the Helmert rows are orthonormal
    kept = shapes @ shapes.T * np.outer(size, size)
    flat = centred.reshape(4, -1)
    np.testing.assert_allclose(kept, flat @ flat.T, atol=1e-12)


@pytest.mark.parametrize("posture", POSTURES)
@pytest.mark.parametrize("factor", [0.5, 3.0])
def test_figures_of_a_stance_do_not_hang_on_a_dogs_size(posture: str, factor: float) -> None:
    rng = np.random.default_rng(5)
    dogs = square_dogs(rng, 6, (0.02, 0.01), Allowance())
    larger = {name: factor * at for name, at in dogs.items()}
    moved = {name: at + np.array([0.4, 0.0]) for name, at in dogs.items()}
    for plan in figures(posture, tuple(dogs)):
        found = plan.measure(dogs)
        np.testing.assert_allclose(plan.measure(larger), found, err_msg=plan.title)
        np.testing.assert_allclose(plan.measure(moved), found, err_msg=plan.title)


def test_an_arched_loin_that_a_standard_allows_rises_by_a_half_normal() -> None:
    """Its mean is sqrt(2 / pi) of the spread."""
    rises = []
    for arched in (False, True):
        dogs = square_dogs(np.random.default_rng(1), 20_000, (0.0, 0.0), Allowance(False, arched))
        middle = (dogs["shoulder_top"][:, 1] + dogs["tail_base"][:, 1]) / 2.0
        rises.append(float(np.mean(dogs["topline"][:, 1] - middle)))
    assert rises[1] - rises[0] == pytest.approx(ANY_ARCH * np.sqrt(2.0 / np.pi), rel=0.05)


@pytest.mark.parametrize("shrink", [2, 4, 5])
def test_a_small_mask_is_laid_back_where_it_was_cut(shrink: int) -> None:
    """Every pixel of the copy becomes a block of the photo: Kronecker's product."""
    rng = np.random.default_rng(shrink)
    small = rng.integers(0, 2, (9, 13)).astype(np.uint8)
    found = Silhouette(small, 6.0, 3.0, 1.0 / shrink, 1.0, (), None, {}, ())
    photo = np.zeros((80, 90), np.uint8)
    block = np.kron(small, np.ones((shrink, shrink), np.uint8))
    photo[3 : 3 + block.shape[0], 6 : 6 + block.shape[1]] = block
    np.testing.assert_array_equal(found.full_mask((90, 80)), photo)


@pytest.mark.parametrize("scale", [0.37, 0.61, 0.83])
def test_a_mask_of_any_scale_lies_within_a_tenth_of_a_pixel(scale: float) -> None:
    """A photo's pixel takes the copy's pixel that its middle lies in."""
    rng = np.random.default_rng(9)
    small = rng.integers(0, 2, (30, 40)).astype(np.uint8)
    found = Silhouette(small, 4.0, 2.0, scale, 1.0, (), None, {}, ()).full_mask((30, 24))
    x, y = np.meshgrid(np.arange(4, 30), np.arange(2, 24))
    column, row = (((at - start + 0.5) * scale).astype(int) for at, start in ((x, 4), (y, 2)))
    wrong = found[y, x] != small[row, column]
    # OpenCV counts in 1024ths of a pixel; a tenth of one would move 5 %
    assert wrong.mean() < 0.01


# --- marks that do not fit -----------------------------------------------------------------------


class _Line:
    """A straight line through marks in the plane, standing in for the joint estimate."""

    def __init__(self, marks: int) -> None:
        rng = np.random.default_rng(4)
        self.slopes = rng.normal(0.0, 1.0, (2 * marks, 3))
        self.mark_rows = slice(0, 2 * marks)
        self.misses = rng.normal(0.0, 1.0, 2 * marks)


def test_a_mark_is_judged_by_a_fit_without_it() -> None:
    """Least squares with and without one mark's two rows: what the squares fall by is its test.

    The limit is put just below and just above what that gives.
    """
    marks, prior = 7, outliers.NOISE_PRIOR_FREEDOM
    line = _Line(marks)
    slopes, seen = line.slopes, line.misses
    seen[6:8] += 9.0  # the fourth mark is amiss

    def squares(rows: np.ndarray) -> float:
        left = np.linalg.lstsq(slopes[rows], seen[rows], rcond=None)[0]
        return float(np.sum((seen[rows] - slopes[rows] @ left) ** 2))

    every = np.arange(2 * marks)
    without = squares(np.delete(every, [6, 7]))
    noise = (prior + without) / (prior + 2 * marks - 3 - 2)
    test = (squares(every) - without) / max(noise, 1.0)
    best = np.linalg.lstsq(slopes, seen, rcond=None)[0]

    joint: Any = SimpleNamespace(  # only what is asked of the model
        mark_rows=line.mark_rows,
        marks=[
            SimpleNamespace(key=i, landmark="tail_base", shot=0, marking=0) for i in range(marks)
        ],
        shots=[SimpleNamespace(markings=[SimpleNamespace(by="owner")])],
    )
    mode: Any = SimpleNamespace(
        jacobian=slopes,
        residuals=seen - slopes @ best,
        covariance=np.linalg.inv(slopes.T @ slopes),
    )

    for factor, found in ((0.999, True), (1.001, False)):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(outliers, "MARK_LIMIT", factor * test)
            one = outliers.outlying_mark(joint, mode)
        assert (one is not None) == found
        if one is not None:
            assert one.mark is joint.marks[3]
            assert one.drop


# --- the marker sheet ----------------------------------------------------------------------------


def test_a_sheet_seen_from_behind_or_across_the_horizon_is_none() -> None:
    scale = np.diag([2.0, 2.0, 1.0])
    assert _looks_forward(scale)
    assert _looks_forward(-scale)  # the same map: homographies have no sign
    assert not _looks_forward(np.diag([-2.0, 2.0, 1.0]))
    assert not _looks_forward(-np.diag([-2.0, 2.0, 1.0]))
    for sign in (1.0, -1.0):
        horizon = np.array([[2.0, 0.0, 0.0], [0.0, 2.0, 0.0], [0.02, 0.0, 1.0]])
        assert not _looks_forward(sign * horizon)


def _square_of_place(place: int, px_per_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """A marker of the sheet drawn square on, and the map from the sheet's mm to its px."""
    page = sheet_bitmap(px_per_mm, "a4")
    move = np.array(
        [
            [px_per_mm, 0.0, page.shape[1] / 2 - 0.5],
            [0.0, px_per_mm, page.shape[0] / 2 - 0.5],
            [0.0, 0.0, 1.0],
        ]
    )
    return page, move


@pytest.mark.parametrize(("columns", "there"), [(6, True), (5, True), (4, True), (3, False)])
def test_two_thirds_of_a_square_in_the_picture_are_enough(columns: int, there: bool) -> None:
    page, move = _square_of_place(1, 2.0)  # the top right one
    right = LAYOUT.marker_centres()[1, 0] + LAYOUT.marker_mm / 2 - (6 - columns) * LAYOUT.module_mm
    cut = round(2.0 * right + move[0, 2]) + 2
    assert _partly_there(np.ascontiguousarray(page[:, :cut]), move, 1) is there


def test_a_square_that_is_not_there_or_hardly_seen_is_not_made_up() -> None:
    page, move = _square_of_place(2, 2.0)
    assert _partly_there(page, move, 2)
    assert not _partly_there(np.full_like(page, 200), move, 2)
    assert not _partly_there(255 - page, move, 2)
    # black and white a tenth of the way apart: 26 codes are told, 24 are not
    for codes, there in ((26, True), (24, False)):
        faint = (100 + np.round(page / 255.0 * codes)).astype(np.uint8)
        assert _partly_there(faint, move, 2) is there
    turned = move.copy()
    turned[0, 2] += 2.0 * LAYOUT.module_mm  # a cell off
    assert not _partly_there(page, turned, 2)


def test_every_two_white_cells_side_by_side_are_joined() -> None:
    cells = np.array(list(white_cells()))
    joined = {tuple(np.round(pair, 6)) for pair in _white_pairs(LAYOUT)}
    size = LAYOUT.module_mm
    expected = set()
    for one in cells:
        for other in cells:
            gap = (other - one) / size
            if np.allclose(gap, [1, 0, 1, 0]) or np.allclose(gap, [0, 1, 0, 1]):
                expected.add(tuple(np.round([one[0], one[1], other[2], other[3]], 6)))
    assert joined == expected
    assert len(expected) > 10


# --- pictures and texts --------------------------------------------------------------------------


def heif(*brands: bytes, length: int | None = None) -> bytes:
    """A file type box (ISO/IEC 14496-12, 4.3): size, "ftyp", major brand, version, compatible."""
    body = b"ftyp" + brands[0] + b"\0\0\0\0" + b"".join(brands[1:])
    return ((length or 4 + len(body)).to_bytes(4, "big") + body) + b"\0\0\0\x08mdat" + bytes(300)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (heif(b"heic"), "HEIC"),
        (heif(b"mif1", b"heic"), "HEIC"),
        (heif(b"avif"), "AVIF"),
        (heif(b"mif1", b"miaf", b"avif"), "AVIF"),
        (heif(b"mp42", b"isom"), "video"),
        (heif(b"isom", b"heix"), "HEIC"),
        (heif(b"isom", b"heix", length=16), "video"),  # what lies behind the box is not of it
    ],
)
def test_a_file_type_box_is_read_to_its_end(data: bytes, said: str) -> None:
    with pytest.raises(PhotoError, match=said):
        kind_of(data, kinds=("JPEG", "PNG"))


def test_marks_on_the_first_and_last_pixels_are_judged() -> None:
    rng = np.random.default_rng(0)
    rgb = rng.integers(0, 255, (60, 70, 3)).astype(np.uint8)
    found = quality_at(rgb, [[0.0, 0.0], [0.4, 30.0], [69.4, 59.4]], window_px=33)
    for one, part in zip(found, (rgb[:17, :17], rgb[14:47, :17], rgb[43:, 53:]), strict=True):
        grey = part.astype(float) @ [0.299, 0.587, 0.114]
        assert one.brightness == pytest.approx(grey.mean())
        assert one.contrast == pytest.approx(grey.std())
        assert one.blur is not None


def test_what_was_typed_is_shown_without_what_a_terminal_would_obey() -> None:
    assert shown("42\x1b[2Jcm") == "'42 [2Jcm'"
    assert shown("4\u200b2") == "'4 2'"
    assert shown("x" * 43) == f"'{'x' * 43}'"
    assert shown("x" * 44) == f"'{'x' * 40}...'"


@pytest.mark.parametrize("turn", [0.0, 0.4, 1.2])
def test_ellipses_are_fitted_as_opencv_draws_them(turn: float) -> None:
    drawn = Ellipse(np.array([140.0, 90.0]), np.array([60.0, 35.0]), turn)
    points, normals = drawn.points(90)
    found = fit_ellipse(points)
    assert found is not None
    np.testing.assert_allclose(found.centre, drawn.centre, atol=1e-3)
    np.testing.assert_allclose(np.sort(found.half), [35.0, 60.0], atol=1e-3)
    mask = np.zeros((180, 280), np.uint8)
    cv2.ellipse(mask, (140, 90), (60, 35), float(np.degrees(turn)), 0, 360, 1, -1)
    for step, inside in ((-1.5, 1), (1.5, 0)):
        at = np.rint(points + step * normals).astype(int)
        assert np.all(mask[at[:, 1], at[:, 0]] == inside)


@pytest.mark.parametrize("roll", [-20.0, 7.0, 21.5])
def test_upright_is_weighed_between_the_phone_and_what_hangs(roll: float) -> None:
    """By hand: 3 degrees of the phone, 2.5 of what hangs; the surer counts by its variance."""
    hung, doubt = upright(roll, "wall")
    angle = np.degrees(np.arctan2(hung[0], -hung[1]))
    assert angle == pytest.approx(roll * 3.0**2 / (3.0**2 + 2.5**2))
    assert doubt == pytest.approx(3.0 * 2.5 / np.hypot(3.0, 2.5))
    for beyond, place in ((22.5, "wall"), (roll, "near_flank"), (roll, "unknown")):
        assert upright(beyond, place) == ((0.0, -1.0), 3.0)
