"""An order while it is being filled in: what was typed, told and marked, right or wrong.

A draft says the same as a case file, with parts still missing; a whole one, written as JSON by
`Draft.to_dict`, is a case file as it stands.  What a stored draft holds that is not known here,
or that is of a kind which does not belong where it stands, is kept and written back as it came.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final, Self

from photocheck.case.file import bends_to_lists, marks_to_lists, points_to_lists
from photocheck.case.model import TAKES_APART, Point
from photocheck.scale.catalogue import REFERENCES
from photocheck.words import (
    DECLINED,
    EVERY_LANDMARK,
    FACT_TITLES,
    FRONT_HELPERS,
    FRONT_LANDMARKS,
    FRONT_PLACE_TITLES,
    HELPER_LANDMARKS,
    LANDMARKS,
    PLACE_TITLES,
    TAG_SETS,
    UNITS,
    VIEWS,
)

Typed = str | int | float
"""A reading, length, weight or word as typed; programs may give numbers."""


@dataclass(frozen=True)
class _Part:
    """What every part of a draft has besides what it understands.

    Attributes
    ----------
    extra : mapping of name to parsed JSON
        What stood under names that are not known, or is of another kind than belongs there;
        it counts for nothing and is written back.
    written : tuple of str
        The names in the order in which they stood, also of what was empty.
    """

    extra: Mapping[str, Any] = field(default_factory=dict, kw_only=True)
    written: tuple[str, ...] = field(default=(), kw_only=True, compare=False, repr=False)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Of parsed JSON, whatever it is: `to_dict` gives the same again, to the byte."""
        slots = _SLOTS[cls]
        read = {name: slots[name].read(value) for name, value in data.items() if name in slots}
        told = {name: value for name, value in read.items() if value is not None}
        extra = {name: value for name, value in data.items() if name not in told}
        return cls(**told, extra=extra, written=tuple(data))

    def to_dict(self) -> dict[str, Any]:
        """As JSON has it, ready for `json.dumps`; what is empty is left out."""
        slots = _SLOTS[type(self)]
        data: dict[str, Any] = {}
        for name in dict.fromkeys((*self.written, *slots, *self.extra)):
            slot = slots.get(name)
            value = getattr(self, name) if slot else None
            if slot and value != slot.empty:
                data[name] = slot.write(value)
            elif name in self.extra:
                data[name] = self.extra[name]
            elif slot and slot.stays and name in self.written:
                data[name] = slot.write(value)
        return data

    def but(self, name: str, value: Any) -> Self:
        """A copy with another value under a name; None takes it out, whatever it was."""
        slot = _SLOTS[type(self)][name]
        extra = {other: kept for other, kept in self.extra.items() if other != name}
        changed: dict[str, Any] = {name: slot.empty if value is None else value}
        return replace(self, **changed, extra=extra)

    def but_json(self, name: str, value: Any) -> Self:
        """The same with a value as JSON has it, right or wrong."""
        read = _SLOTS[type(self)][name].read(value)
        if read is not None:
            return self.but(name, read)
        emptied = self.but(name, None)
        return replace(emptied, extra={**emptied.extra, name: value})

    def only(self, names: Collection[str]) -> Self:
        """A copy in which nothing that is known here stands, but what has one of these names."""
        copy = self
        for name in _SLOTS[type(self)]:
            if name not in names:
                copy = copy.but(name, None)
        return copy


@dataclass(frozen=True)
class DraftMarking(_Part):
    """One person's marks on a photo.

    Attributes
    ----------
    marks : mapping of landmark name to Point
        Px of the upright photo; only those placed.
    bends : mapping of span name to tuple of Point
        Px, in order from the end nearer the breastbone.
    by : str
        Who placed them; empty for the owner.
    spread_mm : float or None
        Standard deviation of each mark per axis, on the dog.
    confirmed : tuple of str
        Landmarks whose place was proposed and confirmed as it was.
    """

    marks: Mapping[str, Point] = field(default_factory=dict)
    bends: Mapping[str, Sequence[Point]] = field(default_factory=dict)
    by: str = field(default="", kw_only=True)
    spread_mm: float | None = field(default=None, kw_only=True)
    confirmed: tuple[str, ...] = field(default=(), kw_only=True)

    @property
    def marker(self) -> str:
        """Who placed them, "owner" when nobody is named."""
        return self.by or "owner"

    def moved_to(self, placed: DraftMarking) -> DraftMarking:
        """A copy whose points are those of another marking; spans without bends left out."""
        bends = {span: tuple(line) for span, line in placed.bends.items() if line}
        moved = self.but("marks", dict(placed.marks)).but("bends", bends)
        return moved.but("confirmed", placed.confirmed)


