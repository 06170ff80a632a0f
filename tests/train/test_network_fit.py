"""The network and its fitting, where PyTorch is; elsewhere these are skipped and say so."""

from __future__ import annotations

import numpy as np
import pytest

from photocheck.phantom.teaching.teaching_bodies import POINTS

torch = pytest.importorskip("torch", reason="PyTorch, of the extra [train], is not installed")


def test_target_heat_is_a_blot_at_the_point() -> None:
    from photocheck.train.network_fit import CELLS, STRIDE, target_heat

    points = torch.full((1, len(POINTS), 2), float("nan"))
    points[0, 2] = torch.tensor([101.5, 49.5])
    heat = target_heat(points)[0].view(len(POINTS), CELLS, CELLS)
    assert float(heat[2].sum()) == pytest.approx(1.0, abs=1e-5)
    assert float(heat[0].sum()) == 0.0
    row, column = np.unravel_index(int(heat[2].argmax()), (CELLS, CELLS))
    assert (column + 0.5) * STRIDE - 0.5 == pytest.approx(101.5, abs=STRIDE / 2)
    assert (row + 0.5) * STRIDE - 0.5 == pytest.approx(49.5, abs=STRIDE / 2)


def test_labels_go_with_a_moved_picture() -> None:
    from photocheck.phantom.teaching.drawn_look import SIDE
    from photocheck.train.network_fit import Batch, moved

    n = 16
    look = torch.zeros(n, 3, SIDE, SIDE)
    look[:, :, 118:123, 138:143] = 1.0
    points = torch.full((n, len(POINTS), 2), float("nan"))
    points[:, 0] = torch.tensor([140.0, 120.0])
    frame = torch.tensor([[138.0, 118.0, 143.0, 123.0]]).repeat(n, 1) / SIDE
    batch = Batch(look, points, torch.zeros(n).long(), torch.ones(n), frame)
    generator = torch.Generator().manual_seed(1)
    turned = moved(batch, generator)
    for k in range(n):
        weight = turned.look[k, 0].numpy()
        rows, columns = np.nonzero(weight > 0.3)
        x, y = turned.points[k, 0].numpy()
        assert columns.mean() == pytest.approx(x, abs=0.7)
        assert rows.mean() == pytest.approx(y, abs=0.7)
    assert 0 < float(turned.facing.sum()) < n
