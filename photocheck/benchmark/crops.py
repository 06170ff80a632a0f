"""The crops tables: photos cut off-centre with their file's data kept, and whole ones beside them.

On the level of marks: the phantom's observation is moved into the cut picture, and what the
program knows of it is its size and its tags.  What pixels tell besides (traces of an earlier
compression, a preview, bars) is measured on the sample photos by the tests.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.benchmark.pooled import over_phantoms
from photocheck.benchmark.subjects import Subject, subject
from photocheck.benchmark.trial import Setting, photographs, view_of
from photocheck.benchmark.ways import as_readings
from photocheck.case.model import Marking, Point, Reference
from photocheck.judge.compare import compare
from photocheck.judge.estimate import estimate
from photocheck.judge.tolerances import tape_log_spread
from photocheck.phantom.scene import Observation
from photocheck.photo.photo import Framing
from photocheck.photo.whole import NAMED_FROM, framing_of
from photocheck.words import SPAN_TITLES, SPANS

Array = NDArray[np.float64]

WITHIN: Final = 2.5
"""Standard deviations within which a span is to lie."""
MARGIN: Final = 0.01
"""What owners leave round the dog and the reference, of the picture's width."""
TAKES: Final = 12
"""How often a photo is taken anew when dog and reference fill it too well to be cut."""
_PIXEL_X, _PIXEL_Y, _FOCAL_35 = 0xA002, 0xA003, 0xA405


@dataclass(frozen=True)
class Cut:
    """One way in which pictures are edited.

    Attributes
    ----------
    name : str
    share : float
        Kept of the width and of the height; 1 for a whole picture.
    free : bool
        Whether the shape changes: width and height are kept in shares that differ by up to a
        third, their product as without.
    recorded : bool
        Whether the file still says the camera's size.
    longer_px : int or None
        The longer side to which a program makes the cut picture smaller.
    blind : bool
        The program is told nothing of the cut: what the earlier one did.
    """

    name: str
    share: float = 1.0
    free: bool = False
    recorded: bool = False
    longer_px: int | None = None
    blind: bool = False


CUTS: Final = (
    Cut("whole, as saved"),
    Cut("whole, as saved, its size in the file", recorded=True),
    Cut("whole, made 1600 px wide", longer_px=1600),
    Cut("80 % of each side, shape kept", 0.8),
    Cut("65 %, shape kept", 0.65),
    Cut("50 %, shape kept", 0.5),
    Cut("80 %, any shape", 0.8, free=True),
    Cut("65 %, any shape", 0.65, free=True),
    Cut("50 %, any shape", 0.5, free=True),
    Cut("65 %, any shape, the camera's size in the file", 0.65, free=True, recorded=True),
    Cut("65 %, shape kept, made 1600 px wide: nothing tells", 0.65, longer_px=1600),
    Cut("65 %, shape kept, taken for whole", 0.65, blind=True),
)


@dataclass(frozen=True, eq=False)
class CutOutcome:
    """One phantom's photo edited in one way.

    Attributes
    ----------
    error, spread : (4,)
        ln(estimate) - ln(truth), and its stated standard deviation.
    named : bool
        Whether it was called cropped by its size and tags.
    told : bool
        Whether the fit was found not to go with the file.
    flagged : bool
        Whether correct readings (with tape noise) were.
    """

    error: Array
    spread: Array
    named: bool
    told: bool
    flagged: bool


