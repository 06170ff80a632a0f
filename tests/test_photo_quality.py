import cv2
import numpy as np
import pytest

from photocheck.photo.quality import BLURRED, MarkQuality, quality_at, quality_remarks


def scene(seed: int = 0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    rgb = np.full((600, 800, 3), 90, np.uint8)
    cv2.ellipse(rgb, (400, 300), (250, 120), 10, 0, 360, (170, 160, 150), -1, cv2.LINE_AA)
    rgb = cv2.GaussianBlur(rgb, (0, 0), 0.8)
    return np.clip(rgb + rng.normal(0, 2, rgb.shape), 0, 255).astype(np.uint8)


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
    said = quality_remarks(["breastbone", "last rib", "tail base"], [bright, dark, good])
    assert len(said) == 2
    assert "black at the last rib" in said[0]
    assert "burnt out at the breastbone" in said[1]


@pytest.mark.parametrize("at", [(0, 0), (799, 599), (0, 300), (799.4, 10)])
def test_marks_at_the_rim(at):
    assert len(quality_at(scene(), [at])) == 1


def test_marks_off_the_picture_say_nothing():
    off = quality_at(scene(), [(-5, 10), (900, 10), (float("nan"), 3)])
    assert off == (MarkQuality(None, 0.0, 0.0, 0.0, 0.0),) * 3
    assert quality_remarks(["a", "b", "c"], off) == ()


def test_several_blurred_marks_make_one_sentence():
    blurred = MarkQuality(0.9, 30.0, 100.0, 0.0, 0.0)
    said = quality_remarks(["breastbone", "shoulder top", "tail base"], [blurred] * 3)
    assert said == ("The photo is blurred at the breastbone, shoulder top and tail base.",)
