"""The sample cases of the demo set: which dog, which photos, which fault."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

from photocheck.phantom.look import Look
from photocheck.speech import later

CLUB: Final = "Kestrel Fell sled-and-trail club"
"""Invented; so are its dogs."""


@dataclass(frozen=True)
class PhotoPlan:
    """One photo: the reference, where it stands, and how the camera was held.

    ``yaw_deg`` is how far the camera stood from square, ``height_mm`` how high.
    """

    kind: str
    place: str
    look: Look
    yaw_deg: float = 0.0
    height_mm: float = 750.0
    focal_35mm: float = 26.0
    exif: bool = True
    dog_yaw_deg: float = 0.0
    distance_mm: float = 1750.0


@dataclass(frozen=True)
class Sample:
    """One case of the demo set."""

    folder: str
    dog: str
    story: str
    unit: str
    seed: int
    shots: tuple[PhotoPlan, ...]
    height_mm: float
    breed: str = "sled cross"
    broadness: float = 0.5
    coat_mm: float = 8.0
    posture: str = "square"
    severity: float = 0.05
    faces_right: bool = False
    fault: str = "none"
    ring: bool = False
    # Every reading twice, the ring, and without a front photo the widths between two boards.
    careful: bool = False
    age_months: int = 40
    drop_ears: bool = False
    # One more photo, from the front; its place is of `words.FRONT_PLACES`.
    front: PhotoPlan | None = None
    # The dog wears printed tags, put on before it was measured; nobody marks anything.
    tagged: bool = False


def _look(seed: int, coat: str, floor: str, wall: str, **more: Any) -> Look:
    return replace(Look(seed=seed, coat=coat, floor=floor, wall=wall, noise=1.2), **more)


SAMPLES: Final = (
    Sample(
        "bramble",
        "Bramble",
        later(
            "Everything in order and measured with care, in inches; "
            "a marker sheet at the near feet."
        ),
        "in",
        101,
        (PhotoPlan("marker_sheet", "near_feet", _look(1, "saddle", "gravel", "planks"), 3.0),),
        560.0,
        careful=True,
    ),
    Sample(
        "sorrel",
        "Sorrel",
        later("Everything in order and measured with care, in cm; an A4 sheet level with the dog."),
        "cm",
        102,
        (
            PhotoPlan(
                "a4", "middle", _look(2, "red", "boards", "plaster", orientation=6), -2.0, 600.0
            ),
        ),
        500.0,
        drop_ears=True,
        coat_mm=14.0,
        careful=True,
    ),
    Sample(
        "flint",
        "Flint",
        later("Two digits of one reading are swapped."),
        "cm",
        208,
        (PhotoPlan("marker_sheet", "middle", _look(3, "grey", "gravel", "plaster"), 4.0),),
        590.0,
        fault="swapped_digits",
        coat_mm=20.0,
    ),
    Sample(
        "juniper",
        "Juniper",
        later("The whole neck ring was given as the half neck."),
        "in",
        104,
        (
            PhotoPlan(
                "marker_sheet", "near_feet", _look(4, "fawn", "gravel", "planks"), -5.0, 900.0
            ),
        ),
        540.0,
        fault="doubled_neck",
        broadness=0.3,
        faces_right=True,
    ),
    Sample(
        "moss",
        "Moss",
        later("One reading was taken in centimetres and typed as inches."),
        "in",
        105,
        (
            PhotoPlan(
                "letter", "wall_close", _look(5, "cream", "gravel", "planks", orientation=3), 2.0
            ),
        ),
        610.0,
        fault="wrong_unit",
        broadness=0.7,
        coat_mm=24.0,
        drop_ears=True,
    ),
    Sample(
        "tarn",
        "Tarn",
        later("The readings are right but the dog crouched in the photo."),
        "cm",
        106,
        (PhotoPlan("marker_sheet", "middle", _look(6, "saddle", "gravel", "planks"), 1.0, 500.0),),
        570.0,
        posture="crouching",
        severity=1.0,
    ),
    Sample(
        "heron",
        "Heron",
        later("Measured with care; the reference hangs on the wall well behind the dog."),
        "cm",
        307,
        (
            PhotoPlan(
                "marker_sheet",
                "wall",
                _look(7, "brown", "boards", "plaster"),
                -3.0,
                900.0,
                distance_mm=2300.0,
            ),
        ),
        520.0,
        broadness=0.35,
        coat_mm=5.0,
        drop_ears=True,
        careful=True,
    ),
    Sample(
        "pike",
        "Pike",
        later("The camera stood far from square to the dog."),
        "in",
        108,
        (
            PhotoPlan(
                "marker_sheet",
                "near_feet",
                _look(8, "grey", "gravel", "planks", orientation=8),
                22.0,
                1100.0,
            ),
        ),
        600.0,
        coat_mm=16.0,
        ring=True,
    ),
    Sample(
        "rowan",
        "Rowan",
        later("Three photos of one dog, to be used together, and readings taken with care."),
        "cm",
        109,
        (
            PhotoPlan("marker_sheet", "near_feet", _look(9, "fawn", "gravel", "planks"), -6.0),
            PhotoPlan("a4", "middle", _look(10, "fawn", "boards", "planks"), 5.0, 1000.0, 28.0),
            PhotoPlan(
                "marker_sheet",
                "wall_close",
                _look(11, "fawn", "gravel", "plaster"),
                1.0,
                600.0,
                24.0,
                exif=False,
            ),
        ),
        550.0,
        breed="trail cross",
        careful=True,
    ),
    Sample(
        "teasel",
        "Teasel",
        later("The last-rib point was taken too far back: front long, rear short."),
        "cm",
        110,
        (PhotoPlan("marker_sheet", "middle", _look(12, "cream", "gravel", "planks"), -4.0, 800.0),),
        480.0,
        fault="last_rib_moved",
        coat_mm=10.0,
        faces_right=True,
        drop_ears=True,
    ),
    Sample(
        "nettle",
        "Nettle",
        later("Everything in order, but only a small card at the flank to measure by."),
        "in",
        211,
        (PhotoPlan("id_card", "near_flank", _look(13, "cream", "boards", "planks"), 2.0, 650.0),),
        530.0,
        broadness=0.4,
        coat_mm=6.0,
        ring=True,
    ),
    Sample(
        "wren",
        "Wren",
        later("Measured with care; one photo from the side and one from the front."),
        "cm",
        113,
        (PhotoPlan("marker_sheet", "near_feet", _look(14, "saddle", "boards", "plaster"), 2.0),),
        520.0,
        coat_mm=9.0,
        careful=True,
        drop_ears=True,
        front=PhotoPlan(
            "marker_sheet",
            "front_feet",
            _look(15, "saddle", "boards", "plaster"),
            1.5,
            600.0,
            dog_yaw_deg=3.0,
        ),
    ),
    Sample(
        "alder",
        "Alder",
        later(
            "Printed tags on the dog, measured from tip to tip: three photos, "
            "nothing marked by hand."
        ),
        "cm",
        114,
        (
            PhotoPlan("marker_sheet", "middle", _look(16, "brown", "gravel", "planks"), 3.0),
            PhotoPlan("marker_sheet", "near_feet", _look(17, "brown", "gravel", "plaster"), -4.0),
        ),
        560.0,
        coat_mm=7.0,
        careful=True,
        tagged=True,
        front=PhotoPlan(
            "marker_sheet",
            "front_feet",
            _look(18, "brown", "gravel", "planks"),
            -1.5,
            620.0,
            dog_yaw_deg=-2.0,
        ),
    ),
)
