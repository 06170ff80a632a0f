"""Focal length: from what the file says to pixels.

The convention is the *diagonal* one: a 35 mm equivalent focal length F belongs to
a frame of 36 mm x 24 mm, whose diagonal is 43.27 mm, and is scaled to any other
picture shape by the picture's own diagonal (CIPA DCG-001-2018, as quoted by
Wikipedia, "35 mm equivalent focal length").  A maker who scales by the frame's
width instead differs by 4 % on a 4:3 picture; `FOCAL_SPREADS` allows for that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import hypot, log, sqrt
from types import MappingProxyType
from typing import Any, Final

from photocheck.photo.photo import CameraFacts
from photocheck.photo.whole import WEIGHED_FROM, framing_of

FRAME_DIAGONAL_MM: Final = hypot(36.0, 24.0)
"""Diagonal of the 35 mm frame, 43.27 mm."""

FOCAL_LIMITS_MM: Final = (8.0, 1000.0)
"""35 mm equivalents outside this are not believed.  Judgement: wider is a fisheye lens,
which no pinhole describes, and longer is a telescope."""

SENSOR_LIMITS_MM: Final = (2.5, 80.0)
"""Sensor diagonals outside this are not believed.  Judgement: from the smallest phone
sensors to medium format.  Some programs write a 35 mm equivalent that grows as the
picture shrinks (a developer forum, thread 745938); this catches the worst of them."""

FOCAL_SPREADS: Final[Mapping[str, float]] = MappingProxyType(
    {
        "given": 0.01,
        "exif 35 mm": 0.03,
        "exif 35 mm, zoom unclear": 0.30,
        "exif focal length and sensor": 0.04,
    }
)
"""Standard deviation of ln(focal length) by its source.  Judgement: whole millimetres
alone are 1 % at 26 mm, width against diagonal is 4 % on a 4:3 picture, and phones crop a
little to straighten the picture."""

MAIN_CAMERA_35MM: Final = 26.0
"""35 mm equivalent of phones' main cameras: 23 to 28 mm (common practice, no source)."""

SENSOR_UNCLEAR: Final = 0.3
"""What is added where the px per mm of a sensor may be those of a larger picture: pictures are
mostly made smaller to two thirds or a half (judgement)."""

ZOOM_UNCLEAR: Final = 0.2
"""Two readings of a zoomed lens whose distances from the main camera (in logarithms)
differ by less than this are not told apart (judgement)."""

_MM_PER_FOCAL_PLANE_UNIT = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}
# 2 and 3 are in the Exif standard (CIPA DC-008, FocalPlaneResolutionUnit); 4 and 5 are
# what ExifTool also meets in the wild.

_MAKE, _MODEL = 0x010F, 0x0110
_FOCAL_LENGTH = 0x920A
_PIXEL_X, _PIXEL_Y = 0xA002, 0xA003
_PLANE_X, _PLANE_Y, _PLANE_UNIT = 0xA20E, 0xA20F, 0xA210
_DIGITAL_ZOOM, _FOCAL_35 = 0xA404, 0xA405
_NUMBERS_READ = (
    _FOCAL_LENGTH,
    _PIXEL_X,
    _PIXEL_Y,
    _PLANE_X,
    _PLANE_Y,
    _PLANE_UNIT,
    _DIGITAL_ZOOM,
    _FOCAL_35,
)


def focal_px(focal_35mm: float, width: int, height: int) -> float:
    """Focal length in pixels of a picture of the given size.

    Parameters
    ----------
    focal_35mm : float
        35 mm equivalent by the diagonal convention, mm.
    width, height : int
        Of the picture, px.

    Returns
    -------
    float
        Pixels; the same for a picture and for its turned or evenly resized copy
        in proportion to the diagonal.
    """
    return focal_35mm * hypot(width, height) / FRAME_DIAGONAL_MM


def focal_35mm_from_px(focal: float, *sides: float) -> float:
    """The inverse of `focal_px`: 35 mm equivalent (mm) from pixels.

    Parameters
    ----------
    sides : float
        Width and height of all that the camera took, px, or its diagonal alone.
    """
    return focal * FRAME_DIAGONAL_MM / hypot(*sides)


def camera_facts(
    base: Mapping[int, Any],
    exif: Mapping[int, Any],
    size: tuple[int, int],
    *,
    given_35mm: float | None = None,
) -> CameraFacts:
    """What the EXIF tags say of the camera.

    Nothing else of the EXIF block is read or kept (no place, no time, no owner).

    Digital zoom
        The Exif standard defines FocalLengthIn35mmFilm as the equivalent focal length
        and is silent on digital zoom: some cameras include it (a bug report of a
        panorama program, Hugin 2064625, shows 55 mm at DigitalZoomRatio 1.951 of a 28 mm
        lens), others leave the multiplication to the reader.  The reading whose unzoomed
        lens is nearer to a phone's main camera (`MAIN_CAMERA_35MM`) is taken; where both
        are about as near, the geometric mean with a spread that covers both, and the
        source "exif 35 mm, zoom unclear".  A focal length from the sensor's resolution is
        multiplied by the zoom.

    Cropping
        The focal length belongs to all that the camera took; `CameraFacts.framing` says how
        surely this picture is that (`photocheck.photo.whole`).

    Parameters
    ----------
    base, exif : mapping of EXIF tag number to value
        The main image directory and the Exif sub-directory.
    size : (int, int)
        Width and height of the picture, px.
    given_35mm : float or None
        What the user gave; wins over the file.

    Returns
    -------
    CameraFacts
        ``focal_35mm`` None and source "prior" when nothing usable is written.
    """
    make, model = _text(base.get(_MAKE)), _text(base.get(_MODEL))
    framing = framing_of(base, exif, size)
    if given_35mm is not None:
        return CameraFacts(given_35mm, "given", make, model, FOCAL_SPREADS["given"], framing)
    prior = CameraFacts(None, "prior", make, model, framing=framing)
    return replace(_focal_facts(exif, size, prior), framing=framing)


