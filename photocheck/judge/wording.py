"""What photocheck says to people: every sentence of the judgement in one place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import expm1
from typing import Final

from photocheck.case.lengths import as_said, format_length
from photocheck.case.model import Reading
from photocheck.judge.tolerances import AT_TAGS_SHARE
from photocheck.report.model import Explanation, Report
from photocheck.speech import capital_first, joined, later, listed, tr
from photocheck.words import FACT_TITLES, NECK_RING, READING_TITLES, SPAN_PATHS

CAUTIONS: Final = (
    later("This check supports the maker's judgement; it does not replace a fitting on the dog."),
    later(
        "A badly fitting harness can rub, restrict breathing or the shoulder, or let a dog slip "
        "loose."
    ),
    later(
        "Never force or lean on a dog to make it stand; stop if it growls, freezes or shows pain, "
        "and see a vet."
    ),
)
PUPPY_CAUTION: Final = later("A puppy's growth and load are a question for a vet.")

_PATHS: Final = {
    **SPAN_PATHS,
    NECK_RING: later(
        "a closed ring of tape that just slips over the dog's head and lies at the neck"
    ),
}

DOUBT_TITLES: Final[Mapping[str, str]] = {
    "marks": later("where the marks were placed"),
    "tags": later("where the tags sit on the dog, and how sharply they were seen"),
    "corners": later("how sharply the reference was seen"),
    "square": later("how squarely the photo was taken"),
    "focal": later("the camera's focal length"),
    "lens": later("the lens' distortion"),
    "framing": later("which part of what the camera took the photo shows"),
    "offset": later("how far the reference stood from the dog's middle"),
    "dog_turn": later("how parallel the dog stood to the reference"),
    "size": later("the true size of the reference"),
    "girth": later("the girth reading"),
    "weight": later("the weight"),
    "height": later("the height at the shoulder"),
    "breed": later("the height that the breed's standard gives"),
    "front_look": later("where the outline lies in the photo from the front"),
    "neck_boards": later("the neck's width as measured"),
    "chest_boards": later("the chest's width as measured"),
}
"""Sources that are not shape terms; those have theirs in `body.shape.TERM_TITLES`."""

ACTIONS: Final[Mapping[str, str]] = {
    "photo": later("Take one more photo of the dog in the same way and mark it as well"),
    "marks": later("Have a second person place the marks on this photo as well"),
    "offset": later(
        "Measure how far the reference stood in front of or behind the dog's middle and enter it, "
        "or hold it against the dog's near side"
    ),
    "size": later("Measure the proof bar on the printed sheet with a ruler and enter it"),
    "focal": later("Upload the original file from the camera, with its camera data"),
    "framing": later("Upload the whole photo as the camera saved it, with nothing cut off"),
    "corners": later(
        "Use the marker sheet, or come closer so that the reference is larger in the photo"
    ),
    "square": later("Take the photo square to the dog's side, from the height of its chest"),
    "girth": later("Enter the girth behind the elbows"),
    "weight": later("Enter what the dog weighs"),
    "height": later("Enter the dog's height from the ground to the shoulder top"),
    "neck_width": later(
        "Measure how wide the neck is between two boards or books, at its widest where the "
        "harness's ring lies, and enter it, or add a photo from the front"
    ),
    "chest_width": later(
        "Measure how wide the chest is behind the elbows between two boards or books, and enter it"
    ),
    "chest": later("Mark the top of the back above the elbow and the chest's bottom behind it"),
    "front": later("Mark where the tape bends behind the foreleg"),
    "coat": later("Enter how deep the coat is"),
}


def percent_off(reading_mm: float, photo_mm: float) -> str:
    """The tape against the photo.

    >>> percent_off(420.0, 400.0)
    '5 % longer'
    """
    ratio = reading_mm / photo_mm - 1.0
    percent = f"{abs(100 * ratio):.0f}"
    if ratio > 0:
        return tr("{percent} % longer", percent=percent)
    return tr("{percent} % shorter", percent=percent)


def between(low_mm: float, high_mm: float, unit: str) -> str:
    """An interval in the owner's unit."""
    return tr("{low} to {high}", low=format_length(low_mm, unit), high=format_length(high_mm, unit))


