"""Whether a picture is all that the camera took: what its size and its tags tell.

A picture that was cut keeps the camera's focal length in its tags and loses what belongs to it:
how large the whole frame was, and where its middle lies.  What pixels tell besides is in
`photocheck.photo.traces`.

The probabilities are judgement.  Of pictures that reach a workshop with a camera's data they take
75 % to be as the camera saved them, 15 % evenly made smaller and 10 % cut, four in ten of those in
the photo's own shape, which editing programs keep unless asked, and some of them made smaller then.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from math import log
from typing import Any, Final

from photocheck.photo.photo import Framing
from photocheck.speech import joined, later, tr

NAMED_FROM: Final = 0.5
"""A picture more probably cut than this is called so, and measured as one."""

WEIGHED_FROM: Final = 0.01
"""A picture less probably cut than this is taken as whole; between, both are weighed."""

SHAPE_SLACK: Final = 0.012
"""How far, in ln(width / height), a camera's shape may be missed: makers round to whole blocks
(4208 x 3120 is 1.1 % from 4:3, 4080 x 3072 0.4 %), programs to whole pixels."""

CAMERA_SHAPES: Final = (4 / 3, 3 / 2)
"""Of sensors."""
VIDEO, SQUARE = 16 / 9, 1.0
FULL_SCREEN: Final = (1.95, 2.36)
"""Shapes of phones' own screens, which some cameras offer: 18:9 to 21:9."""
PANORAMA: Final = 2.4
"""Wider than any camera's single picture (judgement)."""
_PANORAMA_TAG, _CUSTOM_RENDERED = 6, 0xA401
# Apple's value for a panorama; the Exif standard knows 0 and 1 only (as ExifTool lists it).

NATIVE_PIXELS: Final = 4.9e6
"""Cameras of the last fifteen years write at least as many (judgement: five million, of the
smallest phones); what has fewer was made smaller or cut."""
OLD_NATIVE_PIXELS: Final = 1.9e6
"""The same of older ones, where the file says that the camera's picture was as large as this."""

SIDES_OF_EXPORTS: Final = frozenset(
    {640, 800, 1024, 1200, 1280, 1440, 1500, 1536, 1600, 1800, 1920, 2000, 2048, 2160, 2400, 2560,
     2592, 3000, 3072, 3200, 3264, 3840, 4000, 4096}
)  # fmt: skip
"""Sides, px, to which programs that keep a camera's data make pictures smaller (judgement: mail,
galleries, exports; screens, powers of two and round figures)."""
SIDES_OF_THE_WEB: Final = SIDES_OF_EXPORTS | frozenset(
    {
        320,
        333,
        360,
        375,
        400,
        480,
        500,
        512,
        540,
        600,
        720,
        750,
        768,
        900,
        960,
        1000,
        1080,
        1512,
        2016,
        2304,
        2448,
        3024,
    }
)
"""The same of those that keep none: messengers, web forms, collections; a phone's 4032 x 3024,
4608 x 3456 and the like as such and halved."""

SMALL_COPY_PX: Final = 700
"""Nobody cuts down to less and keeps a camera's shape (judgement)."""

CUT_FRAME: Final = 0.97
NOT_NATIVE: Final = 0.6
ODD_SHAPE: Final = 0.95
EDITED_SHAPE: Final = 0.8
SCREEN_SHAPE: Final = 0.2
IN_CAMERA_OR_CUT: Final = 0.15
MADE_SMALLER: Final = 0.1
AS_SAVED: Final = 0.0

REASONS: Final[Mapping[str, str]] = {
    "shape": later(
        "The picture has {width} x {height} pixels, a shape that cameras do not make: it seems to "
        "be cropped out of a larger one."
    ),
    "size": later(
        "The picture has {width} x {height} pixels, which neither cameras make nor programs that "
        "make photos smaller: it seems to be cropped out of a larger one."
    ),
    "smaller": later(
        "The file says that the camera's picture was {frame_width} x {frame_height} pixels, and "
        "this one has {width} x {height}: it is cropped, or was made smaller."
    ),
    "recorded": later(
        "The file says that the camera's picture was {frame_width} x {frame_height} pixels, and "
        "this one has {width} x {height}: it is cropped."
    ),
    "preview": later(
        "The small preview inside the file shows more than the picture: it is cropped."
    ),
    "grid": later(
        "Traces of an earlier compression do not begin at the picture's corner: it is cropped out "
        "of a larger one."
    ),
    "bars": later(
        "The picture has bars along its edges and what lies between has a shape that cameras do "
        "not make: it seems to be a screenshot of a part of a photo."
    ),
    "panorama": later(
        "The picture is {width} x {height} pixels, wider than cameras take at once: it is a "
        "panorama or cropped."
    ),
}
SCREENSHOT: Final = later(
    "The picture has bars along its edges, as a screenshot has: only what lies between is measured."
)
SEND_WHOLE: Final = later(
    "Where the camera looked and how far away it stood is then uncertain, and so is every length. "
    "Send the whole photo as the camera saved it, with nothing cut off."
)

