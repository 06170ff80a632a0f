"""What the learner is told, in plain words and in the learner's unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from photocheck.case.lengths import format_length
from photocheck.practice.effects import Effects, SpanEffect
from photocheck.practice.misses import Miss
from photocheck.practice.pattern import LEAST_ATTEMPTS, Pattern, Spread
from photocheck.practice.repeat import Repeat
from photocheck.speech import capital_first, later, tr
from photocheck.words import LANDMARK_TITLES, SPAN_TITLES

SAME_SPOT_MM: Final = 3.0
"""No finger and no mouse is finer on a picture of this size (judgement)."""
SAME_SPOT_SHARE: Final = 0.5
"""The same in hundredths of breastbone to tail base: a dog of 60 cm."""

HOW_TO_FIND: Final[Mapping[str, str]] = {
    "breastbone": later(
        "Run flat fingers down the middle of the neck until you meet bone: the forward point of "
        "the breastbone, between the shoulders. In a side photo it is the most forward point of "
        "the chest, below where the neck begins."
    ),
    "shoulder_top": later(
        "Feel along the neck toward the back until two blades come up side by side. Their top is "
        "the shoulder top, the withers. In the photo it is where the line of the neck turns "
        "into the back."
    ),
    "last_rib": later(
        "Lay a flat hand on the side and feel backward over the ribs; the last is shorter than "
        "the others, and behind it the flank is soft. In a photo it can hardly be seen: on most "
        "dogs it lies a little over half way from the breastbone to the tail base, near the "
        "middle of the side."
    ),
    "tail_base": later(
        "Follow the back to where the tail leaves it. Lift nothing: the corner between back and "
        "tail is enough. In the photo it is where the line of the back turns into the tail, not "
        "the rump below."
    ),
}
"""Common practice, no source."""

CAUTIONS: Final = (
    later("Feel gently, with flat fingers; never press, and never hold or force a dog to stand."),
    later("Stop if it growls, freezes, turns its head to your hand or shows pain, and see a vet."),
)

_MISSES: Final[Mapping[tuple[int, int], str]] = {
    (0, 0): later("{mark}: on the spot"),
    (1, 0): later("{mark}: {along} too far forward"),
    (-1, 0): later("{mark}: {along} too far back"),
    (0, 1): later("{mark}: {across} too high"),
    (0, -1): later("{mark}: {across} too low"),
    (1, 1): later("{mark}: {along} too far forward, {across} too high"),
    (1, -1): later("{mark}: {along} too far forward, {across} too low"),
    (-1, 1): later("{mark}: {along} too far back, {across} too high"),
    (-1, -1): later("{mark}: {along} too far back, {across} too low"),
}
_MOVED: Final[Mapping[tuple[int, int], str]] = {
    (0, 0): later("{mark}: on the same spot"),
    (1, 0): later("{mark}: the second {along} further forward"),
    (-1, 0): later("{mark}: the second {along} further back"),
    (0, 1): later("{mark}: the second {across} higher"),
    (0, -1): later("{mark}: the second {across} lower"),
    (1, 1): later("{mark}: the second {along} further forward, {across} higher"),
    (1, -1): later("{mark}: the second {along} further forward, {across} lower"),
    (-1, 1): later("{mark}: the second {along} further back, {across} higher"),
    (-1, -1): later("{mark}: the second {along} further back, {across} lower"),
}
_TENDENCIES: Final[Mapping[tuple[int, int], str]] = {
    (1, 0): later("You tend to place the {mark} {along} too far forward."),
    (-1, 0): later("You tend to place the {mark} {along} too far back."),
    (0, 1): later("You tend to place the {mark} {across} too high."),
    (0, -1): later("You tend to place the {mark} {across} too low."),
    (1, 1): later("You tend to place the {mark} {along} too far forward and {across} too high."),
    (1, -1): later("You tend to place the {mark} {along} too far forward and {across} too low."),
    (-1, 1): later("You tend to place the {mark} {along} too far back and {across} too high."),
    (-1, -1): later("You tend to place the {mark} {along} too far back and {across} too low."),
}
_WEIGHTS: Final[Mapping[str, str]] = {
    "slight": later("Hardly matters: a tape is as unsure as that by itself."),
    "felt": later("Would be felt: more than a tape is unsure of."),
    "misleading": later("Would mislead: a good tape reading would look wrong beside it."),
}
VERDICTS: Final[Mapping[str, str]] = {
    "slight": later("Marks to rely on: no length changes by more than a tape is unsure of."),
    "felt": later("Nearly there: at least one length changes by more than a tape is unsure of."),
    "misleading": later(
        "Not yet: with these marks a good tape reading would look wrong. See which mark does it."
    ),
}
"""Of all four marks together, by `photocheck.practice.effects.WEIGHTS`."""


def mark_title(landmark: str) -> str:
    """The landmark's name as a heading: "Last rib"."""
    return capital_first(tr(LANDMARK_TITLES[landmark]))


def span_title(span: str) -> str:
    """The length's name as a heading: "Rear length"."""
    return capital_first(tr(SPAN_TITLES[span]))


