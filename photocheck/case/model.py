"""A case: everything a person hands in about one dog.

The dataclasses hold millimetres, kilograms and full-resolution pixels; text as
people type it is turned into these at the edge, by `photocheck.case.file`.

Pixel coordinates are ``(x, y)`` of the *upright* photo (EXIF orientation
applied) at full resolution, x to the right, y down, with the centre of the
top left pixel at ``(0, 0)`` as in OpenCV and scikit-image.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

Point = tuple[float, float]


@dataclass(frozen=True)
class Reference:
    """What was in the picture to give the scale, and where it stood.

    Attributes
    ----------
    kind : str
        A key of `photocheck.scale.catalogue.REFERENCES`.
    place : str
        One of `photocheck.words.PLACES`; in a photo from the front of `FRONT_PLACES`.
    offset_mm : float or None
        Distance of the reference from the dog's middle plane, positive when the
        reference is nearer to the camera than the middle plane; overrides the
        figure that goes with `place`.  From the front: from the breastbone, along the dog.
    offset_spread_mm : float or None
        Standard deviation of that distance.
    corners : tuple of Point
        Four corners as seen, clockwise from the top left, px; empty when the
        reference is to be found.
    near : Point or None
        A rough mark inside the reference, px.
    ends : tuple of Point
        Two points a known distance apart, px (kind ``two_points``).
    length_mm : float or None
        That distance.
    diameter_mm : float or None
        Diameter of a disc or ball.
    outline : tuple of Point
        At least five points on the outline of a disc or ball, px; empty when it
        is to be found near `near`.
    bar_mm : float or None
        What the printed proof bar of the marker sheet measured with a ruler.
    corner_spread_px : float or None
        Standard deviation of hand-placed corners, ends or outline points, px.
    """

    kind: str
    place: str = "unknown"
    offset_mm: float | None = None
    offset_spread_mm: float | None = None
    corners: tuple[Point, ...] = ()
    near: Point | None = None
    ends: tuple[Point, ...] = ()
    length_mm: float | None = None
    diameter_mm: float | None = None
    outline: tuple[Point, ...] = ()
    bar_mm: float | None = None
    corner_spread_px: float | None = None


@dataclass(frozen=True)
class Marking:
    """One person's marks on one photo.

    Attributes
    ----------
    marks : mapping of landmark name to Point, px
    bends : mapping of span name to tuple of Point, px
        Points the tape passes between its two ends, in order from the end nearer
        the breastbone.
    by : str
        Who placed them, for the report ("owner", "staff", ...).
    spread_mm : float or None
        Standard deviation of each mark per axis on the body; None for the
        default of `photocheck.body.shape`.
    confirmed : tuple of str
        Landmarks whose place the program proposed and this person said yes to; all others were
        placed by hand.  Nothing is computed from it.
    """

    marks: Mapping[str, Point]
    bends: Mapping[str, tuple[Point, ...]] = field(default_factory=dict)
    by: str = "owner"
    spread_mm: float | None = None
    confirmed: tuple[str, ...] = ()


def first_marks(markings: Iterable[Marking]) -> dict[str, Point]:
    """One place of each landmark that anybody marked: the first who did.

    >>> tags = Marking({"tail_base": (3.0, 4.0)}, by="tags")
    >>> sorted(first_marks([Marking({"last_rib": (1.0, 2.0)}), tags]))
    ['last_rib', 'tail_base']
    """
    found: dict[str, Point] = {}
    for marking in markings:
        for name, xy in marking.marks.items():
            found.setdefault(name, xy)
    return found


@dataclass(frozen=True)
class PhotoEntry:
    """One photo with its reference and its markings.

    Attributes
    ----------
    path : str
        Where the picture file is.
    reference : Reference
    markings : tuple of Marking
        None need be where tags on the dog give the landmarks.
    focal_35mm : float or None
        Focal length in 35 mm equivalent; overrides EXIF.
    distortion : tuple of float
        OpenCV coefficients (k1, k2, p1, p2[, k3]) when the lens was calibrated.
    view : str
        One of `photocheck.words.VIEWS`: where the dog is seen from.
    tags : str
        One of `photocheck.words.TAG_SETS`: the size of the tags, where the dog wears any, or
        that they are not used.
    """

    path: str
    reference: Reference
    markings: tuple[Marking, ...] = ()
    focal_35mm: float | None = None
    distortion: tuple[float, ...] = ()
    view: str = "side"
    tags: str = "usual"


@dataclass(frozen=True)
class Take:
    """One time that a reading was taken.

    Attributes
    ----------
    mm : float
    typed : str
        As the person typed it.
    unit : str
        ``"cm"`` or ``"in"``: what it was written in.
    at : str
        When, ISO 8601; empty when not told.
    by : str
        Whose hands led the tape ("owner", "staff", ...); empty when not told.
    """

    mm: float
    typed: str
    unit: str
    at: str = ""
    by: str = ""


@dataclass(frozen=True)
class Reading:
    """One tape reading: the length, how it was typed, and every time it was taken.

    Attributes
    ----------
    mm : float
        Of several takes the one in the middle, of two the mean: one that is far off then
        moves it little, and nothing need be known of the tape.
    typed : str
        As the person typed it; several takes parted by " / ".
    unit : str
        ``"cm"`` or ``"in"``: the owner's unit, used when answering.
    takes : tuple of Take
        At least one: without any, the reading was taken once, as it stands.
    """

    mm: float
    typed: str
    unit: str
    takes: tuple[Take, ...] = ()

    def __post_init__(self) -> None:
        """A reading taken once is one take, however it was made."""
        if not self.takes:
            object.__setattr__(self, "takes", (Take(self.mm, self.typed, self.unit),))

    @classmethod
    def of(cls, takes: Sequence[Take]) -> Reading:
        """What at least one take says, or several together."""
        middle = float(median([take.mm for take in takes]))
        typed = TAKES_APART.join(take.typed for take in takes)
        return cls(middle, typed, takes[0].unit, tuple(takes))


TAKES_APART = " / "
"""Between the takes of a reading, where they are written into one text."""


@dataclass(frozen=True)
class DogFacts:
    """Optional facts about the dog; None or "unknown" where not given.

    ``weight_kg`` kg, ``girth_mm`` mm (behind the elbows), ``coat_depth_mm`` mm,
    ``age_months`` months, ``coat`` and ``build`` from `photocheck.words`.  Between two boards:
    ``neck_width_mm`` mm (where the harness's ring lies, at its widest) and ``chest_width_mm`` mm
    (behind the elbows); ``height_mm`` mm, from the ground to the shoulder top.
    """

    name: str = ""
    breed: str = ""
    weight_kg: float | None = None
    girth_mm: float | None = None
    coat: str = "unknown"
    coat_depth_mm: float | None = None
    build: str = "unknown"
    age_months: float | None = None
    neck_width_mm: float | None = None
    chest_width_mm: float | None = None
    height_mm: float | None = None


@dataclass(frozen=True)
class Case:
    """One order to check.

    Attributes
    ----------
    photos : tuple of PhotoEntry, at least one
    readings : mapping of reading name to Reading
        Any subset of `photocheck.words.READINGS`.
    unit : str
        The unit to answer in.
    dog : DogFacts
    name : str
        For the report and messages.
    measured_at_tags : bool
        Whether somebody said that every reading was taken while the dog wore the tags that its
        photos show, the tape held at their tips.
    """

    photos: tuple[PhotoEntry, ...]
    readings: Mapping[str, Reading]
    unit: str = "cm"
    dog: DogFacts = field(default_factory=DogFacts)
    name: str = ""
    measured_at_tags: bool = False