_PIXEL_X, _PIXEL_Y = 0xA002, 0xA003
_ORIENTATION = 0x0112
_CAMERA, _FOCAL_35 = (0x010F, 0x0110), 0xA405


def framing_of(base: Mapping[int, Any], exif: Mapping[int, Any], size: tuple[int, int]) -> Framing:
    """What the tags and the size of an upright picture tell of its framing.

    Parameters
    ----------
    base, exif : mapping of EXIF tag number to value
    size : (int, int)
        Width and height, px.
    """
    if (told := noted(exif)) is not None:
        return told
    frame = recorded_frame(base, exif, size)
    if exif.get(_CUSTOM_RENDERED) == _PANORAMA_TAG or max(size) > PANORAMA * min(size):
        return Framing(ODD_SHAPE, "panorama")
    if frame is not None and abs(log(frame[0] / frame[1] * size[1] / size[0])) > 0.01:
        fits = frame[0] > 0.999 * size[0] and frame[1] > 0.999 * size[1]
        return Framing(CUT_FRAME, "recorded", frame if fits else None)
    camera_data = any(tag in base for tag in _CAMERA) or _FOCAL_35 in exif
    framing = of_shape(size, camera_data=camera_data)
    if framing.cut < NAMED_FROM or frame is None:
        return framing
    if frame[0] > 1.01 * size[0]:
        # a shape that is none of the usual ones and still the camera's was not cut
        odd = framing.why != "size"
        return Framing(MADE_SMALLER) if odd else Framing(framing.cut, "smaller", frame)
    if framing.why != "size":
        return framing
    if max(size) % 8 == 0 and size[0] * size[1] >= OLD_NATIVE_PIXELS:
        return Framing(MADE_SMALLER)
    return framing


def of_shape(size: tuple[float, float], *, camera_data: bool = True) -> Framing:
    """What the size alone tells, of a file with a camera's data and of one without.

    >>> of_shape((4032, 3024)).cut < WEIGHED_FROM
    True
    >>> of_shape((2621, 1530)).why, of_shape((2621, 1966)).why
    ('shape', 'size')
    """
    long, short = max(size), min(size)
    shape = long / short
    sides = SIDES_OF_EXPORTS if camera_data else SIDES_OF_THE_WEB
    usual = round(long) in sides or round(short) in sides or long < SMALL_COPY_PX
    native = long * short >= NATIVE_PIXELS and long % 8 == 0 and short % 2 == 0

    def of(*shapes: float) -> bool:
        # whole pixels of a small picture leave more room
        return any(abs(log(shape / each)) < SHAPE_SLACK + 0.6 / short for each in shapes)

    if of(*CAMERA_SHAPES):
        if native:
            return Framing(AS_SAVED)
        return Framing(MADE_SMALLER) if usual else Framing(NOT_NATIVE, "size")
    if of(VIDEO):
        if native or usual:
            return Framing(IN_CAMERA_OR_CUT)
        return Framing(EDITED_SHAPE, "size")
    if of(SQUARE):
        return Framing(IN_CAMERA_OR_CUT) if native else Framing(EDITED_SHAPE, "shape")
    if FULL_SCREEN[0] < shape < FULL_SCREEN[1] and (native or usual):
        return Framing(SCREEN_SHAPE)
    return Framing(ODD_SHAPE, "shape")


def in_camera_shift(size: tuple[float, float]) -> float:
    """ln of the focal length in px by a sensor's own diagonal, over that by the picture's.

    A camera that saves 16:9, full screen or square pictures cuts them out of its 4:3 sensor,
    at full width or, square, full height; its focal length in the file mostly stays the sensor's.
    """
    shape = max(size) / min(size)
    if any(abs(log(shape / each)) < 2.0 * SHAPE_SLACK for each in CAMERA_SHAPES):
        return 0.0
    width, height = smallest_frame(size)
    return 0.5 * log((width**2 + height**2) / (size[0] ** 2 + size[1] ** 2))


