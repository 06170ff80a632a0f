"""A photo looked at, and what is proposed for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Point
from photocheck.photo.photo import Photo
from photocheck.propose.heat_places import HeatPlace, distributions, places
from photocheck.propose.looks import MORE_ROOM, ROOM, Frame, Small, SquareLook
from photocheck.propose.network import SeenInLook, Sees, shared
from photocheck.propose.proposal import SIDE_ON, UNSURE, Proposal, ProposedMark
from photocheck.propose.weights_facts import Facts
from photocheck.words import ALL_LANDMARKS

Picture = NDArray[np.uint8]

NO_DOG: Final = "no_dog"
SURELY_NONE: Final = 0.9
"""Probability of no dog in the whole photo from which none is looked for more nearly."""

OWN_NAMES: Final[Mapping[str, str]] = {
    "near_front_foot": "front_foot",
    "near_hind_foot": "rear_foot",
}
"""Points of the network that are landmarks by another name: marks are of the near side."""

TRUNK: Final = 0.6
"""Breastbone to tail base over the longer side of the dog's frame, where the two are not seen
(judgement: head and tail are the rest)."""


@dataclass(frozen=True)
class SeenInPhoto:
    """What all looks at a photo say together, before anything is made of it.

    Attributes
    ----------
    kinds : mapping of kind to float
        Probabilities; they sum to 1.
    facing_right : float
        Probability that the dog faces right in the photo.
    frame : Frame or None
        Of the dog, px; None where it is surely none.
    places : mapping of the network's point to HeatPlace
        Empty without a frame.
    """

    kinds: Mapping[str, float]
    facing_right: float
    frame: Frame | None
    places: Mapping[str, HeatPlace]


def propose(photo: Photo, network: Sees | None = None) -> Proposal:
    """Where the dog and its landmarks seem to be in a photo from the side.

    Parameters
    ----------
    photo : Photo
    network : Sees, optional
        The one that is shipped, without it.

    Returns
    -------
    Proposal
        With the marks that are sure enough to be shown, or why there are none.

    Raises
    ------
    WeightsError
        When the weights are missing or damaged.
    """
    network = network or shared()
    return proposal_of(seen_in(photo.rgb, network), network.facts)


def seen_in(photo_rgb: Picture, network: Sees) -> SeenInPhoto:
    """What a network sees in a photo, (H, W, 3) RGB, in three looks.

    The whole photo tells where the dog is; two squares about it, one of them larger and in a
    mirror, tell its points.  Both squares in both ways were no better on the samples, blurred,
    darkened and leant (median 2.4 % of the trunk off either way), and take twice the time.

    Raises
    ------
    WeightsError
    """
    facts = network.facts
    small = Small.of(photo_rgb)
    whole = small.whole(facts.side)
    first = [(whole, network.see(whole.rgb))]
    kinds = _kinds(first, facts)
    if kinds.get(NO_DOG, 0.0) >= SURELY_NONE:
        return SeenInPhoto(kinds, _facing(first), None, {})
    found = _frame(first, photo_rgb)
    plain = small.about(found, ROOM, facts.side)
    turned = small.about(found, MORE_ROOM, facts.side).other
    near = [(look, network.see(look.rgb)) for look in (plain, turned)]
    frame = _frame(near, photo_rgb)
    maps = [(look, distributions(seen.heat)) for look, seen in near]
    every = [*first, *near]
    return SeenInPhoto(
        _kinds(every, facts),
        _facing(every),
        frame,
        dict(zip(facts.points, places(maps, frame), strict=True)),
    )


_Looks = list[tuple[SquareLook, SeenInLook]]


def _kinds(looks: _Looks, facts: Facts) -> dict[str, float]:
    logits = np.array([seen.kind for _, seen in looks], float)
    powers = np.exp(logits - logits.max(axis=1, keepdims=True))
    shares = (powers / powers.sum(axis=1, keepdims=True)).mean(axis=0)
    return {kind: float(share) for kind, share in zip(facts.kinds, shares, strict=True)}


def _facing(looks: _Looks) -> float:
    turned = [-seen.facing if look.mirrored else seen.facing for look, seen in looks]
    return float(np.mean(1.0 / (1.0 + np.exp(-np.clip(turned, -50.0, 50.0)))))


def _frame(looks: _Looks, photo_rgb: Picture) -> Frame:
    height, width = photo_rgb.shape[:2]
    frames = np.mean([look.in_photo(seen.frame) for look, seen in looks], axis=0)
    x0, x1 = sorted(np.clip(frames[[0, 2]], 0.0, width - 1.0).tolist())
    y0, y1 = sorted(np.clip(frames[[1, 3]], 0.0, height - 1.0).tolist())
    return x0, y0, x1, y1


def proposal_of(seen: SeenInPhoto, facts: Facts) -> Proposal:
    """What is made of what was seen.

    Parameters
    ----------
    seen : SeenInPhoto
    facts : Facts
        Of the network that saw it.
    """
    kind = max(seen.kinds, key=lambda name: seen.kinds[name])
    sure = seen.kinds[SIDE_ON]
    refused = any(seen.kinds[name] >= least for name, least in facts.refused_from.items())
    if refused:
        kind = max(facts.refused_from, key=lambda name: seen.kinds[name])
    if seen.frame is None or refused or sure < facts.side_on_from:
        why = UNSURE if kind == SIDE_ON else kind
        frame = None if kind == NO_DOG else seen.frame
        return Proposal({}, {}, frame, "", kind, seen.kinds[kind], why, refused)
    trunk = _trunk(seen.places, seen.frame)
    at = as_an_eye_places(seen, facts)
    every = {
        OWN_NAMES.get(name, name): _mark(at[name], place.mass, name, trunk, facts)
        for name, place in seen.places.items()
    }
    shown = {name: mark for name, mark in every.items() if mark.confidence >= facts.shown_from}
    marks: dict[str, ProposedMark] = {name: shown[name] for name in ALL_LANDMARKS if name in shown}
    feet = {name: mark for name, mark in shown.items() if name not in ALL_LANDMARKS}
    facing = "right" if seen.facing_right >= 0.5 else "left"
    why = "" if marks else UNSURE
    return Proposal(marks, feet, seen.frame, facing, SIDE_ON, sure, why)


def as_an_eye_places(seen: SeenInPhoto, facts: Facts) -> dict[str, Point]:
    """Where each point is proposed, px: as the network has it, moved by what an eye places
    otherwise (`Facts.eye`)."""
    places = {name: place.xy for name, place in seen.places.items()}
    if not (facts.eye and places):
        return places
    (x0, y0), (x1, y1) = places["tail_base"], places["breastbone"]
    return {
        name: (x + ahead / 100.0 * (x1 - x0), y + ahead / 100.0 * (y1 - y0) - up / 100.0 * trunk)
        for trunk in (hypot(x1 - x0, y1 - y0),)
        for name, (x, y) in places.items()
        for ahead, up in (facts.eye.get(name, (0.0, 0.0)),)
    }


def _trunk(found: Mapping[str, HeatPlace], frame: Frame) -> float:
    """Breastbone to tail base, px."""
    (x0, y0), (x1, y1) = (found[name].xy for name in ("breastbone", "tail_base"))
    longer = max(frame[2] - frame[0], frame[3] - frame[1])
    # two places on one spot tell no length
    return max(hypot(x1 - x0, y1 - y0), TRUNK * longer / 2)


def _mark(at: Point, mass: float, name: str, trunk: float, facts: Facts) -> ProposedMark:
    chance = facts.chance[name](mass)
    variance = (facts.spread[name](chance) / 100.0 * trunk) ** 2
    return ProposedMark(_rounded(at), ((variance, 0.0), (0.0, variance)), chance)


def _rounded(xy: Point) -> Point:
    """To a tenth of a px: as exact as a place is told to the browser and back."""
    return round(xy[0], 1), round(xy[1], 1)
