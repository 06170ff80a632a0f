"""The weights that are shipped, on the samples: simulated dogs, so that this is no measure of how
good they are, but shows that file, facts and looks belong together.
"""

from __future__ import annotations

import json
from math import dist

import pytest

from photocheck.photo.load import load_photo
from photocheck.propose import propose
from photocheck.propose.network import FOLDER, WEIGHTS, Network
from photocheck.words import LANDMARKS
from tests.support.places import SAMPLES

MOST_BYTES = 10_000_000


@pytest.fixture(scope="module")
def shipped() -> Network:
    return Network.read()


def test_they_are_small_and_name_their_licence() -> None:
    assert (FOLDER / WEIGHTS).stat().st_size <= MOST_BYTES
    assert (FOLDER / "CARD.md").read_text(encoding="utf-8")
    assert "Apache" in (FOLDER / "LICENSE-backbone.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("sample", ["bramble", "flint", "moss", "sorrel", "teasel"])
def test_a_samples_dog_is_found_and_its_marks_are_near(shipped: Network, sample: str) -> None:
    told = json.loads((SAMPLES / sample / "truth.json").read_text(encoding="utf-8"))
    truth = told["photos"][0]["landmarks_px"]
    proposal = propose(load_photo(SAMPLES / sample / "side.jpg"), shipped)
    assert proposal.kind == "side_on"
    assert not proposal.refused
    right = truth["breastbone"][0] > truth["tail_base"][0]
    assert proposal.facing == ("right" if right else "left")
    trunk = dist(truth["breastbone"], truth["tail_base"])
    assert set(proposal.needed) == set(LANDMARKS)
    for name, xy in proposal.needed.items():
        assert dist(xy, truth[name]) < 0.12 * trunk, name
    assert proposal.frame is not None
    left, top, right_edge, bottom = proposal.frame
    for x, y in (truth[name] for name in LANDMARKS):
        assert left < x < right_edge
        assert top < y < bottom


def test_a_dog_from_the_front_is_not_proposed_for(shipped: Network) -> None:
    assert not propose(load_photo(SAMPLES / "wren" / "front.jpg"), shipped).marks
