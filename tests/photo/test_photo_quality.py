import cv2
import numpy as np
import pytest

from photocheck.photo.at_marks import blur_remarks, light_remarks
from photocheck.photo.blur import edge_blur
from photocheck.photo.framing import cut_remarks, scale_remarks
from photocheck.photo.quality import BLURRED, MarkQuality, quality_at


def scene(seed: int = 0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    rgb = np.full((600, 800, 3), 90, np.uint8)
    cv2.ellipse(rgb, (400, 300), (250, 120), 10, 0, 360, (170, 160, 150), -1, cv2.LINE_AA)
    soft = cv2.GaussianBlur(rgb, (0, 0), 0.8)
    return np.clip(soft + rng.normal(0, 2, soft.shape), 0, 255).astype(np.uint8)


EDGE = [(400, 180), (400, 420)]


def test_blur_rises_with_defocus_and_only_then_is_remarked_on():
    blurs = []
    for sigma in (0.01, 2.0, 6.0):
        rgb = cv2.GaussianBlur(scene(), (0, 0), sigma) if sigma > 0.1 else scene()
        blurs.append([q.blur for q in quality_at(rgb, EDGE)])
    sharp, soft, blurred = np.array(blurs)
    assert np.all(sharp < soft)
    assert np.all(soft < blurred)
    assert np.all(sharp < BLURRED)
    assert np.all(blurred > BLURRED)


def test_exposure():
    rgb = scene()
    rgb[:200, :200] = 255
    rgb[400:, :200] = 0
    bright, dark, good = quality_at(rgb, [(100, 100), (100, 500), (400, 180)])
    assert (bright.too_bright, dark.too_dark) == (1.0, 1.0)
    assert good.too_bright == good.too_dark == 0.0
    assert bright.blur is None
    assert dark.blur is None
    names = ("breastbone", "last_rib", "tail_base")
    titles = {name: name.replace("_", " ") for name in names}
    said = light_remarks(titles, dict.fromkeys(names, (1.0, 1.0)), [bright, dark, good])
    assert {remark.marks for remark in said} == {("breastbone",), ("last_rib",)}


@pytest.mark.parametrize("at", [(0, 0), (799, 599), (0, 300), (799.4, 10)])
def test_marks_at_the_rim(at):
    assert len(quality_at(scene(), [at])) == 1


def test_marks_off_the_picture_say_nothing():
    off = quality_at(scene(), [(-5, 10), (900, 10), (float("nan"), 3)])
    assert off == (MarkQuality(None, 0.0, 0.0, 0.0, 0.0),) * 3


# -- what blur, scale and framing cost ----------------------------------------------

TITLES = {"breastbone": "breastbone", "tail_base": "tail base", "front_foot": "front foot"}


@pytest.mark.parametrize("sigma", [1.0, 2.0, 4.0])
@pytest.mark.parametrize("angle", [0.0, 30.0, 75.0])
def test_the_blur_of_a_known_edge_is_measured(sigma, angle):
    """A half-plane blurred by a Gaussian of known width, in slight noise."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[0:81, 0:81] - 40.0
    turn = np.radians(angle)
    grey = 120 + 60 * np.tanh(10 * (np.cos(turn) * x + np.sin(turn) * y))
    grey = cv2.GaussianBlur(grey, (0, 0), sigma) + rng.normal(0, 1.5, grey.shape)
    rgb = np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    (found,) = edge_blur(rgb, [(40, 40)], window_px=79)
    assert found == pytest.approx(sigma, rel=0.15, abs=0.25)


def test_no_edge_no_blur():
    flat = np.full((100, 100, 3), 90, np.uint8)
    assert edge_blur(flat, [(50, 50), (2, 2), (500, 5)]) == (None, None, None)


def test_blur_becomes_centimetres():
    """A blur of 12 px at 10 px/cm: half of it is 0.6 cm of doubt."""
    points = {"breastbone": (10.0, 10.0), "tail_base": (50.0, 10.0)}
    soft = [MarkQuality(0.95, 30.0, 100.0, 0.0, 0.0)] * 2
    (remark,) = blur_remarks(TITLES, points, [12.0, 1.0], 10.0, soft)
    assert remark.name == "blurred"
    assert remark.marks == ("breastbone",)
    assert remark.doubt_mm == pytest.approx(6.0)
    assert "2.4 cm" in remark.sentence
    assert "0.6 cm" in remark.sentence
    assert blur_remarks(TITLES, points, [12.0, None], 20.0, soft) == ()
    grainy = [MarkQuality(0.5, 30.0, 100.0, 0.0, 0.0)] * 2
    assert blur_remarks(TITLES, points, [12.0, 12.0], 10.0, grainy) == ()


@pytest.mark.parametrize("sigma", [0.0, 12.0])
def test_a_photo_out_of_focus_is_remarked_on_and_a_sharp_one_not(sigma):
    rgb = scene() if sigma == 0.0 else cv2.GaussianBlur(scene(), (0, 0), sigma)
    points = {"breastbone": (400.0, 180.0), "tail_base": (400.0, 420.0)}
    at = list(points.values())
    blurs = edge_blur(rgb, at, window_px=121)
    said = blur_remarks(TITLES, points, blurs, 8.0, quality_at(rgb, at))
    assert [remark.name for remark in said] == ([] if sigma == 0.0 else ["blurred"])


def test_light_is_named_with_its_mark():
    points = {"breastbone": (10.0, 10.0), "tail_base": (50.0, 10.0)}
    dark = MarkQuality(None, 1.0, 3.0, 0.8, 0.0)
    bright = MarkQuality(None, 1.0, 250.0, 0.0, 0.9)
    said = light_remarks(TITLES, points, [dark, bright])
    assert [remark.name for remark in said] == ["dark", "bright"]
    assert "80 %" in said[0].sentence
    assert said[1].marks == ("tail_base",)


def scale(**changes):
    usual = {
        "px_per_cm": 12.0,
        "reference_px": [(0.0, 0.0), (200.0, 0.0), (200.0, 280.0), (0.0, 280.0)],
        "distance_mm": 2000.0,
        "offset_spread_mm": 20.0,
        "yaw_deg": 3.0,
    }
    return scale_remarks(**(usual | changes))


def test_a_good_scale_is_not_remarked_on():
    assert scale() == ()


def test_each_fault_of_the_scale_has_its_doubt_by_hand():
    (far,) = scale(offset_spread_mm=100.0)
    assert (far.name, far.doubt) == ("far_reference", pytest.approx(0.05))
    ring = [(0.0, 0.0), (30.0, 0.0), (30.0, 40.0), (0.0, 40.0)]
    (small,) = scale(reference_px=ring)  # 50 px across its corners, each 1 px off
    assert (small.name, small.doubt) == ("small_reference", pytest.approx(np.sqrt(2) / 50))
    (oblique,) = scale(yaw_deg=-30.0)
    assert oblique.name == "oblique"
    assert oblique.doubt == pytest.approx(np.tan(np.radians(30.0)) * 0.085)
    (coarse,) = scale(px_per_cm=3.0)
    assert (coarse.name, coarse.doubt_mm) == ("coarse", pytest.approx(5.0))
    for remark in (far, small, oblique, coarse):
        assert remark.instruction.endswith(".")


def test_cut_off_feet_and_tails_are_named():
    points = {"breastbone": (300.0, 300.0), "tail_base": (700.0, 250.0)}
    assert cut_remarks((1000, 700), points, TITLES) == ()
    said = cut_remarks((1000, 700), points, TITLES, touches=("right", "bottom"))
    assert ["feet" in said[0].sentence, "tail" in said[1].sentence] == [True, True]
    mirrored = {"breastbone": (700.0, 300.0), "tail_base": (300.0, 250.0)}
    (head,) = cut_remarks((1000, 700), mirrored, TITLES, touches=("right",))
    assert "head" in head.sentence
    low = points | {"front_foot": (320.0, 699.0)}
    (feet,) = cut_remarks((1000, 700), low, TITLES)
    assert feet.marks == ("front_foot",)
    assert "front foot lies on the bottom edge" in feet.sentence


def test_impossible_scales_are_refused():
    with pytest.raises(ValueError, match="above zero"):
        scale(px_per_cm=0.0)
    with pytest.raises(ValueError, match="above zero"):
        blur_remarks(TITLES, {}, [], -1.0, [])
