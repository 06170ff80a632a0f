"""Whether proposals draw marks after them: slips caught with marks by hand, and with anchored ones.

Proposals are planted wrong, each mark in a direction of its own; owners see where it should be and
correct only a part of the way.  The same phantoms, cameras, hands and tapes throughout.  Nothing is
rendered and no network looks: what is measured is what a wrong proposal would do.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np

from photocheck.benchmark.pooled import over_phantoms
from photocheck.benchmark.subjects import Subject, subject
from photocheck.benchmark.trial import CORNER_PX, view_of
from photocheck.benchmark.ways import Manner, MannerOutcome, four_cells, hands, outcome
from photocheck.body.shape import MARK_SPREAD_MM
from photocheck.case.model import Marking, Point
from photocheck.judge.tolerances import SHIPPED
from photocheck.phantom.scene import observe, random_scene
from photocheck.scale.pose import View
from photocheck.words import LANDMARKS, READINGS

PLANTED: Final = (0.03, 0.06)
"""How far off proposals are, of the trunk (breastbone to tail base): anywhere in this range."""


@dataclass(frozen=True)
class Anchoring:
    """How owners deal with what is proposed.

    Attributes
    ----------
    name : str
    corrected : float or None
        Part of the way that they correct it; None where nothing is proposed.
    """

    name: str
    corrected: float | None


OWNERS: Final = (
    Anchoring("by hand", None),
    Anchoring("proposed wrongly, corrected half of the way", 0.5),
    Anchoring("proposed wrongly, confirmed as it is", 0.0),
)

MANNERS: Final = (
    Manner("each reading once, the ring", ring=True),
    Manner("each reading twice, the ring, girth, weight and chest", 1, 2, True, True),
)


def outcomes(seed: int, number: int) -> list[list[MannerOutcome]]:
    """Every kind of owner, in every manner, for one phantom."""
    one = subject(seed, number)
    rng = np.random.default_rng([seed, number, 91])
    view, by_hand, proposed = _photo(one, rng)
    tape = hands(one.truth_mm, rng)
    sign = float(rng.choice([-1.0, 1.0]))
    found = []
    for owner in OWNERS:
        marks = dict(by_hand)
        if owner.corrected is not None:
            for name in LANDMARKS:
                marks[name] = _between(proposed[name], by_hand[name], owner.corrected)
        shot = (view, Marking(marks))
        found.append([outcome(one, way, [shot], shot, tape, sign) for way in MANNERS])
    return found


def _photo(
    one: Subject, rng: np.random.Generator
) -> tuple[View, Mapping[str, Point], Mapping[str, Point]]:
    """A photo with a marker sheet: the view, where hands mark, and where is proposed."""
    place = str(rng.choice(["near_flank", "near_feet", "middle", "far_feet"]))
    scene = random_scene(rng, dog=one.dog, kind="marker_sheet", place=place)
    seen = observe(scene, rng, MARK_SPREAD_MM, CORNER_PX[scene.reference.form])
    true = {name: np.array(scene.landmarks_px[name]) for name in LANDMARKS}
    trunk = float(np.linalg.norm(true["breastbone"] - true["tail_base"]))
    proposed = {}
    for name, xy in true.items():
        far, turn = rng.uniform(*PLANTED) * trunk, rng.uniform(0.0, 2.0 * np.pi)
        x, y = xy + far * np.array([np.cos(turn), np.sin(turn)])
        proposed[name] = float(x), float(y)
    return view_of(seen), seen.marking.marks, proposed


def _between(start: Point, end: Point, share: float) -> Point:
    return start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])


def report(dogs: int, seed: int, jobs: int) -> str:
    """Every kind of owner over so many phantoms, as Markdown."""
    rows = over_phantoms(partial(outcomes, seed), dogs, jobs)
    shares = " / ".join(f"{100 * SHIPPED[name]:.0f}" for name in READINGS)
    low, high = (100 * share for share in PLANTED)
    lines = [
        f"{dogs} phantoms, seed {seed}, one photo with a marker sheet; hands are "
        f"{MARK_SPREAD_MM:g} mm off per axis, proposals {low:.0f} to {high:.0f} % of the trunk. "
        f"One reading off by the tolerance ({shares} %): flagged, per cent; standard errors of "
        "the mean over readings in brackets.",
        "",
        "| readings | marks | off: flagged | mean | good orders flagged | good orders agree "
        "| RMSE, % |",
        "| --- | --- | ---: | ---: | ---: | ---: | ---: |",
    ]
    for k, way in enumerate(MANNERS):
        for j, owner in enumerate(OWNERS):
            these = [row[j][k] for row in rows]
            lines.append(f"| {way.name} | {owner.name} | {' | '.join(_cells(these))} |")
    return "\n".join(lines)


def _cells(these: list[MannerOutcome]) -> tuple[str, ...]:
    seen = np.array([one.off_seen for one in these], float)
    each = seen.mean(axis=1)
    error = np.array([one.error for one in these])
    return (
        four_cells(100 * seen.mean(axis=0), ".0f"),
        f"{100 * each.mean():.1f} ({100 * each.std() / np.sqrt(len(each)):.1f})",
        f"{100 * np.mean([one.flagged for one in these]):.1f}",
        f"{100 * np.mean([one.agrees for one in these]):.0f}",
        four_cells(100 * np.sqrt(np.mean(error**2, axis=0)), ".1f"),
    )
