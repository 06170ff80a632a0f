"""What is said of a stance: figures people can check, sentences, instructions, lines."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.speech import later, listed, number, tr

if TYPE_CHECKING:
    from photocheck.body.stance import Figure

Array = NDArray[np.float64]
Seen = Mapping[str, Array]

CAUTIONS: Final = (
    later("Never push, lift or lean on a dog to make it stand: wait, or try again later."),
    later("Stop if the dog growls, freezes or shows pain, and let a vet look at it."),
)

INSTRUCTIONS: Final = MappingProxyType(
    {
        "crouching": later(
            "Give the dog time, let it come up by itself and take the photo when it "
            "stands with straight legs; a treat held at nose height helps."
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
    }
)
"""Uprights to draw: from a landmark down to the height of a foot."""

STANDARDS: Final = (
    "breed standards (FCI 143, 147 and 166, Cane Corso): length over height 1.00 to 1.17, chest "
    "depth 45 to 50 % of the height"
)
LEVEL: Final = "measured dogs (Kangal): rump as high as the withers within 3 %"
UPRIGHT: Final = "breed standards: forelegs upright, feet under the body; spread judgement"


@dataclass(frozen=True)
class FigurePlan:
    """How one figure is measured.

    ``sign`` says which way the posture moves it, 0 for either; ``needs`` the landmarks.
    """

    title: str
    measure: Callable[[Seen], Array]
    sign: int
    needs: tuple[str, ...]
    basis: str


def _trunk(seen: Seen) -> Array:
    return np.asarray(np.linalg.norm(seen["tail_base"] - seen["breastbone"], axis=-1))


def _ground(seen: Seen, foot: str) -> Array:
    return seen[foot][:, 1]


def _over(top: str, foot: str) -> Callable[[Seen], Array]:
    def measure(seen: Seen) -> Array:
        return np.asarray((seen[top][:, 1] - _ground(seen, foot)) / _trunk(seen))

    return measure


def _over_chest(seen: Seen) -> Array:
    depth = seen["shoulder_top"][:, 1] - seen["chest_bottom"][:, 1]
    return np.asarray((seen["shoulder_top"][:, 1] - seen["front_foot"][:, 1]) / depth)


def _feet(seen: Seen) -> Array:
    return np.asarray((seen["rear_foot"] - seen["front_foot"])[:, 0] / _trunk(seen))


def _fall(seen: Seen) -> Array:
    line = seen["tail_base"] - seen["shoulder_top"]
    return np.asarray(np.degrees(np.arctan2(-line[:, 1], line[:, 0])))


def _rise(seen: Seen) -> Array:
    start, end, top = (seen[name] for name in ("shoulder_top", "tail_base", "topline"))
    line, arm = end - start, top - start
    squared = np.sum(line**2, axis=-1)
    return np.asarray((line[:, 0] * arm[:, 1] - line[:, 1] * arm[:, 0]) / squared)


def _lean(seen: Seen) -> Array:
    front = seen["front_foot"][:, 0] - seen["shoulder_top"][:, 0]
    rear = seen["rear_foot"][:, 0] - seen["tail_base"][:, 0]
    return np.asarray(0.5 * (front + rear) / _trunk(seen))


def _under(seen: Seen) -> Array:
    return np.asarray((seen["rear_foot"] - seen["tail_base"])[:, 0] / _trunk(seen))


def _neck(seen: Seen) -> Array:
    height = (seen["shoulder_top"] - seen["tail_base"])[:, 1]
    return np.asarray(height / _trunk(seen))


def _head(seen: Seen) -> Array:
    return np.asarray((seen["head"] - seen["shoulder_top"])[:, 1] / _trunk(seen))


def _long(seen: Seen) -> Array:
    height = seen["shoulder_top"][:, 1] - seen["front_foot"][:, 1]
    return np.asarray(_trunk(seen) / height)


_HEIGHT = FigurePlan(
    later("height of the shoulder over length from breastbone to tail base"),
    _over("shoulder_top", "front_foot"),
    -1,
    ("front_foot",),
    STANDARDS,
)
_DEPTH = FigurePlan(
    later("height of the shoulder over depth of the chest"),
    _over_chest,
    -1,
    ("front_foot", "chest_bottom"),
    STANDARDS,
)
_RUMP = FigurePlan(
    later("height of the tail base over length from breastbone to tail base"),
    _over("tail_base", "rear_foot"),
    -1,
    ("rear_foot",),
    f"{STANDARDS}; {LEVEL}",
)
_SLOPE = FigurePlan(
    later("fall of the line from shoulder top to tail base, degrees"), _fall, 1, (), LEVEL
)
_TUCK = FigurePlan(
    later("hind foot behind the tail base over length from breastbone to tail base"),
    _under,
    -1,
    ("rear_foot",),
    UPRIGHT,
)
_TRUNK = FigurePlan(
    later("length from breastbone to tail base over height of the shoulder"),
    _long,
    -1,
    ("front_foot",),
    STANDARDS,
)
_BACK = FigurePlan(
    later("rise of the back over the line from shoulder top to tail base, over that line"),
    _rise,
    1,
    ("topline",),
    "breed standards: back level and straight, loin slightly convex; spread judgement",
)
_FEET = FigurePlan(
    later("distance between the feet over length from breastbone to tail base"),
    _feet,
    1,
    ("front_foot", "rear_foot"),
    UPRIGHT,
)
_LEAN = FigurePlan(
    later("feet behind the trunk over length from breastbone to tail base"),
    _lean,
    0,
    ("front_foot", "rear_foot"),
    UPRIGHT,
)
_NECK = FigurePlan(
    later("shoulder top above tail base over length from breastbone to tail base"),
    _neck,
    -1,
    (),
    LEVEL,
)
_HEAD = FigurePlan(
    later("head above the shoulder over length from breastbone to tail base"),
    _head,
    -1,
    ("head",),
    "judgement: an attentive dog's head, no source",
)

_FIGURES: Final[Mapping[str, tuple[FigurePlan, ...]]] = MappingProxyType(
    {
        "crouching": (_HEIGHT, _DEPTH, _RUMP, _SLOPE),
        "stretched": (_FEET, _SLOPE),
        "arched": (_BACK, _TUCK, _TRUNK, _SLOPE),
        "rear_lowered": (_SLOPE, _RUMP),
        "weight_shifted": (_LEAN, _SLOPE),
        "head_down": (_HEAD, _NECK),
        "turned_away": (_TRUNK, _SLOPE),
    }
)


def figures(name: str, known: tuple[str, ...]) -> tuple[FigurePlan, ...]:
    """The figures that show a posture with the landmarks known; never empty."""
    return tuple(plan for plan in _FIGURES[name] if set(plan.needs) <= set(known))


def sentence(name: str, figure: Figure, log_bayes: float) -> str:
    """What was seen, with the figure and what square dogs have."""
    digits = 0 if "degrees" in figure.title else 2
    value, low, high = (number(f"{v:.{digits}f}") for v in (figure.value, figure.low, figure.high))
    told = {"seen": tr(_SEEN[name]), "figure": tr(figure.title), "value": value}
    if figure.low <= figure.value <= figure.high:
        times = min(round(float(np.exp(log_bayes)), 1 if log_bayes < 2.0 else 0), 1000)
        return tr(
            "{seen}: the {figure} is {value}, which by itself a dog standing square may have "
            "({low} to {high}), but all marks together fit {times:g} times better.",
            **told,
            low=low,
            high=high,
            times=times,
        )
    return tr(
        "{seen}: the {figure} is {value}, and for a dog standing square we would expect {low} "
        "to {high}.",
        **told,
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
