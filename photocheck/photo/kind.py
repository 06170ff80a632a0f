"""What kind of file it is, told by its first bytes, before any decoder sees it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from importlib.util import find_spec
from types import MappingProxyType
from typing import Final

from photocheck.errors import PhotoError
from photocheck.speech import later, tr

MAX_BYTES: Final = 60_000_000
"""Largest file read.  Judgement: twice what a phone's largest JPEG takes."""

MOST_FILL_BYTES: Final = 64
MOST_SEGMENTS: Final = 2000
MOST_SCANS: Final = 100
"""Of a JPEG: between two segments, before its first scan, and scans with those of its previews.
Judgement: a phone's has no fill byte, some dozens of segments, and ten scans where it is
progressive; a segment holds 64 kB, so that 2000 are twice the largest file."""

_NO_FILL: Final = re.compile(rb"[^\xff]")

KINDS: Final = ("JPEG", "PNG", "WEBP", "HEIF")
"""What can be read."""

SUFFIXES_OF: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "JPEG": (".jpg", ".jpeg"),
        "PNG": (".png",),
        "WEBP": (".webp",),
        "HEIF": (".heic", ".heif"),
    }
)
"""What their names usually end in; a name proves nothing."""

SUFFIXES: Final = tuple(suffix for kind in KINDS for suffix in SUFFIXES_OF[kind])
"""Those of all kinds."""

HEIC_LIBRARY: Final = "pillow_heif"
"""What reads HEIC; there is no build of it for every machine."""


def reads_heic() -> bool:
    """Whether HEIC can be read here, as iPhones send it where they may."""
    return find_spec(HEIC_LIBRARY) is not None


ANOTHER: Final = later("Copy the photo again from the phone or camera, or take a new one")
"""What to do about a file that came damaged."""

NO_HEIC: Final = later(
    "Send the photo as JPEG: on an iPhone choose Settings, Camera, Formats, Most Compatible, and "
    "take it again"
)
"""What to do where HEIC is not taken in; where phones have the choice is common knowledge."""

_TITLES = {"JPEG": "JPEG", "PNG": "PNG", "WEBP": "WebP", "HEIF": "HEIC"}

# ISO/IEC 14496-12 file type brands; "mif1" and "msf1" are from ISO/IEC 23008-12 (HEIF).
_STILL_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"mif1", b"mif2", b"miaf"}
_SEQUENCE_BRANDS = {b"hevc", b"hevx", b"hevm", b"hevs", b"msf1"}

_OTHER_KINDS = (
    (b"GIF8", later("a GIF picture")),
    (b"II*\0", later("a TIFF or raw camera file")),
    (b"MM\0*", later("a TIFF or raw camera file")),
    (b"BM", later("a BMP picture")),
    (b"%PDF", later("a PDF document")),
    (b"\0\0\0\x0cJXL ", later("a JPEG XL picture")),
    (b"\xff\x0a", later("a JPEG XL picture")),
)


def kind_of(data: bytes, *, kinds: Sequence[str] = KINDS, where: str = "photo") -> str:
    """One of `kinds`, by the first bytes of the file; nothing is decoded.

    Parameters
    ----------
    data : bytes
        The whole file.
    kinds : sequence of str
        Which of `KINDS` are welcome.
    where : str
        What to call the photo in messages.

    Raises
    ------
    PhotoError
        When it is empty, larger than `MAX_BYTES`, moving, or of another kind.
    """
    if len(data) > MAX_BYTES:
        raise too_many_bytes(len(data), where)
    if not data:
        raise PhotoError(tr("the file is empty"), where=where, do=tr(ANOTHER))
    kind, what = _signature(data, where)
    if kind in kinds:
        if kind == "JPEG":
            _refuse_costly(data, where)
        return kind
    titles = [_TITLES[welcome] for welcome in kinds]
    raise PhotoError(
        tr("this is {what}, which is not read here", what=tr(what))
        if what
        else tr("this is not a picture that is read here"),
        where=where,
        do=tr(NO_HEIC)
        if kind == "HEIF"
        else tr(
            "Save or send it as {most} or {last}", most=", ".join(titles[:-1]), last=titles[-1]
        ),
    )


def _signature(data: bytes, where: str) -> tuple[str, str]:
    """One of `KINDS` or nothing, and what it is in words or nothing."""
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG", later("a JPEG picture")
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG", later("a PNG picture")
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP", later("a WebP picture")
    if data[4:8] == b"ftyp":
        brands = {data[8:12]} | {
            data[i : i + 4] for i in range(16, min(int.from_bytes(data[:4], "big"), 256), 4)
        }
        if data[8:12] in _SEQUENCE_BRANDS:
            raise animated("HEIF", where)
        if brands & {b"avif", b"avis"}:
            return "", later("an AVIF picture")
        if brands & _STILL_BRANDS:
            return "HEIF", later("a HEIC picture")
        return "", later("a video")
    for start, what in _OTHER_KINDS:
        if data.startswith(start):
            return "", what
    return "", ""


def _refuse_costly(data: bytes, where: str) -> None:
    """Refuse a JPEG built to keep its reader busy, before anything steps through it.

    ITU-T T.81, annex B: segments up to the first scan, each with its length, perhaps after fill
    bytes; and scans, of which none's own data holds the marker of another.
    """
    at, segments = 2, 0
    while (begun := _NO_FILL.search(data, at)) and data[at] == 0xFF:
        if begun.start() - at > MOST_FILL_BYTES or segments > MOST_SEGMENTS:
            raise _costly(where)
        if begun[0] == b"\xda":
            break
        length = int.from_bytes(data[begun.end() : begun.end() + 2], "big")
        at, segments = begun.end() + max(length, 1), segments + 1
        if at >= len(data):
            return
    if begun is None and len(data) - at > MOST_FILL_BYTES:
        raise _costly(where)
    if data.count(b"\xff\xda") > MOST_SCANS:
        raise _costly(where)


def _costly(where: str) -> PhotoError:
    return PhotoError(
        tr("the picture is put together from too many parts"), where=where, do=tr(ANOTHER)
    )


def too_many_bytes(size: int, where: str) -> PhotoError:
    """The refusal of a file larger than `MAX_BYTES`."""
    return PhotoError(
        tr(
            "the file has {size:.0f} MB; at most {most:.0f} MB are read",
            size=size / 1e6,
            most=MAX_BYTES / 1e6,
        ),
        where=where,
        do=tr("Save it as JPEG or smaller"),
    )


def animated(kind: str, where: str) -> PhotoError:
    """The refusal of a moving picture of one of `KINDS`."""
    return PhotoError(
        tr("this {kind} file holds moving pictures", kind=_TITLES[kind]),
        where=where,
        do=tr("Send a single still photo"),
    )


def webp_size(data: bytes) -> tuple[int, int] | None:
    """Width and height a WebP file claims; None when its first chunk is none of the three known.

    RFC 9649, sections 2.5 to 2.7, and RFC 6386, section 9.1.
    """
    kind, body = data[12:16], data[20:30]
    if len(body) < 10:
        return None
    if kind == b"VP8X":
        return (
            1 + int.from_bytes(body[4:7], "little"),
            1 + int.from_bytes(body[7:10], "little"),
        )
    if kind == b"VP8L":
        bits = int.from_bytes(body[1:5], "little")
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    if kind == b"VP8 ":
        return (
            int.from_bytes(body[6:8], "little") & 0x3FFF,
            int.from_bytes(body[8:10], "little") & 0x3FFF,
        )
    return None
