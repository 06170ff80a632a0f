"""Where the landmarks of a dog lie, standing square or otherwise, for a whole population.

Numbers are fractions of the height at the withers; x from the breastbone to the tail,
y up.  A population is arrays over its dogs: every function works on all at once.  Postures move
the landmarks that are there.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.body.standards import PROPORTIONS, Allowance

Array = NDArray[np.float64]
Places = dict[str, Array]
"""Landmark name to (n, 2); "topline" is the back's outline halfway between withers and
tail base, "head" the highest point of head and neck."""

TRUNK: Final = (
    "breastbone",
    "shoulder_top",
    "last_rib",
    "tail_base",
    "back_top",
    "chest_bottom",
    "topline",
    "head",
)
FOOT_ASIDE: Final = 0.09
"""How far the near feet stand out of the middle plane (judgement: a third of a chest that is
about half as wide as deep)."""
RIB_ASIDE: Final = 0.15
"""The same for the last rib, about half the trunk's width."""
SHORTEST_LEG: Final = 0.45
"""How much lower a dog may stand where its breed's standard asks for short legs: FCI 148
(Dachshund) makes the body 1.7 to 1.8 times as long as the dog is high (from memory)."""
HAIR_HIDES: Final = 0.4
"""How far a mark lies beside its point under hair, standard deviation over the coat's stand-off:
breastbone, tail base and feet each way along the body (judgement)."""
HAIR_HANGS: Final = 0.4
"""How much further the hair hangs below the chest than it stands off
elsewhere, the same, half as much before the breastbone (judgement: feathering and ruff; a
retriever's hides the elbow)."""
EYE_HEIGHT: Final = (1.6, 0.50)
DISTANCE: Final = (4.5, 0.50)
"""Median over the height at the withers, and spread of its logarithm, of the camera's height and
distance: a phone held at 1 m, 2.5 m away from a dog of 60 cm (judgement)."""
ANY_ARCH: Final = 0.06
"""Spread of the topline's rise where a breed's standard asks for an arched loin (judgement)."""


def points(x: Array, y: Array | float) -> Array:
    """Points (n, 2) of their coordinates (n,); each of the two lies in one piece, for speed."""
    both = np.empty((2, len(x)))
    both[0], both[1] = x, y
    return both.T


@dataclass(frozen=True)
class _Coats:
    """How marks lie off the body, over the height: arrays over the dogs.

    ``hair`` is how far the outline stands off, ``aside`` (6, n) how far marks lie beside their
    points, ``hangs`` and ``ruff`` how much further hair reaches below and before the chest.
    """

    hair: Array
    aside: Array
    hangs: Array
    ruff: Array


def typical_dog() -> dict[str, tuple[float, float]]:
    """Where the landmarks of a plain dog that stands square lie: `PROPORTIONS` without spread.

    For showing roughly where to look, never for judging or placing anything.

    Returns
    -------
    mapping of landmark name to (float, float)
        Over the height at the withers, x from the breastbone to the tail, y up.

    >>> typical_dog()["shoulder_top"]
    (0.26, 1.0)
    """
    means = {name: np.array([item.mean]) for name, item in PROPORTIONS.items()}
    bare = _Coats(np.zeros(1), np.zeros((6, 1)), np.zeros(1), np.zeros(1))
    at = _square_places(means, bare, means["topline_rise"])
    return {name: (float(x[0]), float(y[0])) for name, (x, y) in at.items()}


def square_dogs(
    rng: np.random.Generator, count: int, coat: tuple[float, float], allow: Allowance
) -> Places:
    """A population standing square.

    Parameters
    ----------
    rng : numpy Generator
    count : int
    coat : (float, float)
        How far the outline stands off the body, mean and spread, over the height.
    allow : Allowance
    """
    p = {name: rng.normal(item.mean, item.spread, count) for name, item in PROPORTIONS.items()}
    hair = np.clip(rng.normal(*coat, count), 0.0, None)
    aside = HAIR_HIDES * hair * rng.normal(size=(6, count))
    hangs, ruff = HAIR_HANGS * hair * np.abs(rng.normal(size=(2, count)))
    rise = p["topline_rise"]
    if allow.arched_back:
        rise = rise + np.abs(rng.normal(0.0, ANY_ARCH, count))
    places = _square_places(p, _Coats(hair, aside, hangs, ruff), rise)
    dogs = {name: points(x, y) for name, (x, y) in places.items()}
    if allow.short_legs:
        _sink(dogs, rng.uniform(0.0, SHORTEST_LEG, count))
    return dogs


