"""The practice dogs: invented, rendered, and known to the millimetre."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import DogFacts, PhotoEntry, Point, Reference
from photocheck.errors import CaseError
from photocheck.speech import later, tr
from photocheck.words import LANDMARKS, SPANS

Array = NDArray[np.float64]

FORMAT: Final = "photocheck-practice/1"
FOLDER: Final = Path(__file__).parent / "photos"


@dataclass(frozen=True)
class About:
    """What is said of a practice dog: before the marks are placed, and after."""

    title: str
    build: str
    lesson: str


ABOUT: Final[Mapping[str, About]] = MappingProxyType(
    {
        "linnet": About(
            "Linnet",
            later("lean, short coat"),
            later("On a lean dog with a short coat the outline is the body: trust it."),
        ),
        "badger": About(
            "Badger",
            later("broad and heavy"),
            later("A broad chest hides its breastbone: look for the most forward point."),
        ),
        "sloe": About(
            "Sloe",
            later("dark coat"),
            later("In a dark coat the outline shows more than the shading: follow it."),
        ),
        "otter": About(
            "Otter",
            later("sturdy, tail up"),
            later("With the tail up, the corner between back and tail shows its base."),
        ),
        "clover": About(
            "Clover",
            later("puppy"),
            later("A puppy is short and round; its landmarks lie closer together."),
        ),
        "hazel": About(
            "Hazel",
            later("short legs, long back"),
            later("On a long dog go by the ribs and the withers, not by the legs."),
        ),
        "thistle": About(
            "Thistle",
            later("rough, fairly long coat"),
            later(
                "The outline is the coat's. Place the marks on it, where the point lies beneath."
            ),
        ),
        "burdock": About(
            "Burdock",
            later("long coat"),
            later("A long coat rounds every corner: feel for the point before you take the photo."),
        ),
        "yarrow": About(
            "Yarrow",
            later("something is wrong with how it stands"),
            later(
                "This dog crouches: its legs are bent and its trunk hangs low. Marks can be right "
                "and the lengths still wrong; take the photo again when the dog stands."
            ),
        ),
        "plover": About(
            "Plover",
            later("something is wrong with how it stands"),
            later(
                "This dog arches its back and tucks its rear under. Let it walk a few steps and "
                "stand again; a back that stays arched can mean pain: ask a vet."
            ),
        ),
    }
)
"""In the order in which they are best practised."""


@dataclass(frozen=True, eq=False)
class PracticeDog:
    """One practice photo with what is true of it.

    Attributes
    ----------
    name : str
        A key of `ABOUT`.
    photo : Path
    facts : DogFacts
        Coat and build.
    stance : str
        "square", or how it stands badly.
    size_px : (int, int)
    reference : Reference
        Found in the photo by itself.
    marks : mapping of landmark name to Point
        The true marks, px.
    to_pixels : mapping of landmark name to (3, 3)
        Homography from the plane through the landmark, parallel to the dog's middle plane,
        to the photo: (forward, up, 1) in mm from the landmark to px.
    spans_mm : mapping of span name to float
        What a tape reads on this dog standing square, mm.
    """

    name: str
    photo: Path
    facts: DogFacts
    stance: str
    size_px: tuple[int, int]
    reference: Reference
    marks: Mapping[str, Point]
    to_pixels: Mapping[str, Array]
    spans_mm: Mapping[str, float]

    @property
    def about(self) -> About:
        """What is said of it."""
        return ABOUT[self.name]

    @property
    def entry(self) -> PhotoEntry:
        """Its photo as a case has it, not marked yet."""
        return PhotoEntry(path=str(self.photo), reference=self.reference, markings=())


def plane_to_pixels(camera: Mapping[str, Any], point: Array, forward: Array, up: Array) -> Array:
    """Homography (3, 3) of a plane seen through a pinhole: x = K R (point + a forward + b up - c).

    Parameters
    ----------
    camera : mapping
        "focal_px", "size_px", "position_mm" (3,), and "right", "down", "ahead": the camera's
        axes in the world, unit vectors.  The principal point is the picture's middle.
    point, forward, up : (3,)
        The plane's origin, mm, and its two unit vectors, in the world.

    Returns
    -------
    (3, 3)
        From (a, b, 1), mm, to px (homogeneous).  Hartley and Zisserman, Multiple View
        Geometry, 2nd ed., 8.1 (from memory).
    """
    width, height = camera["size_px"]
    f = float(camera["focal_px"])
    inner = np.array([[f, 0.0, 0.5 * (width - 1)], [0.0, f, 0.5 * (height - 1)], [0.0, 0.0, 1.0]])
    turn = np.array([camera["right"], camera["down"], camera["ahead"]], dtype=np.float64)
    arm = point - np.array(camera["position_mm"], dtype=np.float64)
    return np.asarray(inner @ turn @ np.column_stack([forward, up, arm]))


def read_dog(path: Path) -> PracticeDog:
    """Read one practice dog's JSON; the photo lies beside it.

    Raises
    ------
    CaseError
        When the file is missing or is not what `photocheck.benchmark.practice_dogs` writes.
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        if data["format"] != FORMAT or data["name"] not in ABOUT:
            raise ValueError("another format")
        forward, up = np.array(data["forward"], float), np.array(data["up"], float)
        ref = data["reference"]
        return PracticeDog(
            name=data["name"],
            photo=path.with_name(data["photo"]),
            facts=DogFacts(name=ABOUT[data["name"]].title, coat=data["coat"], build=data["build"]),
            stance=data["stance"],
            size_px=(int(data["camera"]["size_px"][0]), int(data["camera"]["size_px"][1])),
            reference=Reference(
                kind=ref["kind"],
                place=ref["place"],
                offset_mm=ref["offset_mm"],
            ),
            marks={n: (float(x), float(y)) for n, (x, y) in data["marks_px"].items()},
            to_pixels={
                name: plane_to_pixels(
                    data["camera"], np.array(data["landmarks_mm"][name], float), forward, up
                )
                for name in LANDMARKS
            },
            spans_mm={span: float(data["spans_mm"][span]) for span in SPANS},
        )
    except (OSError, ValueError, KeyError, TypeError, IndexError) as error:
        raise CaseError(
            tr("this practice dog cannot be read"),
            where=path.name,
            do=tr("Install photocheck again"),
        ) from error


@cache
def practice_dogs() -> tuple[PracticeDog, ...]:
    """All practice dogs, in the order of `ABOUT`.

    Raises
    ------
    CaseError
        When one of them is missing or broken.
    """
    return tuple(read_dog(FOLDER / f"{name}.json") for name in ABOUT)