def interval_text(low_mm: float, high_mm: float, unit: str) -> str:
    """The same with its unit once.

    >>> interval_text(422.0, 509.0, "cm")
    '42.2 to 50.9 cm'
    """
    low, _, _ = format_length(low_mm, unit).rpartition(" ")
    return tr("{low} to {high}", low=low, high=format_length(high_mm, unit))


def reading_sentence(
    name: str,
    reading: Reading | None,
    photo_mm: float,
    low_mm: float,
    high_mm: float,
    verdict: str,
    unit: str,
    size: float,
    *,
    alike: bool = False,
) -> str:
    """One reading's verdict in words and numbers.

    Parameters
    ----------
    name : str
        A span.
    reading : Reading or None
    photo_mm, low_mm, high_mm : float
        By the photo, with its 95 % interval, mm.
    verdict : str
        Of this reading.
    unit : str
        To answer in.
    size : float
        Of an error of the reading, a fraction: of one that would have been seen where it agrees,
        else of one that could hide.
    alike : bool
        Whether only an error common to all readings keeps this one from being confirmed.
    """
    title = capital_first(tr(READING_TITLES[name]))
    photo, interval = format_length(photo_mm, unit), between(low_mm, high_mm, unit)
    if reading is None:
        return tr(
            "{title}: not given; the photo shows {photo} ({interval}).",
            title=title,
            photo=photo,
            interval=interval,
        )
    given = {
        "title": title,
        "tape": format_length(reading.mm, unit),
        "photo": photo,
        "interval": interval,
    }
    given["size"] = format_length(size * reading.mm, unit)
    if verdict == "agrees":
        return tr(
            "{title}: the tape says {tape}, the photo shows {photo} ({interval}). They agree; an "
            "error of {size} or more would have been seen.",
            **given,
        )
    if alike and verdict in ("could_hide", "cannot_tell"):
        return tr(
            "{title}: the tape says {tape}, the photo shows {photo} ({interval}). They agree, "
            "unless all readings are off alike.",
            **given,
        )
    if verdict == "could_hide":
        return tr(
            "{title}: the tape says {tape}, the photo shows {photo} ({interval}). They agree, but "
            "an error of up to {size} could hide.",
            **given,
        )
    if verdict == "cannot_tell":
        return tr(
            "{title}: the tape says {tape}, the photo shows {photo} ({interval}). The photo is "
            "too uncertain to confirm this reading: an error of {size} could hide.",
            **given,
        )
    off = percent_off(reading.mm, photo_mm)
    differs = tr(
        "{title}: the tape says {tape}, {off} than the photo: the photo shows {photo} "
        "({interval}).",
        **given,
        off=off,
    )
    if verdict == "retake":
        return differs
    again = tr("Measure it again, {path}.", path=tr(_PATHS[name]))
    return joined(differs, again)


def width_sentence(name: str, mm: float, low_mm: float, high_mm: float, unit: str) -> str:
    """A width seen from the front, in the owner's unit.

    >>> width_sentence("neck_width", 178.0, 162.0, 196.0, "cm")
    'Neck width under the tape, by all photos: 17.8 cm ± 1.7 cm.'
    """
    return tr(
        "{title} under the tape, by all photos: {width} ± {spread}.",
        title=capital_first(tr(FACT_TITLES[name])),
        width=format_length(mm, unit),
        spread=format_length(0.5 * (high_mm - low_mm), unit),
    )


def headline(verdict: str, names: tuple[str, ...], reason: str) -> str:
    """The verdict as one sentence.

    Parameters
    ----------
    names : tuple of str
        Readings in doubt.
    reason : str
        A clause for "could_hide", "retake" and "cannot_tell"; for "agrees" the length from which
        an error in any reading would have been seen.

    >>> headline("measure_again", ("rear_length",), "")
    'Measure again: rear length.'
    """
    if verdict == "agrees":
        return tr(
            "The tape readings agree with the photo; an error of {size} or more in any length "
            "would have been seen.",
            size=tr(reason),
        )
    if verdict == "could_hide":
        return tr("Nothing stands out, but {reason}.", reason=tr(reason))
    if verdict == "measure_again":
        return tr("Measure again: {readings}.", readings=_titles(names))
    if verdict == "retake":
        return tr("Take the photo again: {reason}.", reason=tr(reason))
    return tr("Cannot tell from this photo: {reason}.", reason=tr(reason))


