"""Photos taken into an order, and what can be said of them before anybody has marked them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from threading import Lock
from typing import Final

import numpy as np
from cachetools import LRUCache, cached
from numpy.typing import NDArray

from photocheck.case.file import reference_from_dict
from photocheck.case.model import Point, Reference
from photocheck.errors import PhotocheckError, PhotoError
from photocheck.locating import Located, beside_dog, locate
from photocheck.orders.draft import ReferenceTold
from photocheck.orders.model import Store
from photocheck.photo.blur import edge_blur
from photocheck.photo.framing import scale_remarks
from photocheck.photo.photo import Photo
from photocheck.photo.whole import framing_said
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.priors import offset_prior
from photocheck.speech import capital_first, tr
from photocheck.uploads import LIMITS, Limits, take_for_order
from photocheck.words import PLACES

SMALL_PX: Final = 1200
"""A longer side below this is remarked on: the dog fills half of it, and 1 px is then more
than 1 mm on a dog of 70 cm (judgement; messengers shrink photos to about this)."""
DARK_GREY: Final = 45.0
"""Median grey of the middle of the photo below which it is called dark (judgement)."""
SMEARED: Final = 1 / 450
"""Radius of the blur at the sharpest place over the picture's longer side, above which the photo
is called blurred (judgement: on a dog of 70 cm that fills half of it, 3 mm; measured on the
samples 0.0002 to 0.0008, and 0.0026 once smeared by a Gaussian of 0.0045)."""
ABOUT: Final = 2.5
"""How high the part of a photo is that shows something, of that thing's longer side."""
_AROUND: Final = 48  # points around a disc or ball, to be drawn
_GLANCE_PX: Final = 2000
"""Longer side of the copy that is looked at for blur."""
MOST_KNOWN: Final = 96
"""Photos whose blur is remembered: each is looked at again with everything that is told of its
reference."""


def take_photo(
    store: Store, key: str, content: bytes, *, name: str = "", limits: Limits = LIMITS
) -> str:
    """Keep an uploaded photo in an order, written anew so that it is safe to keep.

    Its size in px stays.

    Parameters
    ----------
    store : Store
    key : str
    content : bytes
    name : str
        What the owner's file is called, for messages.
    limits : Limits

    Returns
    -------
    str
        The name it has in this order.

    Raises
    ------
    PhotoError
        When it is no photo that is taken in, or the order can hold no more; nothing is kept
        then.
    BusyError
        When too many photos are being read.
    OrderError
        When there is no such order.
    """
    where = name or tr("photo")
    upload = take_for_order(content, store.photo_bytes(key), limits=limits, where=where)
    try:
        return store.keep_photo(key, upload.content)
    except PhotoError as error:
        # Another photo came into the order meanwhile; the store does not know the file's name.
        raise PhotoError(error.wrong, where=where, do=error.do) from error


@dataclass(frozen=True)
class FirstLook:
    """What a photo shows before it is marked.

    Attributes
    ----------
    found : bool
        The reference was seen.
    outline : tuple of Point
        Where, px: the points known of it (four of each square of the marker sheet), or its
        outline; empty when not found.
    problem : str
        Why the reference was not seen, and what to do; empty when it was, or when nobody has
        pointed at it yet.
    remarks : tuple of str
        What costs accuracy, each with what puts it right.
    cut : tuple of str
        That the picture is a part of what the camera took, and that the whole one is asked for;
        empty for one that seems whole.
    px_per_mm : float
        At the reference; 0 where it was not seen.
    """

    found: bool
    outline: tuple[Point, ...]
    problem: str
    remarks: tuple[str, ...]
    cut: tuple[str, ...] = ()
    px_per_mm: float = 0.0


def shapes_of(form: str, points: Sequence[Point]) -> tuple[tuple[Point, ...], ...]:
    """What was seen of a reference as closed shapes to draw: of markers each square by itself.

    Parameters
    ----------
    form : str
        As `photocheck.scale.catalogue.ReferenceObject` has it.
    points : sequence of Point
        As `FirstLook.outline` has them, px.

    >>> len(shapes_of("markers", [(0.0, 0.0)] * 8)), len(shapes_of("disc", [(0.0, 0.0)] * 8))
    (2, 1)
    """
    each = 4 if form == "markers" else max(1, len(points))
    return tuple(tuple(points[at : at + each]) for at in range(0, len(points), each))


def first_look(photo: Photo, reference: ReferenceTold, unit: str, view: str = "side") -> FirstLook:
    """Look at a photo's quality, and for its reference if that can be looked for.

    Parameters
    ----------
    photo : Photo
    reference : ReferenceTold
        Perhaps incomplete.
    unit : str
        Of bare numbers.
    view : str
        One of `photocheck.words.VIEWS`.
    """
    remarks = quality_remarks(photo, view)
    cut = framing_said(photo.camera.framing, photo.size)
    try:
        told = reference_from_dict(reference.to_dict(), unit, where=tr("reference"))
        if not _can_look(told):
            return FirstLook(False, (), "", remarks, cut)
        located = locate(photo, told)[0]
    except PhotocheckError as error:
        # it is said beside the photo: which part of a case file it is about tells an owner nothing
        problem = str(PhotocheckError(capital_first(error.wrong), do=error.do))
        return FirstLook(False, (), problem, remarks, cut)
    found = [remark for remark in located.remarks if remark not in cut]
    said = (*remarks, *found, *_scale(located, told))
    return FirstLook(True, located.points_px, "", said, cut, located.px_per_mm)