def _focal_facts(exif: Mapping[int, Any], size: tuple[int, int], prior: CameraFacts) -> CameraFacts:
    """What the tags say of the focal length; `prior` where they say nothing."""
    make, model = prior.make, prior.model
    recorded = (_number(exif.get(_PIXEL_X)), _number(exif.get(_PIXEL_Y)))
    zoom = _number(exif.get(_DIGITAL_ZOOM)) or 1.0
    zoom = max(zoom, 1.0)
    focal = _number(exif.get(_FOCAL_LENGTH))
    equivalent = _number(exif.get(_FOCAL_35))
    if equivalent is not None and _believable(equivalent, focal, zoom):
        return _zoomed(equivalent, zoom, make, model)
    diagonal = _sensor_diagonal(exif, recorded, size)
    if focal is not None and diagonal is not None:
        equivalent = focal * FRAME_DIAGONAL_MM / diagonal * zoom
        if FOCAL_LIMITS_MM[0] <= equivalent <= FOCAL_LIMITS_MM[1]:
            source = "exif focal length and sensor"
            spread = FOCAL_SPREADS[source]
            own = {*recorded} == {float(side) for side in size} or None in recorded
            if own and prior.framing.cut >= WEIGHED_FROM:
                # The picture was made smaller or cut and its size in the tags with it: whether the
                # sensor's px per mm still belong to it is open.
                spread = hypot(spread, SENSOR_UNCLEAR)
            return CameraFacts(equivalent, source, make, model, spread)
    return prior


def tags_kept(
    base: Mapping[int, Any], exif: Mapping[int, Any]
) -> tuple[dict[int, str], dict[int, float]]:
    """The tags `camera_facts` reads, and only those, as clean texts and positive numbers.

    `camera_facts` says the same of what is returned as of what was given.

    Parameters
    ----------
    base, exif : mapping of EXIF tag number to value

    Returns
    -------
    (dict, dict)
        Of the main directory and of the Exif sub-directory.
    """
    texts = {tag: text for tag in (_MAKE, _MODEL) if (text := _text(base.get(tag)))}
    numbers = {
        tag: number for tag in _NUMBERS_READ if (number := _number(exif.get(tag))) is not None
    }
    return texts, numbers


def _zoomed(equivalent: float, zoom: float, make: str, model: str) -> CameraFacts:
    """The equivalent focal length of the picture, whether or not it includes the zoom."""
    source = "exif 35 mm"
    spread = FOCAL_SPREADS[source]
    if zoom < 1.02:
        return CameraFacts(equivalent, source, make, model, spread)
    included = abs(log(equivalent / zoom / MAIN_CAMERA_35MM))
    left_out = abs(log(equivalent / MAIN_CAMERA_35MM))
    if abs(included - left_out) < ZOOM_UNCLEAR:
        spread = hypot(spread, log(zoom) / 2)
        source = "exif 35 mm, zoom unclear"
        return CameraFacts(equivalent * sqrt(zoom), source, make, model, spread)
    right = equivalent if included < left_out else equivalent * zoom
    return CameraFacts(right, source, make, model, spread)


def _believable(equivalent: float, focal: float | None, zoom: float) -> bool:
    if not FOCAL_LIMITS_MM[0] <= equivalent <= FOCAL_LIMITS_MM[1]:
        return False
    if focal is None:
        return True
    # Without zoom the ratio of the two focal lengths is the sensor's diagonal; with zoom
    # it may be smaller by the zoom.
    diagonal = FRAME_DIAGONAL_MM * focal / equivalent
    return diagonal * zoom >= SENSOR_LIMITS_MM[0] and diagonal <= SENSOR_LIMITS_MM[1]


def _sensor_diagonal(
    exif: Mapping[int, Any], recorded: tuple[float | None, float | None], size: tuple[int, int]
) -> float | None:
    per_x, per_y = _number(exif.get(_PLANE_X)), _number(exif.get(_PLANE_Y))
    unit = _MM_PER_FOCAL_PLANE_UNIT.get(int(_number(exif.get(_PLANE_UNIT)) or 2))
    if per_x is None or unit is None:
        return None
    width, height = recorded
    if width is None or height is None:
        width, height = float(size[0]), float(size[1])
    diagonal = hypot(width / per_x, height / (per_y or per_x)) * unit
    return diagonal if SENSOR_LIMITS_MM[0] <= diagonal <= SENSOR_LIMITS_MM[1] else None


def _number(value: Any) -> float | None:
    """A positive number, or None: zero means "unknown" or "not used" in EXIF."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if 1e-6 < number < 1e9 else None


def _text(value: Any) -> str:
    if isinstance(value, bytes):
        value = value.decode("ascii", "replace")
    if not isinstance(value, str):
        return ""
    return "".join(c for c in value if c.isprintable()).strip()[:64]
