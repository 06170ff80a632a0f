"""The answer: what `photocheck.check` returns, and what people and machines read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from photocheck.case.model import Case, Point


@dataclass(frozen=True)
class SpanResult:
    """One span: what the photo says, what the tape says, what follows.

    Attributes
    ----------
    span : str
        A key of `photocheck.words.SPANS`.
    straight_mm : float
        The straight distance between its two marks in the dog's side view, mm.
    photo_mm : float
        What a tape would read, estimated from the photos alone, mm.
    low_mm, high_mm : float
        Its 95 % interval, mm.
    log_spread : float
        Standard deviation of ln(estimate).
    reading_mm : float or None
        The tape reading, mm; None when it was not given.
    difference : float or None
        ln(reading) - ln(photo_mm); positive when the tape reads longer.
    score : float or None
        How many standard deviations this reading must be wrong by, given the
        photo and all other readings.
    catches : float
        The smallest relative error of this reading that is seen in 95 of 100
        cases, as a fraction: the reading is then doubted, or not said to agree.
    verdict : str
        A key of `photocheck.words.VERDICTS`, or "" when there is no reading.
    sentence : str
        The same in words and numbers, in the owner's unit.
    hides : float or None
        How large an error can still be in this reading with all that was read, as a fraction;
        larger in fewer than 5 of 100 cases.  None in reports of before 0.3.
    """

    span: str
    straight_mm: float
    photo_mm: float
    low_mm: float
    high_mm: float
    log_spread: float
    reading_mm: float | None
    difference: float | None
    score: float | None
    catches: float
    verdict: str
    sentence: str
    hides: float | None = None


@dataclass(frozen=True)
class Certainty:
    """How much of what is known of one reading comes from the tape, and how much from the photo.

    Attributes
    ----------
    reading : str
        One of `photocheck.words.READINGS`.
    taken : int
        How often it was taken.
    aside : tuple of str
        Takes that the others outvote, as typed.
    apart : bool
        Whether its takes differ more than a tape does, and none is outvoted.
    tape_spread : float
        Standard deviation of ln(reading) by the tape.
    photo_spread : float
        Standard deviation of ln of what the photo says it should be.
    others_spread : float or None
        The same of what the other readings say without any photo (neck ring and half neck;
        front, rear and full length); None when none does.
    sentence : str
        The same in words, as 95 % intervals in the owner's unit.
    """

    reading: str
    taken: int
    aside: tuple[str, ...]
    apart: bool
    tape_spread: float
    photo_spread: float
    others_spread: float | None
    sentence: str


@dataclass(frozen=True)
class StanceFinding:
    """A way in which the dog did not stand square.

    Attributes
    ----------
    name : str
        "crouching", "stretched", "arched", "rear_lowered", "weight_shifted", "head_down",
        "turned_away" or "front_lowered".
    sentence, instruction : str
        What was seen, with its bound, and what puts it right.
    log_bayes : float
        ln of the Bayes factor against standing square.
    lines_px : tuple of lines, each a tuple of Point
        To draw, px.
    """

    name: str
    sentence: str
    instruction: str
    log_bayes: float
    lines_px: tuple[tuple[Point, ...], ...] = ()


@dataclass(frozen=True)
class WidthResult:
    """A width where a tape would lie, as estimated from all photos and facts.

    ``name`` is "neck_width" or "chest_width"; ``low_mm`` and ``high_mm`` are the ends of its
    95 % interval, mm.
    """

    name: str
    mm: float
    low_mm: float
    high_mm: float


@dataclass(frozen=True)
class PhotoResult:
    """What one photo gave.

    Attributes
    ----------
    path, sha256 : str
    size_px : (int, int)
        Width and height, px.
    reference : str
        A key of the catalogue.
    reference_how : str
        "markers", "found" or "marked".
    reference_px : tuple of Point
        The points or outline used, px.
    distance_mm : float
        From the camera to the reference, mm.
    distance_spread : float
        Standard deviation of ln(distance).
    yaw_deg, pitch_deg, roll_deg : float
        Of the camera against the reference plane, degrees.
    offset_mm, offset_spread_mm : float
        The reference in front of the dog's middle plane, mm, as assumed.
    px_per_mm : float
        At the dog's middle plane.
    focal_35mm : float
        As estimated.
    focal_source : str
    remarks : tuple of str
    stance : tuple of StanceFinding
        Most likely first; empty when nothing speaks against standing square.
    widths : tuple of WidthResult
        Those that are marked in a photo from the front; from the side none.
    """

    path: str
    sha256: str
    size_px: tuple[int, int]
    reference: str
    reference_how: str
    reference_px: tuple[Point, ...]
    distance_mm: float
    distance_spread: float
    yaw_deg: float
    pitch_deg: float
    roll_deg: float
    offset_mm: float
    offset_spread_mm: float
    px_per_mm: float
    focal_35mm: float
    focal_source: str
    remarks: tuple[str, ...] = ()
    stance: tuple[StanceFinding, ...] = ()
    widths: tuple[WidthResult, ...] = ()


@dataclass(frozen=True)
class DoubtSource:
    """One line of the doubt budget.

    Attributes
    ----------
    source : str
        A short key ("marks", "offset", "neck_shape", ...).
    title : str
        For people.
    shares : mapping of span name to float
        Fraction of that span's variance it brings; the shares of a span sum to 1.
    action : str
        What would cut it; empty when nothing a user can do would.
    """

    source: str
    title: str
    shares: Mapping[str, float]
    action: str


@dataclass(frozen=True)
class Explanation:
    """One named reason why tape and photo may disagree.

    Attributes
    ----------
    name : str
        Of `photocheck.judge.explanations.KINDS`, or "marks_exchanged" or "marks_impossible"
        (`photocheck.judge.marks_told`), which come before all others.
    title : str
        For people; follows "Most likely:".
    probability : float
        Among all explanations and chance, by their prior odds and this order's numbers.
    sentence, action : str
        What it means, and what to do.
    candidates : tuple of (str, str, float)
        Reading name, a value that would be consistent as text in the owner's own unit,
        and the same in mm; likeliest first, may be empty.
    """

    name: str
    title: str
    probability: float
    sentence: str
    action: str
    candidates: tuple[tuple[str, str, float], ...] = ()


@dataclass(frozen=True)
class Offer:
    """Something that may be done, and the error that could hide then.

    Attributes
    ----------
    step : str
        One of `photocheck.judge.wording.ACTIONS`, or "once_more" or "as_well": a reading measured
        again, or one that is missing; or "each_once_more", all in which an error could hide.
    measured : str
        Which reading that is; empty for other steps.
    each : tuple of str
        Which readings are measured once more, where that is the step.
    sentence : str
        Asking for it.
    reading : str
        For which reading it brings most.
    today_mm, then_mm : float
        How large an error of that reading can still be in 95 of 100, mm.
    brings : str
        The same as a sentence, in the owner's unit.
    """

    step: str
    measured: str
    sentence: str
    reading: str
    today_mm: float
    then_mm: float
    brings: str
    each: tuple[str, ...] = ()


@dataclass(frozen=True)
class Report:
    """The whole answer for one case.

    Attributes
    ----------
    verdict : str
        A key of `photocheck.words.VERDICTS`.
    headline : str
        The verdict as one plain sentence.
    spans : tuple of SpanResult
        In the order of `photocheck.words.SPANS`.
    covariance : 4 x 4 tuple of float
        Of the log-spans, photo only.
    redundancy : tuple of str
        Sentences on full = front + rear and ring = twice half neck.
    photos : tuple of PhotoResult
    outliers : tuple of str
        Marks or photos that do not fit the others, named.
    budget : tuple of DoubtSource
        Largest first.
    next_step : str
        The one action that would cut the doubt most.
    one_more_photo : mapping of span name to float
        What the standard deviation would become with one more photo like these,
        as a fraction of today's.
    explanations : tuple of Explanation
        Named reasons for a disagreement, most likely first (may be empty).
    cautions : tuple of str
    false_alarm_budget : float
    version : str
    case : Case
        What was asked.
    ratios_version : str
        Which learnt ratios were used; "shipped" for none.
    promise : str
        How large an error would have been seen, reading by reading, in the owner's unit; empty
        where readings are in doubt, and in reports before 0.2.
    catches_common : float
        The smallest relative error common to all readings that would be caught in 95 of 100
        cases, as a fraction; 0 where only one measure was read.
    tolerances : mapping of reading name or "common" to float
        How large an error had to be seen for "agrees", as fractions; empty in reports before 0.2.
    certainty : tuple of Certainty
        One for each reading; empty in reports of before 0.3.
    tape : mapping of "repeat", "freedom" and "led" to float
        How the shop's owners measure, as learnt (`photocheck.judge.repeats.TapeHabits`); empty
        where that is as shipped.
    offers : tuple of Offer
        What may be done, what brings most first; empty where readings are in doubt, and in
        reports of before 0.3.
    at_tags : tuple of str
        Readings whose tape was held at tags that were found at both ends (`Case.measured_at_tags`),
        so that it is taken to be more exact.
    language : str
        Of its sentences, a key of `photocheck.speech.LANGUAGES`; empty in reports of before 0.3.
    in_other_languages : mapping of language to mapping of text to text
        Its sentences as they were said in the other languages, by what they are here, where that
        differs (`photocheck.report.retelling`); empty in reports of before 0.3.
    """

    verdict: str
    headline: str
    spans: tuple[SpanResult, ...]
    covariance: tuple[tuple[float, ...], ...]
    redundancy: tuple[str, ...]
    photos: tuple[PhotoResult, ...]
    outliers: tuple[str, ...]
    budget: tuple[DoubtSource, ...]
    next_step: str
    one_more_photo: Mapping[str, float]
    explanations: tuple[Explanation, ...]
    cautions: tuple[str, ...]
    false_alarm_budget: float
    version: str
    case: Case
    ratios_version: str = "shipped"
    promise: str = ""
    catches_common: float = 0.0
    tolerances: Mapping[str, float] = field(default_factory=dict)
    certainty: tuple[Certainty, ...] = ()
    tape: Mapping[str, float] = field(default_factory=dict)
    offers: tuple[Offer, ...] = ()
    at_tags: tuple[str, ...] = ()
    language: str = ""
    in_other_languages: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
