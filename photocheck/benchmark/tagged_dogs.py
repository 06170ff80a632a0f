"""Phantoms that wear tags, and what the program's own finder sees of these in photos.

The tags lie where somebody felt the points, off the true ones by what nobody tells the program;
the tape goes from tip to tip, and so does its true length.  Only tags are drawn, on an even
ground: what hides them, hair over their edges, strips of tape, shadow, blur, noise and JPEG are
there, the dog's own picture is not.  All spreads are the builder's judgement of what owners do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from types import MappingProxyType
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.benchmark.subjects import Subject
from photocheck.benchmark.tags_found import TALL_MM, random_look
from photocheck.benchmark.trial import CORNER_PX, view_of
from photocheck.case.model import Marking, PhotoEntry, Reference
from photocheck.phantom.facing import observe_front, random_front, ring_at_neck
from photocheck.phantom.look import Look
from photocheck.phantom.phone import Picture, bend, expose
from photocheck.phantom.placed_tags import PlacedTag, add_tags, front_tags, side_tags
from photocheck.phantom.scene import Observation, Scene, observe, random_scene
from photocheck.phantom.solid import Dog
from photocheck.phantom.tape import tape_truth
from photocheck.phantom.taut import length, pull_taut, push_out, resample
from photocheck.scale.catalogue import DOG_TAGS
from photocheck.scale.pose import View
from photocheck.scale.priors import offset_prior
from photocheck.scale.tag_layout import TAG_MM
from photocheck.scale.tag_reference import tags_as_reference
from photocheck.scale.tags import find_tags
from photocheck.scale.tags_seen import TagSeen, TagsSeen
from photocheck.scale.tips import of_view, with_tips
from photocheck.words import FRONT_LANDMARKS, LANDMARKS, SPANS

Array = NDArray[np.float64]

FELT_MM: Final = 6.0
"""Standard deviation per axis of where a point is felt, along the dog."""
RING_FELT_MM: Final = (8.0, 5.0)
"""The same of the tags at the neck, per axis: of both alike, and of each by itself."""
GROUND: Final = 0.25
"""Linear light of what lies behind the tags."""

_MIDDLE: Final = ("breastbone", "shoulder_top", "tail_base", "back_top", "chest_bottom")
_ROOM: Final = 24
_AROUND: Final = 120


@dataclass(frozen=True, eq=False)
class TaggedPhoto:
    """One photo with tags, as a careful person hands it in.

    Attributes
    ----------
    view : View
        With the sheet as what is of known size, the tape held at the tags.
    by_hand : Marking
        What that person would mark.
    """

    view: View
    by_hand: Marking

    def shot(self, names: Sequence[str], *, sheet: bool) -> tuple[View, tuple[Marking, ...]]:
        """The photo where the tags of these points are worn; others are marked by hand.

        Parameters
        ----------
        names : sequence of str
        sheet : bool
            False for a photo without it, where a tag that faces the camera was found.
        """
        tags = replace(self.view.tags, tags=tuple(self._worn(names)))
        view = replace(self.view, tags=tags)
        front = view.from_front
        usable = replace(tags, tags=tuple(t for t in tags.tags if t.landmark != "last_rib"))
        if not sheet and usable.tags:
            told = Reference(DOG_TAGS)
            side = "front" if front else "side"
            view = replace(
                view,
                seen=tags_as_reference(tags, front=front),
                offset=offset_prior(told, side),
            )
        always = FRONT_LANDMARKS if front else LANDMARKS
        needed = {n: xy for n, xy in self.by_hand.marks.items() if n in (*names, *always)}
        entry = PhotoEntry(
            "", Reference(DOG_TAGS), (Marking(needed),), view="front" if front else "side"
        )
        marked, _ = with_tips(entry, tags, self.by_hand.spread_mm or 1.0)
        return view, marked.markings

    def _worn(self, names: Sequence[str]) -> list[TagSeen]:
        return [tag for tag in self.view.tags.tags if tag.landmark in names]


def felt(one: Subject, rng: np.random.Generator) -> Subject:
    """The same dog with its points where somebody felt them: there the tape begins and ends."""
    dog = one.dog
    tape, visible = dict(dog.tape), dict(dog.visible)
    for name in (*_MIDDLE, "last_rib"):
        step = rng.normal(0.0, FELT_MM, 3) * ([1.0, 1.0, 0.0] if name in _MIDDLE else 1.0)
        moved = push_out(dog.tape_field, (tape[name] + step)[None], onto=True, rounds=8)[0]
        if name in _MIDDLE:
            moved[2] = 0.0
        visible[name] = visible[name] + (moved - tape[name])
        tape[name] = moved
    dog = replace(dog, tape=MappingProxyType(tape), visible=MappingProxyType(visible))
    truth = tape_truth(dog)
    return Subject(dog, np.array([truth[span] for span in SPANS]))


def tagged_side(
    one: Subject, rng: np.random.Generator, printed: int, place: str, mark_mm: float
) -> TaggedPhoto:
    """One photo from the side.

    Parameters
    ----------
    one : Subject
        Of `felt`.
    rng : numpy Generator
    printed : int
        Seed of what the tags of one dog have in common in all its photos: how large they came
        off the printer.
    place : str
        Of the sheet.
    mark_mm : float
        Standard deviation of marks by hand per axis.
    """
    scene = random_scene(rng, dog=one.dog, kind="marker_sheet", place=place)
    seen = observe(scene, rng, mark_mm, CORNER_PX[scene.reference.form])
    small = one.dog.plan.height_mm < TALL_MM
    tags = side_tags(scene, np.random.default_rng(printed), TAG_MM["small" if small else "usual"])
    return _taken(scene, seen, tags, rng, small=small)


def neck_steps(rng: np.random.Generator) -> Array:
    """How far off the widest place the tags left and right at the neck are stuck, (2, 3) mm."""
    return rng.normal(0.0, RING_FELT_MM[0], 3) + rng.normal(0.0, RING_FELT_MM[1], (2, 3))


def by_neck_tags(one: Subject, steps: Array) -> Subject:
    """The same dog whose half neck goes by the tags at its neck.

    The ring's own length, by as much as a string from the breastbone over the side of the neck to
    the shoulder top gets longer or shorter when it passes the tag instead of the widest place.
    """
    dog = one.dog
    low, high = dog.tape["breastbone"], dog.tape["shoulder_top"]
    usual = _string(dog, (low, _widest(dog), high))
    passed = [_string(dog, (low, at, high)) for at in _under_tags(dog, steps)]
    truth = one.truth_mm.copy()
    truth[0] *= float(np.mean(passed)) / usual
    return Subject(dog, truth)


def _widest(dog: Dog) -> Array:
    """Where the ring at the neck is widest, (3,) mm, on the side the camera sees."""
    ring = ring_at_neck(dog.tape_mesh, dog.tape["breastbone"], dog.tape["shoulder_top"])
    return np.asarray(ring[int(np.argmax(ring[:, 2]))])


def _under_tags(dog: Dog, steps: Array) -> list[Array]:
    """Where the tape passes the tags at the neck, (3,) mm each; both as if on the near side."""
    side = _widest(dog)
    return [_pressed(dog, side + step) for step in steps]


def _pressed(dog: Dog, at: Array) -> Array:
    return np.asarray(push_out(dog.tape_field, at[None], onto=True, rounds=8)[0])


def _string(dog: Dog, stops: tuple[Array, ...]) -> float:
    total = 0.0
    for start, end in pairwise(stops):
        guess = resample(np.stack([start, end]), 17)
        guess[1:-1] = push_out(dog.tape_field, guess[1:-1], onto=True, rounds=8)
        total += length(pull_taut(dog.tape_field, guess, levels=(9, 17, 33)))
    return total


def tagged_front(
    one: Subject, rng: np.random.Generator, printed: int, mark_mm: float, steps: Array
) -> TaggedPhoto:
    """One photo from the front, with a tag at either side of the neck; `tagged_side` else.

    Parameters
    ----------
    steps : (2, 3)
        Of `neck_steps`.
    """
    scene = random_front(rng, one.dog, kind="marker_sheet", place="front_feet")
    seen = observe_front(scene, rng, mark_mm, CORNER_PX[scene.reference.form])
    small = one.dog.plan.height_mm < TALL_MM
    at = _over_tape(scene, steps)
    size = TAG_MM["small" if small else "usual"]
    tags = front_tags(scene, np.random.default_rng(printed), size, at=at)
    return _taken(scene, seen, tags, rng, small=small)


def _over_tape(scene: Scene, steps: Array) -> Array:
    """Tips on the coat over where the tape passes them, left and right in the picture, (2, 3) mm.

    They were stuck on before anybody took a photo, so that the camera's place is nothing to them.
    """
    places = np.array(_under_tags(scene.dog, steps)) * [[1.0, 1.0, 1.0], [1.0, 1.0, -1.0]]
    world = scene.to_world(push_out(scene.dog.visible_field, places, onto=True, rounds=8))
    return np.asarray(world[np.argsort(scene.camera.project(world)[:, 0])])


def _taken(
    scene: Scene,
    seen: Observation,
    tags: Sequence[PlacedTag],
    rng: np.random.Generator,
    *,
    small: bool,
) -> TaggedPhoto:
    look = replace(
        random_look(rng),
        blur_px=float(rng.uniform(0.5, 1.2)),
        noise=float(rng.uniform(1.0, 4.0)),
    )
    quality = int(rng.choice([70, 85, 92]))
    picture = _pictured(scene, tags, look, quality, rng)
    view = view_of(seen)
    found: TagsSeen = of_view(
        find_tags(picture, small=small), "front" if view.from_front else "side"
    )
    return TaggedPhoto(replace(view, tags=found, at_tags=True), seen.marking)


def _pictured(
    scene: Scene, tags: Sequence[PlacedTag], look: Look, quality: int, rng: np.random.Generator
) -> Picture:
    """A photo of the tags alone: only what lies around them has a sensor's noise, to save time."""
    width, height = scene.camera.size_px
    light = np.full((height + 2 * _ROOM, width + 2 * _ROOM, 3), GROUND, np.float32)
    add_tags(light, scene, tags, look, _ROOM)
    light = bend(light, scene.camera, _ROOM)
    places = np.concatenate([scene.camera.project(tag.paper.reshape(-1, 3)) for tag in tags])
    low = np.maximum(np.floor(places.min(axis=0)).astype(int) - _AROUND, 0)
    high = np.minimum(np.ceil(places.max(axis=0)).astype(int) + _AROUND, (width, height))
    window = np.s_[low[1] : high[1], low[0] : high[0]]
    part = expose(light[window], look, rng)
    picture = np.empty((height, width, 3), np.uint8)
    picture[:] = np.median(part, axis=(0, 1)).astype(np.uint8)
    _, file = cv2.imencode(".jpg", part[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    picture[window] = np.asarray(cv2.imdecode(file, cv2.IMREAD_COLOR), np.uint8)[..., ::-1]
    return picture