def cut_out(
    seen: Observation, cut: Cut, rng: np.random.Generator
) -> tuple[Observation, Framing] | None:
    """An observation in the picture as edited, and its framing; None where it does not fit.

    The cut is placed anywhere where it keeps marks and reference in the picture.
    """
    whole = np.array(seen.size_px, float)
    bend = float(rng.uniform(-1.0, 1.0)) * np.log(4.0 / 3.0) / 2.0 if cut.free else 0.0
    size = np.minimum(np.rint(cut.share * whole * np.exp([bend, -bend])), whole)
    marks = np.array(list(seen.marking.marks.values()))
    needed = np.concatenate([marks, seen.points_px, seen.outline_px])
    margin = MARGIN * whole[0]
    low = np.maximum(np.ceil(needed.max(axis=0) + margin - size), 0.0)
    high = np.minimum(np.floor(needed.min(axis=0) - margin), whole - size)
    if cut.share == 1.0:
        low = high = np.zeros(2)
    if np.any(low > high):
        return None
    corner = np.floor(rng.uniform(low, high + 0.999))
    scale = 1.0 if cut.longer_px is None else cut.longer_px / float(size.max())
    made = np.rint(scale * size)
    width, height = int(made[0]), int(made[1])
    tags: dict[int, float | None] = {_FOCAL_35: seen.focal_35mm}
    if cut.recorded:
        tags |= {_PIXEL_X: int(whole[0]), _PIXEL_Y: int(whole[1])}
    framing = Framing() if cut.blind else framing_of({}, tags, (width, height))

    def points(given: Array) -> Array:
        # Pixel centres are at integers, so the scale is about (-1/2, -1/2).
        return np.asarray((given - corner + 0.5) * scale - 0.5)

    def tuples(given: tuple[Point, ...]) -> tuple[Point, ...]:
        return tuple((float(x), float(y)) for x, y in points(np.array(given).reshape(-1, 2)))

    reference: Reference = replace(
        seen.reference,
        corners=tuples(seen.reference.corners),
        ends=tuples(seen.reference.ends),
        outline=tuples(seen.reference.outline),
        near=None,
        corner_spread_px=scale * (seen.reference.corner_spread_px or 1.0),
    )
    moved = dict(zip(seen.marking.marks, tuples(tuple(seen.marking.marks.values())), strict=True))
    return (
        replace(
            seen,
            reference=reference,
            marking=Marking(moved, by="owner"),
            points_px=points(seen.points_px),
            outline_px=points(seen.outline_px),
            size_px=(width, height),
        ),
        framing,
    )


def outcome(one: Subject, cut: Cut, rng: np.random.Generator) -> CutOutcome | None:
    """What is made of one phantom's photo edited in one way."""
    for _ in range(TAKES):
        ((_, seen, _, _),) = photographs(one, Setting("crops", exif=True), rng)
        edited = cut_out(seen, cut, rng)
        if edited is not None:
            break
    else:
        return None
    seen, framing = edited
    view = view_of(seen, framing)
    found = estimate([view], [[seen.marking]], one.facts)
    tape = one.truth_mm * np.exp(rng.normal(0.0, tape_log_spread(one.truth_mm)))
    readings = as_readings(tape[None], SPANS)
    return CutOutcome(
        error=found.log_spans - np.log(one.truth_mm),
        spread=np.sqrt(np.diag(found.covariance)),
        named=framing.cut >= NAMED_FROM,
        told=bool(found.outliers),
        flagged=bool(compare(found.log_spans, found.covariance, readings).faults),
    )


def _all_cuts(seed: int, number: int) -> list[CutOutcome | None]:
    one = subject(seed, number)
    return [outcome(one, cut, np.random.default_rng([seed, number, 77])) for cut in CUTS]


def report(dogs: int, seed: int, jobs: int) -> str:
    """Run everything and lay it out as Markdown."""
    results = over_phantoms(partial(_all_cuts, seed), dogs, jobs)
    titles = [SPAN_TITLES[span] for span in SPANS]
    lines = [
        f"{dogs} phantoms, seed {seed}; shares are of each side, cut anywhere where dog and "
        "reference stay in the picture (photos that leave no such place are taken anew, up to "
        "twelve times).  Named: called cropped by size and tags alone.  Told: the fit was found "
        "not to go with the file.",
        "",
        "| picture | photos | "
        + " | ".join(f"{title}: within {WITHIN} sd %" for title in titles)
        + " | all within % | RMSE % | stated sd % | worst error % | good readings accused % "
        "| named % | told % |",
        "| --- |" + " ---: |" * (len(titles) + 8),
    ]
    for k, cut in enumerate(CUTS):
        kept = [row[k] for row in results]
        lines.append(_row(cut.name, [one for one in kept if one is not None]))
    return "\n".join(lines)


def _row(name: str, outcomes: list[CutOutcome]) -> str:
    error = np.array([o.error for o in outcomes])
    spread = np.array([o.spread for o in outcomes])
    inside = np.abs(error) <= WITHIN * spread
    each = " | ".join(f"{100 * share:.1f}" for share in inside.mean(axis=0))
    worst = float(error.ravel()[np.argmax(np.abs(error))])
    return (
        f"| {name} | {len(outcomes)} | {each} | {100 * inside.all(axis=1).mean():.1f} "
        f"| {100 * np.sqrt(np.mean(error**2)):.1f} | {100 * np.sqrt(np.mean(spread**2)):.1f} "
        f"| {100 * np.expm1(worst):+.0f} | {100 * np.mean([o.flagged for o in outcomes]):.1f} "
        f"| {100 * np.mean([o.named for o in outcomes]):.0f} "
        f"| {100 * np.mean([o.told for o in outcomes]):.1f} |"
    )
