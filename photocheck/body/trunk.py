"""The trunk as a photo and a few facts describe it, and the tape's way over it.

Body coordinates are mm in the dog's middle plane: x and y as in the photo's
level frame, z out of the plane towards the near side.  Everything broadcasts
over leading axes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from photocheck.body import shape
from photocheck.body.sections import half_superellipse, quarter_ellipse, superellipse_area
from photocheck.case.model import DogFacts
from photocheck.words import SPAN_ENDS

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Trunk:
    """A trunk, or a stack of them.

    Attributes
    ----------
    points : mapping of landmark to (..., 2)
        As seen at the coat's outline, body coordinates, mm.
    bends : mapping of span to sequence of (..., 2)
        Points the tape passes, from the end nearer the breastbone.
    depth, width : (...)
        Of the chest behind the elbow, mm.
    terms : mapping of term to (...)
        Standard normal shape terms, keys of `shape.TERM_TITLES`.
    coat : shape.Depth
    ratios : shape.TapeRatios
        What the shop has learnt for dogs like this one.
    """

    points: Mapping[str, Array]
    bends: Mapping[str, Sequence[Array]]
    depth: Array
    width: Array
    terms: Mapping[str, Array]
    coat: shape.Depth
    ratios: shape.TapeRatios = shape.SHIPPED

    @property
    def straight(self) -> Array:
        """Straight distance breastbone - tail base, (...), mm."""
        return _length(self.points["tail_base"] - self.points["breastbone"])

    @property
    def pressed(self) -> Array:
        """How far the tape lies below the coat's outline, (...), mm."""
        return _pressed(self)

    def behind_breastbone(self, landmark: str) -> Array:
        """How far a marked point lies behind the breastbone along the back, (...), mm."""
        step = self.points[landmark] - self.points["breastbone"]
        return np.asarray(np.sum(step * _topline(self), axis=-1))

    @property
    def chest_behind_breastbone(self) -> Array:
        """The same of the chest's widest place, behind the elbows."""
        if "chest_bottom" in self.points:
            return self.behind_breastbone("chest_bottom")
        return shape.FRONT_TURN_ALONG * self.behind_breastbone("last_rib")

    @property
    def neck_width(self) -> Array:
        """Width of the neck where the tape lies on the skin, (...), mm, as the half neck has it."""
        return _neck_width(self, _without_coat(self))

    @property
    def half_flank(self) -> Array:
        """Half the trunk's width at the last rib, (...), mm."""
        flank = scaled(shape.FLANK_WIDTH_OVER_CHEST, self.terms["flank_width"])
        return 0.5 * flank * self.width


def scaled(ratio: shape.Ratio, term: Array) -> Array:
    """The ratio at `term` standard deviations from its median."""
    return np.asarray(ratio.median * np.exp(ratio.log_spread * term))


def build_trunk(
    points: Mapping[str, Array],
    bends: Mapping[str, Sequence[Array]],
    terms: Mapping[str, Array],
    dog: DogFacts,
    ratios: shape.TapeRatios = shape.SHIPPED,
) -> Trunk:
    """Complete marks by what is known of dogs.

    Depth is taken from the two chest marks when both are there, else from the
    prior ratio to the straight distance breastbone - tail base.
    """
    straight = _length(points["tail_base"] - points["breastbone"])
    if "back_top" in points and "chest_bottom" in points:
        depth = _length(points["chest_bottom"] - points["back_top"])
    else:
        depth = straight * scaled(shape.CHEST_DEPTH_OVER_F, terms["trunk_depth"])
    width = depth * scaled(shape.TRUNK_WIDTH_OVER_DEPTH[dog.build], terms["trunk_width"])
    coat = shape.coat_pressed(dog.coat, dog.coat_depth_mm)
    return Trunk(points, bends, depth, width, terms, coat, ratios)


def girth(trunk: Trunk) -> Array:
    """Girth behind the elbow, (...), mm: an ellipse of the chest's depth and width."""
    pressed = _pressed(trunk)
    around = 4.0 * quarter_ellipse(trunk.depth / 2 - pressed, trunk.width / 2)
    return shape.GIRTH_OVER_ELLIPSE.median * around


def weight(trunk: Trunk) -> Array:
    """Expected body mass, (...), kg, by `shape.WEIGHT_PER_TRUNK`."""
    area = superellipse_area(trunk.depth / 2, trunk.width / 2, 2.0)
    return np.asarray(
        shape.WEIGHT_PER_TRUNK.median * shape.DENSITY_KG_PER_MM3 * area * trunk.straight
    )


def log_spans(trunk: Trunk) -> Array:
    """What a tape would read, as natural logarithms of mm, (..., 4) in `words.SPANS` order."""
    points = _without_coat(trunk)
    half_neck = _half_neck(trunk, points)
    front = _front(trunk, points)
    rear = _rear(trunk, points)
    return np.log(np.stack([half_neck, front, rear, front + rear], axis=-1))


def _half_neck(trunk: Trunk, points: Mapping[str, Array]) -> Array:
    """Half a superellipse whose long axis is the way marked in the photo."""
    start, end = (points[name] for name in SPAN_ENDS["half_neck"])
    way = _way(start, trunk.bends.get("half_neck", ()), end)
    learnt = trunk.ratios.of("half_neck", bool(trunk.bends.get("half_neck")))
    spread = learnt.spread_factor
    width = _neck_width(trunk, points)
    exponent = scaled(shape.NECK_EXPONENT, spread * trunk.terms["neck_boxiness"])
    return np.asarray(np.exp(learnt.shift) * half_superellipse(way, width, exponent))


