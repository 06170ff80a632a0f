"""What is said of a stance: sentences, instructions, and the lines drawn as evidence."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

from photocheck.body.stance_figures import StanceFigure
from photocheck.speech import later, listed, number, tr

CAUTIONS: Final = (
    later("Never push, lift or lean on a dog to make it stand: wait, or try again later."),
    later("Stop if the dog growls, freezes or shows pain, and let a vet look at it."),
)

INSTRUCTIONS: Final = MappingProxyType(
    {
        "crouching": later(
            "Give the dog time, let it come up by itself and take the photo when it "
            "stands with straight legs; a treat held at nose height helps. Choose ground that "
            "shows its feet: hidden in grass they look like a crouch."
        ),
        "stretched": later(
            "Let the dog walk two steps and stop, so that its feet come to stand "
            "under its shoulders and hips; then take the photo again."
        ),
        "arched": later(
            "Let the dog walk a few steps to loosen up and take the photo when its "
            "back is level. If it keeps its back arched, ask a vet before measuring."
        ),
        "rear_lowered": later(
            "Call the dog a step forward so that its hindquarters come up, and take "
            "the photo before it sits. If it stays low behind, ask a vet before "
            "measuring."
        ),
        "weight_shifted": later(
            "Let the dog walk two steps and stop by itself, with its weight even "
            "over all four feet; then take the photo again."
        ),
        "head_down": later(
            "Get the dog to look straight ahead, for example at a treat held at the "
            "height of its nose, and take the photo again."
        ),
        "front_lowered": later(
            "Wait until the dog has finished its bow or its stretch and stands on straight "
            "forelegs, and take the photo then."
        ),
        "turned_away": later(
            "Stand so that you see the dog exactly from the side, with the thing of "
            "known size parallel to it, and take the photo again."
        ),
    }
)

_SEEN: Final = MappingProxyType(
    {
        "crouching": later("The dog seems to crouch"),
        "stretched": later("The dog seems to stand stretched"),
        "arched": later("The dog seems to arch its back"),
        "rear_lowered": later("The dog's hindquarters seem lowered"),
        "weight_shifted": later("The dog seems to lean over its feet"),
        "head_down": later("The dog seems to hold its head low"),
        "front_lowered": later("The dog's front seems lowered"),
        "turned_away": later("The dog seems turned towards or away from the camera"),
    }
)

LINES: Final = MappingProxyType(
    {
        "crouching": (),
        "stretched": (("front_foot", "rear_foot"),),
        "arched": (("shoulder_top", "tail_base"),),
        "rear_lowered": (("shoulder_top", "tail_base"),),
        "weight_shifted": (("front_foot", "rear_foot"),),
        "head_down": (("breastbone", "shoulder_top"),),
        "turned_away": (("breastbone", "tail_base"),),
        "front_lowered": (("shoulder_top", "tail_base"),),
    }
)
"""Lines between landmarks to draw as evidence."""

UPRIGHTS: Final = MappingProxyType(
    {
        "crouching": (("shoulder_top", "front_foot"), ("tail_base", "rear_foot")),
        "stretched": (("shoulder_top", "front_foot"), ("tail_base", "rear_foot")),
        "arched": (),
        "rear_lowered": (("tail_base", "rear_foot"),),
        "weight_shifted": (("shoulder_top", "front_foot"), ("tail_base", "rear_foot")),
        "head_down": (("shoulder_top", "front_foot"),),
        "turned_away": (("shoulder_top", "front_foot"),),
        "front_lowered": (("shoulder_top", "front_foot"), ("tail_base", "rear_foot")),
    }
)
"""Uprights to draw: from a landmark down to the height of a foot."""


def sentence(name: str, figure: StanceFigure) -> str:
    """What was seen, with the figure and what square dogs have."""
    digits = 0 if "degrees" in figure.title else 2
    value, low, high = (number(f"{v:.{digits}f}") for v in (figure.value, figure.low, figure.high))
    return tr(
        "{seen}: the {figure} is {value}, and for a dog standing square we would expect {low} "
        "to {high}.",
        seen=tr(_SEEN[name]),
        figure=tr(figure.title),
        value=value,
        low=low,
        high=high,
    )


_SHOWN_BY: Final = MappingProxyType(
    {
        "front_foot": later("mark the front foot"),
        "rear_foot": later("mark the rear foot"),
        "chest_bottom": later("mark the chest bottom behind the elbow"),
    }
)
_ASKED: Final = MappingProxyType(
    {
        "crouching": later("whether the dog crouches"),
        "stretched": later("whether the dog stands stretched"),
        "arched": later("whether the dog arches its back"),
        "rear_lowered": later("whether the hindquarters are lowered"),
        "weight_shifted": later("whether the dog leans over its feet"),
        "head_down": later("whether the head is held low"),
        "front_lowered": later("whether the front is lowered"),
        "turned_away": later("whether the dog is turned out of the side view"),
    }
)


def unchecked(name: str, known: tuple[str, ...]) -> str:
    """That a posture could not be checked, and what would let it."""
    what = tr(_ASKED[name])
    missing = [tr(how) for mark, how in _SHOWN_BY.items() if mark not in known]
    if not missing:
        return tr("These marks cannot show {what}; please look for yourself.", what=what)
    return tr(
        "These marks cannot show {what}: {steps} to check it.", what=what, steps=listed(missing)
    )
