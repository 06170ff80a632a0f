"""What a fresh planting of faults found unnoticed, each held by hand."""

from __future__ import annotations

import numpy as np
import pytest

from photocheck.case.model import Take
from photocheck.case.takes import MOST_TAKES
from photocheck.judge.repeats import needs_third
from photocheck.scale.subpixel import _colours


def test_nobody_is_asked_to_measure_more_often_than_can_be_kept() -> None:
    scattered = [Take(300.0 + 100.0 * k, "", "cm") for k in range(MOST_TAKES)]
    assert needs_third(scattered[:-1])
    assert not needs_third(scattered)


@pytest.mark.parametrize(("inner", "outer"), [(0.8, 0.2), (0.2, 0.8)])
def test_the_contrast_of_a_grey_side_is_over_its_brighter_half(inner: float, outer: float) -> None:
    light = np.repeat(np.float32([inner, outer]), 9)[None, None, :, None]
    light = np.broadcast_to(light, (1, 5, 18, 1)).copy()
    colour, contrast = _colours(light, np.ones((1, 5), bool))
    assert colour.tolist() == [[1.0]]
    assert contrast == pytest.approx([(inner - outer) / 0.8], rel=1e-6)