def _neck_width(trunk: Trunk, points: Mapping[str, Array]) -> Array:
    start, end = (points[name] for name in SPAN_ENDS["half_neck"])
    spread = trunk.ratios.of("half_neck", bool(trunk.bends.get("half_neck"))).spread_factor
    term = spread * trunk.terms["neck_width"]
    usual = shape.TRUNK_WIDTH_OVER_DEPTH["unknown"].median
    build = (trunk.width / trunk.depth / usual) ** shape.NECK_WITH_TRUNK
    return np.asarray(_length(end - start) * build * scaled(shape.NECK_WIDTH_OVER_CHORD, term))


def _front(trunk: Trunk, points: Mapping[str, Array]) -> Array:
    """From the breastbone to where the tape shows behind the foreleg, then up the ribs."""
    start, end = (points[name] for name in SPAN_ENDS["front_length"])
    half = trunk.half_flank
    bends = trunk.bends.get("front_length", ())
    learnt = trunk.ratios.of("front_length", bool(bends) or "chest_bottom" in trunk.points)
    surplus = np.exp(learnt.shift) * scaled(
        shape.FRONT_SURPLUS, learnt.spread_factor * trunk.terms["front_surplus"]
    )
    if bends:
        return np.asarray(surplus * np.hypot(_way(start, bends, end), half))
    turn = _front_turn(trunk, points, learnt.spread_factor)
    side = shape.FRONT_TURN_SIDE * half
    under = np.hypot(_length(turn - start), side)
    rising = np.hypot(_length(end - turn), half - side)
    if "chest_bottom" not in points:
        unmarked = shape.FRONT_UNMARKED * learnt.spread_factor
        surplus = surplus * np.exp(unmarked * trunk.terms["front_turn"])
    return np.asarray(surplus * (under + rising))


def _front_turn(trunk: Trunk, points: Mapping[str, Array], spread: float) -> Array:
    """Where the tape comes out behind the foreleg, (..., 2).

    Told by the mark at the chest's bottom, which lies behind the elbow, else by the
    usual place below the chord.
    """
    start, end = (points[name] for name in SPAN_ENDS["front_length"])
    chord = end - start
    # y runs down in the picture: "below" is right of a chord that runs to the right
    below = np.stack([-chord[..., 1], chord[..., 0]], axis=-1) * np.sign(chord[..., :1])
    if "chest_bottom" in points:
        rise = shape.FRONT_TURN_ABOVE_CHEST * trunk.depth
        return np.asarray(points["chest_bottom"] - below * (rise / _length(chord))[..., None])
    drop = scaled(shape.FRONT_TURN_BELOW, spread * trunk.terms["front_turn"])
    return np.asarray(start + shape.FRONT_TURN_ALONG * chord + drop[..., None] * below)


def _rear(trunk: Trunk, points: Mapping[str, Array]) -> Array:
    """Unrolled from the widest point of the flank to the middle of the back.

    Along the topline the tape runs straight; across, it climbs a quarter of the
    ellipse with the flank's half width and the rise seen in the photo.
    """
    start, end = (points[name] for name in SPAN_ENDS["rear_length"])
    topline = _topline(trunk)
    step = end - start
    along = np.sum(step * topline, axis=-1)
    across = step[..., 0] * topline[..., 1] - step[..., 1] * topline[..., 0]
    climb = quarter_ellipse(np.abs(across), trunk.half_flank)
    chord = _length(step)
    way = _way(start, trunk.bends.get("rear_length", ()), end)
    learnt = trunk.ratios.of("rear_length", bool(trunk.bends.get("rear_length")))
    surplus = np.exp(learnt.shift) * scaled(
        shape.REAR_SURPLUS, learnt.spread_factor * trunk.terms["rear_surplus"]
    )
    return np.asarray(surplus * np.sqrt(along**2 + climb**2 + way**2 - chord**2))


def _pressed(trunk: Trunk) -> Array:
    """How far the tape lies below the outline, (...), mm; never negative."""
    return np.maximum(trunk.coat.mean_mm + trunk.coat.spread_mm * trunk.terms["coat"], 0.0)


def _without_coat(trunk: Trunk) -> dict[str, Array]:
    """Outline marks moved in to where the tape presses the coat down.

    The breastbone moves back along the topline, shoulder top and tail base down
    across it: square to the outline there.  The last rib lies inside the outline
    and stays.
    """
    back = _topline(trunk)
    down = np.stack([-back[..., 1], back[..., 0]], axis=-1)
    below = trunk.points["last_rib"] - trunk.points["shoulder_top"]
    down = down * np.sign(np.sum(down * below, axis=-1, keepdims=True))
    pressed = _pressed(trunk)[..., None]
    moved = dict(trunk.points)
    moved["breastbone"] = trunk.points["breastbone"] + pressed * back
    moved["shoulder_top"] = trunk.points["shoulder_top"] + pressed * down
    moved["tail_base"] = trunk.points["tail_base"] + pressed * down
    return moved


def _topline(trunk: Trunk) -> Array:
    """Unit vector from the shoulder top to the tail base, (..., 2)."""
    back = trunk.points["tail_base"] - trunk.points["shoulder_top"]
    return np.asarray(back / _length(back)[..., None])


def _way(start: Array, bends: Sequence[Array], end: Array) -> Array:
    """Length of the line through the bend points, (...), mm."""
    stops = [start, *bends, end]
    steps = [_length(after - before) for before, after in pairwise(stops)]
    return np.asarray(sum(steps))


def _length(vector: Array) -> Array:
    """Of plane vectors (..., 2); `numpy.sum` takes longer for two numbers."""
    squares = vector**2
    return np.asarray(np.sqrt(squares[..., 0] + squares[..., 1] + 1e-12))
