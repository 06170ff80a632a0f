"""What a known neck width is worth to the half neck: as a number, and in a photo from the front.

Phantoms' necks differ about as much as those of bodies (`photocheck.benchmark.body_study`); the
same is told of phantoms whose shoulders and necks are widened or narrowed besides.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.benchmark.pooled import over_phantoms
from photocheck.benchmark.subjects import Subject
from photocheck.benchmark.trial import Setting, photographs, view_of
from photocheck.case.model import DogFacts, Marking
from photocheck.judge.estimate import Estimate, estimate
from photocheck.numerics import IN_95
from photocheck.phantom.facing import observe_front, random_front, true_widths
from photocheck.phantom.plan import DogPlan, random_plan
from photocheck.phantom.solid import make_dog
from photocheck.phantom.tape import tape_truth
from photocheck.words import SPANS

Array = NDArray[np.float64]

SETTING: Final = Setting(
    "Marker sheet beside the dog, marks 3 mm",
    "marker_sheet",
    "near_flank near_feet middle far_feet",
    1,
    (3.0, 3.0),
)
WAYS: Final = ("side photo alone", "width between boards", "photo from the front", "both")
MORE: Final = 0.12
"""Standard deviation of ln by which shoulders and necks are widened (judgement)."""
BOARDS_FRACTION: Final = 0.04
BOARDS_MM: Final = 6.0
"""How far off a width between boards is read, whichever is larger (the builder's judgement, not the
estimator's)."""
FRONT_CORNER_PX: Final = 0.2


def widened(plan: DogPlan, rng: np.random.Generator) -> DogPlan:
    """The same dog with broader or narrower shoulders and neck."""
    factor = float(np.exp(MORE * np.clip(rng.normal(), -2.0, 2.0)))
    p = plan.proportions
    return replace(
        plan,
        proportions=replace(
            p,
            shoulder_width=float(np.clip(p.shoulder_width * factor, 0.28, 0.58)),
            neck_across=float(np.clip(p.neck_across * factor, 0.6, 1.3)),
        ),
    )


def gains(seed: int, number: int, *, wide: bool) -> tuple[Array, float]:
    """One phantom: for each of `WAYS` the half neck's error and stated sd, (4, 2); width/chord."""
    rng = np.random.default_rng([seed, number])
    plan = random_plan(rng, posture="square")
    dog = make_dog(widened(plan, rng) if wide else plan)
    lengths = tape_truth(dog)
    one = Subject(dog, np.array([lengths[span] for span in SPANS]))
    truth = np.log(one.truth_mm[0])
    ((_, _, view, marking),) = photographs(one, SETTING, rng)
    neck = true_widths(dog).neck
    off = max(BOARDS_FRACTION, BOARDS_MM / neck)
    told = replace(one.facts, neck_width_mm=float(neck * np.exp(rng.normal(0.0, off))))
    scene = random_front(rng, dog, kind="marker_sheet")
    seen = observe_front(scene, rng, 3.0, FRONT_CORNER_PX)
    front, marks = view_of(seen), Marking(seen.marking.marks)

    def found(facts: DogFacts, ahead: bool) -> Estimate:
        views = [view, front] if ahead else [view]
        return estimate(views, [[marking], [marks]][: len(views)], facts)

    results = [found(one.facts, False), found(told, False), found(one.facts, True)]
    results.append(found(told, True))
    chord = float(np.linalg.norm(dog.tape["breastbone"] - dog.tape["shoulder_top"]))
    rows = [[r.log_spans[0] - truth, np.sqrt(r.covariance[0, 0])] for r in results]
    return np.array(rows), neck / chord


def report(dogs: int, seed: int, jobs: int) -> str:
    """Both populations as Markdown."""
    parts = []
    for wide in (False, True):
        every = over_phantoms(partial(gains, seed, wide=wide), dogs, jobs)
        rows, ratios = zip(*every, strict=True)
        parts.append(table(np.array(rows), np.array(ratios), seed, wide=wide))
    return "\n\n".join(parts)


def table(rows: Array, ratios: Array, seed: int, *, wide: bool) -> str:
    """One population, (n, 4, 2) errors and stated sds, as a Markdown table."""
    name = "Shoulders and necks widened or narrowed besides" if wide else "Phantoms as drawn"
    lines = [
        f"**{name}** ({len(rows)} dogs, seed {seed}; {SETTING.name.lower()}; width of the neck's "
        f"section over its chord {ratios.mean():.2f}, sd of ln {np.log(ratios).std():.2f})",
        "",
        "| half neck by | bias % | RMSE % | stated sd % | 95 % covers % |",
        "| --- | ---: | ---: | ---: | ---: |",
    ]
    for i, way in enumerate(WAYS):
        error, spread = rows[:, i].T
        inside = np.abs(error) <= IN_95 * spread
        lines.append(
            f"| {way} | {100 * error.mean():+.1f} | {100 * np.sqrt(np.mean(error**2)):.1f} "
            f"| {100 * np.sqrt(np.mean(spread**2)):.1f} | {100 * inside.mean():.0f} |"
        )
    return "\n".join(lines)
