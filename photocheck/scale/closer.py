"""The likeliest shapes looked at again, each in a window of its own size.

In the windows around a mark a thing is as large as chance has it.  Shrunk, or blown up, until each
shape is equally long, all are weighed by the same measure, and by more: whether there are corners
as that kind has them, and whether edges run beside its sides.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from photocheck.numerics import median
from photocheck.scale.beyond import Beyond, edges_beyond, shapes_around
from photocheck.scale.candidates import Window, edge_share, halved_of, steepest_across, window_about
from photocheck.scale.catalogue import ReferenceObject
from photocheck.scale.coarse import STIFF, fitted_in, window_px
from photocheck.scale.corner_marks import corner_marks
from photocheck.scale.corners import contains, side_lengths, sides_from
from photocheck.scale.light import Floats, Halved, Picture
from photocheck.scale.rivals import (
    FEATURES,
    FittedShape,
    Weighed,
    apart,
    bowed,
    chosen,
    lab_at,
    measured,
)
from photocheck.scale.rough_quads import rough_quads

_MOST: Final = 4
"""Shapes looked at again: of 646 taps where what was meant was among the shapes found it was one of
the four likeliest in all but four."""
_ROOM: Final = 0.3  # around each, of its extent
_AGAIN: Final = 6
"""Rough shapes of the likeliest one's own window, where another may be the one: a card's true
sides beside its stripe's, or past fingers, are seen there and not in the windows before."""
_SAME_PX: Final = 1.2  # of that window: one that lies no farther off is the same
_PLAIN: Final = 4.0  # Lab units: a step that is seen
_LIGHTER: Final = 5.0  # the same of lightness alone, for which way it goes

MORE: Final = (
    "edge least", "edge mean", "corner least", "corner second", "corner mean", "tip",
    "beyond mean", "plain least", "plain mean", "inner print", "outer print", "one way",
)  # fmt: skip
"""What is weighed besides `photocheck.scale.rivals.FEATURES`."""

WORTH: Final = {
    "step least": (0.48, 0.23),
    "step mean": (2.24, 0.62),
    "steady least": (-1.01, 2.61),
    "goes on most": (-3.85, -4.78),
    "goes on mean": (-11.50, -15.34),
    "misfit": (-1.82, -2.33),
    "tilt": (-3.91, -2.67),
    "sharp": (1.43, 1.58),
    "wrapped": (-0.88, -1.60),
    "wraps": (0.06, -1.50),
    "edge least": (0.86, -2.13),
    "edge mean": (-9.75, -0.31),
    "corner least": (3.30, -0.34),
    "corner second": (2.87, 3.05),
    "corner mean": (6.24, 1.76),
    "tip": (-7.39, 0.00),
    "beyond mean": (-2.19, -2.65),
    "plain least": (1.15, 3.27),
    "plain mean": (10.97, 11.38),
    "inner print": (-0.35, -0.70),
    "outer print": (0.31, 0.21),
    "one way": (2.20, 0.79),
}
"""What each is worth of a card and of a sheet.  Fitted (conditional logit, ridge 1 on features of
unit deviation) to 1,218 taps into 609 composites over photographs and 186 into photographs with
nothing in them; those of them that were left out of a fit in turn are what it was chosen by.
Sheets' were fitted again, held to those by a ridge of 3, to 480 other taps: 220 into small sheets,
140 into near ones, 120 into photographs with nothing in them.  What was left out in turn by
photograph chose the ridge; cards' stay, for none fitted again were better."""

BIAS: Final = (-10.94, -13.41)
"""The same of there being any of them."""

_NAMES: Final = (*FEATURES, *MORE)
_WEIGHTS: Final = np.array([WORTH.get(name, (0.0, 0.0)) for name in _NAMES])


def weighed_closer(
    picture: Picture | Halved,
    kind: ReferenceObject,
    near: Floats,
    found: Sequence[FittedShape],
) -> tuple[Weighed | None, Floats]:
    """Which of the shapes found at a mark (2,) px it is, and (4,) px that its sides may be off.

    The second is for edges that run beyond them, and 0 where none is plain.
    """
    bends = kind.kind not in STIFF
    pictures = halved_of(picture)
    shape = pictures.picture.shape
    own: list[tuple[FittedShape, Beyond]] = []
    around: list[FittedShape] = []
    for one in apart(found, kind.size_mm, shape, _MOST, bends=bends):
        again, others = _looked_at(pictures, kind, near, one.corners)
        own += again
        around += others
    if not own:
        return None, np.zeros(4)
    shapes = [*(one for one, _ in own), *around]
    beyond = [by for _, by in own]
    beyond += [_beyond_of(one) for one in around]
    score = _scores(shape, kind, shapes, beyond)
    if not bends and (new := _seen_again(kind, near, shapes, shapes[int(np.argmax(score))].window)):
        shapes += new
        beyond += [_beyond_of(one) for one in new]
        score = _scores(shape, kind, shapes, beyond)
    weighed = chosen(shapes, score)
    best = next(k for k, one in enumerate(shapes) if one is weighed.best)
    return weighed, beyond[best].off_px * weighed.best.window.scale


