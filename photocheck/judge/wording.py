"""What photocheck says to people: every sentence of the judgement in one place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from photocheck.case import Reading
from photocheck.lengths import format_length
from photocheck.report import Explanation
from photocheck.words import NECK_RING, READING_TITLES, SPAN_PATHS

CAUTIONS: Final = (
    "This check supports the maker's judgement; it does not replace a fitting on the dog.",
    "A badly fitting harness can rub, restrict breathing or the shoulder, or let a dog slip loose.",
    "Never force or lean on a dog to make it stand; stop if it growls, freezes or shows pain, "
    "and see a vet.",
)
PUPPY_CAUTION: Final = "A puppy's growth and load are a question for a vet."
PUPPY_MONTHS: Final = 18
"""Below this age a dog may still be growing (common practice, no source)."""

_PATHS: Final = {
    **SPAN_PATHS,
    NECK_RING: "a closed ring of tape that just slips over the dog's head and lies at the neck",
}

DOUBT_TITLES: Final[Mapping[str, str]] = {
    "marks": "where the marks were placed",
    "corners": "how sharply the reference was seen",
    "square": "how squarely the photo was taken",
    "focal": "the camera's focal length",
    "lens": "the lens' distortion",
    "offset": "how far the reference stood from the dog's middle",
    "dog_turn": "how parallel the dog stood to the reference",
    "size": "the true size of the reference",
    "girth": "the girth reading",
    "weight": "the weight",
}
"""Sources that are not shape terms; those have theirs in `body.shape.TERM_TITLES`."""

ACTIONS: Final[Mapping[str, str]] = {
    "photo": "Take one more photo of the dog in the same way and mark it as well",
    "marks": "Have a second person place the marks on this photo as well",
    "offset": (
        "Measure how far the reference stood in front of or behind the dog's middle and enter it, "
        "or hold it against the dog's near side"
    ),
    "size": "Measure the proof bar on the printed sheet with a ruler and enter it",
    "focal": "Upload the original file from the camera, with its camera data",
    "corners": "Use the marker sheet, or come closer so that the reference is larger in the photo",
    "square": "Take the photo square to the dog's side, from the height of its chest",
    "trunk": "Enter the girth behind the elbows, and mark the chest's top and bottom",
    "front": "Mark where the tape bends behind the foreleg",
    "coat": "Enter how deep the coat is",
}


def percent_off(reading_mm: float, photo_mm: float) -> str:
    """ "12 % longer" or "12 % shorter", the tape against the photo."""
    ratio = reading_mm / photo_mm - 1.0
    return f"{abs(ratio):.0%} {'longer' if ratio > 0 else 'shorter'}".replace("%", " %")


def between(low_mm: float, high_mm: float, unit: str) -> str:
    """An interval in the owner's unit."""
    return f"{format_length(low_mm, unit)} to {format_length(high_mm, unit)}"


def reading_sentence(
    name: str,
    reading: Reading | None,
    photo_mm: float,
    low_mm: float,
    high_mm: float,
    verdict: str,
    unit: str,
) -> str:
    """One reading's verdict in words and numbers."""
    title = READING_TITLES[name]
    shown = f"the photo shows {format_length(photo_mm, unit)} ({between(low_mm, high_mm, unit)})"
    if reading is None:
        return f"{title.capitalize()}: not given; {shown}."
    tape = f"the tape says {format_length(reading.mm, unit)}"
    if verdict == "agrees":
        return f"{title.capitalize()}: {tape}, {shown}. They agree."
    off = percent_off(reading.mm, photo_mm)
    if verdict == "cannot_tell":
        return (
            f"{title.capitalize()}: {tape}, {shown}. The photo is too uncertain to confirm "
            "this reading."
        )
    if verdict == "retake":
        return f"{title.capitalize()}: {tape}, {off} than the photo: {shown}."
    return (
        f"{title.capitalize()}: {tape}, {off} than the photo: {shown}. "
        f"Measure it again, {_PATHS[name]}."
    )


def headline(verdict: str, names: tuple[str, ...], reason: str) -> str:
    """The verdict as one sentence.

    Parameters
    ----------
    names : tuple of str
        Readings in doubt.
    reason : str
        A clause for "retake" and "cannot_tell".
    """
    if verdict == "agrees":
        return "The tape readings agree with the photo."
    titles = _join([READING_TITLES[name] for name in names])
    if verdict == "measure_again":
        return f"Measure again: {titles}."
    if verdict == "retake":
        return f"Take the photo again: {reason}."
    return f"Cannot tell from this photo: {reason}."


