"""From what was estimated and compared to the report: verdict, words, what each photo gave."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, replace
from typing import TYPE_CHECKING

import numpy as np

from photocheck.body.heights import PUPPY_MONTHS
from photocheck.case.lengths import format_length
from photocheck.case.model import Case, Marking, Reading, first_marks
from photocheck.judge import tolerances, wording
from photocheck.judge.budget import budget, one_more_photo
from photocheck.judge.certainty import certainty_of, takes_said
from photocheck.judge.compare import ALL_ALIKE, Comparison
from photocheck.judge.estimate import Estimate
from photocheck.judge.impossible_marks import within_a_hand
from photocheck.judge.marks_told import MarkedPhoto, told_marks
from photocheck.judge.repeats import USUAL, TapeNoise, in_agreement
from photocheck.judge.shots import CameraView
from photocheck.judge.standing import Standing, flat_marks, stance_evidence
from photocheck.judge.steps import next_step, offers
from photocheck.looking import LookedAt
from photocheck.numerics import IN_95
from photocheck.photo.framing import photo_remarks
from photocheck.report.model import (
    Explanation,
    PhotoResult,
    Report,
    SpanResult,
    StanceFinding,
    WidthResult,
)
from photocheck.report.retelling import with_retellings
from photocheck.scale.planes import mm_per_px
from photocheck.scale.pose import View
from photocheck.speech import joined, tr
from photocheck.version import program
from photocheck.words import FRONT_PAIRS, NECK_RING, READINGS, SPANS, TAGS

if TYPE_CHECKING:
    from photocheck.judge.explain import Ranked


def report_of(
    case: Case,
    photos: Sequence[LookedAt],
    fused: Estimate,
    comparison: Comparison,
    false_alarms: float,
) -> Report:
    """All that is answered for one case.

    Parameters
    ----------
    case : Case
    photos : sequence of LookedAt
        In the order of the case, with how the dog stands.
    fused : Estimate
    comparison : Comparison
    false_alarms : float
        The budget that the comparison was made with.
    """
    views = [photo.view for photo in photos]
    stances = tuple(photo.stood for photo in photos if not photo.view.from_front)
    explanations: tuple[Explanation, ...] = ()
    likeliest: Ranked | None = None
    if comparison.faults:  # only what the joint test flags is in need of an explanation
        from photocheck.judge.explain import discrepancy_of, explanations_of, rank, told

        posterior = rank(
            discrepancy_of(
                fused.log_spans,
                fused.covariance,
                case.readings,
                [photo.reference for photo in case.photos if photo.view == "side"],
                comparison.noise.habits,
                comparison.noise.at_tags,
            ),
            stance=stance_evidence([each.stance for each in stances]),
        )
        explanations, likeliest = explanations_of(posterior), told(posterior)
    noise = comparison.noise
    verdict, in_doubt, reason = _decide(case, comparison, likeliest)
    of_marks = told_marks(_marked(photos, fused))
    if of_marks:  # whatever was measured with such marks, it says nothing of dog or tape
        verdict, in_doubt, reason = "cannot_tell", comparison.names, of_marks[0].reason
        explanations = _led_by([told.explanation for told in of_marks], explanations)
    elif verdict in ("agrees", "could_hide", "cannot_tell") and (
        posture := _plainly_not_square(stances)
    ):
        verdict, in_doubt, reason = "retake", (), wording.STANCE_REASONS[posture]
    cautions = tuple(tr(caution) for caution in wording.CAUTIONS)
    if case.dog.age_months is not None and case.dog.age_months < PUPPY_MONTHS:
        cautions = (*cautions, tr(wording.PUPPY_CAUTION))
    report = Report(
        verdict=verdict,
        headline=wording.headline(verdict, in_doubt, reason),
        promise=wording.promise(
            _seen_from_mm(case, comparison), comparison.catches_common, case.unit
        )
        if verdict in ("agrees", "could_hide")
        else "",
        catches_common=comparison.catches_common,
        tolerances=comparison.tolerances.all(),
        spans=_with_takes_apart(
            _span_results(case, fused, comparison, verdict, in_doubt, unsure=bool(of_marks)),
            case,
            noise,
        ),
        covariance=tuple(tuple(float(v) for v in row) for row in fused.covariance),
        redundancy=(*_redundancy(case, noise), *_tags_said(case, noise, views)),
        photos=tuple(
            _photo_result(photo, facts, fused, case.unit)
            for photo, facts in zip(photos, fused.cameras, strict=True)
        ),
        outliers=(
            *fused.outliers,
            *(wording.fact_left_out(*fact, case.unit) for fact in fused.facts_left_out.items()),
        ),
        budget=budget(fused, case, views),
        next_step=_next(explanations, noise, stances, fused, comparison, case, views),
        one_more_photo=one_more_photo(fused, len(case.photos)),
        explanations=explanations,
        cautions=cautions,
        false_alarm_budget=false_alarms,
        version=program(),
        case=case,
        ratios_version=fused.ratios_version,
        tape={} if noise.habits == USUAL else asdict(noise.habits),
        certainty=certainty_of(fused.log_spans, fused.covariance, case.readings, noise, case.unit),
        offers=() if comparison.faults else offers(fused, comparison, case, views),
        at_tags=tuple(name for name in comparison.names if name in noise.at_tags),
    )
    return with_retellings(report)


def _marked(photos: Sequence[LookedAt], fused: Estimate) -> Iterator[MarkedPhoto]:
    """Everybody's marks on every photo from the side, in the dog's middle plane as estimated.

    All in the same plane though feet and last rib lie nearer: marks that changed places would
    otherwise be taken out of the planes of each other.
    """
    several = sum(len(photo.markings) for photo in photos) > 1
    for number, photo in enumerate(photos):
        if photo.view.from_front:
            continue
        for marking in _whole(photo.markings):
            marks = flat_marks(marking.marks, fused.to_pixels[number])
            spread = marking.spread_mm or 0.0
            near = within_a_hand(marking.marks, mm_per_px(photo.view.seen))
            yield MarkedPhoto(marks, spread, number + 1, marking.by, several, near)


def _whole(markings: Sequence[Marking]) -> tuple[Marking, ...]:
    """The same, but where tags replace some marks, all that is left of one dog together."""
    *by_hand, last = markings
    if last.by != TAGS or not by_hand:
        return tuple(markings)
    spread = max((m.spread_mm for m in markings if m.spread_mm), default=None)
    return (replace(by_hand[0], marks=first_marks(markings), spread_mm=spread),)


def _led_by(first: Sequence[Explanation], others: Sequence[Explanation]) -> tuple[Explanation, ...]:
    """The explanations that come first, and what they leave of the others' probability."""
    from photocheck.judge.explain import SHOWN_FROM

    left = float(np.prod([1.0 - one.probability for one in first]))
    shared = [replace(one, probability=left * one.probability) for one in others]
    return (*first, *(one for one in shared if one.probability >= SHOWN_FROM))