STANCE_REASONS: Final[Mapping[str, str]] = {
    "crouching": later("the dog seems to crouch in it"),
    "stretched": later("the dog seems to stand stretched in it"),
    "arched": later("the dog seems to arch its back in it"),
    "rear_lowered": later("the dog seems to let its rear down in it"),
    "weight_shifted": later("the dog seems to lean to one end in it"),
    "head_down": later("the dog seems to hold its head low in it"),
    "turned_away": later("the dog seems to stand turned away from square in it"),
    "front_lowered": later("the dog seems to let its front down in it"),
}
ALL_ALIKE: Final = later(
    "all readings are off by the same factor, so the reference object, its place or the unit "
    "is likely wrong"
)
NO_READINGS: Final = later("there are no tape readings to compare with")


def could_hide(name: str, size_mm: float, unit: str) -> str:
    """Why nothing confirms a reading, with the error that could hide in it."""
    return tr(
        "an error in the {reading} of up to {size} could hide",
        size=format_length(size_mm, unit),
        reading=tr(READING_TITLES[name]),
    )


def promise(seen_from_mm: Mapping[str, float], common: float, unit: str) -> str:
    """How large an error would have been seen in 95 of 100 orders, reading by reading.

    Parameters
    ----------
    seen_from_mm : mapping of reading name to float, mm
    common : float
        The same for an error common to all readings, a fraction; 0 where there is no such.
    unit : str
    """
    parts = [
        tr(
            "{reading} {size}",
            reading=tr(READING_TITLES[name]),
            size=format_length(mm, unit),
        )
        for name, mm in seen_from_mm.items()
    ]
    said = tr(
        "Seen in 95 of 100 such orders is an error as large as this: {sizes}.", sizes=listed(parts)
    )
    if not common:
        return said
    alike = tr(
        "All readings too long or too short alike would be seen from {percent} %.",
        percent=f"{100 * common:.0f}",
    )
    return joined(said, alike)


def common_could_hide(catches: float) -> str:
    """Why nothing tells whether all readings are off by the same factor."""
    return tr(
        "all readings could be off alike by up to {percent} % unnoticed (the unit, the reference "
        "or its place)",
        percent=f"{100 * catches:.0f}",
    )


FACT_SENTENCES: Final[Mapping[str, str]] = {
    "girth": later(
        "The girth does not go with the photo, which lets expect about {expected}; it was left "
        "out. Measure it again, and look whether the reference is what was said, and stood there."
    ),
    "weight": later(
        "The weight does not go with the photo, which lets expect about {expected}; it was left "
        "out. Weigh again, and look whether the reference is what was said, and stood there."
    ),
    "height": later(
        "The height at the shoulder does not go with the photo, which lets expect about "
        "{expected}; it was left out. Measure it again, and look whether the reference is what was "
        "said, and stood there."
    ),
    "breed": later(
        "The dog seems of another size than its breed's standard gives: the photo lets expect "
        "about {expected} at the shoulder. The standard was left out; look whether the reference "
        "is what was said, and stood there."
    ),
}
"""What is said of a fact that was left out, by the keys of `photocheck.judge.joint.Joint.facts`."""


def fact_left_out(fact: str, expected: float, unit: str) -> str:
    """That a fact told of the dog contradicts the photos.

    Parameters
    ----------
    fact : str
    expected : float
        What the photos let expect, mm, of the weight kg.
    unit : str
    """
    said = tr("{kg:.0f} kg", kg=expected) if fact == "weight" else format_length(expected, unit)
    return tr(FACT_SENTENCES[fact], expected=said)


def sum_sentence(front_mm: float, rear_mm: float, full_mm: float, fits: bool, unit: str) -> str:
    """Whether the full length is front plus rear."""
    lengths = {
        "total": format_length(front_mm + rear_mm, unit),
        "full": format_length(full_mm, unit),
    }
    if fits:
        return tr(
            "Front and rear together make {total}, the full length reads {full}: they fit.",
            **lengths,
        )
    return tr(
        "Front and rear together make {total}, the full length reads {full}: they do not fit; "
        "one of the three is wrong.",
        **lengths,
    )