@dataclass(frozen=True)
class ReferenceTold(_Part):
    """What in a photo is of known size, as told so far.

    Attributes
    ----------
    kind, place : str
        As the case file has them; empty when not told.
    offset, offset_spread, length, diameter, bar : Typed or None
        Lengths as typed.
    corners, ends, outline : tuple of Point
        Px of the upright photo, placed by hand; empty when not.
    near : Point or None
        Px, inside the reference.
    corner_spread_px : float or None
    """

    kind: str = ""
    place: str = ""
    offset: Typed | None = None
    offset_spread: Typed | None = None
    length: Typed | None = None
    diameter: Typed | None = None
    bar: Typed | None = None
    corners: tuple[Point, ...] = ()
    ends: tuple[Point, ...] = ()
    outline: tuple[Point, ...] = ()
    near: Point | None = None
    corner_spread_px: float | None = None

    @property
    def form(self) -> str:
        """How such a thing is seen, as the catalogue has it; empty for none that it knows."""
        return REFERENCES[self.kind].form if self.kind in REFERENCES else ""

    @property
    def located(self) -> bool:
        """Whether it can be looked for: pointed at, or found by itself."""
        if self.form == "points":
            return bool(self.ends)
        return self.form in ("markers", "tags") or bool(self.near or self.corners or self.outline)

    def points(self, shape: str) -> tuple[Point, ...]:
        """The points placed by hand of a shape: corners, ends, outline or near; or none."""
        if shape == "near":
            return (self.near,) if self.near else ()
        return {"corners": self.corners, "ends": self.ends, "outline": self.outline}.get(shape, ())

    def pointed(self, shape: str, points: Sequence[Point]) -> ReferenceTold:
        """A copy whose points of a shape are others; none take them out."""
        if shape == "near":
            return self.but("near", points[0] if points else None)
        return self.but(shape, tuple(points) or None)


@dataclass(frozen=True)
class DraftPhoto(_Part):
    """One photo with its reference and marks.

    Attributes
    ----------
    file : str
        What the store calls it, or the case file it came from.
    reference : ReferenceTold
    markings : tuple of DraftMarking
        One for each person who marked it, the owner's first.
    focal_35mm : float or None
        Mm; overrides what the photo file says.
    distortion : tuple of float
        OpenCV's coefficients; empty when not told.
    view : str
        As the case file has it; empty for the side.
    tags : str
        The size of the tags on the dog, or that they are not used, one of
        `photocheck.words.TAG_SETS`; empty when not told.
    declined : tuple of str
        Of `photocheck.words.DECLINED`: what was said no to, and is not asked again.
    """

    file: str = ""
    reference: ReferenceTold = field(default_factory=ReferenceTold)
    markings: tuple[DraftMarking, ...] = ()
    focal_35mm: float | None = None
    distortion: tuple[float, ...] = ()
    view: str = field(default="", kw_only=True)
    tags: str = field(default="", kw_only=True)
    declined: tuple[str, ...] = field(default=(), kw_only=True)

    @property
    def place_told(self) -> bool:
        """Whether it is told where the reference stood, or is known: tags are on the dog."""
        return bool(self.reference.place) or self.reference.form == "tags"

    @property
    def from_front(self) -> bool:
        """Whether the dog is seen from the front."""
        return self.view == "front"

    @property
    def needed(self) -> tuple[str, ...]:
        """The landmarks that must be marked."""
        return FRONT_LANDMARKS if self.from_front else LANDMARKS

    @property
    def helpers(self) -> tuple[str, ...]:
        """Those that may be."""
        return FRONT_HELPERS if self.from_front else HELPER_LANDMARKS

    @property
    def places(self) -> Mapping[str, str]:
        """Where the reference may have stood, with titles."""
        return FRONT_PLACE_TITLES if self.from_front else PLACE_TITLES

    @property
    def first(self) -> DraftMarking:
        """The owner's marks; empty when there are none."""
        return self.markings[0] if self.markings else DraftMarking()

    @property
    def unplaced(self) -> tuple[str, ...]:
        """Landmarks that are not marked yet; of an optional pair the other one."""
        marks = self.first.marks
        half = self.from_front and any(name in marks for name in FRONT_HELPERS)
        needed = (*self.needed, *(FRONT_HELPERS if half else ()))
        return tuple(name for name in needed if name not in marks)


@dataclass(frozen=True)
class DraftTake(_Part):
    """One time that a reading was taken.

    Attributes
    ----------
    typed : Typed or None
    at : str
        When it was first typed, ISO 8601; empty when not told.
    by : str
        Who took it; empty when not told.
    """

    typed: Typed | None = None
    at: str = ""
    by: str = ""

    @property
    def text(self) -> str:
        """What was typed, as a text without the blanks around it."""
        return "" if self.typed is None else str(self.typed).strip()


