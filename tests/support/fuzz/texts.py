"""Lengths, weights, readings and case files as nobody would write them."""
# ruff: noqa: RUF001

from __future__ import annotations

import copy
import json
import math
import random
import struct
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from photocheck.case.file import case_from_dict, case_to_dict
from photocheck.case.lengths import parse_length, parse_reading, parse_weight
from photocheck.schemas.reading import read_json
from photocheck.words import READINGS, UNITS
from tests.support.places import SAMPLES

Job = tuple[Any, Callable[[], object]]
"""An input, and what is done with it."""


_PIECES = [
    *"0123456789", "00", "12", "999", "1/2", "3/8", "7/64", "0/0", "1/0", "½", "⅞", "↉", "⁄", "²",
    "٣", "३", "１", "①", "Ⅷ", " ", "\u00a0", "\u2009", "\t", "\n", "\0", ".", ",", "..", "-", "−",
    "–", "+", "±", "e", "E9", "1e400", "0x1f", "_", "inf", "nan", "cm", "cm.", "CM", "in", "in.",
    "inch", "Zoll", "mm", "m", "ft", "'", "''", '"', "′", "″", "”", "’", "kg", "lb", "lbs", "oz",
    "g", "st", "ſ", "K", "µ", "%", "{", "{x}", "}", "<b>", "\ud800", "\u202e", "🐕",
]  # fmt: skip


def typed_text(rng: random.Random) -> str:
    """Pieces of lengths in any order, something like a length, or any characters at all."""
    way = rng.random()
    if way < 0.45:
        return "".join(rng.choices(_PIECES, k=rng.randrange(10)))
    if way < 0.8:
        number = f"{rng.randrange(10 ** rng.randint(1, 4))}"
        number += rng.choice(["", f".{rng.randrange(100)}", f",{rng.randrange(1000)}"])
        number += rng.choice(["", "", f" {rng.randrange(10)}/{rng.randrange(70)}"])
        text = number + rng.choice(["", " "]) + rng.choice(_PIECES[-34:])
        at = rng.randrange(len(text) + 1)
        return text[:at] + rng.choice(["", "", *_PIECES]) + text[at:]
    return "".join(chr(_any_code(rng)) for _ in range(rng.choice([1, 3, 20, 90, 500])))


def _any_code(rng: random.Random) -> int:
    return rng.randrange(rng.choice([0x80, 0x300, 0x3000, 0x110000]))


def number(rng: random.Random) -> float:
    """Whole and broken, of any size, among them infinity and no number at all."""
    if rng.random() < 0.3:
        return rng.choice([0, -0.0, 1e308, 5e-324, 10**400, -(10**400), math.inf, math.nan, 1e9])
    if rng.random() < 0.3:
        return struct.unpack("d", rng.randbytes(8))[0]
    return rng.choice([-1, 1]) * rng.random() * 10 ** rng.randint(-3, 5)


def value(rng: random.Random, depth: int = 3) -> Any:
    """Anything JSON can hold."""
    way = rng.randrange(9 if depth else 7)
    if way < 3:
        return typed_text(rng)
    if way < 5:
        return number(rng)
    if way == 5:
        return rng.choice([None, True, False, {}, [], "marker_sheet", "photocheck-case/1"])
    if way == 6:
        return rng.randrange(-5, 500)
    inner = [value(rng, depth - 1) for _ in range(rng.randrange(6))]
    return inner if way == 7 else {typed_text(rng)[:12]: item for item in inner}


def lengths(rng: random.Random) -> Job:
    """One input to one of the ways a length, a weight and a reading are read."""
    given, unit, signed = value(rng, 1), rng.choice(UNITS), rng.random() < 0.5
    name = rng.choice([*READINGS, "girth"])
    job = rng.choice(
        [
            lambda: parse_length(given, unit, signed=signed),
            lambda: parse_weight(given),
            lambda: parse_reading(name, given, unit),
        ]
    )
    return given, job


def _bases() -> list[dict[str, Any]]:
    cases = [json.loads(path.read_text()) for path in sorted(SAMPLES.glob("*/case.json"))]
    full = copy.deepcopy(cases[0])
    full["dog"] = {
        "name": "x", "breed": "y", "weight": "28 kg", "coat": "short", "coat_depth": "2 cm",
        "build": "slim", "girth": "70 cm", "age_months": 30,
    }  # fmt: skip
    photo = full["photos"][0]
    photo |= {"focal_35mm": 26, "distortion": [0.1, -0.1, 0, 0]}
    photo["reference"] |= {
        "offset": "-3 cm", "offset_spread": "2 cm", "length": "50 cm", "diameter": "20 cm",
        "bar": "100 mm", "corner_spread_px": 1.5, "near": [10, 20],
        "corners": [[0, 0], [9, 0], [9, 9], [0, 9]], "ends": [[1, 2], [3, 4]],
        "outline": [[0, 0], [5, 0], [5, 5], [0, 5], [2, 7]],
    }  # fmt: skip
    for case in (*cases, full):
        case_from_dict(case, check_files=False)  # damage done to what is valid, and nothing else
    return [*cases, full]


BASES = _bases()


def _places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [path]
    items = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    for key, inner in items:
        found += _places(inner, (*path, key))
    return found


def mutated_case(rng: random.Random) -> Any:
    """A valid case with one to four places replaced, taken out, doubled or renamed."""
    return mutated(rng.choice(BASES), rng)


def mutated(whole: Any, rng: random.Random) -> Any:
    """Any JSON with one to four places replaced, taken out, doubled or renamed."""
    case: Any = copy.deepcopy(whole)
    for _ in range(rng.choice([1, 1, 1, 2, 4])):
        path = rng.choice(_places(case))
        if not path:
            case = value(rng) if rng.random() < 0.2 else case
            continue
        holder = case
        for step in path[:-1]:
            holder = holder[step]
        key, what = path[-1], rng.randrange(8)
        if what == 0:
            del holder[key]
        elif what == 1 and isinstance(holder, list):
            holder.insert(key, copy.deepcopy(holder[key]))
        elif what == 1:
            holder[typed_text(rng)[:12]] = holder[key]
        elif isinstance(holder[key], str) and what < 6:
            holder[key] = typed_text(rng)
        elif isinstance(holder[key], (int, float)) and what < 6:
            holder[key] = number(rng)
        else:
            holder[key] = value(rng)
    return case


def cases(rng: random.Random) -> Job:
    """One mutated case; what is taken must also be written and read again."""
    given = mutated_case(rng)

    def job() -> None:
        case = case_from_dict(given, check_files=False)
        written = json.dumps(case_to_dict(case), ensure_ascii=False, allow_nan=False)
        written.encode()
        again = case_from_dict(json.loads(written), check_files=False)
        assert again.unit == case.unit
        assert set(again.readings) == set(case.readings)

    return given, job


def case_texts(rng: random.Random) -> Job:
    """The bytes of one case file, damaged."""
    whole = bytearray(json.dumps(rng.choice(BASES)).encode())
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(whole) + 1)
        piece = [b"", b'["' * 2000, b"\xef\xbb\xbf", b"NaN", b"1e999", b'"\\ud800"', b"\0"]
        piece += [rng.randbytes(rng.randrange(1, 8)), bytes(rng.choices(b'{}[]:,"0123456789', k=3))]
        whole[at : at + rng.randrange(6)] = rng.choice(piece)

    def job() -> None:
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "case.json"
            file.write_bytes(whole)
            case_from_dict(read_json(file), check_files=False)

    return bytes(whole), job
