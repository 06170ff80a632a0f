"""Where the doubt comes from, and what would cut it most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photocheck.body import shape
from photocheck.case.model import Case
from photocheck.judge.estimate import OWN_SOURCES, Estimate
from photocheck.judge.wording import ACTIONS, DOUBT_TITLES
from photocheck.photo.camera import FOCAL_SPREADS
from photocheck.photo.whole import NAMED_FROM
from photocheck.report.model import DoubtSource
from photocheck.scale import priors
from photocheck.scale.pose import View
from photocheck.speech import tr
from photocheck.words import SPANS

Array = NDArray[np.float64]

# What is left of a source's variance after its action (judgement, save where computed).
_LEFT_SHARP = 0.15  # a reference four times as large in the picture, at most
_LEFT_SQUARE = 0.25
_LEFT_FOCAL = (FOCAL_SPREADS["exif 35 mm"] / priors.LOG_FOCAL_UNKNOWN) ** 2
_LEFT_FRAMING = 0.02  # the middle to 1 % instead of some 10 %, and the frame's size known
_LEFT_SIZE = 0.11  # 0.33 % instead of 1 %: half a millimetre on the 150 mm bar
_LEFT_TRUNK = 0.35
# two marks 5.5 mm off per axis tell a chest 240 mm deep to 3.2 %, where the prior says 10 %
_LEFT_CHEST = 0.1
# the prior of ln(width) against boards 8 mm off on a neck of 120 mm, 10 mm on a chest of 200
_LEFT_NECK_WIDTH = 1.0 / (1.0 + (shape.NECK_WIDTH_OVER_CHORD.log_spread * 120.0 / 8.0) ** 2)
_LEFT_CHEST_WIDTH = 1.0 / (
    1.0 + (shape.TRUNK_WIDTH_OVER_DEPTH["unknown"].log_spread * 200.0 / 10.0) ** 2
)
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
    """Something to do: the sources of doubt it acts on, what it leaves of their variance."""

    sources: tuple[str, ...]
    leaves: float


def what_actions_leave(case: Case, views: Sequence[View]) -> dict[str, Action]:
    """The actions still open for a case, by their key in `wording.ACTIONS`."""
    found: dict[str, Action] = {}
    sides = [photo for photo in case.photos if photo.view == "side"]
    markings = [marking for photo in sides for marking in photo.markings]
    count = len(sides)
    found["photo"] = Action(tuple(sorted(OWN_SOURCES)), count / (count + 1.0))
    found["marks"] = Action(("marks",), len(markings) / (len(markings) + 1.0))
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
    if not any({"back_top", "chest_bottom"} <= set(m.marks) for m in markings):
        found["chest"] = Action(("trunk_depth", "front_turn"), _LEFT_CHEST)
    if case.dog.girth_mm is None:
        found["trunk"] = Action(("trunk_depth", "trunk_width", "flank_width"), _LEFT_TRUNK)
    if case.dog.neck_width_mm is None and len(sides) == len(case.photos):
        found["neck_width"] = Action(("neck_width",), _LEFT_NECK_WIDTH)
    if case.dog.chest_width_mm is None:
        found["chest_width"] = Action(("trunk_width",), _LEFT_CHEST_WIDTH)
    bent = any(m.bends.get("front_length") or "chest_bottom" in m.marks for m in markings)
    if not bent:
        found["front"] = Action(("front_turn",), _LEFT_FRONT)
    if case.dog.coat_depth_mm is None:
        found["coat"] = Action(("coat",), _LEFT_COAT)
    return found