def ring_sentence(half_mm: float, ring_mm: float, fits: bool, unit: str) -> str:
    """Whether the ring is twice the half neck."""
    lengths = {
        "doubled": format_length(2 * half_mm, unit),
        "ring": format_length(ring_mm, unit),
    }
    if fits:
        return tr(
            "Twice the half neck is {doubled}, the neck ring reads {ring}: they fit.", **lengths
        )
    return tr(
        "Twice the half neck is {doubled}, the neck ring reads {ring}: they do not fit; measure "
        "both again.",
        **lengths,
    )


def takes_apart(name: str, takes_mm: Sequence[float], unit: str) -> str:
    """That the takes of a reading differ too much, and none is outvoted."""
    return tr(
        "{reading}: {takes} differ more than a tape does; measure it once more.",
        reading=capital_first(tr(READING_TITLES[name])),
        takes=listed([format_length(mm, unit) for mm in takes_mm]),
    )


def take_set_aside(name: str, aside_mm: Sequence[float], unit: str) -> str:
    """That the other takes of a reading outvote one."""
    return tr(
        "{reading}: {takes} does not fit the other times it was measured and was set aside.",
        reading=capital_first(tr(READING_TITLES[name])),
        takes=listed([format_length(mm, unit) for mm in aside_mm]),
    )


def certainty_sentence(
    name: str,
    taken: int,
    unit: str,
    *,
    tape_mm: float,
    photo_mm: float,
    others_mm: float | None,
) -> str:
    """What of a reading's certainty comes from the tape and what from the photo.

    Parameters
    ----------
    tape_mm, photo_mm, others_mm : float
        Half of the 95 % interval by the tape, the photo, and the other readings alone.
    """
    reading = capital_first(tr(READING_TITLES[name]))
    if taken > 1:
        reading = tr("{reading}, taken {count} times", reading=reading, count=taken)
    lengths = {
        "reading": reading,
        "tape": format_length(tape_mm, unit),
        "photo": format_length(photo_mm, unit),
    }
    if others_mm is None:
        return tr("{reading}: ±{tape} by the tape, ±{photo} by the photo.", **lengths)
    return tr(
        "{reading}: ±{tape} by the tape, ±{photo} by the photo, ±{others} by {witness}.",
        **lengths,
        others=format_length(others_mm, unit),
        witness=tr(_WITNESSES[name]),
    )


_WITNESSES: Final = {
    "half_neck": later("the neck ring"),
    NECK_RING: later("the half neck"),
    "front_length": later("rear and full length"),
    "rear_length": later("front and full length"),
    "full_length": later("front and rear length"),
}
"""Which readings tell of another without any photo."""


def measure_once_more(name: str) -> str:
    """Asking for a second reading to compare with the first."""
    return tr(
        "Measure the {reading} once more, {path}, and compare.",
        reading=tr(READING_TITLES[name]),
        path=tr(_PATHS[name]),
    )


def measure_each_once_more(names: Sequence[str]) -> str:
    """Asking for one more of each reading in which an error beyond tolerance could hide."""
    return tr(
        "Measure these once more, as if for the first time: {readings}.", readings=_titles(names)
    )


def measure_as_well(name: str) -> str:
    """Asking for a reading that was not given."""
    return tr(
        "Measure the {reading} as well, {path}.",
        reading=tr(READING_TITLES[name]),
        path=tr(_PATHS[name]),
    )


def offered(
    reading: str, today_mm: float, then_mm: float, unit: str, *, settles: bool = False
) -> str:
    """What a step would bring: how large an error could hide, before and after.

    Parameters
    ----------
    reading : str
    today_mm, then_mm : float, mm
    unit : str
    settles : bool
        Whether no error beyond tolerance is likely to hide then.
    """
    said = tr(
        "An error of up to {today} could hide in the {reading} today, then one of up to {then}.",
        reading=tr(READING_TITLES[reading]),
        then=format_length(then_mm, unit),
        today=format_length(today_mm, unit),
    )
    return _settling(said) if settles else said


def offered_alike(today: float, then: float, *, settles: bool = False) -> str:
    """The same of an error common to all readings, ln.

    >>> offered_alike(0.2, 0.1)
    'All readings could be off alike by up to 22 % today, then by up to 11 %.'
    """
    said = tr(
        "All readings could be off alike by up to {today} % today, then by up to {then} %.",
        today=f"{100 * expm1(today):.0f}",
        then=f"{100 * expm1(then):.0f}",
    )
    return _settling(said) if settles else said


def _settling(said: str) -> str:
    return joined(said, tr("That is likely to settle it."))


