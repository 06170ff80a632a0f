"""Discs and balls that nobody has pointed at: where one may lie.

A photo of a dog holds round things that are nobody's measure: eyes, a nose, spots, a bowl.  As with
cards and sheets (`photocheck.scale.unaided`) places are proposed cheaply on a shrunken copy, what
lies there is then found as from a mark inside it (`photocheck.scale.discs`), and shown where nearly
the whole way around is seen, nothing else fits, and few other things in the photo are as round.
How large it is nobody can tell from the photo: that is asked.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np

from photocheck.errors import ScaleError
from photocheck.scale.candidates import Window, edge_share, steepest_across, window_of
from photocheck.scale.crowds import largest_outlines
from photocheck.scale.discs import OutlineFound, outline_at
from photocheck.scale.ellipses import Ellipse, fit_ellipse, holds
from photocheck.scale.light import Halved, Picture
from photocheck.scale.outline_fits import fitted_outline
from photocheck.scale.rough_ellipses import LEAST_RATIO
from photocheck.scale.unaided import masks

_SIDE_PX: Final = 1600
"""Longer side of the copy that is looked at: a ball beside a dog is 25 px across in it, or more."""
_LEAST_HALF_PX: Final = 6.0
_MOST_HALF: Final = 0.16
"""Half the size, of the copy's longer side, up to which a thing beside a dog may be that large."""
_FULL: Final = 0.9  # of an outline's hull that its ellipse must cover, and the other way
_RAGGED: Final = 2.0
"""Of its hull's way around, how long an outline may be: gravel's and grass's are longer."""
_LEAST_EDGE: Final = 0.5
_PLACES: Final = 8
"""Places that are looked at at full size."""
_FIRST_SUPPORT: Final = 0.7
_CLOSE: Final = 3
"""Of those, how many are searched as if somebody had pointed at them."""
_AROUND: Final = (2.6, 8.0)
"""How wide the windows are in which an outline is looked for again, of its larger half axis."""
_LEAST_SUPPORT: Final = 0.8
_LEAST_CONTRAST: Final = 0.15
_MOST_SCATTER: Final = 0.005
"""Of half the size, how far the outline's points may lie off it."""
_LEAST_HALF_FOUND_PX: Final = 16.0
_BALL_LIKE: Final = 0.93
"""Ratio of the axes from which it may be a ball."""
_PART: Final = 0.8
"""Of the size of what lies around it, below which a disc may be a part of that."""
_ALIKE: Final = 2.5
_NEAR: Final = 6.0
"""How much larger or smaller, and within how many of its half sizes, another tells of a pattern."""
_MOST_ROUND: Final = 2
"""Where more are found than so many, none is shown: those are spots or print."""


@dataclass(frozen=True)
class RoundSighting:
    """Something round that nobody has pointed at.

    Attributes
    ----------
    kinds : tuple of str
        What it may be: "ball" before "disc".
    found : OutlineFound
    """

    kinds: tuple[str, ...]
    found: OutlineFound

    @property
    def ellipse(self) -> Ellipse:
        """Its outline, px of the photo."""
        return self.found.best.ellipse


def round_sightings(picture: Picture) -> tuple[RoundSighting, ...]:
    """Discs and balls that lie somewhere in a photo of a dog, the surest first.

    Parameters
    ----------
    picture : (H, W, 3) uint8

    >>> picture = np.full((900, 1200, 3), 60, np.uint8)
    >>> _ = cv2.circle(picture, (640, 700), 60, (220, 220, 90), -1, cv2.LINE_AA)
    >>> [one.kinds for one in round_sightings(picture)]
    [('ball', 'disc')]
    """
    shown: list[RoundSighting] = []
    closer = _closer(picture, round_places(picture, _PLACES))
    for place in closer[:_CLOSE]:
        if any(holds(other.ellipse, place.centre) for other in shown):
            continue
        one = _seen_at(picture, place)
        if one is not None and not any(_beside(one.ellipse, other) for other in closer):
            shown.append(one)
    if len(shown) > _MOST_ROUND:
        return ()
    return tuple(sorted(shown, key=lambda one: -one.found.best.score))