def _sides(miss: Miss, least: float) -> tuple[int, int]:
    def side(value: float) -> int:
        return 0 if abs(value) < least else 1 if value > 0 else -1

    return side(miss.forward_mm), side(miss.up_mm)


def miss_sentence(landmark: str, miss: Miss, unit: str) -> str:
    """Where a mark lies against the truth: "Last rib: 2.1 cm too far back, 0.4 cm too low"."""
    return tr(
        _MISSES[_sides(miss, SAME_SPOT_MM)],
        mark=mark_title(landmark),
        along=format_length(abs(miss.forward_mm), unit),
        across=format_length(abs(miss.up_mm), unit),
    )


def moved_sentence(landmark: str, result: Repeat, unit: str) -> str:
    """Where the second mark of a self-check lies against the first."""
    miss = result.moved[landmark]

    def shown(value: float) -> str:
        if result.in_mm:
            return format_length(abs(value), unit)
        return tr("{share} of the back", share=percent(value, 1))

    return tr(
        _MOVED[_sides(miss, SAME_SPOT_MM if result.in_mm else SAME_SPOT_SHARE)],
        mark=mark_title(landmark),
        along=shown(miss.forward_mm),
        across=shown(miss.up_mm),
    )


def weight_sentence(effects: Effects, landmark: str, unit: str) -> str:
    """What one mark alone does, by the length it changes most, and whether that matters."""
    worst = max(effects.alone[landmark], key=lambda effect: abs(effect.change))
    weight = tr(_WEIGHTS[effects.weight_of(landmark)])
    if abs(worst.change_mm) < SAME_SPOT_MM:
        return weight
    return f"{change_sentence(worst, unit)} {weight}"


def percent(value: float, places: int = 0) -> str:
    """ "4 %", whatever the sign, never broken over two lines."""
    return f"{abs(value):.{places}f}\N{NO-BREAK SPACE}%"


def change_sentence(effect: SpanEffect, unit: str) -> str:
    """ "Alone it makes the rear length 1.2 cm (4 %) longer." """
    longer = later("Alone it makes the {span} {length} ({share}) longer.")
    shorter = later("Alone it makes the {span} {length} ({share}) shorter.")
    return tr(
        longer if effect.change_mm > 0 else shorter,
        span=tr(SPAN_TITLES[effect.span]),
        length=format_length(abs(effect.change_mm), unit),
        share=percent(100.0 * effect.change),
    )


def change_text(effect: SpanEffect, unit: str) -> str:
    """A table's cell: "1.2 cm longer (4 %)", or "as good as the same"."""
    if abs(effect.change_mm) < SAME_SPOT_MM:
        return tr("as good as the same")
    longer, shorter = later("{length} longer ({share})"), later("{length} shorter ({share})")
    return tr(
        longer if effect.change_mm > 0 else shorter,
        length=format_length(abs(effect.change_mm), unit),
        share=percent(100.0 * effect.change),
    )


def tendency_sentences(found: Sequence[Pattern], unit: str) -> tuple[str, ...]:
    """What the attempts say so far: one sentence a landmark, or that it is too early."""
    fewest = min((len(pattern.misses) for pattern in found), default=0)
    if fewest < LEAST_ATTEMPTS:
        return (
            tr(
                "Too early to tell where you lean: mark {more} more.",
                more=LEAST_ATTEMPTS - fewest,
            ),
        )
    return tuple(_tendency(pattern, unit) for pattern in found)


def _tendency(pattern: Pattern, unit: str) -> str:
    told = (
        _told(pattern.forward.told, pattern.forward.mean_mm),
        _told(pattern.up.told, pattern.up.mean_mm),
    )
    if told == (0, 0):
        scatter = max(pattern.forward.scatter_mm, pattern.up.scatter_mm)
        return tr(
            "{mark}: no clear leaning so far; your marks scatter by about {scatter}.",
            mark=mark_title(pattern.landmark),
            scatter=format_length(scatter, unit),
        )
    return tr(
        _TENDENCIES[told],
        mark=tr(LANDMARK_TITLES[pattern.landmark]),
        along=format_length(abs(pattern.forward.mean_mm), unit),
        across=format_length(abs(pattern.up.mean_mm), unit),
    )


def _told(told: bool, mean: float) -> int:
    return (1 if mean > 0 else -1) if told else 0


def spread_sentence(spread: Spread, unit: str) -> str:
    """How far a person's marks lie off, with its interval."""
    return tr(
        "In each direction your marks lie about {middle} off (likely {low} to {high}, after "
        "{dogs} dogs).",
        middle=format_length(spread.mm, unit),
        low=format_length(spread.low_mm, unit),
        high=format_length(spread.high_mm, unit),
        dogs=spread.dogs,
    )


def repeat_sentence(result: Repeat, unit: str) -> str:
    """How well a person finds the same place again."""
    if result.in_mm:
        middle, low, high = (
            format_length(value, unit) for value in (result.spread, result.low, result.high)
        )
    else:
        middle, low, high = (
            tr("{share} of the back", share=percent(value, 1))
            for value in (result.spread, result.low, result.high)
        )
    return tr(
        "You find the same place again to about {middle} in each direction (likely {low} to "
        "{high}, for two markings of one photo tell little).",
        middle=middle,
        low=low,
        high=high,
    )
