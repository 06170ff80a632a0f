"""Bytes in, an upright 8-bit RGB picture out.

Everything later works on the array this gives; nothing later opens the file again.
The kind of file is decided by its content, never by its name.
"""

from __future__ import annotations

import io
import os
import re
import struct
import warnings
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.errors import PhotoError, reason_of
from photocheck.files import read_at_most
from photocheck.photo.camera import FOCAL_LIMITS_MM, camera_facts
from photocheck.photo.kind import ANOTHER, animated, kind_of, too_many_bytes, webp_size
from photocheck.photo.kind import MAX_BYTES as MAX_BYTES
from photocheck.photo.photo import CameraFacts, Photo
from photocheck.photo.traces import with_traces
from photocheck.photo.whole import noted
from photocheck.speech import tr

if TYPE_CHECKING:
    from PIL import Image

MAX_PIXELS: Final = 80_000_000
"""Largest picture decoded (240 MB as RGB).  Judgement: above the 50 MP phones write."""

MAX_SIDE_PX: Final = 30_000
"""Longest side.  Judgement: twice the longest panorama; a JPEG file holds at most 65,535."""

MIN_SIDE_PX: Final = 100
"""Smallest side.  Judgement: below this one pixel is a centimetre of dog."""

_BAND_ROWS = 256

_JPEG_BYTES = 12
"""The most that Pillow takes for a pixel of a JPEG: 4 for the picture, and libjpeg keeps two for
each of up to four coefficients of a progressive one, which comes in scans (T.81, annex G)."""

_DAMAGE = (OSError, SyntaxError, ValueError, EOFError, OverflowError, struct.error)
"""What Pillow (11.1 to 13.0) raises for damaged bytes, by its source and by 70,000 damaged files:
`PIL.UnidentifiedImageError` is an OSError, and a place beyond all files is an OverflowError.
Anything else is a failure of the program."""

_HEIF_DAMAGE = (RuntimeError, IndexError)
"""What pillow-heif (`open_heif`, `HeifFile`) documents besides: "some other error" of a file, and
a file without a picture."""

_EXIF_DAMAGE = (*_DAMAGE, KeyError, IndexError, ZeroDivisionError)
"""What a broken EXIF block may raise besides, whose values Pillow unpacks and computes with."""


def load_photo(
    source: str | os.PathLike[str] | bytes,
    *,
    focal_35mm: float | None = None,
    name: str = "",
) -> Photo:
    """Read a photo: JPEG, PNG, WebP or HEIC/HEIF.

    The EXIF orientation is applied exactly once.  Grey, palette, CMYK, 16-bit and
    transparent pictures (over white) become 8-bit RGB; colour profiles are not
    applied, for nothing here measures colour.  Of the metadata only the camera's
    make, model and focal length are kept: no place, no time.

    Parameters
    ----------
    source : path or bytes
    focal_35mm : float or None
        35 mm equivalent focal length, mm; overrides the file's.
    name : str
        What to call the photo in messages; the path when empty.

    Returns
    -------
    Photo
        ``rgb`` is (H, W, 3) uint8, C-contiguous.

    Raises
    ------
    PhotoError
        Missing, unreadable, truncated, damaged, animated, not one of the four
        kinds, or outside `MAX_BYTES`, `MAX_PIXELS`, `MAX_SIDE_PX`, `MIN_SIDE_PX`.
    """
    where = name or ("photo" if isinstance(source, bytes) else os.fspath(source))
    if focal_35mm is not None and not FOCAL_LIMITS_MM[0] <= focal_35mm <= FOCAL_LIMITS_MM[1]:
        raise PhotoError(
            tr(
                "a focal length of {focal:g} mm is outside {low:g} to {high:g} mm",
                focal=float(focal_35mm),
                low=FOCAL_LIMITS_MM[0],
                high=FOCAL_LIMITS_MM[1],
            ),
            where=where,
            do=tr("Give the 35 mm equivalent, 26 for example, or leave it out"),
        )
    data = source if isinstance(source, bytes) else _read(Path(source), where)
    picture = decoded(data, where=where)
    size = picture.rgb.shape[1], picture.rgb.shape[0]
    facts = framed(camera_facts(picture.base, picture.exif, size, given_35mm=focal_35mm), picture)
    return Photo(picture.rgb, facts, sha256(data).hexdigest(), picture.kind)