def _next(
    explanations: tuple[Explanation, ...],
    noise: TapeNoise,
    stances: tuple[Standing, ...],
    fused: Estimate,
    comparison: Comparison,
    case: Case,
    views: Sequence[View],
) -> str:
    """What explanations ask for comes first, then takes, the stance, what makes a miss likely."""
    if explanations:
        return explanations[0].action
    for name in comparison.names:
        if name in noise.apart:
            return wording.measure_once_more(name)
    for each in stances:
        if each.stance.findings:
            return each.stance.findings[0].instruction
    return next_step(fused, comparison, case, views)


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


def _seen_from_mm(case: Case, comparison: Comparison) -> dict[str, float]:
    """The smallest error of each reading that would have been seen, mm."""
    return {name: comparison.seen_from(name) * case.readings[name].mm for name in comparison.names}


def _decide(
    case: Case, comparison: Comparison, likeliest: Ranked | None
) -> tuple[str, tuple[str, ...], str]:
    """Verdict, the readings in doubt, and a reason in words."""
    if not comparison.names:
        return "cannot_tell", (), wording.NO_READINGS
    if likeliest:
        if not likeliest.kind.retake:
            doubted = {*likeliest.readings}
            return "measure_again", tuple(n for n in comparison.names if n in doubted), ""
        reason = wording.RETAKE_REASONS.get(likeliest.kind.name, likeliest.kind.title)
        return "retake", comparison.names, reason
    if comparison.faults:
        if any(fault.name == ALL_ALIKE for fault in comparison.faults):
            return "retake", comparison.names, wording.ALL_ALIKE
        doubted = {name for fault in comparison.faults for name in fault.readings}
        return "measure_again", tuple(n for n in comparison.names if n in doubted), ""
    if comparison.agrees:
        seen_from = _seen_from_mm(case, comparison)
        # of the ring by half, for as much of the neck's length it is
        lengths = [mm / 2.0 if name == NECK_RING else mm for name, mm in seen_from.items()]
        return "agrees", (), format_length(max(lengths), case.unit)
    worst = max(comparison.names, key=lambda n: comparison.hides[n] / comparison.tolerances.of(n))
    reason = wording.could_hide(worst, comparison.hides[worst] * case.readings[worst].mm, case.unit)
    larger = comparison.catches_common > comparison.hides[worst]
    if comparison.common_unsure and (larger or not comparison.unsure):
        reason = wording.common_could_hide(comparison.catches_common)
    verdict = "cannot_tell" if comparison.tells_nothing else "could_hide"
    return verdict, comparison.unsure, reason


