"""Why readings and photo may disagree: the rival explanations, one entry each in `KINDS`.

An explanation is a small object: its name, its prior odds with their reason, the ways in
which it can have come about (`photocheck.judge.causes`), and what to say and do.  To add one,
add its function of ways there and its line in `KINDS`; nothing else needs to know of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from photocheck.judge import causes, typed
from photocheck.judge.causes import Cause, Discrepancy
from photocheck.speech import capital_first, ended, joined, later, listed, tr
from photocheck.words import READING_PATHS, READING_TITLES

UNNAMED: Final = "unnamed"


@dataclass(frozen=True)
class Kind:
    """One explanation.

    Attributes
    ----------
    name : str
        Plain words joined by underscores.
    title : str
        For people; follows "Most likely:".
    odds : float
        Prior odds against "all agree": of each reading where `ways` gives every reading's
        ways the whole weight, else of the order.
    reason : str
        Where the odds come from.
    ways : callable
    sentence, action : str
        What it means and what to do; ``{readings}`` is filled in with titles, ``{paths}``
        with how to measure.
    retake : bool
        Whether the photo is at fault and not the tape.
    """

    name: str
    title: str
    odds: float
    reason: str
    ways: Callable[[Discrepancy], Iterator[Cause]]
    sentence: str
    action: str
    retake: bool = False


PER_FIELD: Final = 5 * 0.002
"""Slips of digits in one typed field: single entry by trained staff makes 15 to 22 errors in
10,000 fields (CHART and CAST trials, as quoted in the design notes; not re-read here); an
owner on a phone with a dog at hand five times as many (judgement)."""

_DIGITS = (
    "of 0.01 slips a field (five times the 15 to 22 in 10,000 of CHART and CAST) {share}; Verhoeff "
    "1969 as summarised by Wagner, The Laws of Cryptography (2002): single digits 60 to 95 %, "
    "neighbours exchanged 10 to 20 %, a digit left out or added 10 to 20 %"
)

KINDS: Final[tuple[Kind, ...]] = (
    Kind(
        "wrong_digit",
        later("one digit of the {readings} differs"),
        0.65 * PER_FIELD,
        _DIGITS.format(share="65 %"),
        causes.text_slip(typed.wrong_digit),
        later("One digit of the {readings} may have become another, as on a neighbouring key."),
        later("Please read the {readings} off the tape once more, {paths}"),
    ),
    Kind(
        "swapped_digits",
        later("two digits of the {readings} changed places"),
        0.15 * PER_FIELD,
        _DIGITS.format(share="15 %"),
        causes.text_slip(typed.swapped_digits),
        later("Two digits of the {readings} may have changed places while typing."),
        later(
            "Please look at the number you noted for the {readings}, or measure it again, {paths}"
        ),
    ),
    Kind(
        "lost_or_doubled_digit",
        later("a digit of the {readings} is missing or there twice"),
        0.10 * PER_FIELD,
        _DIGITS.format(share="10 %, for a short number misses a digit plainly"),
        causes.text_slip(typed.lost_or_doubled_digit),
        later("A digit of the {readings} may be missing or there twice."),
        later(
            "Please look at the number you noted for the {readings}, or measure it again, {paths}"
        ),
    ),
    Kind(
        "shifted_decimal",
        later("the decimal point of the {readings} moved"),
        0.10 * PER_FIELD,
        _DIGITS.format(share="10 %, which is left (judgement)"),
        causes.text_slip(typed.shifted_decimal),
        later("The decimal point of the {readings} may have moved by one place."),
        later(
            "Please look at the number you noted for the {readings}, or measure it again, {paths}"
        ),
    ),
    Kind(
        "misread_fraction",
        later("the fraction of the {readings} was read differently"),
        0.005,
        "a few times a digit slip, for the marks between whole inches look alike (judgement)",
        causes.text_slip(typed.misread_fraction),
        later("The parts of an inch of the {readings} may have been read differently."),
        later("Please read the {readings} off the tape once more, {paths}"),
    ),
    Kind(
        "other_unit_in_one",
        later("the {readings} is in the other unit"),
        0.002,
        "wrong units are among the commonest slips of a hospital's height entries (Kukielka "
        "2021, as quoted in the design notes); the rate is judgement",
        causes.unit_of_one,
        later("The {readings} fits if inches and centimetres were mixed up in it."),
        later("Please say whether the {readings} was read in inches or centimetres"),
    ),
    Kind(
        "other_unit_in_all",
        later("all readings are in the other unit"),
        0.004,
        "a tape with both scales, or the form's unit left as it was; judgement",
        causes.unit_of_all,
        later("All readings fit if they were taken in the other unit than the one chosen."),
        later("Please say whether the tape was read in inches or centimetres"),
    ),
    Kind(
        "neck_doubled",
        later("the whole neck was given as the half neck"),
        0.01,
        "a neck is usually asked for as a whole; common practice, no source",
        causes.neck_doubled,
        later("The half neck fits if the way all around the neck was given."),
        later("Please measure the half neck once more, {paths}"),
    ),
    Kind(
        "ring_halved",
        later("the half neck was given as the neck ring"),
        0.006,
        "the reverse of the doubled neck, rarer since a ring is closed; judgement",
        causes.ring_halved,
        later("The neck ring fits if half of it was given."),
        later("Please measure the neck ring once more, {paths}"),
    ),
    Kind(
        "swapped_readings",
        later("{readings} changed places"),
        0.004,
        "values in another field's place (Kukielka 2021, as quoted in the design notes); the "
        "rate is judgement",
        causes.swapped_readings,
        later("{Readings} fit if they changed places on the form."),
        later("Please look at the numbers you noted for {readings}"),
    ),
    Kind(
        "full_given_as_part",
        later("the {readings} runs the full length"),
        0.003,
        "the long way is the one that people know how to measure, yet who is asked for part and "
        "whole sees that they differ; judgement",
        causes.full_as_part,
        later("The {readings} is as long as the way from the breastbone to the tail base."),
        later("Please measure the {readings} once more, {paths}"),
    ),
    Kind(
        "begun_at_second_unit",
        later("the tape began one unit in at the {readings}"),
        0.004,
        "worn tape ends are skipped and the skipped part forgotten; common practice, no source",
        causes.second_unit,
        later("{Readings} would fit if the tape began at its first full mark and not at its end."),
        later("Please measure {readings} again, with the very end of the tape at the first point"),
    ),
    Kind(
        "last_rib_elsewhere",
        later("the last-rib point on the dog and on the photo differ"),
        0.02,
        "the one point without a hard edge to feel; judgement",
        causes.last_rib_elsewhere,
        later(
            "Front and rear are off in opposite senses while their sum fits: the "
            "last-rib point on the dog and the one marked on the photo are probably "
            "not the same."
        ),
        later(
            "Please find the last rib with a finger, mark it with a bit of tape, and "
            "measure front and rear length to it once more"
        ),
    ),
    Kind(
        "full_on_another_line",
        later("the full length was taken along another line"),
        0.01,
        "a tape straight over the back is the everyday length of a dog; common practice, no source",
        causes.full_on_another_line,
        later(
            "Front and rear fit the photo, the full length does not fit their sum: "
            "it may have been taken along another line."
        ),
        later("Please measure the full length once more, {paths}"),
    ),
    Kind(
        "reference_off",
        later("the reference or its place is not what was said"),
        0.01,
        "another sheet or card than named, or its place in words only; judgement",
        causes.reference_off,
        later(
            "All readings are off by the same factor: the reference object, or where "
            "it stood, is probably not as said."
        ),
        later("Please check which reference was used and where it stood, and take the photo again"),
        retake=True,
    ),
    Kind(
        "dog_crouching",
        later("the dog crouched in the photo"),
        0.01,
        "the hips flex and tuck the pelvis under (rear shorter), the trunk sinks between the "
        "shoulder blades, which then stand proud (half neck a little longer), the front keeps "
        "nearly its length; sizes and odds are judgement, the stance's own evidence comes on "
        "top",
        causes.stance({"half_neck": 0.3, "front_length": -0.2, "rear_length": -1.0}),
        later(
            "The photo's lengths are as of a dog that crouches: with the pelvis "
            "tucked under, the tail base comes forward and the rear length looks "
            "short."
        ),
        later("Please take the photo again when the dog stands at ease"),
        retake=True,
    ),
    Kind(
        "dog_stretched",
        later("the dog stood stretched in the photo"),
        0.01,
        "the hind feet far back turn the pelvis back (rear longer), the body leans forward "
        "over the forelegs (front and half neck a little longer); sizes and odds are "
        "judgement, the stance's own evidence comes on top",
        causes.stance({"half_neck": 0.2, "front_length": 0.3, "rear_length": 1.0}),
        later(
            "The photo's lengths are as of a dog that stands stretched: with the "
            "hind feet far back the pelvis turns and the rear length looks long."
        ),
        later("Please take the photo again with the hind feet below the dog"),
        retake=True,
    ),
    Kind(
        "dog_arched",
        later("the dog arched its back in the photo"),
        0.008,
        "a bent trunk brings its ends nearer (rear most, front less) and the head comes down "
        "(half neck shorter); sizes and odds are judgement, the stance's own evidence comes "
        "on top",
        causes.stance({"half_neck": -0.3, "front_length": -0.7, "rear_length": -1.0}),
        later(
            "The photo's lengths are as of a dog with an arched back: the ends of "
            "the trunk come nearer to each other than the tape's way along it."
        ),
        later("Please take the photo again when the dog stands at ease"),
        retake=True,
    ),
    Kind(
        UNNAMED,
        later("no named explanation fits"),
        0.005,
        "judgement: two sound measurements of one dog do differ now and then",
        causes.no_name,
        later("{Readings} and photo differ, and none of the usual reasons fits."),
        later("Please measure once more, and have someone look at the marks: {readings}"),
    ),
)
"""Every explanation with its prior odds: the one place."""


def words(kind: Kind, readings: tuple[str, ...]) -> tuple[str, str, str]:
    """Title, sentence and action of an explanation for the readings it concerns."""
    concerned = listed([tr(READING_TITLES[name]) for name in readings])
    paths = [tr(READING_PATHS[name]) for name in readings]
    filled = {
        "readings": concerned,
        "Readings": capital_first(concerned),
        "paths": joined(*paths, between="; "),
    }
    title, sentence, action = (
        tr(text, **filled) for text in (kind.title, kind.sentence, kind.action)
    )
    return title, sentence, ended(action)
