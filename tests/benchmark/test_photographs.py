from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image

from photocheck.benchmark.photographs import read_truths, report
from photocheck.errors import CaseError
from photocheck.schemas.published import fits


def _folder(tmp_path, **more):
    picture = np.full((300, 420, 3), 70, np.uint8)
    picture[60:240, 80:335] = 215  # a sheet at 0.86 px/mm
    random = np.random.default_rng(0)
    noisy = np.clip(picture + random.normal(0, 2, picture.shape), 0, 255).astype(np.uint8)
    Image.fromarray(noisy).save(tmp_path / "sheet.png")
    corners = [[79.5, 59.5], [334.5, 59.5], [334.5, 239.5], [79.5, 239.5]]
    entry = {
        "file": "sheet.png",
        "source": "drawn here",
        "references": [{"kind": "a4", "corners": corners}],
        "nothing": [[20.0, 20.0]],
        **more,
    }
    truths = {"format": "photocheck-photographs/1", "photos": [entry]}
    (tmp_path / "truth.json").write_text(json.dumps(truths), encoding="utf-8")
    return truths


@pytest.mark.slow
def test_a_folder_is_read_and_judged(tmp_path):
    truths = _folder(tmp_path)
    assert fits(truths, "photographs")
    assert read_truths(tmp_path) == truths
    told = report(tmp_path, 1)
    assert "| sheets by itself | 4 | 100 % | 0 % | 0 % | 100 % |" in told
    assert "| right kind first, no kind named | 100.0 % | 1 |" in told
    assert "| something found where nothing is | 0.0 % | 2 |" in told


def test_what_breaks_the_schema_is_told(tmp_path):
    _folder(tmp_path, references=[{"kind": "coin"}])
    with pytest.raises(CaseError, match="coin"):
        read_truths(tmp_path)