def smallest_frame(size: tuple[float, float], shape: float = 4 / 3) -> tuple[float, float]:
    """The smallest frame of a shape (long over short side), either way up, that holds a picture.

    >>> smallest_frame((3000, 1500))
    (3000, 2250.0)
    """
    width, height = size
    lying = (max(width, height * shape), max(height, width / shape))
    standing = (max(width, height / shape), max(height, width * shape))
    return min(lying, standing, key=lambda frame: frame[0] * frame[1])


def recorded_frame(
    base: Mapping[int, Any], exif: Mapping[int, Any], size: tuple[int, int]
) -> tuple[float, float] | None:
    """Width and height that the file says the camera's picture had, turned as this one is.

    The tags follow the stored pixels, not the upright ones, and programs that turn pixels do not
    always exchange them: of the two ways round, the one that the orientation asks for if it holds
    this picture, else the one nearer in shape.
    """
    try:
        width, height = float(exif[_PIXEL_X]), float(exif[_PIXEL_Y])
    except (KeyError, TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    if not (1 <= width < 1e6 and 1 <= height < 1e6):
        return None
    asked = (height, width) if base.get(_ORIENTATION) in (5, 6, 7, 8) else (width, height)
    other = (asked[1], asked[0])
    if abs(log(asked[0] / asked[1] * size[1] / size[0])) < 0.01:
        return asked
    if abs(log(other[0] / other[1] * size[1] / size[0])) < 0.01:
        return other
    holds = [frame for frame in (asked, other) if frame[0] >= size[0] and frame[1] >= size[1]]
    return holds[0] if holds else asked


def framing_said(framing: Framing, size: tuple[int, int]) -> tuple[str, ...]:
    """What is to be said of a picture's framing: empty for one that seems whole."""
    said: list[str] = []
    if framing.photo_px is not None and framing.why != "bars":
        said.append(tr(SCREENSHOT))
    if framing.cut >= NAMED_FROM and framing.why:
        frame = framing.frame_px or size
        reason = tr(
            REASONS[framing.why],
            width=size[0],
            height=size[1],
            frame_width=round(frame[0]),
            frame_height=round(frame[1]),
        )
        said.append(joined(reason, tr(SEND_WHOLE)))
    return tuple(said)


USER_COMMENT: Final = 0x9286
_NOTE = b"ASCII\0\0\0photocheck framing "
"""Before the note, the character code that the Exif standard asks for."""


def note_of(framing: Framing) -> bytes:
    """A framing for the user comment of a file that keeps nothing else of what told it."""
    return _NOTE + json.dumps(asdict(framing)).encode()


def noted(exif: Mapping[int, Any]) -> Framing | None:
    """The framing noted in a file that photocheck wrote; None where there is none.

    Whoever writes such a note into a file of their own can make their picture pass for whole or
    cut, as they can by any other tag.
    """
    note = exif.get(USER_COMMENT)
    if not isinstance(note, bytes) or not note.startswith(_NOTE) or len(note) > _LONGEST_NOTE:
        return None
    try:
        return framing_from(json.loads(note[len(_NOTE) :]))
    except ValueError:
        return None


def framing_from(told: Any) -> Framing | None:
    """The framing of its attributes as JSON gives them; None where they are none."""
    try:
        cut, why = float(told["cut"]), str(told["why"])
        pairs = [
            (float(told[key][0]), float(told[key][1])) if told[key] else None for key in _PAIRS
        ]
        sides = [int(side) for side in told["photo_px"] or ()]
    except (ValueError, KeyError, TypeError, IndexError, OverflowError):
        return None
    numbers = [number for pair in pairs if pair for number in pair]
    if not 0.0 <= cut <= 1.0 or (why and why not in REASONS):
        return None
    if not all(abs(number) < _FARTHEST for number in numbers):  # nan neither
        return None
    if not sides:
        return Framing(cut, why, pairs[0], pairs[1])
    if len(sides) != 4 or not (0 <= sides[0] < sides[2] and 0 <= sides[1] < sides[3]):
        return None
    return Framing(cut, why, pairs[0], pairs[1], (sides[0], sides[1], sides[2], sides[3]))


_PAIRS = ("frame_px", "corner_px")
_LONGEST_NOTE = 600
_FARTHEST = 1e6
