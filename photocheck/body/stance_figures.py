"""The figures that show a stance, which people can check on the photo with a ruler."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.speech import later

Array = NDArray[np.float64]
Seen = Mapping[str, Array]

STANDARDS: Final = (
    "breed standards (FCI 143, 147 and 166, Cane Corso): length over height 1.00 to 1.17, chest "
    "depth 45 to 50 % of the height"
)
LEVEL: Final = "measured dogs (Kangal): rump as high as the withers within 3 %"
UPRIGHT: Final = "breed standards: forelegs upright, feet under the body; spread judgement"


@dataclass(frozen=True)
class StanceFigure:
    """One measured figure with what square-standing dogs have.

    ``low`` and ``high`` hold 90 of 100 square dogs, the doubt of this measurement included.
    ``title`` says what was divided by what.
    """

    title: str
    value: float
    low: float
    high: float
    basis: str


@dataclass(frozen=True, eq=False)
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


def _angle(seen: Seen) -> Array:
    ahead, behind = (seen[n] - seen["shoulder_top"] for n in ("breastbone", "tail_base"))
    across = ahead[:, 0] * behind[:, 1] - ahead[:, 1] * behind[:, 0]
    return np.asarray(np.degrees(np.arctan2(np.abs(across), np.sum(ahead * behind, axis=-1))))


def _both(seen: Seen) -> Array:
    fore, hind = _over("shoulder_top", "front_foot"), _over("tail_base", "rear_foot")
    return np.asarray(0.5 * (fore(seen) + hind(seen)))


def _stands(seen: Seen) -> Array:
    # Length and depth err apart: their mean tells a dog's size better than either.
    depth = seen["shoulder_top"][:, 1] - seen["chest_bottom"][:, 1]
    trunk = _trunk(seen)
    return np.asarray(_both(seen) * trunk / (0.5 * (trunk + 2.0 * depth)))


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


def _feet_line(seen: Seen) -> Array:
    line = seen["rear_foot"] - seen["front_foot"]
    return np.asarray(np.degrees(np.arctan2(line[:, 1], line[:, 0])))


def _front(seen: Seen) -> Array:
    shoulder = seen["shoulder_top"][:, 1] - _ground(seen, "front_foot")
    return np.asarray(shoulder / (seen["tail_base"][:, 1] - _ground(seen, "rear_foot")))


def _climb(seen: Seen) -> Array:
    return -_fall(seen)


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
_STANDS = FigurePlan(
    later(
        "mean height of shoulder and tail base over the mean of body length and twice the chest "
        "depth"
    ),
    _stands,
    -1,
    ("front_foot", "rear_foot", "chest_bottom"),
    STANDARDS,
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
_HEAD = FigurePlan(
    later("head above the shoulder over length from breastbone to tail base"),
    _head,
    -1,
    ("head",),
    "judgement: an attentive dog's head, no source",
)

_ANGLE = FigurePlan(
    later("angle at the shoulder top between breastbone and tail base, degrees"),
    _angle,
    -1,
    (),
    "breed standards: shoulder laid back 45 to 55 degrees, back level; spread judgement",
)
_LOW_BEHIND = FigurePlan(
    later("height of the shoulder over height of the tail base"),
    _front,
    1,
    ("front_foot", "rear_foot"),
    LEVEL,
)
_FEET_LINE = FigurePlan(
    later("rise of the line between the feet towards the tail, degrees"),
    _feet_line,
    0,
    ("front_foot", "rear_foot"),
    "an even ground; the phone's tilt and the feet's spread included",
)
_FRONT = FigurePlan(
    later("height of the shoulder over height of the tail base"),
    _front,
    -1,
    ("front_foot", "rear_foot"),
    LEVEL,
)
_RISE = FigurePlan(
    later("rise of the line from shoulder top to tail base, degrees"),
    _climb,
    1,
    (),
    LEVEL,
)

_FIGURES: Final[Mapping[str, tuple[tuple[FigurePlan, ...], ...]]] = MappingProxyType(
    {
        # A long dog is low for its length only; a dog that crouches is for its chest as well.
        "crouching": ((_STANDS,), (_HEIGHT, _DEPTH)),
        "stretched": ((_FEET,),),
        "arched": ((_BACK, _ANGLE, _TUCK, _TRUNK),),
        "rear_lowered": ((_SLOPE, _LOW_BEHIND),),
        "weight_shifted": ((_LEAN,),),
        "head_down": ((_HEAD,),),
        "turned_away": ((_TRUNK, _FEET_LINE),),
        "front_lowered": ((_FRONT, _RISE),),
    }
)
"""For each posture its figures, in groups: of the first group that the marks know, all do."""


def figures(name: str, known: tuple[str, ...]) -> tuple[FigurePlan, ...]:
    """The figures that show a posture with the landmarks known; empty where none does."""
    for group in _FIGURES[name]:
        found = tuple(plan for plan in group if set(plan.needs) <= set(known))
        if found:
            return found
    return ()


def abnormal(plan: FigurePlan, values: Array, low: float, high: float) -> Array:
    """Which values lie beyond what square dogs have, on the side the posture moves them to."""
    below, above = values < low, values > high
    if plan.sign == 0:
        return np.asarray(below | above)
    return np.asarray(above if plan.sign > 0 else below)