ReadingTold = Typed | tuple[Typed | DraftTake, ...]
"""A reading taken once, as typed, or every take of it; an empty one counts for nothing."""


def takes_of(told: ReadingTold | None) -> tuple[DraftTake, ...]:
    """Every take of a reading, also an empty one between others."""
    if told is None:
        return ()
    every = told if isinstance(told, tuple) else (told,)
    return tuple(one if isinstance(one, DraftTake) else DraftTake(one) for one in every)


def reading_text(told: ReadingTold | None) -> str:
    """A reading as one text, several takes parted by " / "."""
    if isinstance(told, tuple):
        return TAKES_APART.join(take.text for take in takes_of(told) if take.text)
    return "" if told is None else str(told)


@dataclass(frozen=True)
class DogTold(_Part):
    """What is told of the dog, as typed; empty or None where it is not.

    Attributes
    ----------
    name, breed, coat, build : str
    weight, girth, neck_width, chest_width, height, coat_depth : Typed or None
    age_months : float or None
    """

    name: str = ""
    breed: str = ""
    weight: Typed | None = None
    girth: Typed | None = None
    neck_width: Typed | None = None
    chest_width: Typed | None = None
    height: Typed | None = None
    coat: str = ""
    coat_depth: Typed | None = None
    build: str = ""
    age_months: float | None = None


@dataclass(frozen=True)
class OwnerTold(_Part):
    """Who orders, and how much they want to do; no check looks at it.

    Attributes
    ----------
    name, reach : str
        What to call them, and how to reach them in their own words: a telephone number or an
        address.
    number : str
        Of the order, where the workshop gave it one.
    depth : str
        One of `photocheck.orders.depths.DEPTHS`; empty when not chosen.
    email, telephone : str
        Where a table had a column for it; `reach` where it did not.
    notes : str
        What else was said with the order, lines as they stood, and what a table told that could
        not be read.
    """

    name: str = ""
    reach: str = ""
    number: str = ""
    depth: str = ""
    email: str = ""
    telephone: str = ""
    notes: str = ""


@dataclass(frozen=True)
class Draft(_Part):
    """A whole order as far as it is filled in.

    Attributes
    ----------
    format : str
        Of case files; empty in an order of which nothing was ever kept.
    unit : str
        "cm" or "in"; empty when not told.
    name : str
        What to call the order.
    owner : OwnerTold
    readings : mapping of reading name to ReadingTold
    dog : DogTold
    photos : tuple of DraftPhoto
    measured_at_tags : bool
        As the case file has it: whether the tape was held at the tags that the photos show.
    """

    format: str = ""
    name: str = ""
    unit: str = ""
    readings: Mapping[str, ReadingTold] = field(default_factory=dict)
    dog: DogTold = field(default_factory=DogTold)
    photos: tuple[DraftPhoto, ...] = ()
    owner: OwnerTold = field(default_factory=OwnerTold, kw_only=True)
    measured_at_tags: bool = field(default=False, kw_only=True)

    @property
    def title(self) -> str:
        """What it calls itself, or its dog's name, or nothing."""
        return self.name or self.dog.name

    @property
    def bare_unit(self) -> str:
        """The unit of bare numbers, cm where none is told."""
        return self.unit or "cm"

    def number_of(self, file: str) -> int | None:
        """Which photo has this name, from 0; None when none has."""
        files = [photo.file for photo in self.photos]
        return files.index(file) if file in files else None

    def with_photo_changed(self, number: int, photo: DraftPhoto) -> Draft:
        """A copy with another photo in the place of one, from 0."""
        return self.but("photos", (*self.photos[:number], photo, *self.photos[number + 1 :]))


# --- as JSON ------------------------------------------------------------------


@dataclass(frozen=True)
class _Slot:
    """How a value stands in JSON.

    Attributes
    ----------
    read : callable
        Gives None for what does not belong there.
    write : callable
    empty : object
        The value that says nothing, and is not written unless `stays` and it was there.
    stays : bool
    """

    read: Callable[[Any], Any]
    write: Callable[[Any], Any] = lambda value: value
    empty: Any = None
    stays: bool = False


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) and value else None


def _number(value: Any) -> float | None:
    return value if isinstance(value, int | float) and not isinstance(value, bool) else None


def _typed(value: Any) -> Typed | None:
    return value if isinstance(value, str) else _number(value)


def _point(value: Any) -> Point | None:
    if not isinstance(value, list | tuple) or len(value) != 2:
        return None
    x, y = map(_number, value)
    return None if x is None or y is None else (x, y)