@dataclass(frozen=True)
class Decoded:
    """A picture as it came out of the file.

    Attributes
    ----------
    rgb : (H, W, 3) uint8
        Upright.
    base, exif : dict of EXIF tag number to value
        The main directory and the Exif sub-directory, unchecked.
    kind : str
        One of `photocheck.photo.kind.KINDS`.
    preview : (h, w, 3) uint8 or None
        The small one inside the file, upright.
    """

    rgb: NDArray[np.uint8]
    base: dict[int, Any]
    exif: dict[int, Any]
    kind: str
    preview: NDArray[np.uint8] | None = None


def framed(facts: CameraFacts, picture: Decoded) -> CameraFacts:
    """The same with what pixels and preview tell of the framing, unless the file was told."""
    if noted(picture.exif) is not None:
        return facts
    as_stored = _orientation(picture.base) == 1 or picture.kind == "HEIF"
    framing = with_traces(facts.framing, picture.rgb, picture.preview, as_stored=as_stored)
    return replace(facts, framing=framing)


def decoded(data: bytes, *, where: str = "photo") -> Decoded:
    """The upright picture and the raw EXIF tags of a file.

    Raises
    ------
    PhotoError
        As `load_photo`.
    """
    kind = kind_of(data, where=where)
    try:
        rgb, base, exif, preview = _decode(data, kind, where)
    except _DAMAGE as error:
        raise PhotoError(
            tr("the {kind} picture is damaged or cut short", kind=kind), where=where, do=tr(ANOTHER)
        ) from error
    return Decoded(rgb, base, exif, kind, preview)


def _read(path: Path, where: str) -> bytes:
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise PhotoError(
                tr("this is a folder, not a photo"), where=where, do=tr("Name the photo file")
            )
        if size > MAX_BYTES:
            raise too_many_bytes(size, where)
        content = read_at_most(path, MAX_BYTES)
    except FileNotFoundError as error:
        raise PhotoError(
            tr("there is no such photo"),
            where=where,
            do=tr("Check the file name and the folder"),
        ) from error
    except (OSError, ValueError) as error:
        raise PhotoError(
            tr("the photo cannot be opened ({reason})", reason=reason_of(error)),
            where=where,
            do=tr("Check that you may read the file"),
        ) from error
    if len(content) > MAX_BYTES:
        raise too_many_bytes(len(content), where)
    return content


def _check_size(width: int, height: int, where: str) -> None:
    if width * height > MAX_PIXELS:
        raise PhotoError(
            tr(
                "the picture has {width} x {height} pixels, {millions:.0f} million; at most "
                "{most:.0f} million are read",
                width=width,
                height=height,
                millions=width * height / 1e6,
                most=MAX_PIXELS / 1e6,
            ),
            where=where,
            do=tr("Save a smaller copy, 4000 pixels wide for example"),
        )
    if max(width, height) > MAX_SIDE_PX:
        raise PhotoError(
            tr(
                "the picture has {width} x {height} pixels; at most {most} on a side are read",
                width=width,
                height=height,
                most=MAX_SIDE_PX,
            ),
            where=where,
            do=tr("Save a smaller copy, 4000 pixels wide for example"),
        )
    if min(width, height) < MIN_SIDE_PX:
        raise PhotoError(
            tr("the picture has only {width} x {height} pixels", width=width, height=height),
            where=where,
            do=tr("Send the photo itself, not its thumbnail"),
        )


