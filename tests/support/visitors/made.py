"""What each visitor types and sends: no two alike, all of it from the invented samples."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from PIL import Image

from photocheck.case.lengths import parse_length
from photocheck.case.samples import samples_folder
from tests.support.typed_takes import rounds

SAMPLES = ("flint", "bramble", "tarn", "teasel")
"""One photo each, with the marker sheet; in centimetres and in inches."""

_TITLES = {
    "half_neck": "Half neck",
    "front_length": "Front length",
    "rear_length": "Rear length",
    "full_length": "Full length",
    "neck_ring": "Neck ring",
}


@dataclass(frozen=True)
class Told:
    """One visitor's order.

    Attributes
    ----------
    name : str
        The dog's; nobody else's dog is called so.
    locale : str
        Of the browser; the app takes the unit from it.
    readings : dict of str to str
        As typed, by the title of the field.
    draft : dict
        What the store must hold in the end, without the photo's name.
    photo : bytes
        JPEG of 4000 x 3000 px.
    """

    name: str
    locale: str
    readings: dict[str, str]
    draft: dict[str, Any]
    photo: bytes


@cache
def _sample(name: str) -> tuple[dict[str, Any], Image.Image, bytes]:
    folder = samples_folder() / name
    data = json.loads((folder / "case.json").read_text(encoding="utf-8"))
    with Image.open(folder / data["photos"][0]["file"]) as photo:
        size = 2 * photo.width, 2 * photo.height
        large = photo.convert("RGB").resize(size, Image.Resampling.BICUBIC)
        return data, large, photo.getexif().tobytes()


def told_by(number: int) -> Told:
    """The visitor of this number, from 0."""
    data, picture, exif = _sample(SAMPLES[number % len(SAMPLES)])
    unit = data["unit"]
    per_mm = 1 / parse_length("1", unit)[0]
    readings = {}
    for name, text in rounds(data["readings"])[0].items():
        own = parse_length(text, unit)[0] * per_mm + 0.01 * (number % 50)
        readings[name] = f"{own:.2f}".replace(".", "," if number % 3 == 1 else ".")
    photo = data["photos"][0]
    reference = {key: photo["reference"][key] for key in ("kind", "place")}
    reference["bar"] = f"{150 + 0.05 * (number % 50):.2f} mm"
    marks = {
        name: [2 * x + 0.5 + 0.125 * (number % 50), 2 * y + 0.5]
        for name, (x, y) in photo["markings"][0]["marks"].items()
    }
    dog = {
        "name": f"Visitor's dog {number}",
        "breed": f"invented cross no. {number}, *Ä{number}ß* <b>",
        "weight": f"{parse_kg(data['dog']['weight']) + 0.01 * number:.2f} kg",
    }
    draft = {
        "unit": unit,
        "readings": readings,
        "dog": dog,
        "photos": [
            {"reference": reference, "markings": [{"by": "owner", "marks": marks}]},
        ],
    }
    word = "centimetres" if unit == "cm" else "inches"
    typed = {f"{_TITLES[name]} in {word}": text for name, text in readings.items()}
    locale = "en-GB" if unit == "cm" else "en-US"
    return Told(dog["name"], locale, typed, draft, _photo(picture, exif, number))


def parse_kg(text: str) -> float:
    """The samples' weights are in kilograms."""
    return float(text.removesuffix(" kg"))


def _photo(picture: Image.Image, exif: bytes, number: int) -> bytes:
    # A row of black and white squares in the corner makes each photo its visitor's own.
    bits = np.unpackbits(np.array([number], dtype=">u4").view(np.uint8))
    squares = np.kron(bits[None, :], np.full((16, 16), 255, np.uint8)).astype(np.uint8)
    own = picture.copy()
    own.paste(Image.fromarray(squares).convert("RGB"), (0, 0))
    held = io.BytesIO()
    own.save(held, "JPEG", quality=92, exif=exif)
    return held.getvalue()
