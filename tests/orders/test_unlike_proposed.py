"""Marks held against a proposal: told beyond what both leave open, and as often as said."""

from __future__ import annotations

import numpy as np
import pytest

from photocheck.body.shape import MARK_SPREAD_MM
from photocheck.orders.draft import DraftMarking
from photocheck.orders.unlike_proposed import BY_CHANCE, far_off, unlike_sentences
from photocheck.propose.proposal import Proposal, ProposedMark

PX_PER_MM = 0.8
SD = 20.0
AT = {"breastbone": (100.0, 400.0), "last_rib": (500.0, 350.0)}
PROPOSAL = Proposal(
    {name: ProposedMark(xy, ((SD**2, 0.0), (0.0, SD**2)), 0.9) for name, xy in AT.items()}
)


def marked(**moved: tuple[float, float]) -> DraftMarking:
    return DraftMarking({**AT, **moved}, by="owner")


def test_nine_centimetres_are_told() -> None:
    said = unlike_sentences(marked(last_rib=(572.0, 350.0)), PROPOSAL, PX_PER_MM, "cm")
    (one,) = said
    assert one.startswith("The last rib as marked by owner lies 9.0 cm from where")
    (inches,) = unlike_sentences(marked(last_rib=(572.0, 350.0)), PROPOSAL, PX_PER_MM, "in")
    assert "3 1/2 in" in inches


def test_what_both_spreads_leave_open_is_not_told() -> None:
    assert not unlike_sentences(marked(last_rib=(540.0, 370.0)), PROPOSAL, PX_PER_MM, "cm")


def test_right_marks_are_told_as_seldom_as_said() -> None:
    """Simulated: proposal and mark each off by their own spread (chi-squared, two degrees)."""
    rng = np.random.default_rng(7)
    own = MARK_SPREAD_MM * PX_PER_MM
    off = rng.normal(0.0, SD, (4000, 2)) + rng.normal(0.0, own, (4000, 2))
    told = [
        bool(far_off({"last_rib": (500.0 + x, 350.0 + y)}, PROPOSAL, PX_PER_MM)) for x, y in off
    ]
    assert np.mean(told) == pytest.approx(BY_CHANCE, abs=0.006)


def test_the_furthest_stands_first_and_only_what_was_proposed_counts() -> None:
    far = far_off(
        {"breastbone": (180.0, 400.0), "last_rib": (640.0, 350.0), "tail_base": (0.0, 0.0)},
        PROPOSAL,
        PX_PER_MM,
    )
    assert list(far) == ["last_rib", "breastbone"]
    assert far["last_rib"][0] == pytest.approx(140.0 / PX_PER_MM)


@pytest.mark.parametrize(
    ("marking", "scale"),
    [
        (DraftMarking({"last_rib": (640.0, 350.0)}, by="tags"), PX_PER_MM),
        (DraftMarking({"last_rib": (640.0, 350.0)}, confirmed=("last_rib",)), PX_PER_MM),
        (DraftMarking({"last_rib": (640.0, 350.0)}), 0.0),
        (DraftMarking({"last_rib": (640.0, 350.0)}), float("nan")),
    ],
    ids=["tags", "confirmed", "no scale", "no number"],
)
def test_of_what_nothing_is_told(marking: DraftMarking, scale: float) -> None:
    assert not unlike_sentences(marking, PROPOSAL, scale, "cm")