def _decode(
    data: bytes, kind: str, where: str
) -> tuple[NDArray[np.uint8], dict[int, Any], dict[int, Any], NDArray[np.uint8] | None]:
    if kind == "HEIF":
        image = _open_heif(data, where)
        # libheif has turned the picture already, and by the standard (ISO/IEC 23008-12)
        # the EXIF orientation of a HEIF file is never applied.
        orientation = 1
    else:
        image = _open(data, kind, where)
        orientation = 0
    fast = _fast_jpeg(data) if kind == "JPEG" and image.mode in ("RGB", "L") else None
    if fast is None and kind == "JPEG":
        _ask_for_room(image)
    rgb = _rgb(image) if fast is None else fast
    # After decoding: a PNG may carry its EXIF block behind the pixels.
    base, exif = _exif(image)
    if orientation == 0:
        orientation = _orientation(base)
    preview = _preview(image)
    if preview is not None:
        preview = turned(preview, orientation)
    return turned(rgb, orientation), base, exif, preview


def _open(data: bytes, kind: str, where: str) -> Image.Image:
    from PIL import Image

    if kind == "WEBP" and (size := webp_size(data)) is not None:
        # Opening a WebP file makes room for two whole pictures, before any size can be asked.
        _check_size(*size, where)
    with warnings.catch_warnings():
        # Pillow's own size warning begins above the limit checked right here, and its
        # warnings about EXIF are of no use to anybody.
        warnings.simplefilter("ignore")
        try:
            image = _jpeg(data) if kind == "JPEG" else Image.open(io.BytesIO(data), formats=(kind,))
        except Image.DecompressionBombError as error:
            raise PhotoError(
                tr(
                    "the picture claims more pixels than the {most:.0f} million that are read",
                    most=MAX_PIXELS / 1e6,
                ),
                where=where,
                do=tr("Save a smaller copy, 4000 pixels wide for example"),
            ) from error
    _check_size(*image.size, where)
    if kind in ("PNG", "WEBP") and getattr(image, "n_frames", 1) > 1:
        raise animated(kind, where)
    return image


def _jpeg(data: bytes) -> Image.Image:
    """A JPEG by Pillow's reader of them alone: `Image.open` would load four others first.

    It takes those with a second picture (depth map, moving part) behind them too, and calls them
    MPO; the first picture is the photo.
    """
    from PIL.JpegImagePlugin import jpeg_factory

    return jpeg_factory(io.BytesIO(data))


def _open_heif(data: bytes, where: str) -> Image.Image:
    import pillow_heif

    try:
        heif = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=True)
        width, height = heif.size
        _check_size(width, height, where)
        image: Image.Image = heif.to_pillow()
    except _HEIF_DAMAGE as error:
        raise ValueError(str(error)) from error
    return image


def _fast_jpeg(data: bytes) -> NDArray[np.uint8] | None:
    """Decode an ordinary JPEG with OpenCV, a third faster than through Pillow.

    None when the file is better left to Pillow, which alone tells a truncated file
    from a whole one.
    """
    if not _jpeg_is_whole(data):
        return None
    import cv2

    try:
        picture = cv2.imdecode(
            np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
        )
    except cv2.error:
        return None
    return None if picture is None else picture.astype(np.uint8, copy=False)


def _ask_for_room(image: Image.Image) -> None:
    """Raise MemoryError here where libjpeg, short of memory, would call the file broken."""
    np.empty((*image.size, _JPEG_BYTES), np.uint8)


_NO_FILL = re.compile(rb"[^\xff]")
_REAL_MARKER = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]", re.DOTALL)


def _jpeg_is_whole(data: bytes) -> bool:
    """Whether the chain of JPEG segments reaches the end-of-image marker.

    ITU-T T.81, annex B: outside entropy-coded data every segment states its length;
    inside, 0xFF is followed by 0x00 or a restart marker.
    """
    at = 2
    end = len(data)
    while at + 4 <= end:
        if data[at] != 0xFF:
            return False
        marker = data[at + 1]
        if marker == 0xFF:  # fill bytes
            begun = _NO_FILL.search(data, at)
            if begun is None:
                return False
            at = begun.start() - 1
            continue
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if marker != 0xDA:
            continue
        real = _REAL_MARKER.search(data, at)  # behind the entropy-coded data
        if real is None:
            return False
        if real[0] == b"\xff\xd9":
            return True
        at = real.start()
    return False