STANCE_REASONS: Final[Mapping[str, str]] = {
    "crouching": "the dog seems to crouch in it",
    "stretched": "the dog seems to stand stretched in it",
    "arched": "the dog seems to arch its back in it",
    "rear_lowered": "the dog seems to let its rear down in it",
    "weight_shifted": "the dog seems to lean to one end in it",
    "head_down": "the dog seems to hold its head low in it",
    "turned_away": "the dog seems to stand turned away from square in it",
}
ALL_ALIKE: Final = (
    "all readings are off by the same factor, so the reference object, its place or the unit "
    "is likely wrong"
)
NO_READINGS: Final = "there are no tape readings to compare with"


def too_uncertain(names: tuple[str, ...], catches: Mapping[str, float]) -> str:
    """Why the photo cannot decide, with the error it could still catch."""
    worst = max(names, key=lambda name: catches[name])
    return (
        f"an error of the {READING_TITLES[worst]} below {catches[worst]:.0%} could pass "
        "unnoticed".replace("%", " %")
    )


def sum_sentence(front_mm: float, rear_mm: float, full_mm: float, fits: bool, unit: str) -> str:
    """Whether the full length is front plus rear."""
    total = front_mm + rear_mm
    start = (
        f"Front and rear together make {format_length(total, unit)}, the full length reads "
        f"{format_length(full_mm, unit)}"
    )
    if fits:
        return f"{start}: they fit."
    return f"{start}: they do not fit; one of the three is wrong."


def ring_sentence(half_mm: float, ring_mm: float, fits: bool, unit: str) -> str:
    """Whether the ring is twice the half neck."""
    start = (
        f"Twice the half neck is {format_length(2 * half_mm, unit)}, the neck ring reads "
        f"{format_length(ring_mm, unit)}"
    )
    if fits:
        return f"{start}: they fit."
    return f"{start}: they do not fit; measure both again."


def measure_once_more(name: str) -> str:
    """Asking for a second reading to compare with the first."""
    return f"Measure the {READING_TITLES[name]} once more, {_PATHS[name]}, and compare."


def one_more_photo_sentence(ratios: Mapping[str, float]) -> str:
    """What one more photo would bring, as a range over the spans."""
    gains = sorted(round(100.0 * (1.0 - ratio)) for ratio in ratios.values())
    if gains[-1] < 1:
        return "One more photo would hardly narrow the intervals."
    return f"One more photo like this would narrow the intervals by {gains[0]} to {gains[-1]} %."


def _join(items: list[str]) -> str:
    if len(items) < 2:
        return "".join(items)
    return ", ".join(items[:-1]) + " and " + items[-1]


def explanation_sentences(explanations: Sequence[Explanation]) -> tuple[str, ...]:
    """Each explanation as one paragraph, the likeliest first.

    Parameters
    ----------
    explanations : sequence of Explanation
        As a report holds them.
    """
    said = []
    for number, one in enumerate(explanations):
        start = "Most likely" if number == 0 else "Or"
        meant = _meant(one)
        said.append(
            f"{start}: {one.title}, {_percent(one.probability)}."
            f"{f' {meant}' if meant else ''} {one.sentence} {one.action}"
        )
    return tuple(said)


def _meant(one: Explanation) -> str:
    """The consistent values: "Perhaps 27 cm or 22 cm was meant for the rear length."."""
    by_reading: dict[str, list[str]] = {}
    for name, text, _ in one.candidates:
        by_reading.setdefault(name, []).append(text)
    parts = [f"{' or '.join(texts)} for the {READING_TITLES[n]}" for n, texts in by_reading.items()]
    return f"What would fit: {_join(parts)}." if parts else ""


def _percent(probability: float) -> str:
    """A probability for people; never a certainty."""
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"


RETAKE_REASONS: Final[Mapping[str, str]] = {
    "reference_off": ALL_ALIKE,
    "other_unit_in_all": ALL_ALIKE,
}
"""Clauses for the headline where an explanation's title would promise too much."""


def unchecked(names: Sequence[str]) -> tuple[str, ...]:
    """What could not be held against each other, for want of readings.

    Parameters
    ----------
    names : sequence of str
        The readings given.
    """
    said = []
    parts = ("front_length", "rear_length", "full_length")
    missing = [READING_TITLES[n] for n in parts if n not in names]
    if missing:
        said.append(
            "Whether front and rear make the full length could not be checked without the "
            f"{_join(missing)}."
        )
    if "half_neck" not in names:
        other = "only the neck ring tells of it" if NECK_RING in names else "nothing tells of it"
        said.append(f"The half neck was not given; {other}.")
    return tuple(said)
