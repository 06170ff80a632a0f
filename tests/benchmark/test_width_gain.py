"""The benchmark of widths: more knowledge, less doubt; two populations that differ as they say."""

from __future__ import annotations

import numpy as np
import pytest

from photocheck.benchmark.width_gain import WAYS, gains, table, widened
from photocheck.phantom.plan import random_plan


@pytest.mark.slow
def test_every_way_is_surer_than_the_side_alone() -> None:
    rows, ratio = gains(4, 1, wide=True)
    assert rows.shape == (len(WAYS), 2)
    spread = rows[:, 1]
    assert (spread[1:] < 0.85 * spread[0]).all()
    assert spread[3] <= min(spread[1], spread[2])
    assert 0.4 < ratio < 1.3
    assert np.all(np.abs(rows[:, 0]) < 0.35)


def test_dogs_are_widened_at_the_shoulders_and_nowhere_else() -> None:
    rng = np.random.default_rng(2)
    plans = [random_plan(rng, posture="square") for _ in range(200)]
    wide = [widened(plan, rng) for plan in plans]
    factors = [
        w.proportions.shoulder_width / p.proportions.shoulder_width
        for w, p in zip(wide, plans, strict=True)
    ]
    assert 0.08 < np.log(factors).std() < 0.13
    assert all(w.height_mm == p.height_mm for w, p in zip(wide, plans, strict=True))


def test_a_table_has_a_row_per_way() -> None:
    rows = np.stack([np.full((4, 2), 0.02), np.full((4, 2), 0.03)])
    text = table(rows, np.array([0.7, 0.9]), 1, wide=False)
    assert [line.split("|")[1].strip() for line in text.splitlines()[-4:]] == list(WAYS)
    assert "| +2.5 | 2.5 | 2.5 | 100 |" in text
