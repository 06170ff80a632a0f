"""Outlines of a folder: read as described, measured against the truth by hand."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from photocheck.benchmark.outlines import TRUTHS, filled, outline_figures, photographs, report
from photocheck.errors import PhotocheckError

RING = [(120, 90), (300, 90), (310, 150), (300, 280), (280, 280), (275, 180), (160, 190),
        (155, 280), (135, 280), (130, 180), (70, 120), (60, 60), (110, 50)]  # fmt: skip
MARKS = {"breastbone": [122, 160], "shoulder_top": [140, 90], "last_rib": [230, 130],
         "tail_base": [302, 95], "chest_bottom": [165, 190], "front_foot": [145, 280],
         "rear_foot": [290, 280]}  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    mask = filled(RING, (400, 320))
    rng = np.random.default_rng(0)
    picture = np.where(mask[..., None] > 0, (40, 60, 110), (90, 160, 120))
    picture = np.clip(picture + rng.normal(0, 6, picture.shape), 0, 255).astype(np.uint8)
    cv2.imwrite(str(tmp_path / "one.png"), picture)
    cv2.imwrite(str(tmp_path / "mask.png"), 255 * mask)
    entry = {"file": "one.png", "marks": MARKS}
    told = {"photos": [entry | {"outline": RING}, entry | {"mask": "mask.png"}]}
    (tmp_path / TRUTHS).write_text(json.dumps(told), encoding="utf-8")
    return tmp_path


@pytest.mark.slow
def test_a_folder_is_measured_by_polygon_and_by_mask(folder: Path) -> None:
    (_, rgb, marks, by_ring), (_, _, _, by_mask) = photographs(folder)
    assert np.array_equal(by_ring, by_mask)
    figures = outline_figures(rgb, marks, RING)
    assert figures is not None
    assert figures.overlap > 0.9
    assert figures.trust > 0.6
    nothing = outline_figures(rgb, marks, np.zeros_like(by_ring))
    assert nothing is not None
    assert nothing.overlap == 0.0
    printed = report(folder, 0, 1)
    assert "| all marks | 2 |" in printed
    assert printed.count("| one.png |") == 2


@pytest.mark.parametrize("text", ["", "{}", '{"photos": [{"file": "one.png"}]}', "[1]"])
def test_a_folder_that_is_not_as_described_is_told(folder: Path, text: str) -> None:
    (folder / TRUTHS).write_text(text, encoding="utf-8")
    with pytest.raises(PhotocheckError, match="outlines"):
        report(folder, 0, 1)
