"""What is proposed for one photo."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from photocheck.case.model import Point
from photocheck.words import LANDMARKS

Square = tuple[tuple[float, float], tuple[float, float]]
"""A symmetric 2 x 2 matrix."""

SIDE_ON: Final = "side_on"
"""The kind of photo that is asked for: one dog that stands with its side to the camera."""

UNSURE: Final = "unsure"
"""Why nothing is proposed where the photo may be right, and its places are not seen well enough."""


@dataclass(frozen=True)
class ProposedMark:
    """Where a point of the dog seems to be.

    Attributes
    ----------
    xy : Point
        Px of the upright photo.
    covariance : ((float, float), (float, float))
        Of the place, px squared, by what the confidence was worth on photos of known truth.
    confidence : float
        Calibrated probability that it lies within 5 % of the trunk's length of the true point.
    """

    xy: Point
    covariance: Square
    confidence: float


@dataclass(frozen=True)
class Proposal:
    """What is proposed for one photo; nothing of it is a mark before a person says so.

    Attributes
    ----------
    marks : mapping of landmark name to ProposedMark
        Only those that are sure enough to be shown, in the order of `photocheck.words.LANDMARKS`
        and, behind these, of the helpers.
    feet : mapping of name to ProposedMark
        ``near_front_foot``, ``near_hind_foot``, ``far_front_foot``, ``far_hind_foot`` and ``nose``
        where sure enough; they are drawn and counted, and asked of nobody.
    frame : (float, float, float, float) or None
        Left, top, right and bottom of the dog, px; None without one.
    facing : str
        "left" or "right" as seen in the photo; empty where it cannot be told.
    kind : str
        What the photo most probably shows: `SIDE_ON`, or a key of
        `photocheck.propose.why_none.KINDS`; empty where nothing was looked at.
    probability : float
        Of that kind.
    why_none : str
        Why nothing is proposed: a kind, or `UNSURE`; empty where something is.
    refused : bool
        Whether the photo is so probably of another kind that its owner should be told.
    """

    marks: Mapping[str, ProposedMark] = field(default_factory=dict)
    feet: Mapping[str, ProposedMark] = field(default_factory=dict)
    frame: tuple[float, float, float, float] | None = None
    facing: str = ""
    kind: str = ""
    probability: float = 0.0
    why_none: str = ""
    refused: bool = False

    @property
    def needed(self) -> dict[str, Point]:
        """Where the marks that every check needs are proposed, px."""
        return {name: self.marks[name].xy for name in LANDMARKS if name in self.marks}

    def unlike(self, confirmed: Collection[str]) -> dict[str, ProposedMark]:
        """What may speak for or against marks: all but what was confirmed as it is proposed."""
        return {name: mark for name, mark in self.marks.items() if name not in confirmed}


NOTHING: Final = Proposal(why_none=UNSURE)
"""Of a photo that was not looked at."""


def proposal_to_dict(proposal: Proposal) -> dict[str, Any]:
    """A proposal for JSON: px of the upright photo, x to the right and y down."""
    return {
        "marks": {name: _mark(mark) for name, mark in proposal.marks.items()},
        "feet": {name: _mark(mark) for name, mark in proposal.feet.items()},
        "frame": None if proposal.frame is None else list(proposal.frame),
        "facing": proposal.facing,
        "kind": proposal.kind,
        "probability": proposal.probability,
        "why_none": proposal.why_none,
        "refused": proposal.refused,
    }


def _mark(mark: ProposedMark) -> dict[str, Any]:
    return {
        "at": list(mark.xy),
        "covariance": [list(row) for row in mark.covariance],
        "confidence": mark.confidence,
    }
