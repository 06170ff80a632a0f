"""Where the doubt comes from, and what would cut it most."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.body import shape
from photocheck.case.model import Case
from photocheck.judge.estimate import OWN_SOURCES, Estimate
from photocheck.judge.untold import askable
from photocheck.judge.wording import ACTIONS, DOUBT_TITLES
from photocheck.photo.camera import FOCAL_SPREADS
from photocheck.photo.whole import NAMED_FROM
from photocheck.report.model import DoubtSource
from photocheck.scale import priors
from photocheck.scale.pose import View
from photocheck.speech import tr
from photocheck.words import SPANS, TAGS

Array = NDArray[np.float64]

# What is left of a source's variance after its action (judgement, save where computed).
_LEFT_SHARP = 0.15  # a reference four times as large in the picture, at most
_LEFT_SQUARE = 0.25
_LEFT_FOCAL = (FOCAL_SPREADS["exif 35 mm"] / priors.LOG_FOCAL_UNKNOWN) ** 2
_LEFT_FRAMING = 0.02  # the middle to 1 % instead of some 10 %, and the frame's size known
_LEFT_SIZE = 0.11  # 0.33 % instead of 1 %: half a millimetre on the 150 mm bar
# two marks 5.5 mm off per axis tell a chest 240 mm deep to 3.2 %, where the prior says 10 %
_LEFT_CHEST = 0.1
_LEFT_FRONT = 0.1
_LEFT_COAT = 0.3


def shares_of(estimate: Estimate) -> dict[str, Array]:
    """Each source's fraction of each span's variance, (4,), largest first; they sum to 1."""
    total = np.sum(list(estimate.shares.values()), axis=0)
    parts = {source: share / total for source, share in estimate.shares.items()}
    return dict(sorted(parts.items(), key=lambda item: -float(item[1].sum())))


def one_more_photo(estimate: Estimate, count: int) -> dict[str, float]:
    """Standard deviation of each span with one more photo, over today's.

    What each photo brings afresh falls as 1/n; shape and size stay.
    """
    total = np.sum(list(estimate.shares.values()), axis=0)
    own = np.sum([estimate.shares[s] for s in estimate.shares if s in OWN_SOURCES], axis=0)
    left = total - own / (count + 1.0)
    return {span: float(np.sqrt(left[i] / total[i])) for i, span in enumerate(SPANS)}


def budget(estimate: Estimate, case: Case, views: Sequence[View]) -> tuple[DoubtSource, ...]:
    """The doubt budget, largest source first, each with what would cut it."""
    actions = what_actions_leave(case, views)
    lines = []
    for source, share in shares_of(estimate).items():
        action = next((name for name, a in actions.items() if source in a.sources), "")
        lines.append(
            DoubtSource(
                source,
                tr(DOUBT_TITLES.get(source) or shape.TERM_TITLES[source]),
                {span: float(share[i]) for i, span in enumerate(SPANS)},
                tr(ACTIONS[action]) if action else "",
            )
        )
    return tuple(lines)


@dataclass(frozen=True)
class Action:
    """Something to do.

    Attributes
    ----------
    sources : tuple of str
        The sources of doubt it acts on.
    leaves : float
        What it leaves of their variance.
    fact : str
        What it tells of the dog, of `untold.askable`; then nothing is judged, as
        `Estimate.untold` has what it takes off.
    """

    sources: tuple[str, ...]
    leaves: float = 1.0
    fact: str = ""


def covariance_after(action: Action, estimate: Estimate) -> Array:
    """Of the log-spans, (4, 4), once something is done."""
    if action.fact:
        return estimate.covariance - estimate.untold[action.fact]
    own = (estimate.parts[source] for source in action.sources if source in estimate.parts)
    taken = sum(((1.0 - action.leaves) * part for part in own), np.zeros((4, 4)))
    return estimate.covariance - taken


_FACTS: Final[Mapping[str, tuple[str, ...]]] = {
    "girth": ("trunk_depth", "trunk_width", "flank_width"),
    "weight": (),
    "height": (),
    "neck_width": ("neck_width",),
    "chest_width": ("trunk_width",),
}
"""What can be told of the dog, with the sources of doubt that it is named beside; weight and
height tell of size, which is in every source."""


def what_actions_leave(case: Case, views: Sequence[View]) -> dict[str, Action]:
    """The actions still open for a case, by their key in `wording.ACTIONS`."""
    found: dict[str, Action] = {}
    sides = [photo for photo in case.photos if photo.view == "side"]
    markings = [marking for photo in sides for marking in photo.markings]
    count = len(sides)
    found["photo"] = Action(tuple(sorted(OWN_SOURCES)), count / (count + 1.0))
    if by_hand := sum(marking.by != TAGS for marking in markings):  # a tag is placed once for all
        found["marks"] = Action(("marks",), by_hand / (by_hand + 1.0))
    spread = max(view.offset.spread_mm for view in views if not view.from_front)
    if spread > priors.MEASURED_OFFSET_MM:
        found["offset"] = Action(("offset",), (priors.MEASURED_OFFSET_MM / spread) ** 2)
    if any(p.reference.kind == "marker_sheet" and p.reference.bar_mm is None for p in case.photos):
        found["size"] = Action(("size",), _LEFT_SIZE)
    if any(view.camera.focal_35mm is None for view in views):
        found["focal"] = Action(("focal",), _LEFT_FOCAL)
    if any(view.camera.framing.cut >= NAMED_FROM for view in views):
        found["framing"] = Action(("framing",), _LEFT_FRAMING)
    if any(view.seen.kind != "marker_sheet" for view in views):
        found["corners"] = Action(("corners",), _LEFT_SHARP)
    found["square"] = Action(("square", "dog_turn"), _LEFT_SQUARE)
    # one of them may be a tag, the other marked by hand
    if not {"back_top", "chest_bottom"} <= {name for m in markings for name in m.marks}:
        found["chest"] = Action(("trunk_depth", "front_turn"), _LEFT_CHEST)
    for fact in askable(case.dog):
        # a photo from the front shows the neck's width
        if fact != "neck_width" or len(sides) == len(case.photos):
            found[fact] = Action(_FACTS[fact], fact=fact)
    bent = any(m.bends.get("front_length") or "chest_bottom" in m.marks for m in markings)
    if not bent:
        found["front"] = Action(("front_turn",), _LEFT_FRONT)
    if case.dog.coat_depth_mm is None:
        found["coat"] = Action(("coat",), _LEFT_COAT)
    return found
