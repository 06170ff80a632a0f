"""Files of every kind that say all that a phone writes about its owner."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pillow_heif
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from PIL.TiffImagePlugin import IFDRational

from tests.support.pictures import UNDOING, encoded, quarters

SECRET = b"SECRET-OF-THE-OWNER"


def talkative_exif() -> Image.Exif:
    """Everything a phone writes about a person, and what photocheck uses."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Maker", "Model 1", 6
    for tag in (0x010E, 0x013B, 0x8298, 0x0132, 0x0131):  # description, artist, rights, time, by
        exif[tag] = SECRET.decode()
    exif[0x8769] = {
        0xA405: 27,
        0x920A: IFDRational(425, 100),
        0x9003: "2024:01:02 03:04:05",
        0x927C: SECRET,  # maker note
        0x9286: b"ASCII\0\0\0" + SECRET,
        0xA430: SECRET.decode(),  # owner of the camera
        0xA431: SECRET.decode(),  # its serial number
    }
    exif[0x8825] = {1: "N", 2: (IFDRational(51), IFDRational(28), IFDRational(38)), 29: SECRET}
    return exif


def talkative(kind: str) -> bytes:
    stored = np.ascontiguousarray(UNDOING[6](quarters()))
    image = Image.fromarray(stored)
    options: dict[str, Any] = {"exif": talkative_exif(), "icc_profile": SECRET * 3}
    if kind == "PNG":
        info = PngInfo()
        info.add_text("Comment", SECRET.decode())
        info.add_itxt("XML:com.adobe.xmp", SECRET.decode())
        options["pnginfo"] = info
    elif kind == "HEIF":
        held = io.BytesIO()
        exif = talkative_exif().tobytes()
        pillow_heif.from_pillow(image).save(held, exif=exif, xmp=SECRET, quality=90)
        return held.getvalue()
    else:
        options["xmp"] = SECRET
        if kind == "JPEG":
            options["comment"] = SECRET
    data = encoded(image, kind, **options)
    if kind == "JPEG":
        data += SECRET + encoded(image)  # a second picture behind the first
    return data
