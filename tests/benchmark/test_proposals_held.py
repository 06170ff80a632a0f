"""Proposals against a folder's truth: errors as worked by hand, and nothing of no dog."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from photocheck.benchmark.proposals_held import (
    HeldProposal,
    held,
    of_folder,
    report,
    simulated,
    tables,
)
from photocheck.errors import CaseError
from photocheck.schemas.published import fits
from photocheck.words import LANDMARKS
from tests.support.dots import Dots, dotted

PLACES = ((300.0, 520.0), (420.0, 330.0), (640.0, 480.0), (820.0, 350.0))
DOG = dict(zip(LANDMARKS, PLACES, strict=True)) | {"nose": (200.0, 300.0)}


def folder(path: Path, moved_px: float = 0.0) -> Path:
    Image.fromarray(dotted(DOG).rgb).save(path / "dog.png")
    Image.fromarray(dotted({}).rgb).save(path / "none.png")
    marks = {name: list(DOG[name]) for name in LANDMARKS}
    marks["last_rib"][0] += moved_px
    photos = [
        {"file": "dog.png", "dogs": [{"marks": marks}]},
        {"file": "none.png", "side_on": False},
    ]
    truths = {"format": "photocheck-photographs/1", "photos": photos}
    assert fits(truths, "photographs")
    (path / "truth.json").write_text(json.dumps(truths), encoding="utf-8")
    return path


@pytest.mark.slow
def test_a_folder_is_read(tmp_path: Path) -> None:
    dog, none = of_folder(folder(tmp_path))
    assert dog.side_on
    assert dog.facing == "left"
    assert dog.trunk == pytest.approx((520**2 + 170**2) ** 0.5)  # Pythagoras
    assert not none.side_on
    assert not none.marks


def test_what_is_seen_where_it_is_has_no_error(tmp_path: Path) -> None:
    (seen,) = held(list(of_folder(folder(tmp_path)))[:1], Dots())
    assert seen.proposed
    assert seen.facing_right
    assert seen.shown == set(LANDMARKS)
    assert max(seen.errors.values()) < 1.0


@pytest.mark.slow
def test_an_error_is_told_in_per_cent_of_the_trunk(tmp_path: Path) -> None:
    (seen,) = held(list(of_folder(folder(tmp_path, 54.7)))[:1], Dots())
    # 54.7 px of a trunk of 547.1
    assert seen.errors["last_rib"] == pytest.approx(10.0, abs=1.0)


@pytest.mark.slow
def test_the_tables_of_a_folder(tmp_path: Path) -> None:
    told = report(folder(tmp_path), Dots())
    assert told.startswith("2 photographs; 1 with a dog from the side.")
    assert "| dogs from the side: something proposed | 100.0 % | 1 |" in told
    assert "| facing right | 100.0 % | 1 |" in told


def test_of_another_kind_nothing_counts_as_proposed(tmp_path: Path) -> None:
    told = report(folder(tmp_path), Dots(kind="no_dog"))
    assert "| dogs from the side: something proposed | 0.0 % | 1 |" in told
    assert "| no dog from the side: nothing proposed | 100.0 % | 1 |" in told


def test_figures_worked_by_hand() -> None:
    marks = {"breastbone": 4.0, "shoulder_top": 8.0, "last_rib": 12.0, "tail_base": 24.0}
    sure = {"breastbone": 0.9, "shoulder_top": 0.7, "last_rib": 0.5, "tail_base": 0.3}
    one = HeldProposal("a", True, True, False, True, marks, sure, frozenset({"breastbone"}))
    told = tables([one], "photographs")
    assert "| all four | 4 | 10.0 | 16.8 | 50.0 % | 25.0 % |" in told
    assert "| of those shown | 1 | 4.0 | 4.0 | 100.0 % | 0.0 % |" in told
    assert "| 0.8 to 1.0 | 1 | 90 % | 100 % |" in told
    assert "| 0.0 to 0.2 | 0 | - | - |" in told


def test_without_a_truth_nothing_is_measured(tmp_path: Path) -> None:
    with pytest.raises(CaseError):
        report(tmp_path, Dots())


@pytest.mark.slow
def test_simulated_photographs_come_with_their_truth() -> None:
    photos = [photo for photo, _ in zip(simulated(1, None), range(6), strict=False)]
    for photo in photos:
        assert photo.side_on == photo.name.endswith("side_on")
        if photo.marks:
            assert photo.trunk > 20