def _rgb(image: Image.Image) -> NDArray[np.uint8]:
    image.load()
    width, height = image.size
    rgb = np.empty((height, width, 3), np.uint8)
    # In bands: the steps between take several times the room of the picture itself.
    for top in range(0, height, _BAND_ROWS):
        bottom = min(top + _BAND_ROWS, height)
        rgb[top:bottom] = _rgb_band(image.crop((0, top, width, bottom)))
    return rgb


def _rgb_band(image: Image.Image) -> NDArray[np.uint8]:
    from PIL import Image

    if image.mode in ("I;16", "I;16B", "I;16L", "I;16N", "I"):
        grey = np.clip(np.asarray(image).astype(np.int64), 0, 65535)
        eight = ((grey * 255 + 32767) // 65535).astype(np.uint8)
        return np.repeat(eight[:, :, None], 3, axis=2)
    if image.has_transparency_data:
        over = image.convert("RGBA")
        white = Image.new("RGBA", over.size, (255, 255, 255, 255))
        image = Image.alpha_composite(white, over)
    return np.asarray(image.convert("RGB"))


def _exif(image: Image.Image) -> tuple[dict[int, Any], dict[int, Any]]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            tags = image.getexif()
            return dict(tags), dict(tags.get_ifd(0x8769))
        except _EXIF_DAMAGE:  # a broken block says nothing, and the picture is still good
            return {}, {}


_PREVIEW_DIRECTORY = -1  # `PIL.ExifTags.IFD.IFD1`
_PREVIEW_AT, _PREVIEW_BYTES = 0x0201, 0x0202
_TIFF_BEGINS = 6  # behind "Exif" and two zeros, from where the block counts
_MOST_PREVIEW_PX = 640


def _preview(image: Image.Image) -> NDArray[np.uint8] | None:
    """The JPEG in the EXIF block's directory of the preview, as stored; None for none."""
    block = image.info.get("exif")
    if not isinstance(block, bytes):
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            tags = image.getexif().get_ifd(_PREVIEW_DIRECTORY)
            begins = _TIFF_BEGINS + int(tags[_PREVIEW_AT])
            content = block[begins : begins + int(tags[_PREVIEW_BYTES])]
            small = _jpeg(content)
            if max(small.size) > _MOST_PREVIEW_PX:
                return None
            return np.asarray(small.convert("RGB"))
        except (*_EXIF_DAMAGE, TypeError):
            return None


def _orientation(base: dict[int, Any]) -> int:
    value = base.get(0x0112, 1)
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def turned(rgb: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """The upright picture for an EXIF orientation.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
        As stored.
    orientation : int
        1 to 8, Exif standard (CIPA DC-008), tag 0x0112.

    Returns
    -------
    (H, W, 3) or (W, H, 3) uint8
        C-contiguous; `rgb` itself for orientation 1.
    """
    if orientation == 1:
        return np.ascontiguousarray(rgb)
    import cv2

    if orientation == 2:
        out = cv2.flip(rgb, 1)
    elif orientation == 3:
        out = cv2.rotate(rgb, cv2.ROTATE_180)
    elif orientation == 4:
        out = cv2.flip(rgb, 0)
    elif orientation == 5:
        out = cv2.transpose(rgb)
    elif orientation == 6:
        out = cv2.rotate(rgb, cv2.ROTATE_90_CLOCKWISE)
    elif orientation == 7:
        out = cv2.rotate(cv2.transpose(rgb), cv2.ROTATE_180)
    else:
        out = cv2.rotate(rgb, cv2.ROTATE_90_COUNTERCLOCKWISE)
    return out.astype(np.uint8, copy=False)
