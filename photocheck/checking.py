"""The whole job in one call: photos and readings in, a report out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from photocheck.body.shape import SHIPPED
from photocheck.case.model import Case, Marking, PhotoEntry, Point
from photocheck.errors import CaseError
from photocheck.judge import tolerances, wording
from photocheck.judge.budget import budget, one_more_photo
from photocheck.judge.compare import Comparison, compare
from photocheck.judge.estimate import Estimate, estimate
from photocheck.judge.explain import Posterior, discrepancy_of, explanations_of, rank, told
from photocheck.judge.ratios import Ratios
from photocheck.judge.standing import Standing, stance_evidence
from photocheck.judge.standing import standing as standing_in
from photocheck.judge.steps import next_step
from photocheck.photo.framing import photo_remarks
from photocheck.photo.load import load_photo
from photocheck.photo.photo import Photo
from photocheck.report.model import Explanation, PhotoResult, Report, SpanResult, StanceFinding
from photocheck.scale.find import see_reference
from photocheck.scale.lens import straighten
from photocheck.scale.pose import View
from photocheck.scale.priors import offset_prior
from photocheck.speech import tr
from photocheck.version import program
from photocheck.words import (
    ALL_LANDMARKS,
    BENDABLE_SPANS,
    BUILDS,
    COATS,
    LANDMARK_TITLES,
    LANDMARKS,
    NECK_RING,
    SPAN_TITLES,
    SPANS,
    UNITS,
)

Array = NDArray[np.float64]

_About = tuple[Callable[[], Photo], tuple[str, ...]]
"""A photo when it is asked for, and what was remarked on it."""

MARKS_APART_PX = 3.0
"""Two landmarks nearer than this are one mark set twice."""
MOST_PHOTOS = 12
"""More photos than this bring nothing and only take time (judgement)."""


def check(
    case: Case,
    *,
    false_alarms: float = tolerances.FALSE_ALARMS,
    photos: Mapping[str, Photo] | None = None,
    on_photo: Callable[[int], None] | None = None,
    ratios: Ratios | None = None,
) -> Report:
    """Check one order.

    Parameters
    ----------
    case : Case
    false_alarms : float
        Share of good orders that may be flagged, between 0.0001 and 0.5.
    photos : mapping of path to Photo, optional
        Photos already loaded; others are read from their path.  Each is asked for again where
        it is needed and let go in between, so that a mapping that decodes what it is asked for
        need not have all of them in memory.
    on_photo : callable, optional
        Called with the number of photos seen so far, for progress bars.
    ratios : Ratios, optional
        What the shop has learnt (`photocheck.judge.ratios.read_ratios`); the version in use
        is named in the report.

    Returns
    -------
    Report

    Raises
    ------
    CaseError
        When the case cannot be used: no photo, a landmark missing, a mark outside the
        picture, an unknown word.
    PhotoError
        When a photo cannot be read.
    ScaleError
        When the reference cannot be found or fitted.
    """
    validate(case)
    if not 1e-4 <= false_alarms <= 0.5:
        raise CaseError(
            tr(
                "a false-alarm budget of {false_alarms:g} is outside 0.0001 to 0.5",
                false_alarms=false_alarms,
            ),
            do=tr("Give the share of good orders that may be flagged, 0.02 for example"),
        )
    views: list[View] = []
    markings: list[tuple[Marking, ...]] = []
    about: list[_About] = []
    for number, entry in enumerate(case.photos):
        photo = _photo_of(entry, photos or {})
        view, straight, remarks = look_at(photo(), entry)
        views.append(view)
        markings.append(straight)
        about.append((photo, remarks))
        if on_photo:
            on_photo(number + 1)
    learnt = SHIPPED if ratios is None else ratios.for_dog(case.dog)
    fused = estimate(views, markings, case.dog, learnt)
    comparison = compare(
        fused.log_spans, fused.covariance, case.readings, false_alarms=false_alarms
    )
    return _report(case, fused, comparison, views, markings, about, false_alarms)


def _photo_of(entry: PhotoEntry, given: Mapping[str, Photo]) -> Callable[[], Photo]:
    if entry.path in given:
        return partial(given.__getitem__, entry.path)
    read = load_photo(entry.path, focal_35mm=entry.focal_35mm)
    return lambda: read


def look_at(photo: Photo, entry: PhotoEntry) -> tuple[View, tuple[Marking, ...], tuple[str, ...]]:
    """One photo's scale and marks, freed from a calibrated lens' distortion, with remarks.

    Raises
    ------
    CaseError
        When a mark lies outside the picture or two marks coincide.
    ScaleError
        When the reference cannot be found or fitted.
    """
    for marking in entry.markings:
        _check_marks(marking, entry.path, photo.size)
    seen = see_reference(photo.rgb, entry.reference)
    markings = entry.markings
    if entry.distortion:
        seen, markings = straighten(seen, markings, entry.distortion, photo)
    view = View(
        size_px=photo.size,
        camera=photo.camera,
        seen=seen,
        offset=offset_prior(entry.reference),
        calibrated=bool(entry.distortion),
    )
    return view, markings, seen.remarks


def validate(case: Case) -> None:
    """Refuse a case that no photo could make good.

    Raises
    ------
    CaseError
    """
    if not case.photos:
        raise CaseError(
            tr("there is no photo"), do=tr("Add at least one side photo with its marks")
        )
    if len(case.photos) > MOST_PHOTOS:
        raise CaseError(
            tr("there are {count} photos", count=len(case.photos)),
            do=tr("Choose the best {MOST_PHOTOS} or fewer", MOST_PHOTOS=MOST_PHOTOS),
        )
    _one_of(case.unit, UNITS, "unit")
    _one_of(case.dog.coat, COATS, "coat")
    _one_of(case.dog.build, BUILDS, "build")
    for name, reading in case.readings.items():
        if not (np.isfinite(reading.mm) and reading.mm > 0):
            raise CaseError(
                tr("the reading must be above zero, not {typed!r}", typed=reading.typed), where=name
            )
    for entry in case.photos:
        if not entry.markings:
            raise CaseError(
                tr("nobody has marked this photo"),
                where=entry.path,
                do=tr("Mark all four: {names}", names=_all_four()),
            )
        for marking in entry.markings:
            missing = [name for name in LANDMARKS if name not in marking.marks]
            if missing:
                raise CaseError(
                    tr(
                        "not marked: {names}",
                        names=", ".join(tr(LANDMARK_TITLES[n]) for n in missing),
                    ),
                    where=entry.path,
                    do=tr("Mark all four: {names}", names=_all_four()),
                )
            for name in marking.marks:
                _one_of(name, ALL_LANDMARKS, "landmark")
            for name in marking.bends:
                _one_of(name, BENDABLE_SPANS, "span with bend points")
            if marking.spread_mm is not None and not 0.1 <= marking.spread_mm <= 100.0:
                raise CaseError(
                    tr(
                        "a mark spread of {spread_mm:g} mm is outside 0.1 to 100 mm",
                        spread_mm=marking.spread_mm,
                    ),
                    where=entry.path,
                )


def _all_four() -> str:
    return ", ".join(tr(LANDMARK_TITLES[name]) for name in LANDMARKS)


def _one_of(word: str, words: tuple[str, ...], what: str) -> None:
    if word not in words:
        raise CaseError(
            tr("the {what} {word!r} is not known", what=what, word=word),
            do=tr("Use one of {names}", names=", ".join(words)),
        )


def _check_marks(marking: Marking, path: str, size: tuple[int, int]) -> None:
    named: list[tuple[str, Point]] = [
        (tr(LANDMARK_TITLES[name]), xy) for name, xy in marking.marks.items()
    ]
    bends = [
        (tr("a bend point of the {span}", span=tr(SPAN_TITLES[span])), xy)
        for span, line in marking.bends.items()
        for xy in line
    ]
    for title, (x, y) in named + bends:
        if not (np.isfinite(x) and np.isfinite(y)):
            raise CaseError(tr("the mark of the {title} is not a number", title=title), where=path)
        if not (-0.5 <= x <= size[0] - 0.5 and -0.5 <= y <= size[1] - 0.5):
            raise CaseError(
                tr(
                    "the mark of the {title} at ({x:.0f}, {y:.0f}) lies outside the picture "
                    "of {size} x {size2} px",
                    title=title,
                    x=x,
                    y=y,
                    size=size[0],
                    size2=size[1],
                ),
                where=path,
                do=tr("Place it on the dog, in pixels of the upright picture"),
            )
    for i, (title, one) in enumerate(named):
        for other_title, other in named[:i]:
            if np.hypot(one[0] - other[0], one[1] - other[1]) < MARKS_APART_PX:
                raise CaseError(
                    tr(
                        "the marks of the {other_title} and the {title} lie on the same spot",
                        other_title=other_title,
                        title=title,
                    ),
                    where=path,
                    do=tr("Place each on its own point"),
                )


# -- from numbers to the report ----------------------------------------------------


def _report(
    case: Case,
    fused: Estimate,
    comparison: Comparison,
    views: list[View],
    markings: list[tuple[Marking, ...]],
    about: list[_About],
    false_alarms: float,
) -> Report:
    sources = budget(fused, case, views)
    stances = _stances(case, fused, views, markings, about)
    posterior = None
    if comparison.faults:  # only what the joint test flags is in need of an explanation
        posterior = rank(
            discrepancy_of(
                fused.log_spans,
                fused.covariance,
                case.readings,
                [photo.reference for photo in case.photos],
            ),
            stance=stance_evidence([each.stance for each in stances]),
        )
    explanations = explanations_of(posterior) if posterior else ()
    verdict, in_doubt, reason = _decide(comparison, posterior)
    if verdict in ("agrees", "cannot_tell") and (posture := _plainly_not_square(stances)):
        verdict, in_doubt, reason = "retake", (), wording.STANCE_REASONS[posture]
    photos = tuple(
        _photo_result(fused, k, entry, view, photo(), remarks, stance)
        for k, (entry, view, (photo, remarks), stance) in enumerate(
            zip(case.photos, views, about, stances, strict=True)
        )
    )
    cautions = tuple(tr(caution) for caution in wording.CAUTIONS)
    if case.dog.age_months is not None and case.dog.age_months < wording.PUPPY_MONTHS:
        cautions = (*cautions, tr(wording.PUPPY_CAUTION))
    return Report(
        verdict=verdict,
        headline=wording.headline(verdict, in_doubt, reason),
        spans=_span_results(case, fused, comparison, verdict, in_doubt),
        covariance=tuple(tuple(float(v) for v in row) for row in fused.covariance),
        redundancy=_redundancy(case),
        photos=photos,
        outliers=fused.outliers,
        budget=sources,
        next_step=_next(explanations, stances, fused, comparison, case, views),
        one_more_photo=one_more_photo(fused, len(case.photos)),
        explanations=explanations,
        cautions=cautions,
        false_alarm_budget=false_alarms,
        version=program(),
        case=case,
        ratios_version=fused.ratios_version,
    )


def _next(
    explanations: tuple[Explanation, ...],
    stances: tuple[Standing, ...],
    fused: Estimate,
    comparison: Comparison,
    case: Case,
    views: list[View],
) -> str:
    """What is flagged is cleared up first, then the stance, then what makes a miss likely."""
    if explanations:
        return explanations[0].action
    for each in stances:
        if each.stance.findings:
            return each.stance.findings[0].instruction
    return next_step(fused, comparison, case, views)


def _stances(
    case: Case,
    fused: Estimate,
    views: list[View],
    markings: list[tuple[Marking, ...]],
    about: list[_About],
) -> tuple[Standing, ...]:
    """How the dog stands in each photo, by the marks and, where those speak up, the outline."""
    found = []
    for k, (entry, view) in enumerate(zip(case.photos, views, strict=True)):
        outline = view.seen.used_px
        look = partial(
            standing_in,
            markings[k],
            fused.to_pixels[k],
            half_flank_mm=fused.half_flank_mm,
            roll_deg=fused.cameras[k].roll_deg,
            place=entry.reference.place,
            dog=case.dog,
            reference_px=[(float(x), float(y)) for x, y in outline],
        )
        by_marks = look()
        # cutting out the dog takes as long as all the rest together
        found.append(by_marks if by_marks.stance.square else look(rgb=about[k][0]().rgb))
    return tuple(found)


def _plainly_not_square(stances: tuple[Standing, ...]) -> str:
    """The posture that every photo speaks for beyond doubt, or an empty word."""
    least = np.log(tolerances.STANCE_ODDS)
    named = []
    for each in stances:
        best = next(iter(each.stance.findings), None)
        if best is None or each.stance.log_odds[best.name] < least:
            return ""
        named.append(best.name)
    return named[0] if named else ""


def _decide(
    comparison: Comparison, posterior: Posterior | None
) -> tuple[str, tuple[str, ...], str]:
    """Verdict, the readings in doubt, and a reason in words."""
    if not comparison.names:
        return "cannot_tell", (), wording.NO_READINGS
    if posterior and (best := told(posterior)):
        if not best.kind.retake:
            return "measure_again", tuple(n for n in comparison.names if n in best.readings), ""
        reason = wording.RETAKE_REASONS.get(best.kind.name, best.kind.title)
        return "retake", comparison.names, reason
    if comparison.faults:
        if any(fault.name == "all_alike" for fault in comparison.faults):
            return "retake", comparison.names, wording.ALL_ALIKE
        doubted = {name for fault in comparison.faults for name in fault.readings}
        return "measure_again", tuple(n for n in comparison.names if n in doubted), ""
    unsure = tuple(n for n in comparison.names if _cannot_tell(comparison, n))
    if unsure:
        return "cannot_tell", unsure, wording.too_uncertain(unsure, comparison.catches)
    return "agrees", (), ""


def _cannot_tell(comparison: Comparison, name: str) -> bool:
    return comparison.catches[name] > tolerances.MUST_CATCH


def _span_results(
    case: Case,
    fused: Estimate,
    comparison: Comparison,
    verdict: str,
    in_doubt: tuple[str, ...],
) -> tuple[SpanResult, ...]:
    spread = np.sqrt(np.diag(fused.covariance))
    # marks far from any dog can leave a length wholly open; e to the 6 is as good as that
    reach = np.minimum(1.96 * spread, 6.0)
    doubted = set(in_doubt) if comparison.faults else set()
    if NECK_RING in doubted:
        doubted.add("half_neck")
    results = []
    for i, span in enumerate(SPANS):
        middle = float(np.exp(fused.log_spans[i]))
        low = float(middle * np.exp(-reach[i]))
        high = float(middle * np.exp(reach[i]))
        reading = case.readings.get(span)
        name = span
        if reading is None and span == "half_neck" and NECK_RING in case.readings:
            ring = case.readings[NECK_RING]
            reading, name = replace(ring, mm=ring.mm / 2.0), NECK_RING
        own = ""
        if reading is not None:
            own = "agrees"
            if span in doubted:
                own = "retake" if verdict == "retake" else "measure_again"
            elif _cannot_tell(comparison, name):
                own = "cannot_tell"
        results.append(
            SpanResult(
                span=span,
                straight_mm=float(fused.straight_mm[i]),
                photo_mm=middle,
                low_mm=low,
                high_mm=high,
                log_spread=float(spread[i]),
                reading_mm=None if reading is None else reading.mm,
                difference=None if reading is None else float(np.log(reading.mm / middle)),
                score=comparison.scores.get(name),
                catches=comparison.catches.get(name, 0.0),
                verdict=own,
                sentence=wording.reading_sentence(span, reading, middle, low, high, own, case.unit),
            )
        )
    return tuple(results)


def _redundancy(case: Case) -> tuple[str, ...]:
    """Sentences on readings that must fit each other whatever the photo says."""
    said = []
    readings = case.readings
    if all(name in readings for name in ("front_length", "rear_length", "full_length")):
        front, rear, full = (
            readings[name].mm for name in ("front_length", "rear_length", "full_length")
        )
        fits = tolerances.fits((front, rear), full)
        said.append(wording.sum_sentence(front, rear, full, fits, case.unit))
    if "half_neck" in readings and NECK_RING in readings:
        half, ring = readings["half_neck"].mm, readings[NECK_RING].mm
        said.append(
            wording.ring_sentence(half, ring, tolerances.fits((half, half), ring), case.unit)
        )
    if readings:
        said.extend(wording.unchecked(tuple(readings)))
    return tuple(said)


def _photo_result(
    fused: Estimate,
    k: int,
    entry: PhotoEntry,
    view: View,
    photo: Photo,
    remarks: tuple[str, ...],
    standing: Standing,
) -> PhotoResult:
    facts = fused.cameras[k]
    outline = view.seen.used_px
    seen_of_it = photo_remarks(
        photo,
        entry.markings,
        reference_px=outline,
        px_per_cm=10.0 * facts.px_per_mm,
        distance_mm=facts.distance_mm,
        offset_spread_mm=view.offset.spread_mm,
        yaw_deg=facts.yaw_deg,
        corner_px=view.seen.spread_px,
        measured_offset=entry.reference.offset_mm is not None,
        touches=standing.touches,
    )
    notes = [*remarks, *(f"{r.sentence} {r.instruction}" for r in seen_of_it)]
    return PhotoResult(
        path=entry.path,
        sha256=photo.sha256,
        size_px=photo.size,
        reference=view.seen.kind,
        reference_how=view.seen.how,
        reference_px=tuple((float(x), float(y)) for x, y in outline),
        distance_mm=facts.distance_mm,
        distance_spread=facts.distance_spread,
        yaw_deg=facts.yaw_deg,
        pitch_deg=facts.pitch_deg,
        roll_deg=facts.roll_deg,
        offset_mm=facts.offset_mm,
        offset_spread_mm=view.offset.spread_mm,
        px_per_mm=facts.px_per_mm,
        focal_35mm=facts.focal_35mm,
        focal_source=view.camera.focal_source,
        remarks=tuple(notes),
        stance=tuple(
            StanceFinding(f.name, f.sentence, f.instruction, f.log_bayes, f.lines_px)
            for f in standing.stance.findings
        ),
    )
