"""Marks held against what is proposed for the same photo: a reason to look, and never a mark."""

from __future__ import annotations

from collections.abc import Mapping
from math import hypot, log
from typing import Final

from photocheck.body.shape import MARK_SPREAD_MM
from photocheck.case.lengths import format_length
from photocheck.case.model import Point
from photocheck.judge.expected_marks import deviations
from photocheck.orders.draft import DraftMarking
from photocheck.propose.proposal import Proposal
from photocheck.speech import tr
from photocheck.words import LANDMARK_TITLES, TAGS, by_whom

BY_CHANCE: Final = 0.01
"""How often a mark that is right lies further off than what is told, where the proposal's spread
is what it says."""
FURTHEST: Final = -2.0 * log(BY_CHANCE)
"""Square of such a distance in standard deviations: chi-squared of two degrees of freedom is an
exponential distribution."""


def far_off(
    marks: Mapping[str, Point], proposal: Proposal, px_per_mm: float
) -> dict[str, tuple[float, float]]:
    """Which marks lie beyond their own spread and the proposal's together.

    Parameters
    ----------
    marks : mapping of landmark name to Point
        Px of the upright photo.
    proposal : Proposal
        Of the same photo.
    px_per_mm : float
        On the dog.

    Returns
    -------
    mapping of landmark name to (float, float)
        How far off, mm, and in standard deviations; furthest first.
    """
    found = {}
    for name, proposed in proposal.marks.items():
        if name in marks:
            far = deviations(marks[name], proposed, MARK_SPREAD_MM * px_per_mm)
            if far**2 > FURTHEST:
                (x, y), (x0, y0) = marks[name], proposed.xy
                found[name] = hypot(x - x0, y - y0) / px_per_mm, far
    return dict(sorted(found.items(), key=lambda item: -item[1][1]))


def unlike_sentences(
    marking: DraftMarking, proposal: Proposal, px_per_mm: float, unit: str
) -> tuple[str, ...]:
    """A sentence for each mark that lies beyond what its proposal leaves open.

    What was confirmed as proposed, and what tags place, is not judged.

    Parameters
    ----------
    marking : DraftMarking
    proposal : Proposal
    px_per_mm : float
        On the dog; 0 where that is not known, and nothing is told then.
    unit : str
        "cm" or "in".
    """
    if marking.by == TAGS or not px_per_mm > 0.0:
        return ()
    own = {name: xy for name, xy in marking.marks.items() if name not in marking.confirmed}
    who = marking.marker
    who = by_whom(who)
    return tuple(
        tr(
            "The {landmark} as marked by {who} lies {gap} from where it would be expected: look.",
            landmark=tr(LANDMARK_TITLES[name]),
            who=who,
            gap=format_length(gap, unit),
        )
        for name, (gap, _) in far_off(own, proposal, px_per_mm).items()
    )