def kinds_seen(photo: Photo, near: Point, land: str = "") -> tuple[str, ...]:
    """Which things of known size explain what is at a place, the likeliest first; perhaps none.

    Parameters
    ----------
    photo : Photo
    near : Point
        A rough mark inside it, px.
    land : str
        Where the person lives, ISO 3166, which tells what paper is in use; empty where not known.
    """
    try:
        found = locate(photo, near=near, beside=beside_dog(photo, land))
    except PhotocheckError:
        return ()
    return tuple(one.reference for one in found)


@dataclass(frozen=True)
class Sighted:
    """Something in a photo that may be of known size, and that nobody has pointed at.

    Attributes
    ----------
    kinds : tuple of str
        What it may be, keys of `photocheck.scale.catalogue.REFERENCES`, the likeliest first.
    outline : tuple of Point
        Its corners, or points around a disc or ball, px.
    frame : (int, int, int, int)
        The part of the photo that shows it with what is about it: left, top, right, bottom, px,
        the right and bottom ones excluded.
    """

    kinds: tuple[str, ...]
    outline: tuple[Point, ...]
    frame: tuple[int, int, int, int]

    @property
    def near(self) -> Point:
        """A point inside it, px."""
        x, y = np.mean(self.outline, axis=0)
        return float(x), float(y)


def things_sighted(photo: Photo, land: str = "") -> tuple[Sighted, ...]:
    """Cards and sheets of paper, else balls and discs, that seem to be in a photo of a dog.

    The surest first.  They are for a person to confirm; what is doubtful is left out.

    Parameters
    ----------
    photo : Photo
    land : str
        As for `kinds_seen`.
    """
    from photocheck.scale.unaided import sightings
    from photocheck.scale.unaided_rounds import round_sightings

    flat = [
        (tuple(seen.kind for seen in one.seen), one.corners)
        for one in sightings(photo.rgb, beside_dog(photo, land))
    ]
    # A card or sheet tells more, and its own size: round things are looked for without one.
    found = flat or [
        (one.kinds, one.ellipse.points(_AROUND)[0]) for one in round_sightings(photo.rgb)
    ]
    return tuple(_as_sighted(kinds, outline, photo.size) for kinds, outline in found)


def _as_sighted(
    kinds: tuple[str, ...], outline: NDArray[np.float64], size_px: tuple[int, int]
) -> Sighted:
    width, height = size_px
    low, high = outline.min(axis=0), outline.max(axis=0)
    x, y = (low + high) / 2
    half = ABOUT * float(np.max(high - low)) / 2
    frame = (
        max(int(x - 1.5 * half), 0), max(int(y - half), 0),
        min(int(x + 1.5 * half), width), min(int(y + half), height),
    )  # fmt: skip
    return Sighted(kinds, tuple((float(u), float(v)) for u, v in outline), frame)


def _can_look(reference: Reference) -> bool:
    form = REFERENCES[reference.kind].form
    if form == "markers":
        return True
    if form == "points":
        return len(reference.ends) == 2 and reference.length_mm is not None
    if form == "rectangle":
        return reference.near is not None or bool(reference.corners)
    told = reference.near is not None or bool(reference.outline)
    return told and reference.diameter_mm is not None


_TOLD: Final = frozenset(PLACES) - {"unknown"}


def _scale(located: Located, reference: Reference) -> tuple[str, ...]:
    remarks = scale_remarks(
        px_per_cm=10.0 * located.px_per_mm,
        reference_px=located.points_px,
        distance_mm=located.distance_mm,
        # Where it stood may not be told yet; the check itself weighs that, and from the front.
        offset_spread_mm=offset_prior(reference).spread_mm if reference.place in _TOLD else 0.0,
        yaw_deg=located.yaw_deg,
        measured_offset=reference.offset_mm is not None,
    )
    return tuple(f"{remark.sentence} {remark.instruction}" for remark in remarks)


def quality_remarks(photo: Photo, view: str = "side") -> tuple[str, ...]:
    """Size, light, sharpness and camera data of a photo that is not marked yet."""
    width, height = photo.size
    said = []
    if max(width, height) < SMALL_PX:
        said.append(
            tr(
                "The picture is small ({width} x {height} pixels): send the photo itself at full "
                "size, not a copy from a messenger.",
                width=width,
                height=height,
            )
        )
    if height > width and view == "side":
        said.append(tr("Hold the phone sideways next time: the dog then fills the picture."))
    middle = photo.rgb[height // 4 : -height // 4 : 8, width // 6 : -width // 6 : 8]
    if float(np.median(middle)) < DARK_GREY:
        said.append(tr("The photo is dark: take it in more light if you can."))
    if _sharpest_of(photo) > SMEARED:
        said.append(
            tr(
                "The photo looks blurred: hold the phone with both hands and tap the dog on the "
                "screen before you press."
            )
        )
    if photo.camera.focal_35mm is None:
        said.append(
            tr(
                "The file does not say which lens took it: if you can, send the original from the "
                "phone, with its camera data."
            )
        )
    return tuple(said)


def _which(photo: Photo) -> tuple[str, tuple[int, ...]]:
    return photo.sha256, photo.rgb.shape


@cached(LRUCache(MOST_KNOWN), key=_which, lock=Lock())
def _sharpest_of(photo: Photo) -> float:
    return _sharpest(photo.rgb)


def _sharpest(rgb: NDArray[np.uint8]) -> float:
    """Blur of the sharpest edge amid the photo, over its longer side; 0 without edges."""
    import cv2

    scale = min(1.0, _GLANCE_PX / max(rgb.shape[:2]))
    smaller = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    copy = np.asarray(smaller, np.uint8)
    height, width = copy.shape[:2]
    grid = [(width * x, height * y) for x in (0.3, 0.5, 0.7) for y in (0.4, 0.6)]
    side = max(height, width)
    blurs = [blur for blur in edge_blur(copy, grid, window_px=side // 5) if blur is not None]
    return float(min(blurs, default=0.0) / side)
