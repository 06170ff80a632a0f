"""One exercise answered: the photo, the marks placed on it, and what they would lead to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from photocheck.case.model import DogFacts, Marking, PhotoEntry, Point, Reference
from photocheck.errors import CaseError, ScaleError
from photocheck.looking import look_at
from photocheck.photo.photo import Photo
from photocheck.practice.dogs import PracticeDog
from photocheck.practice.effects import Effects, effects
from photocheck.practice.misses import Miss, misses
from photocheck.practice.pattern import Attempt
from photocheck.practice.repeat import Repeat, repeat
from photocheck.speech import later, tr
from photocheck.words import LANDMARKS

_PLACE_EACH: Final = later("Place each of the four marks on its own point of the dog")


@dataclass(frozen=True)
class Answer:
    """What placed marks are worth on one practice dog.

    Attributes
    ----------
    dog : str
    placed : mapping of landmark name to Point, px
    misses : mapping of landmark name to Miss
    effects : Effects
    """

    dog: str
    placed: Mapping[str, Point]
    misses: Mapping[str, Miss]
    effects: Effects

    @property
    def attempt(self) -> Attempt:
        """What the pattern over attempts keeps of it."""
        return Attempt(self.dog, self.misses)


def answer(dog: PracticeDog, photo: Photo, placed: Mapping[str, Point]) -> Answer:
    """Hold placed marks against the true ones.

    Parameters
    ----------
    dog : PracticeDog
    photo : Photo
        Its photo, loaded.
    placed : mapping of landmark name to Point
        All four landmarks, px.

    Raises
    ------
    CaseError
        When a mark is missing or outside the picture, two coincide, or no dog fits them.
    ScaleError
        When the sheet cannot be found in the photo.
    """
    entry = replace(dog.entry, markings=(Marking(dict(placed)),))
    if not placed.keys() >= set(LANDMARKS):
        raise CaseError(tr("not all four marks are placed"), do=tr(_PLACE_EACH))
    view, _, _ = look_at(photo, entry)
    missed = misses(dog, placed)
    try:
        done = effects(view, dog.facts, dog.marks, placed)
    except (ValueError, np.linalg.LinAlgError) as error:
        raise _no_dog_fits() from error
    return Answer(dog.name, dict(placed), missed, done)


def self_check(
    photo: Photo,
    reference: Reference | None,
    first: Mapping[str, Point],
    second: Mapping[str, Point],
    facts: DogFacts | None = None,
) -> tuple[Repeat, str]:
    """Compare two markings of a person's own photo.

    Parameters
    ----------
    photo : Photo
    reference : Reference or None
        None when nothing of known size is in the photo.
    first, second : mapping of landmark name to Point
        All four landmarks, px.
    facts : DogFacts, optional

    Returns
    -------
    Repeat
    str
        Why there is no scale although a reference was named; empty otherwise.

    Raises
    ------
    CaseError
        When a mark is missing or outside the picture, or two coincide.
    """
    if reference is None:
        return repeat(first, second), ""
    markings = (Marking(dict(first)), Marking(dict(second)))
    try:
        view, _, _ = look_at(photo, PhotoEntry("", reference, markings))
        return repeat(first, second, view, facts), ""
    except ScaleError as error:
        return repeat(first, second), str(error)
    except (ValueError, np.linalg.LinAlgError) as error:
        raise _no_dog_fits() from error


def _no_dog_fits() -> CaseError:
    return CaseError(tr("these marks lie so that no dog fits them"), do=tr(_PLACE_EACH))
