"""What tags on the dog buy: lengths, coverage and the smallest slip, with a sheet and without.

The same phantoms, photos and hands in every way; in the first nobody wears a tag.  The tape's
noise is drawn as the program takes it to be, as a tape that repeats to 5 mm has it, and as if tags
made no tape more exact.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np

from photocheck.benchmark.pooled import over_phantoms
from photocheck.benchmark.subjects import Subject, subject
from photocheck.benchmark.tagged_dogs import (
    FELT_MM,
    TaggedPhoto,
    by_neck_tags,
    felt,
    neck_steps,
    tagged_front,
    tagged_side,
)
from photocheck.benchmark.ways import (
    MARK_MM,
    PLACES,
    Manner,
    MannerOutcome,
    hands,
    held_against,
    tables,
)
from photocheck.case.model import Marking
from photocheck.judge.estimate import Estimate, estimate
from photocheck.judge.shared_points import readings_at_tags
from photocheck.judge.tolerances import AT_TAGS_SHARE
from photocheck.words import FRONT_LANDMARKS, LANDMARKS, READINGS

ALL_TAGS: Final = (*LANDMARKS, "back_top", "chest_bottom")
"""The points of the page's tags that are seen from the side."""
AS_BELIEVED: Final = float(np.sqrt(AT_TAGS_SHARE))
"""The noise of a tape that is held at tags over the usual one, as the program takes it to be."""
COAT_READ_MM: Final = 2.0
"""Standard deviation of a coat's depth that an owner reads off (judgement)."""
TO_5_MM: Final = 0.56
"""The noise of a tape that repeats to 5 mm, where the usual one does to 9."""


@dataclass(frozen=True)
class TagManner:
    """One way of measuring with tags.

    Attributes
    ----------
    way : Manner
        Whether girth and weight are told, takes, ring, a photo from the front, the tape.
    tags : tuple of str
        The points seen from the side at which the dog wears tags; none for marks by hand.  From
        the front those at the neck as well.
    sheet : bool
        Whether there is a sheet; without one the tags give the scale.
    coat : bool
        Whether the owner tells how deep the coat is, as a ruler that is put into it says.
    """

    way: Manner
    tags: tuple[str, ...] = ALL_TAGS
    sheet: bool = True
    coat: bool = False


_FULL: Final = Manner(
    "Tags, a photo from the front, each reading twice, the ring", 1, 2, True, front=True
)
_TOLD: Final = replace(_FULL, told=True)

