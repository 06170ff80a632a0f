"""Looks kept as arrays: whole, in their own numbers, the same by the same seed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from photocheck.phantom.teaching.drawn_look import BLOCK
from photocheck.train.material import Synthesis, block, read_part, synthesise


@pytest.mark.slow
def test_blocks_are_written_whole(tmp_path: Path) -> None:
    wish = Synthesis(seed=3, blocks=1, held_out=1, processes=2)
    counts = synthesise(tmp_path, tmp_path / "looks", wish)
    assert counts == {"held_out": BLOCK, "train": BLOCK}
    kept = read_part(tmp_path / "looks", "train")
    alone = block(str(tmp_path), 3, 0)
    np.testing.assert_array_equal(kept["pictures"], alone["pictures"])
    held_out = read_part(tmp_path / "looks", "held_out")
    assert (held_out["pictures"] != kept["pictures"]).any()


@pytest.mark.slow
def test_no_time_left_keeps_what_was_made(tmp_path: Path) -> None:
    wish = Synthesis(seed=3, blocks=6, held_out=0, processes=1, seconds=0.0)
    counts = synthesise(tmp_path, tmp_path / "looks", wish)
    assert BLOCK <= counts["train"] < 6 * BLOCK
    assert len(read_part(tmp_path / "looks", "train")["kinds"]) == counts["train"]