def _closer(picture: Picture, found: list[Ellipse]) -> list[Ellipse]:
    """Places where an outline is seen at full size, the plainest first."""
    pictures = Halved(picture)
    px = max(picture.shape[:2]) / _SIDE_PX
    passed: list[tuple[float, Ellipse]] = []
    for place in found:
        reach = max(3.0 * px, 0.08 * float(np.min(place.half)), 2.5)
        fit = fitted_outline(pictures, place, reach, "disc")
        if fit is not None and fit.support > _FIRST_SUPPORT and fit.contrast > _LEAST_CONTRAST:
            passed.append((fit.score, fit.ellipse))
    passed.sort(key=lambda item: -item[0])
    return [place for _, place in passed]


def _beside(one: Ellipse, other: Ellipse) -> bool:
    """Whether another round thing of about its size is near: patches on a ball, spots, eyes."""
    size = float(np.mean(one.half))
    apart = float(np.hypot(*(other.centre - one.centre)))
    alike = 1 / _ALIKE < float(np.mean(other.half)) / size < _ALIKE
    return alike and apart < _NEAR * size and not holds(one, other.centre)


def _seen_at(picture: Picture, place: Ellipse) -> RoundSighting | None:
    """What is found as from a mark inside a rough shape, where all speaks for it."""
    size = float(np.max(place.half))
    across = (_AROUND[0] * size, _AROUND[1] * size)
    around = 0.0
    for kind, kinds in (("ball", ("ball", "disc")), ("disc", ("disc",))):
        try:
            found = outline_at(picture, kind, place.centre, across)
        except ScaleError:
            continue
        half = found.best.ellipse.half
        if float(np.mean(half)) < _PART * around:
            return None  # a patch on a ball, perhaps: what is around it is seen less plainly
        around = float(np.mean(half))
        if kind == "ball" and np.min(half) < _BALL_LIKE * np.max(half):
            continue
        if _is_plain(found):
            return RoundSighting(kinds, found)
    return None


def _is_plain(found: OutlineFound) -> bool:
    fit = found.best
    half = float(np.mean(fit.ellipse.half))
    return (
        not found.rivalled
        and fit.support > _LEAST_SUPPORT
        and fit.contrast > _LEAST_CONTRAST
        and fit.scatter_px < _MOST_SCATTER * half
        and half > _LEAST_HALF_FOUND_PX
    )


def round_places(picture: Picture, most: int) -> list[Ellipse]:
    """The plainest round shapes of a picture, px of the photo, at most so many."""
    window = window_of(picture, _SIDE_PX)
    kept: list[Ellipse] = []
    for _, one in sorted(_rough(window), key=lambda item: -item[0]):
        near = 0.25 * float(np.mean(one.half))
        if all(
            np.hypot(*(one.centre - other.centre)) > near
            or abs(float(np.mean(one.half) - np.mean(other.half))) > near
            for other in kept
        ):
            kept.append(one)
            if len(kept) == most:
                break
    return [Ellipse(window.to_photo(one.centre), one.half * window.scale, one.turn) for one in kept]


def _rough(window: Window) -> Iterator[tuple[float, Ellipse]]:
    """Rough ellipses, px of the window, each with how much of it is edge, 0 to 1."""
    most = 2 * _MOST_HALF * max(window.rgb.shape[:2])
    least = 2 * max(_LEAST_HALF_PX, _LEAST_HALF_FOUND_PX / window.scale)
    seen: set[tuple[int, ...]] = set()
    for outline in largest_outlines(masks(window), cv2.CHAIN_APPROX_NONE, least):
        _, _, wide, high = cv2.boundingRect(outline)
        if min(wide, high) < LEAST_RATIO["disc"] * max(wide, high) or max(wide, high) > most:
            continue
        hull = cv2.convexHull(outline)
        if cv2.arcLength(outline, True) > _RAGGED * cv2.arcLength(hull, True):
            continue
        area = float(cv2.contourArea(hull))
        ellipse = fit_ellipse(np.asarray(hull, np.float64).reshape(-1, 2))
        if ellipse is None:
            continue
        own = float(np.pi * np.prod(ellipse.half))
        if min(area, own) < _FULL * max(area, own):
            continue
        key = (*np.rint(ellipse.centre / 2).astype(int), *np.rint(np.sort(ellipse.half) / 2))
        if key in seen:
            continue
        seen.add(key)
        points, normals = ellipse.points(48)
        share = edge_share(steepest_across(window, points[:, None], normals)[:, 0])
        quarters = share.reshape(4, -1).mean(axis=1)
        edge = float(0.5 * share.mean() + 0.5 * quarters.min())
        if edge > _LEAST_EDGE:
            yield edge, ellipse
