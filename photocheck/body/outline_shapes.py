"""Where the parts of a dog may lie around its marks: many shapes drawn, weighed by a photo.

Trunk, head with neck, legs and tail are drawn as simple figures, each in many postures
and builds.  Their mean is what is believed before the photo is looked at; after that each
shape counts by how well the photo's colours speak for it (a cut guided by shapes:
Kumar, Torr and Zisserman 2005, "OBJ CUT", CVPR 1: 18-25, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Map = NDArray[np.float32]
Mask = NDArray[np.uint8]

SHAPES: Final = 240
"""Shapes drawn of each part."""
COARSE_PX: Final = 120
"""Longer side of the copy they are drawn in, px."""
OFF_SIDE: Final = 0.8
"""How likely the leg on the far side is seen beside the near one (judgement)."""
EVEN: Final = 0.3
"""Share of the weight that all shapes keep alike, whatever the photo says (judgement)."""
TEMPER: Final = 0.02
"""What one pixel of the coarse copy counts: its neighbours say nearly the same (judgement)."""
PARTS: Final = ("trunk", "head", "fore", "hind", "tail")
_FINE: Final = 4
_UNIT: Final = 1 << _FINE


class Shapes:
    """The shapes of every part in a coarse copy, with their weights.

    All lengths are shares of the length breastbone - tail base; their ranges are judgement
    and wider than any breed: heads carried anywhere from 35 degrees below level to 80 above,
    faces turned to the camera, tails of any carriage or none.

    Parameters
    ----------
    marks : mapping of landmark name to (x, y)
        In pixels of the coarse copy; breastbone, shoulder_top, last_rib and tail_base at least.
    trunk : float
        Length breastbone - tail base, px of the coarse copy.
    ahead : float
        1 when the dog looks to the right, else -1.
    shape : (int, int)
        Rows and columns of the coarse copy.
    """

    def __init__(
        self, marks: Mapping[str, Array], trunk: float, ahead: float, shape: tuple[int, int]
    ) -> None:
        self.shape = shape
        pen = _Pen(marks, trunk, ahead, shape, np.random.default_rng(3))
        drawn = {part: np.empty((SHAPES, *shape), np.float32) for part in PARTS}
        for number in range(SHAPES):
            for part, mask in pen.dog(exact=number % 2 == 0).items():
                drawn[part][number] = mask
        self.drawn = {part: masks.reshape(SHAPES, -1) for part, masks in drawn.items()}
        even = np.full(SHAPES, 1.0 / SHAPES, np.float32)
        names = (*PARTS, "far_fore", "far_hind")
        self.weights = dict.fromkeys(names, even)

    def part(self, name: str) -> Map:
        """How likely each pixel belongs to a part, (rows, columns); "far_fore" and
        "far_hind" are the legs on the far side."""
        flat = self.weights[name] @ self.drawn[name.removeprefix("far_")]
        return np.asarray(flat.reshape(self.shape), np.float32)

    def dog(self) -> Map:
        """How likely each pixel belongs to the dog, (rows, columns)."""
        off = np.ones(self.shape, np.float32)
        for name in self.weights:
            share = OFF_SIDE if name.startswith("far_") else 1.0
            off = off * (1.0 - share * self.part(name))
        return np.asarray(1.0 - off, np.float32)

    def weigh(self, speaks: Map) -> None:
        """Weigh the shapes by what each pixel says for the dog, ln of its odds (rows, columns)."""
        free = 1.0 - self.part("trunk")
        for name in ("head", "fore", "hind", "tail", "trunk"):
            seen = speaks if name == "trunk" else speaks * free
            self.weights[name] = _weights(self.drawn[name], seen)
            if name in ("fore", "hind"):
                rest = seen * (1.0 - self.part(name))
                self.weights[f"far_{name}"] = _weights(self.drawn[name], rest)


def _weights(drawn: Map, speaks: Map) -> Map:
    score = TEMPER * (drawn @ np.asarray(speaks, np.float32).ravel())
    likely = np.exp(score - score.max())
    return np.asarray((1.0 - EVEN) * likely / likely.sum() + EVEN / len(drawn), np.float32)


class _Pen:
    """Draws one dog after the other around the same marks."""

    def __init__(
        self,
        marks: Mapping[str, Array],
        trunk: float,
        ahead: float,
        shape: tuple[int, int],
        rng: np.random.Generator,
    ) -> None:
        self.marks, self.trunk, self.shape, self.rng = marks, trunk, shape, rng
        self.on = np.array([ahead * trunk, 0.0])
        self.down = np.array([0.0, trunk])

    def toward(self, degrees: float, length: float) -> Array:
        """A step ahead, turned up by some degrees, of that share of the trunk."""
        angle = np.radians(degrees)
        return np.asarray(length * (np.cos(angle) * self.on - np.sin(angle) * self.down), float)

    def dog(self, exact: bool) -> dict[str, Mask]:
        """All parts of one dog; `exact` sets the feet where they are marked."""
        z = self.rng.normal(size=12)
        marks, on, down = self.marks, self.on, self.down
        withers, rib, tail = (marks[n] for n in ("shoulder_top", "last_rib", "tail_base"))
        chest = marks.get("chest_bottom")
        if chest is None:
            chest = withers - 0.08 * on + (0.50 + 0.045 * z[0]) * down
        tuck = rib - (0.10 + 0.04 * z[1]) * on
        tuck[1] = 0.5 * (chest[1] + rib[1]) + (0.06 + 0.05 * z[2]) * self.trunk
        tuck[1] = min(tuck[1], chest[1] + 0.02 * self.trunk)
        buttock = tail - (0.06 + 0.03 * z[3]) * on + (0.16 + 0.03 * z[4]) * down
        return {
            "trunk": self.barrel(chest, tuck, buttock, z[5]),
            "head": self.head(),
            "fore": self.fore(chest, z[6:9], exact),
            "hind": self.hind(tuck, buttock, z[6:12], exact),
            "tail": self.tail(),
        }

    def barrel(self, chest: Array, tuck: Array, buttock: Array, low: float) -> Mask:
        marks, on, down = self.marks, self.on, self.down
        breast, withers, tail = (marks[n] for n in ("breastbone", "shoulder_top", "tail_base"))
        back = marks.get("back_top", withers - 0.08 * on + 0.02 * down)
        brisket = 0.5 * (breast + chest) + 0.02 * on + (0.08 + 0.03 * low) * down
        thigh = np.array([(tail + 0.03 * on)[0], tuck[1] + 0.06 * self.trunk])
        inside = 0.015
        ring = np.array(
            [
                breast - inside * on,
                withers + inside * down,
                back + inside * down,
                tail + inside * (down + on),
                buttock + 2.0 * inside * on,
                thigh,
                tuck - inside * down,
                chest - inside * down,
                brisket,
            ]
        )
        mask = self.blank()
        self.fill(mask, ring + 0.022 * self.trunk * self.rng.normal(size=ring.shape))
        return mask

    def head(self) -> Mask:
        draw = self.rng.uniform
        breast, withers = self.marks["breastbone"], self.marks["shoulder_top"]
        start = 0.5 * (breast + withers)
        radius = draw(0.09, 0.17)
        skull = start + self.toward(draw(-35.0, 80.0), draw(0.25, 0.62))
        mask = self.blank()
        width = 0.92 * float(np.linalg.norm(breast - withers)) / self.trunk
        self.limb(mask, start, skull, width, 2.0 * radius * draw(0.7, 1.0))
        self.limb(mask, skull, skull, 2.0 * radius, 2.0 * radius)
        if draw() < 0.85:
            nose = skull + self.toward(draw(-75.0, 25.0), draw(0.18, 0.42))
            self.limb(mask, skull, nose, 1.7 * radius, draw(0.07, 0.16))
        else:  # looks into the camera
            face = skull + 0.06 * self.down
            self.limb(mask, face, face, 2.5 * radius, 2.5 * radius)
        if draw() < 0.6:  # ears that stand
            tip = skull - (radius + 0.12 * draw(0.3, 1.0)) * self.down
            self.limb(mask, skull - 0.5 * radius * self.down, tip, 0.10, 0.04)
        return mask

    def fore(self, chest: Array, z: Array, exact: bool) -> Mask:
        on, down = self.on, self.down
        withers = self.marks["shoulder_top"]
        foot = self.marks.get("front_foot")
        foot = self.foot(foot, withers + 0.02 * on, z[0], 0.15, exact)
        elbow = chest + (0.05 + 0.04 * z[1]) * on - 0.10 * down
        knee = 0.5 * (elbow + foot) + (0.015 + 0.02 * z[2]) * on
        thick = self.rng.uniform(0.07, 0.125)
        mask = self.blank()
        self.limb(mask, elbow, knee, 1.5 * thick, 0.95 * thick)
        self.limb(mask, knee, foot - 0.03 * down, 0.95 * thick, 0.8 * thick)
        self.paw(mask, foot, thick)
        return mask

    def hind(self, tuck: Array, buttock: Array, z: Array, exact: bool) -> Mask:
        on, down, tail = self.on, self.down, self.marks["tail_base"]
        below = np.array([(tail - 0.04 * on)[0], self.marks["shoulder_top"][1]])
        foot = self.foot(self.marks.get("rear_foot"), below, z[0], 0.18, exact)
        stifle = np.array([(tail + (0.15 + 0.04 * z[1]) * on)[0], tuck[1]])
        stifle = stifle + (0.06 + 0.04 * z[2]) * down
        hock = 0.35 * stifle + 0.65 * foot - (0.07 + 0.04 * z[3]) * on
        hock[1] = foot[1] - (0.26 + 0.04 * z[4]) * self.trunk
        thick = self.rng.uniform(0.07, 0.12)
        mask = self.blank()
        ring = [tail + 0.04 * down, tail + 0.2 * on + 0.05 * down, stifle + 0.04 * on, buttock]
        self.fill(mask, np.array(ring))
        self.limb(mask, 0.5 * (stifle + buttock), hock, 0.26, thick)
        self.limb(mask, hock, foot - 0.03 * down, thick, 0.8 * thick)
        self.paw(mask, foot, thick)
        return mask

    def tail(self) -> Mask:
        draw, mask = self.rng.uniform, self.blank()
        if draw() < 0.85:  # the others have none, or it hangs between the legs
            turn = draw(95.0, 265.0)
            thick = draw(0.05, 0.16)
            base = self.marks["tail_base"]
            bend = base + self.toward(turn, draw(0.08, 0.30))
            end = bend + self.toward(turn + self.rng.normal(0.0, 50.0), draw(0.05, 0.35))
            self.limb(mask, base + 0.02 * self.down, bend, 0.8 * thick, thick)
            self.limb(mask, bend, end, thick, 0.6 * thick)
        return mask

    def foot(
        self, marked: Array | None, below: Array, z: float, aside: float, exact: bool
    ) -> Array:
        """Where a foot stands: as marked, near that, or a trunk's length below the shoulder."""
        foot = below + (1.0 + 0.08 * z) * self.down if marked is None else marked
        if marked is not None and exact:
            return foot
        move = self.rng.normal(size=2) * (aside, 0.08)
        return np.asarray(foot + move[0] * self.on - abs(move[1]) * self.down, float)

    # -- strokes --------------------------------------------------------------------

    def blank(self) -> Mask:
        return np.zeros(self.shape, np.uint8)

    def fill(self, mask: Mask, ring: Array) -> None:
        cv2.fillPoly(mask, [np.rint(_UNIT * ring).astype(np.int32)], 1, shift=_FINE)

    def paw(self, mask: Mask, foot: Array, thick: float) -> None:
        heel, toe = foot - 0.035 * self.down, foot + 0.035 * self.on - 0.03 * self.down
        self.limb(mask, heel, toe, thick, 0.06)

    def limb(self, mask: Mask, start: Array, end: Array, first: float, last: float) -> None:
        """A tapered stroke with round ends; widths are shares of the trunk."""
        first, last = first * self.trunk, last * self.trunk
        line = end - start
        length = float(np.hypot(*line))
        if length > 1e-6:
            across = np.array([-line[1], line[0]]) / (2.0 * length)
            ring = [start + first * across, end + last * across]
            ring += [end - last * across, start - first * across]
            self.fill(mask, np.array(ring))
        for at, width in ((start, first), (end, last)):
            centre = (round(float(_UNIT * at[0])), round(float(_UNIT * at[1])))
            cv2.circle(mask, centre, max(round(_UNIT * width / 2.0), 1), 1, -1, shift=_FINE)