def one_more_photo_sentence(ratios: Mapping[str, float]) -> str:
    """What one more photo would bring, as a range over the spans."""
    gains = sorted(round(100.0 * (1.0 - ratio)) for ratio in ratios.values())
    if gains[-1] < 1:
        return tr("One more photo would hardly narrow the intervals.")
    return tr(
        "One more photo like this would narrow the intervals by {least} to {most} %.",
        least=gains[0],
        most=gains[-1],
    )


def _titles(names: Sequence[str]) -> str:
    return listed([tr(READING_TITLES[name]) for name in names])


def doubted_sentences(report: Report) -> tuple[str, ...]:
    """What is said of readings in doubt; where some stand out, only of those."""
    plain = ("measure_again", "retake")
    shown = plain if report.verdict in plain else (*plain, "could_hide", "cannot_tell")
    return tuple(span.sentence for span in report.spans if span.verdict in shown)


def explanation_sentences(explanations: Sequence[Explanation]) -> tuple[str, ...]:
    """Each explanation as one paragraph, the likeliest first.

    Parameters
    ----------
    explanations : sequence of Explanation
        As a report holds them.
    """
    said = []
    for number, one in enumerate(explanations):
        told = {"title": one.title, "percent": chance_text(one.probability)}
        first = tr("Most likely: {title}, {percent}.", **told)
        start = first if number == 0 else tr("Or: {title}, {percent}.", **told)
        said.append(joined(start, _meant(one), one.sentence, one.action))
    return tuple(said)


def _meant(one: Explanation) -> str:
    """The consistent values: "What would fit: 27 cm or 22 cm for the rear length."."""
    by_reading: dict[str, list[str]] = {}
    for name, text, _ in one.candidates:
        by_reading.setdefault(name, []).append(as_said(text))
    parts = [
        tr(
            "{values} for the {reading}",
            values=tr(" or ").join(texts),
            reading=tr(READING_TITLES[name]),
        )
        for name, texts in by_reading.items()
    ]
    return tr("What would fit: {values}.", values=listed(parts)) if parts else ""


def chance_text(probability: float) -> str:
    """A probability for people; never a certainty.

    >>> chance_text(0.57), chance_text(1.0)
    ('57 %', 'over 99 %')
    """
    if probability > 0.99:
        return tr("over 99 %")
    return tr("under 1 %") if probability < 0.01 else f"{100 * probability:.0f} %"


RETAKE_REASONS: Final[Mapping[str, str]] = {"reference_off": ALL_ALIKE}
"""Clauses for the headline where an explanation's title would promise too much."""


NOT_AT_TAGS: Final = later(
    "Tags were found on the dog, but nobody said that the tape was held at them: it is taken to be "
    "no more exact than without."
)


def at_tags(shared: Sequence[str], others: Sequence[str]) -> tuple[str, ...]:
    """Which readings went from tag to tag, and what is made of it.

    Parameters
    ----------
    shared : sequence of str
        Readings with a tag at each of their points.
    others : sequence of str
        The others that were given.
    """
    said = []
    if shared:
        said.append(
            tr(
                "The tape was held at the tags that the photo shows ({readings}): its spread is "
                "taken to be {share:.0f} % of the usual one, a figure that was chosen and that "
                "nobody has measured.",
                readings=_titles(shared),
                share=100.0 * AT_TAGS_SHARE**0.5,
            )
        )
    if others:
        said.append(
            tr(
                "A tag is missing in the photo at a point of these: {readings}. There the tape "
                "is taken to be as exact as usual.",
                readings=_titles(others),
            )
        )
    return tuple(said)


def unchecked(names: Sequence[str]) -> tuple[str, ...]:
    """What could not be held against each other, for want of readings.

    Parameters
    ----------
    names : sequence of str
        The readings given.
    """
    said = []
    parts = ("front_length", "rear_length", "full_length")
    missing = _titles([name for name in parts if name not in names])
    if missing:
        said.append(
            tr(
                "Whether front and rear make the full length could not be checked without the "
                "{readings}.",
                readings=missing,
            )
        )
    if "half_neck" not in names:
        if NECK_RING in names:
            said.append(tr("The half neck was not given; only the neck ring tells of it."))
        else:
            said.append(tr("The half neck was not given; nothing tells of it."))
    return tuple(said)