def _square_places(
    p: Mapping[str, Array], coats: _Coats, rise: Array
) -> dict[str, tuple[Array, Array]]:
    """The landmarks of dogs built as told, x and y of each."""
    hair, aside = coats.hair, coats.aside
    hidden = np.abs(p["feet_hidden"])
    withers = p["breastbone_to_withers"]
    tail = p["length"] - p["buttock_behind_tail"]
    tail_height = p["rump_height"] - p["tail_drop"]
    middle = 0.5 * (1.0 + tail_height) + rise
    back_height = 1.0 - p["back_top_below"] + hair
    chest_height = 1.0 - p["chest_depth"] - hair - coats.hangs
    return {
        "breastbone": (
            -hair - 0.5 * coats.ruff + 0.5 * aside[0],
            p["breastbone_height"] + aside[1],
        ),
        "shoulder_top": (withers, 1.0 + hair),
        "last_rib": (p["last_rib_along"] * p["length"], p["last_rib_height"]),
        "tail_base": (tail + aside[2], tail_height + hair - 0.5 * np.abs(aside[3])),
        "back_top": (withers + p["back_top_behind"], back_height),
        "chest_bottom": (withers + p["chest_bottom_behind"], chest_height),
        "front_foot": (
            withers - p["front_foot_ahead"] + aside[4],
            p["front_foot_level"] + hidden,
        ),
        "rear_foot": (
            p["length"] + p["rear_foot_behind"] + aside[5],
            p["rear_foot_level"] + hidden,
        ),
        "topline": (0.5 * (withers + tail), middle + hair),
        "head": (withers - 0.3, 1.0 + p["head_above"]),
    }


def _sink(dogs: Places, drop: Array) -> None:
    move = points(np.zeros_like(drop), drop)
    for name in TRUNK:
        if name in dogs:
            dogs[name] = dogs[name] - move


def _shift(dogs: Places, name: str, x: Array, y: Array | float = 0.0) -> None:
    if name in dogs:
        dogs[name] = dogs[name] + points(x, y)


def _crouch(dogs: Places, size: Array, z: Array) -> None:
    """All legs fold: the trunk sinks, not quite level, the hind feet come under it."""
    _sink(dogs, size * (1.0 + 0.1 * z[0]))
    _turn(dogs, 0.2 * size * z[1])
    _shift(dogs, "rear_foot", -0.2 * size * (1.0 + z[2]))
    _shift(dogs, "front_foot", -0.15 * size * (1.0 + z[3]))
    _shift(dogs, "head", 0.0 * size, -size * (1.0 + z[4]))


def _turn(dogs: Places, drop: Array) -> None:
    """Turn the trunk about the withers until the tail base has sunk by `drop`.

    Back and chest are marked above and behind the elbow, which stays with the foreleg:
    those two slide along the outline instead of swinging with it.
    """
    pivot = dogs["shoulder_top"]
    angle = np.arctan2(drop, dogs["tail_base"][:, 0] - pivot[:, 0])
    c, s = np.cos(angle), np.sin(angle)
    for name in TRUNK:
        if name == "head" or name not in dogs:
            continue
        x, y = (dogs[name] - pivot).T
        moved = (c * x + s * y, c * y - s * x)
        if name in ("back_top", "chest_bottom"):
            moved = (x, (y - s * x) / c)
        dogs[name] = pivot + points(*moved)


def _lower_rear(dogs: Places, size: Array, z: Array) -> None:
    """The hind legs fold: the trunk turns about the withers."""
    _turn(dogs, size)
    _sink(dogs, 0.12 * size * (1.0 + z[0]))
    _shift(dogs, "rear_foot", -0.2 * size * (1.0 + z[1]))
    _shift(dogs, "front_foot", -0.1 * size * (1.0 + z[2]))


def _arch(dogs: Places, size: Array, z: Array) -> None:
    """The spine between withers and tail base bends by `size` radians, its length kept.

    The pelvis tucks under more than the shoulders tip, and the hind feet follow.
    """
    share = 0.3 + 0.15 * z[0]
    start, end = dogs["shoulder_top"], dogs["tail_base"]
    line = end - start
    length = np.linalg.norm(line, axis=-1)
    along = line / length[:, None]
    across = points(-along[:, 1], along[:, 0])
    first_sine, first_cosine = np.sin(size * share), np.cos(size * share)
    for name in TRUNK:
        if name == "head" or name not in dogs:
            continue
        arm = dogs[name] - start
        s = np.sum(arm * along, axis=-1) / length
        off = np.sum(arm * across, axis=-1)
        inside = np.clip(s, 0.0, 1.0)
        angle = size * (share - inside)
        sine, cosine = np.sin(angle), np.cos(angle)
        x = (first_sine - sine) / size + (s - inside) * cosine
        y = (cosine - first_cosine) / size + (s - inside) * sine
        x, y = length * x - off * sine, length * y + off * cosine
        dogs[name] = start + x[:, None] * along + y[:, None] * across
    _sink(dogs, 0.08 * size * (1.0 + z[1]))
    _shift(dogs, "rear_foot", -0.25 * size * (1.0 + 0.7 * z[2]))


def _stretch(dogs: Places, size: Array, z: Array) -> None:
    """The feet stand apart: legs slant, the trunk sinks a little and lengthens a little."""
    _shift(dogs, "front_foot", -0.35 * size * (1.0 + 0.5 * z[0]))
    _shift(dogs, "rear_foot", 0.65 * size * (1.0 + 0.3 * z[1]))
    _shift(dogs, "tail_base", 0.15 * size * (1.0 + z[2]))
    _sink(dogs, 0.15 * size * (1.0 + z[3]))