def _span_results(
    case: Case,
    fused: Estimate,
    comparison: Comparison,
    verdict: str,
    in_doubt: tuple[str, ...],
    *,
    unsure: bool,
) -> tuple[SpanResult, ...]:
    spread = np.sqrt(np.diag(fused.covariance))
    # marks far from any dog can leave a length wholly open; e to the 6 is as good as that
    reach = np.minimum(IN_95 * spread, 6.0)
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
            reading, name = Reading(ring.mm / 2.0, ring.typed, ring.unit), NECK_RING
        own = ""
        if reading is not None:
            own = "agrees"
            if unsure:
                own = "cannot_tell"
            elif span in doubted:
                own = "retake" if verdict == "retake" else "measure_again"
            elif name in comparison.unsure or comparison.common_unsure:
                own = "cannot_tell" if comparison.tells_nothing else "could_hide"
        read = name in comparison.names
        seen_from = comparison.seen_from(name) if read else 0.0
        hides = comparison.hides[name] if read else 0.0
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
                catches=seen_from,
                verdict=own,
                sentence=wording.reading_sentence(
                    span,
                    reading,
                    middle,
                    low,
                    high,
                    own,
                    case.unit,
                    seen_from if own == "agrees" else hides,
                    alike=name not in comparison.unsure and comparison.common_unsure,
                ),
                hides=hides,
            )
        )
    return tuple(results)


def _with_takes_apart(
    spans: tuple[SpanResult, ...], case: Case, noise: TapeNoise
) -> tuple[SpanResult, ...]:
    """The same, with what is to be said of a reading whose takes differ: their mean is none."""
    told = []
    for one in spans:
        if one.span in noise.apart:
            every = [take.mm for take in case.readings[one.span].takes]
            one = replace(one, sentence=wording.takes_apart(one.span, every, case.unit))
        told.append(one)
    return tuple(told)


def _redundancy(case: Case, noise: TapeNoise) -> tuple[str, ...]:
    """Sentences on readings that must fit each other whatever the photo says."""
    said = list(takes_said(case.readings, noise, case.unit))
    readings = in_agreement(case.readings, noise.habits, noise.at_tags)
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
    if case.readings:
        said.extend(wording.unchecked(tuple(case.readings)))
    return tuple(said)


def _tags_said(case: Case, noise: TapeNoise, views: Sequence[View]) -> tuple[str, ...]:
    """Whether the tape was held at the tags, where there are any."""
    if not (case.readings and any(view.tags.tags for view in views)):
        return ()
    if not case.measured_at_tags:
        return (tr(wording.NOT_AT_TAGS),)
    shared = [name for name in READINGS if name in noise.at_tags]
    return wording.at_tags(shared, [n for n in READINGS if n in case.readings and n not in shared])


def _widths(looked: LookedAt, fused: Estimate) -> tuple[WidthResult, ...]:
    """The widths that were marked in a photo from the front."""
    marked = {name for marking in looked.markings for name in marking.marks}
    found = []
    for fact, names in FRONT_PAIRS.items():
        if looked.view.from_front and marked >= set(names):
            middle, spread = fused.widths[fact]
            ends = (np.exp(middle + sign * IN_95 * spread) for sign in (-1.0, 1.0))
            low, high = (float(end) for end in ends)
            found.append(WidthResult(fact, float(np.exp(middle)), low, high))
    return tuple(found)


def _photo_result(looked: LookedAt, facts: CameraView, fused: Estimate, unit: str) -> PhotoResult:
    entry, view, photo = looked.entry, looked.view, looked.picture()
    outline = view.seen.used_px
    widths = _widths(looked, fused)
    stands = looked.standing
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
        touches=stands.touches if stands else (),
        front=view.from_front,
    )
    told = [wording.width_sentence(w.name, w.mm, w.low_mm, w.high_mm, unit) for w in widths]
    notes = [*told, *looked.remarks, *(joined(r.sentence, r.instruction) for r in seen_of_it)]
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
            for f in (stands.stance.findings if stands else ())
        ),
        widths=widths,
    )
