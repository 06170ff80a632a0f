"""How phantoms differ from one another: shape figures of many dogs, for priors and checks."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from photocheck.phantom.field import Array
from photocheck.phantom.section import section_hull
from photocheck.phantom.solid import BENCHMARK_RESOLUTION, Dog, make_dog, random_plan
from photocheck.phantom.tape import tape_truth

FIGURES: Final = (
    "half_neck_over_chord",
    "neck_width_over_chord",
    "front_over_chord",
    "rear_over_chord",
    "full_over_chord",
    "trunk_width_over_full_chord",
    "chest_depth_over_full_chord",
    "girth_over_height",
    "full_chord_over_height",
)
"""Names of `shape_figures`.  Chords are straight distances in the mirror plane
between the tape's ends; widths are full widths; the full chord runs from the
breastbone to the tail base."""


def between_dog(
    rng: np.random.Generator,
    count: int,
    *,
    posture: str | None = "square",
    resolution: int = BENCHMARK_RESOLUTION,
) -> Iterator[Dog]:
    """Draw dogs from the population, one at a time.

    Parameters
    ----------
    rng : numpy Generator
    count : int
    posture : str or None
        None draws postures too.
    resolution : int
        See `make_dog`.
    """
    for _ in range(count):
        yield make_dog(random_plan(rng, posture=posture), resolution)


def shape_figures(dog: Dog, *, on: str = "visible") -> dict[str, float]:
    """The `FIGURES` of one dog.

    Parameters
    ----------
    dog : Dog
    on : str
        "visible": chords, widths and depths between points of the outline with
        its coat, as a photo shows them; "tape": on the pressed coat.

    Raises
    ------
    ValueError
        When ``on`` is neither.
    """
    if on not in ("visible", "tape"):
        raise ValueError("on must be 'visible' or 'tape'")
    marks = dog.visible if on == "visible" else dog.tape

    def chord(one: str, other: str) -> float:
        return float(np.linalg.norm((marks[one] - marks[other])[:2]))

    truth = tape_truth(dog)
    _, low, _, high = section_hull(
        dog.tape_mesh, dog.tape["breastbone"], dog.tape["shoulder_top"]
    ).bounds
    neck, full = chord("breastbone", "shoulder_top"), chord("breastbone", "tail_base")
    values = (
        truth["half_neck"] / neck,
        (high - low) / neck,
        truth["front_length"] / chord("breastbone", "last_rib"),
        truth["rear_length"] / chord("last_rib", "tail_base"),
        truth["full_length"] / full,
        2.0 * float(marks["last_rib"][2]) / full,
        chord("back_top", "chest_bottom") / full,
        dog.girth / dog.plan.height_mm,
        full / dog.plan.height_mm,
    )
    return dict(zip(FIGURES, values, strict=True))


def spread(rows: list[dict[str, float]]) -> dict[str, tuple[float, float]]:
    """Mean, and standard deviation of the logarithm, of each figure over many dogs."""
    table: Array = np.array([[row[name] for name in FIGURES] for row in rows])
    means, sds = table.mean(axis=0), np.log(table).std(axis=0, ddof=1)
    return {name: (float(m), float(s)) for name, m, s in zip(FIGURES, means, sds, strict=True)}
