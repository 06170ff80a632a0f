"""One phantom, its photos, and what each method makes of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photocheck.benchmark.bound import Bound, BoundPhoto, bound_of
from photocheck.benchmark.subjects import Subject
from photocheck.case.model import Marking, Reading
from photocheck.judge.compare import compare
from photocheck.judge.estimate import Estimate, estimate
from photocheck.judge.tolerances import tape_log_spread
from photocheck.phantom.scene import Observation, observe, random_scene
from photocheck.photo.camera import FOCAL_SPREADS
from photocheck.photo.photo import WHOLE, CameraFacts, Framing
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.markers import print_scale
from photocheck.scale.pose import View
from photocheck.scale.priors import offset_prior
from photocheck.scale.seen import ReferenceSeen
from photocheck.words import READINGS, SPAN_ENDS, SPANS

Array = NDArray[np.float64]

CORNER_PX = {"markers": 0.2, "rectangle": 0.4, "points": 1.0, "disc": 0.5, "ball": 1.0}
"""Noise of a reference's points per axis, px: what the detectors of `photocheck.scale` reach on
rendered photos of ordinary sharpness, with some room; two points are set by hand."""


@dataclass(frozen=True)
class Setting:
    """What a set of trials has in common; None draws at random.

    `place` may name several places, one of which is drawn each time.

    `photos` photos of each dog, each marked once with `mark_sd_mm` (a range);
    `corner_px` replaces the detector's noise; `careless` owners hold the camera at any
    height and measure no distance to a wall; `exif` says whether files tell the focal length.
    """

    name: str
    kind: str | None = None
    place: str | None = None
    photos: int = 1
    mark_sd_mm: tuple[float, float] = (3.0, 8.0)
    corner_px: float | None = None
    careless: bool = False
    exif: bool | None = None


@dataclass(frozen=True, eq=False)
class TrialOutcome:
    """Logarithms and flags of one trial.

    Attributes
    ----------
    error, spread, naive : (4,)
        ln(estimate) - ln(truth); its stated standard deviation; ln(ruler) - ln(truth).
    bound : Bound
    good_flagged : bool
        Whether correct readings (with tape noise) were flagged.
    good_told : bool
        Whether they were called neither doubtful nor undecidable.
    ring_flagged, ring_told : bool
        The same where the neck ring was read as well.
    off_flagged, off_passed : (4, 2) bool
        Whether one reading 25 % short or long was flagged; whether all was said to agree.
    """

    error: Array
    spread: Array
    naive: Array
    bound: Bound
    good_flagged: bool
    good_told: bool
    ring_flagged: bool
    ring_told: bool
    off_flagged: NDArray[np.bool_]
    off_passed: NDArray[np.bool_]


def view_of(seen: Observation, framing: Framing = WHOLE) -> View:
    """An observation as the scale stage would hand it on."""
    kind = seen.reference.kind
    factor, spread = 1.0, REFERENCES[kind].size_spread
    if REFERENCES[kind].form == "markers":
        factor, spread = print_scale(seen.reference.bar_mm)
    told = CameraFacts(None, "prior", framing=framing)
    if seen.focal_35mm:
        source = "exif 35 mm"
        told = CameraFacts(seen.focal_35mm, source, focal_spread=FOCAL_SPREADS[source])
        told = replace(told, framing=framing)
    return View(
        seen.size_px,
        told,
        ReferenceSeen(
            kind,
            "marked",
            seen.points_mm,
            seen.points_px,
            seen.reference.corner_spread_px or 1.0,
            spread,
            factor,
            seen.outline_px,
            seen.reference.diameter_mm,
        ),
        offset_prior(seen.reference),
    )


def ruler(seen: Observation) -> Array:
    """The naive pixel ruler: picture distance times mm per px at the reference, (4,), ln mm."""
    if len(seen.outline_px):
        wide = np.ptp(seen.outline_px, axis=0).mean()
        mm_per_px = (seen.reference.diameter_mm or 0.0) / wide
    else:
        flat = seen.points_mm - seen.points_mm.mean(axis=0)
        spread = seen.points_px - seen.points_px.mean(axis=0)
        mm_per_px = float(np.sqrt(np.sum(flat**2) / np.sum(spread**2)))
    marks = {name: np.array(xy) for name, xy in seen.marking.marks.items()}
    parts = [np.linalg.norm(marks[b] - marks[a]) for a, b in (SPAN_ENDS[s] for s in SPANS[:3])]
    return np.asarray(np.log(mm_per_px * np.array([*parts, parts[1] + parts[2]])))


def photographs(
    one: Subject, setting: Setting, rng: np.random.Generator
) -> Iterator[tuple[BoundPhoto, Observation, View, Marking]]:
    """The photos of one phantom by a setting, each marked once."""
    for _ in range(setting.photos):
        place = setting.place and str(rng.choice(setting.place.split()))
        scene = random_scene(
            rng,
            dog=one.dog,
            kind=setting.kind,
            place=place,
            careless=setting.careless,
            exif=setting.exif,
        )
        noise = float(rng.uniform(*setting.mark_sd_mm))
        corner = setting.corner_px or CORNER_PX[scene.reference.form]
        seen = observe(scene, rng, noise, corner, helpers=False)
        # nobody tells the program how carefully the marks were placed
        marking = Marking(seen.marking.marks, by="owner")
        yield BoundPhoto(scene, noise, corner), seen, view_of(seen), marking


def estimated(one: Subject, setting: Setting, rng: np.random.Generator) -> Estimate:
    """What the program makes of one phantom photographed by a setting."""
    shots = list(photographs(one, setting, rng))
    views = [view for _, _, view, _ in shots]
    return estimate(views, [[marking] for *_, marking in shots], one.facts)


def run(one: Subject, setting: Setting, rng: np.random.Generator) -> TrialOutcome:
    """Photograph one phantom by a setting and hold every method against its tape truth."""
    looks, views, markings, rulers = [], [], [], []
    for look, seen, view, marking in photographs(one, setting, rng):
        looks.append(look)
        views.append(view)
        markings.append([marking])
        rulers.append(ruler(seen))
    truth = np.log(one.truth_mm)
    found = estimate(views, markings, one.facts)
    good, ringed, off, passed = _orders(found.log_spans, found.covariance, one.truth_mm, rng)
    return TrialOutcome(
        error=found.log_spans - truth,
        spread=np.sqrt(np.diag(found.covariance)),
        naive=np.mean(rulers, axis=0) - truth,
        bound=bound_of(looks),
        good_flagged=good[0],
        good_told=good[1],
        ring_flagged=ringed[0],
        ring_told=ringed[1],
        off_flagged=off,
        off_passed=passed,
    )


def _orders(
    log_spans: Array, covariance: Array, truth_mm: Array, rng: np.random.Generator
) -> tuple[tuple[bool, bool], tuple[bool, bool], NDArray[np.bool_], NDArray[np.bool_]]:
    """A good order with tape noise, with its ring, and with one reading a quarter off."""
    tape = truth_mm * np.exp(rng.normal(0.0, tape_log_spread(truth_mm)))

    def verdict(values: Array) -> tuple[bool, bool]:
        readings = {
            name: Reading(float(mm), f"{mm:.0f} mm", "cm")
            for name, mm in zip(READINGS, values, strict=False)  # the ring comes last
        }
        outcome = compare(log_spans, covariance, readings)
        return bool(outcome.faults), outcome.agrees

    ring = 2.0 * truth_mm[SPANS.index("half_neck")]
    ring = ring * np.exp(rng.normal(0.0, tape_log_spread(ring)))
    off, passed = np.zeros((4, 2), bool), np.zeros((4, 2), bool)
    for i in range(4):
        for j, factor in enumerate((0.75, 1.25)):
            values = tape.copy()
            values[i] *= factor
            off[i, j], passed[i, j] = verdict(values)
    return verdict(tape), verdict(np.append(tape, ring)), off, passed