def _many(read: Callable[[Any], Any], *, may_be_empty: bool = False) -> Callable[[Any], Any]:
    """Reads a list, all of it or nothing; an empty one only where it says something."""

    def reads(value: Any) -> tuple[Any, ...] | None:
        if not isinstance(value, list | tuple) or not (value or may_be_empty):
            return None
        items = tuple(map(read, value))
        return None if None in items else items

    return reads


def _named(read: Callable[[Any], Any], *, may_be_empty: bool = False) -> Callable[[Any], Any]:
    """The same for a group of named values."""

    def reads(value: Any) -> dict[str, Any] | None:
        if not isinstance(value, Mapping) or not (value or may_be_empty):
            return None
        items = {name: read(item) for name, item in value.items()}
        return None if None in items.values() else items

    return reads


def _part(kind: type[_Part]) -> Callable[[Any], Any]:
    return lambda value: kind.from_dict(value) if isinstance(value, Mapping) else None


def _dicts(parts: Sequence[_Part]) -> list[dict[str, Any]]:
    return [part.to_dict() for part in parts]


def _take(value: Any) -> Typed | DraftTake | None:
    return DraftTake.from_dict(value) if isinstance(value, Mapping) else _typed(value)


def _reading(value: Any) -> ReadingTold | None:
    read: ReadingTold | None = _many(_take)(value) if isinstance(value, list | tuple) else None
    return _typed(value) if read is None else read


def _reading_json(told: ReadingTold) -> Any:
    if not isinstance(told, tuple):
        return told
    return [one.to_dict() if isinstance(one, DraftTake) else one for one in told]


def _readings_json(readings: Mapping[str, ReadingTold]) -> dict[str, Any]:
    return {name: _reading_json(told) for name, told in readings.items()}


_TEXT: Final = _Slot(_text, empty="")
_TYPED: Final = _Slot(_typed)
_NUMBER: Final = _Slot(_number)
_POINTS: Final = _Slot(_many(_point), points_to_lists, ())

_SLOTS: Final[Mapping[type[_Part], Mapping[str, _Slot]]] = {
    DraftMarking: {
        "by": _TEXT,
        "marks": _Slot(
            _named(_point, may_be_empty=True),
            marks_to_lists,
            {},
            stays=True,
        ),
        "bends": _Slot(
            _named(_many(_point, may_be_empty=True)),
            bends_to_lists,
            {},
        ),
        "spread_mm": _NUMBER,
        "confirmed": _Slot(
            _many(lambda value: value if value in EVERY_LANDMARK else None), list, ()
        ),
    },
    ReferenceTold: {
        "kind": _TEXT,
        "place": _TEXT,
        **dict.fromkeys(("offset", "offset_spread", "length", "diameter", "bar"), _TYPED),
        **dict.fromkeys(("corners", "ends", "outline"), _POINTS),
        "near": _Slot(_point, list),
        "corner_spread_px": _NUMBER,
    },
    DraftPhoto: {
        "file": _TEXT,
        "view": _Slot(lambda value: value if value in VIEWS else None, empty=""),
        "tags": _Slot(lambda value: value if value in TAG_SETS else None, empty=""),
        "declined": _Slot(_many(lambda value: value if value in DECLINED else None), list, ()),
        "reference": _Slot(_part(ReferenceTold), _Part.to_dict, ReferenceTold(), stays=True),
        "markings": _Slot(_many(_part(DraftMarking), may_be_empty=True), _dicts, (), stays=True),
        "focal_35mm": _NUMBER,
        "distortion": _Slot(_many(_number), list, ()),
    },
    DraftTake: {"typed": _TYPED, "at": _TEXT, "by": _TEXT},
    DogTold: {
        **dict.fromkeys(("name", "breed"), _TEXT),
        **dict.fromkeys(("weight", *FACT_TITLES, "coat_depth"), _TYPED),
        **dict.fromkeys(("coat", "build"), _TEXT),
        "age_months": _NUMBER,
    },
    OwnerTold: dict.fromkeys(
        ("name", "reach", "number", "depth", "email", "telephone", "notes"), _TEXT
    ),
    Draft: {
        "format": _TEXT,
        "name": _TEXT,
        "owner": _Slot(_part(OwnerTold), _Part.to_dict, OwnerTold()),
        "unit": _Slot(lambda value: value if value in UNITS else None, empty=""),
        "measured_at_tags": _Slot(
            lambda value: value if isinstance(value, bool) else None, empty=False, stays=True
        ),
        "readings": _Slot(_named(_reading, may_be_empty=True), _readings_json, {}, stays=True),
        "dog": _Slot(_part(DogTold), _Part.to_dict, DogTold(), stays=True),
        "photos": _Slot(_many(_part(DraftPhoto), may_be_empty=True), _dicts, (), stays=True),
    },
}
