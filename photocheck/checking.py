"""The whole job in one call: photos and readings in, a report out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from photocheck.body.shape import SHIPPED
from photocheck.case.model import Case, PhotoEntry
from photocheck.case.validity import validate
from photocheck.errors import CaseError
from photocheck.judge import tolerances
from photocheck.judge.compare import Comparison, compare
from photocheck.judge.estimate import Estimate, estimate
from photocheck.judge.repeats import USUAL
from photocheck.judge.shared_points import readings_at_tags, spans_at_tags
from photocheck.judge.widths import (
    accuser,
    against_readings,
    measure_width_too,
    outvoted,
    told_widths,
)
from photocheck.looking import LookedAt, looked_at, with_standing
from photocheck.photo.load import load_photo
from photocheck.photo.photo import Photo
from photocheck.report.model import Report
from photocheck.reporting import report_of
from photocheck.speech import tr

if TYPE_CHECKING:
    from photocheck.judge.ratios import Ratios


def check(
    case: Case,
    *,
    false_alarms: float = tolerances.FALSE_ALARMS,
    tolerated: tolerances.Tolerances = tolerances.AS_SHIPPED,
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
    tolerated : Tolerances
        How large an error must be to have been seen where readings "agree".
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
    seen = [one.measured(case) for one in _look(case, photos or {}, on_photo)]
    at_tags = readings_at_tags(case.readings, [photo.view for photo in seen])
    learnt, habits = SHIPPED, USUAL
    if ratios is not None:
        learnt = ratios.for_dog(case.dog).at_tags(spans_at_tags(at_tags))
        whole = case.readings and case.readings.keys() <= set(at_tags)
        habits = ratios.habits_at_tags if whole else ratios.habits

    def judged(leave: str = "") -> tuple[Estimate, Comparison]:
        views, markings = [p.view for p in seen], [p.markings for p in seen]
        found = estimate(views, markings, case.dog, learnt, leave=leave)
        spans, doubt = found.log_spans, found.covariance
        compared = compare(
            spans,
            doubt,
            case.readings,
            false_alarms=false_alarms,
            tolerated=tolerated,
            habits=habits,
            at_tags=at_tags,
        )
        return found, compared

    # the report has the case with the tips of tags among its marks
    case = replace(case, photos=tuple(photo.entry for photo in seen))
    fused, comparison = judged()
    widths = told_widths(case.dog, fronts=any(photo.view.from_front for photo in seen))
    if suspect := accuser(comparison, widths, lambda fact: judged(fact)[1]):
        said = measure_width_too(suspect)
        if outvoted(comparison, case.readings):
            said = against_readings(suspect)
            fused, comparison = judged(suspect)
        fused = replace(fused, outliers=(*fused.outliers, said))
    standing = [with_standing(photo, number, fused, case.dog) for number, photo in enumerate(seen)]
    return report_of(case, standing, fused, comparison, false_alarms)


def _look(
    case: Case, given: Mapping[str, Photo], on_photo: Callable[[int], None] | None
) -> list[LookedAt]:
    """Look at every photo, one after the other."""
    seen: list[LookedAt] = []
    for entry in case.photos:
        seen.append(looked_at(entry, _picture_of(entry, given)))
        if on_photo:
            on_photo(len(seen))
    return seen


def _picture_of(entry: PhotoEntry, given: Mapping[str, Photo]) -> Callable[[], Photo]:
    if entry.path in given:
        return partial(given.__getitem__, entry.path)
    read = load_photo(entry.path, focal_35mm=entry.focal_35mm)
    return lambda: read
