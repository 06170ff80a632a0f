"""Valid picture files, damaged: bits, lengths, pieces."""

from __future__ import annotations

import io
import random
import struct
import zlib
from typing import Any

import numpy as np
import pillow_heif
from PIL import Image

from photocheck.photo.clean import clean
from photocheck.photo.load import load_photo
from tests.support.fuzz.texts import Job

_LENGTHS = [0, 1, 2, 3, 0x7F, 0x80, 0xFF, 0x100, 0x7FFF, 0x8000, 0xFFFF, 0x10000, 0xFFFFFF]
_LENGTHS += [0x7FFFFFFF, 0x80000000, 0xFFFFFFFE, 0xFFFFFFFF]


def _exif() -> bytes:
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Maker", "Model", 6
    exif[0x8769] = {0xA405: 26, 0x920A: 4.25, 0xA404: 1.5, 0xA002: 160, 0xA003: 120}
    exif[0x8825] = {1: "N", 2: (51.0, 28.0, 38.0)}
    return exif.tobytes()


def valid_files() -> list[bytes]:
    """Small files of every kind and of the variants that their decoders treat apart."""
    rng = np.random.default_rng(7)
    rgb = rng.integers(0, 255, (15, 20, 3), dtype=np.uint8).repeat(8, 0).repeat(8, 1)
    image, exif = Image.fromarray(rgb), _exif()
    made: list[tuple[str, Image.Image, dict[str, Any]]] = [
        ("JPEG", image, {"exif": exif}),
        ("JPEG", image, {"progressive": True, "exif": exif, "comment": b"x" * 40}),
        ("JPEG", image, {"restart_marker_blocks": 4, "subsampling": 2}),
        ("JPEG", image.convert("CMYK"), {}),
        ("JPEG", image.convert("L"), {}),
        ("MPO", image, {"save_all": True, "append_images": [image]}),
        ("PNG", image, {"exif": exif}),
        ("PNG", image.quantize(32), {"transparency": 3}),
        ("PNG", image.convert("LA"), {}),
        ("PNG", image.convert("1"), {}),
        ("PNG", Image.fromarray(rgb[:, :, 0].astype(np.uint16) * 257), {}),
        ("PNG", image, {"save_all": True, "append_images": [image.rotate(90, expand=False)]}),
        ("WEBP", image, {"exif": exif}),
        ("WEBP", image, {"lossless": True}),
        ("WEBP", image.convert("RGBA"), {"quality": 40}),
        ("WEBP", image, {"save_all": True, "append_images": [image.rotate(90)]}),
    ]
    files = []
    for kind, picture, options in made:
        held = io.BytesIO()
        picture.save(held, kind, **options)
        files.append(held.getvalue())
    held = io.BytesIO()
    pillow_heif.from_pillow(image).save(held, exif=exif)
    return [*files, held.getvalue()]


def damaged(whole: bytes, rng: random.Random) -> bytes:
    """One to five wounds; a PNG gets its checksums right again most times."""
    data = bytearray(whole)
    for _ in range(rng.choice([1, 1, 2, 3, 5])):
        # Heads are where decoders are lied to: half of the wounds are there.
        at = rng.randrange(min(len(data), 200) if rng.random() < 0.5 else len(data))
        wound = rng.randrange(7)
        if wound == 0:
            data[at] ^= 1 << rng.randrange(8)
        elif wound == 1:
            data[at] = rng.randrange(256)
        elif wound == 2:
            size, order = rng.choice([2, 4]), rng.choice(["big", "little"])
            data[at : at + size] = (rng.choice(_LENGTHS) % 256**size).to_bytes(size, order)
        elif wound == 3:
            del data[at : at + rng.choice([1, 2, 4, 30, 400])]
        elif wound == 4:
            data[at:at] = data[at : at + rng.choice([1, 4, 40, 400])]
        elif wound == 5:
            data[at:at] = rng.randbytes(rng.choice([1, 2, 4, 50]))
        elif rng.random() < 0.3:
            del data[at:]
        if not data:
            return b""
    if whole.startswith(b"\x89PNG") and rng.random() < 0.8:
        _mend_checksums(data)
    return bytes(data)


def _mend_checksums(png: bytearray) -> None:
    # Chunks of length, kind, body, checksum (PNG specification, third edition, 5.3).
    at = 8
    while at + 12 <= len(png):
        length = int.from_bytes(png[at : at + 4], "big")
        end = at + 8 + length
        if end + 4 > len(png):
            return
        png[end : end + 4] = struct.pack(">I", zlib.crc32(png[at + 4 : end]))
        at = end + 4


FILES = valid_files()


def pictures(rng: random.Random) -> Job:
    """One damaged picture; what is taken must be written anew, and say the same again."""
    given = damaged(rng.choice(FILES), rng)

    def job() -> None:
        done = clean(given)
        again = load_photo(done.content)
        assert again.size == done.size_px
        assert again.camera == done.camera

    return given, job