def _shift_weight(dogs: Places, size: Array, z: Array) -> None:
    """The trunk leans forward or back over feet that stay."""
    away = size * np.where(z[0] > 0, 1.0, -1.0)
    move = points(away, 0.0)
    for name in TRUNK:
        if name in dogs:
            dogs[name] = dogs[name] + move
    _sink(dogs, 0.1 * size * (1.0 + z[1]))


def _lower_head(dogs: Places, size: Array, z: Array) -> None:
    """The neck goes down: the shoulder blades slide, shoulder top and breastbone sink."""
    _shift(dogs, "shoulder_top", -0.3 * size * (1.0 + z[0]), -size)
    _shift(dogs, "breastbone", 0.2 * size * z[1], -0.6 * size * (1.0 + 0.5 * z[2]))
    _shift(dogs, "head", 0.0 * size, -0.25 - 2.0 * size * (1.0 + 0.5 * z[3]))


def _turn_away(dogs: Places, size: Array, z: Array) -> None:
    """A dog turned by `size` radians out of the reference's plane looks short.

    Its nearer end also looks larger, about the height of the camera, so that from above the
    nearer feet stand lower in the picture.
    """
    side = np.where(z[0] > 0, 1.0, -1.0) * np.sin(size)
    shrunk = np.cos(size)
    eye = EYE_HEIGHT[0] * np.exp(EYE_HEIGHT[1] * z[1])
    away = DISTANCE[0] * np.exp(DISTANCE[1] * z[2])
    aside = {"front_foot": FOOT_ASIDE, "rear_foot": FOOT_ASIDE, "last_rib": RIB_ASIDE}
    for name, places in dogs.items():
        out = aside.get(name, 0.0)
        x, y = places.T
        nearer = ((x - 0.5) * side - out * (1.0 - shrunk)) / away
        larger = 1.0 / (1.0 - np.clip(nearer, -0.4, 0.4))
        flat = (x - 0.5) * shrunk + out * side
        dogs[name] = points(0.5 + flat * larger, eye + (y - eye) * larger)


def _lower_front(dogs: Places, size: Array, z: Array) -> None:
    """A play bow: the forelegs fold or lie forward, the trunk turns about the tail base."""
    pivot = dogs["tail_base"]
    angle = np.arctan2(size, pivot[:, 0] - dogs["shoulder_top"][:, 0])
    c, s = np.cos(angle), np.sin(angle)
    for name in TRUNK:
        if name in dogs:
            x, y = (dogs[name] - pivot).T
            dogs[name] = pivot + points(c * x - s * y, s * x + c * y)
    _sink(dogs, 0.1 * size * (1.0 + z[0]))
    _shift(dogs, "front_foot", -0.5 * size * (1.0 + z[1]))
    _shift(dogs, "rear_foot", -0.1 * size * z[2])


@dataclass(frozen=True)
class Posture:
    """A way of standing other than square.

    Attributes
    ----------
    pose : callable
        Changes a population in place: places, sizes (n,), deviates (5, n).
    least, most : float
        Range of sizes (over the height at the withers; radians for angles).  The least is what
        would move a tape reading by about its own spread (judgement).
    telling : float
        The size at which it must be told from standing square.
    odds : float
        How often an owner's photo shows it, against standing square (judgement).
    """

    pose: Callable[[Places, Array, Array], None]
    least: float
    most: float
    telling: float
    odds: float


POSTURES: Final[Mapping[str, Posture]] = MappingProxyType(
    {
        "crouching": Posture(_crouch, 0.06, 0.24, 0.15, 0.08),
        "stretched": Posture(_stretch, 0.12, 0.40, 0.25, 0.04),
        "arched": Posture(_arch, 0.20, 0.80, 0.50, 0.05),
        "rear_lowered": Posture(_lower_rear, 0.08, 0.36, 0.20, 0.08),
        "weight_shifted": Posture(_shift_weight, 0.10, 0.25, 0.18, 0.03),
        "head_down": Posture(_lower_head, 0.04, 0.14, 0.10, 0.04),
        "turned_away": Posture(_turn_away, 0.35, 0.85, 0.60, 0.04),
        "front_lowered": Posture(_lower_front, 0.10, 0.50, 0.30, 0.02),
    }
)
"""Ways of standing; the sizes of crouching and head_down are the drop of the withers, of
rear_lowered the drop of the tail base, of front_lowered that of the withers, of stretched how
much further the feet are apart, of weight_shifted how far the trunk leans, of arched and
turned_away angles in radians."""


def posed_dogs(
    rng: np.random.Generator, dogs: Mapping[str, Array], posture: str, size: Array
) -> Places:
    """The same dogs in another posture.

    Parameters
    ----------
    rng : numpy Generator
    dogs : Places
    posture : str
        A key of `POSTURES`.
    size : (n,)
    """
    posed = dict(dogs)
    POSTURES[posture].pose(posed, size, rng.normal(size=(5, len(size))))
    return posed