def _beyond_of(one: FittedShape) -> Beyond:
    return edges_beyond(one.window, one.in_window, one.bows)


def _scores(
    picture: tuple[int, ...],
    kind: ReferenceObject,
    shapes: Sequence[FittedShape],
    beyond: Sequence[Beyond],
) -> Floats:
    """What is weighed of each shape together, (n,): logarithms of odds against none of them."""
    bends = kind.kind not in STIFF
    facts = measured(shapes, kind.size_mm, picture, bends=bends)
    more = np.array([more_measured(kind, one, by) for one, by in zip(shapes, beyond, strict=True)])
    return np.asarray(np.column_stack([facts, more]) @ _WEIGHTS[:, int(bends)] + BIAS[int(bends)])


def _seen_again(
    kind: ReferenceObject, near: Floats, shapes: Sequence[FittedShape], window: Window
) -> list[FittedShape]:
    """Shapes around the mark looked for anew in one window, that lie where none of these does."""
    quads = [quad for _, quad in rough_quads(window, kind, _AGAIN)]
    new: list[FittedShape] = []
    for one in fitted_in(window, kind, np.array(quads)) if quads else ():
        off = min(float(np.abs(one.corners - other.corners).max()) for other in (*shapes, *new))
        if off > _SAME_PX * window.scale and contains(one.corners, near):
            new.append(one)
    return new


def _looked_at(
    picture: Halved, kind: ReferenceObject, near: Floats, corners: Floats
) -> tuple[list[tuple[FittedShape, Beyond]], list[FittedShape]]:
    """The shape near corners (4, 2) px of the photo, what runs beyond it, and those around it."""
    window = window_about(picture, corners, near, window_px(kind), _ROOM, grow=True)
    own: list[tuple[FittedShape, Beyond]] = []
    around: list[FittedShape] = []
    for one in fitted_in(window, kind, ((corners - window.origin) / window.scale)[None]):
        beyond = _beyond_of(one)
        own.append((one, beyond))
        quads = shapes_around(one.in_window, beyond)
        if len(quads):
            around = fitted_in(window, kind, quads)
    return (
        [(one, beyond) for one, beyond in own if contains(one.corners, near)],
        [one for one in around if contains(one.corners, near)],
    )


def more_measured(kind: ReferenceObject, one: FittedShape, beyond: Beyond) -> list[float]:
    """What is weighed besides `photocheck.scale.rivals.measured`, (len(MORE),)."""
    window, corners = one.window, one.in_window
    run, normal = sides_from(corners)

    def along(part: Floats) -> Floats:
        out = bowed(one.bows, part)[..., None] * normal[:, None]
        return np.asarray(corners[:, None] + part[:, None] * run[:, None] + out)

    edge = edge_share(steepest_across(window, along(np.linspace(0.1, 0.9, 33)), normal))
    side = np.sort(edge.mean(axis=1))
    px_per_mm = float(side_lengths(corners).sum()) / (2 * sum(kind.size_mm))
    marks = corner_marks(window, corners, px_per_mm, kind.kind in STIFF)
    corner = np.sort(marks[:, 0])
    at = along(np.linspace(0.1, 0.9, 24))
    far = np.array([-3.0, -2.0, 2.0, 3.0])[:, None, None, None]
    lab, _ = lab_at(window, at + far * normal[:, None])
    inner, outer = lab[:2].mean(axis=0), lab[2:].mean(axis=0)
    plain = np.sort(np.mean(np.linalg.norm(inner - outer, axis=2) > _PLAIN, axis=1))
    lighter = (inner[..., 0] - outer[..., 0]).mean(axis=1) / _LIGHTER
    return [
        float(side[0]), float(side.mean()), float(corner[0]), float(corner[1]),
        float(corner.mean()), float(marks[:, 1].mean()), float(beyond.plain.mean()),
        float(plain[0]), float(plain.mean()), _printed(inner), _printed(outer),
        abs(float(np.clip(lighter, -1.0, 1.0).mean())),
    ]  # fmt: skip


def _printed(lab: Floats) -> float:
    """How much tones (4, n, 3) along sides differ from each side's own, logarithm."""
    typical = median(np.swapaxes(lab, 1, 2))
    return float(np.log1p(np.linalg.norm(lab - typical[:, None], axis=2).mean()))