TAG_WAYS: Final = (
    TagManner(replace(_FULL, name="The four points marked by hand, a photo from the front, each "
                      "reading twice, the ring"), ()),
    TagManner(replace(_FULL, name="Tags on the four points, else the same", tape=AS_BELIEVED),
              LANDMARKS),
    TagManner(replace(_FULL, name="Tags on back and chest as well", tape=AS_BELIEVED)),
    TagManner(replace(_FULL, name="The same without a sheet", tape=AS_BELIEVED), sheet=False),
    TagManner(replace(_FULL, name="With the sheet, a tape that repeats to 5 mm", tape=TO_5_MM)),
    TagManner(replace(_FULL, name="The same after 30 orders that taught the tape", tape=TO_5_MM,
                      learnt=30)),
    TagManner(replace(_FULL, name="All tags, the coat's depth told", tape=AS_BELIEVED), coat=True),
    TagManner(replace(_FULL, name="With a tape that repeats to 5 mm", tape=TO_5_MM), coat=True),
    TagManner(replace(_FULL, name="The same after 30 orders that taught the tape", tape=TO_5_MM,
                      learnt=30), coat=True),
    TagManner(replace(_TOLD, name="All tags, girth and weight told as well", tape=AS_BELIEVED)),
    TagManner(replace(_TOLD, name="The same without a sheet", tape=AS_BELIEVED), sheet=False),
    TagManner(replace(_TOLD, name="With the sheet, a tape that repeats to 5 mm", tape=TO_5_MM)),
    TagManner(replace(_TOLD, name="The same after 30 orders that taught the tape", tape=TO_5_MM,
                      learnt=30)),
    TagManner(replace(_TOLD, name="All tags, girth, weight and the coat's depth told",
                      tape=AS_BELIEVED), coat=True),
    TagManner(replace(_TOLD, name="The same without a sheet", tape=AS_BELIEVED), sheet=False,
              coat=True),
    TagManner(replace(_TOLD, name="With the sheet, a tape that repeats to 5 mm", tape=TO_5_MM),
              coat=True),
    TagManner(replace(_TOLD, name="The same after 30 orders that taught the tape", tape=TO_5_MM,
                      learnt=30), coat=True),
    TagManner(replace(_TOLD, name="All tags, girth and weight told, though tags make "
                      "no tape more exact")),
    TagManner(replace(_FULL, name="All tags, one photo from the side alone, each reading once, "
                      "the ring", takes=1, front=False, tape=AS_BELIEVED)),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Worn:
    """A phantom with its tags on, and its two photos.

    `one` is measured by the tags, those at the neck as well; `bare` by the four points alone;
    `coat_mm` is how deep the owner found the coat.
    """

    one: Subject
    bare: Subject
    side: TaggedPhoto
    front: TaggedPhoto
    coat_mm: float


def wearing(one: Subject, rng: np.random.Generator) -> Worn:
    """A phantom with tags put on where its points were felt."""
    dog = felt(one, rng)
    printed = int(rng.integers(2**31))
    place = str(rng.choice(PLACES))
    side = tagged_side(dog, rng, printed, place, MARK_MM)
    steps = neck_steps(rng)
    front = tagged_front(dog, rng, printed, MARK_MM, steps)
    coat = max(one.dog.plan.coat_mm + float(rng.normal(0.0, COAT_READ_MM)), 0.0)
    return Worn(by_neck_tags(dog, steps), dog, side, front, coat)


def tag_outcomes(seed: int, number: int) -> list[MannerOutcome]:
    """Every way for one phantom."""
    one = subject(seed, number)
    rng = np.random.default_rng([seed, number, 78])
    worn = wearing(one, rng)
    tape = hands(worn.one.truth_mm, rng)
    sign = float(rng.choice([-1.0, 1.0]))
    most = max(each.way.learnt for each in TAG_WAYS)
    before = [hands(worn.one.truth_mm, rng) for _ in range(most)]
    told: dict[object, tuple[Estimate, tuple[str, ...]]] = {}
    found = []
    for each in TAG_WAYS:
        way = each.way
        alike = (each.tags, each.sheet, each.coat, way.told, way.front)
        if alike not in told:
            told[alike] = seen_by(worn, each)
        estimated, at_tags = told[alike]
        measured = worn.one if each.tags else worn.bare
        found.append(held_against(measured, way, estimated, tape, sign, before, at_tags))
    return found


def seen_by(worn: Worn, each: TagManner) -> tuple[Estimate, tuple[str, ...]]:
    """What the photos tell in one way, and which readings went from tag to tag."""
    dog, facts = worn.one.dog, worn.one.facts
    if each.way.told:
        facts = replace(facts, girth_mm=dog.girth, weight_kg=dog.mass_kg)
    if each.coat:
        facts = replace(facts, coat_depth_mm=worn.coat_mm)
    points = (*each.tags, *FRONT_LANDMARKS) if each.tags else ()
    photos = [worn.side, worn.front][: 1 + each.way.front]
    taken = [photo.shot(points, sheet=each.sheet) for photo in photos]
    views = [view for view, _ in taken]
    markings: list[tuple[Marking, ...]] = [marked for _, marked in taken]
    return estimate(views, markings, facts), readings_at_tags(READINGS, views)


def report(dogs: int, seed: int, jobs: int) -> str:
    """Every way over so many phantoms, as Markdown."""
    rows = over_phantoms(partial(tag_outcomes, seed), dogs, jobs)
    said = (
        f"{dogs} phantoms, seed {seed}; a marker sheet beside the dog where none is said to be "
        f"missing, marks by hand {MARK_MM:g} mm off. Tags were found by the program itself in "
        f"pictures of the tags; they lie where the points were felt, {FELT_MM:g} mm off per axis, "
        "and the tape and its truth go by them. One that is not found is marked by hand. The tape "
        "is as exact as the program takes it to be where nothing else is said. Each cell: half "
        "neck / front / rear / full length, in per cent; of the smallest error caught (in 95 of "
        "100, median over dogs) also the ring."
    )
    return tables(said, [each.way for each in TAG_WAYS], rows)
