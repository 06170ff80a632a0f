"""The cases whose reports are held still: every sample, and odd ones made of the samples' photos.

The odd ones need not be true of the dogs in the photos; they lead through the rarer ways of the
computation.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from typing import Any

from tests.support.places import SAMPLES

Told = dict[str, Any]


def samples() -> dict[str, Told]:
    """Every sample as its file has it."""
    found = {}
    for path in sorted(SAMPLES.glob("*/case.json")):
        found[path.parent.name] = json.loads(path.read_text(encoding="utf-8"))
    return found


def odd_cases() -> dict[str, tuple[str, Told]]:
    """Odd cases by name: the sample whose photos they use, and the case."""
    return {name: (sample, told) for name, sample, told in _odd()}


def _of(sample: str) -> Told:
    return copy.deepcopy(samples()[sample])


def _odd() -> Iterator[tuple[str, str, Told]]:
    told = _of("heron")
    told["photos"][0]["reference"] |= {"place": "wall", "offset": "-62 cm", "offset_spread": "4 cm"}
    yield "wall_measured", "heron", told

    told = _of("nettle")
    told["photos"][0]["reference"]["corners"] = [
        [993.9, 769.1],
        [1052.8, 782.2],
        [1050.5, 828.7],
        [993.3, 816.1],
    ]
    told["photos"][0]["reference"]["corner_spread_px"] = 1.5
    yield "tilted_small_card", "nettle", told

    told = _of("sorrel")
    marks = told["photos"][0]["markings"][0]["marks"]
    told["photos"][0]["markings"][0]["bends"] = {
        "half_neck": [_between(marks["breastbone"], marks["shoulder_top"], 0.5, -14.0, 6.0)],
        "front_length": [
            _between(marks["breastbone"], marks["last_rib"], 0.3, 0.0, 55.0),
            _between(marks["breastbone"], marks["last_rib"], 0.7, 0.0, 40.0),
        ],
        "rear_length": [_between(marks["last_rib"], marks["tail_base"], 0.5, 0.0, -9.0)],
    }
    yield "bends", "sorrel", told

    told = _of("flint")
    told["readings"] = {"rear_length": "72"}
    yield "one_reading", "flint", told

    told = _of("juniper")
    told["readings"] = {"neck_ring": "84 cm"}
    yield "ring_only", "juniper", told

    told = _of("rowan")
    told["photos"][0]["focal_35mm"] = 26
    told["photos"][1]["focal_35mm"] = 52
    told["photos"][2]["distortion"] = [-0.02, 0.004, 0.0005, -0.0003]
    yield "two_cameras", "rowan", told

    told = _of("bramble")
    told["readings"] = {}
    yield "no_readings", "bramble", told

    told = _of("teasel")
    told["dog"] = {"breed": "husky", "name": "Teasel"}
    yield "learnt_ratios", "teasel", told

    told = _of("sorrel")
    marks = told["photos"][0]["markings"][0]["marks"]
    told["photos"][0]["reference"] = {
        "kind": "two_points",
        "place": "near_flank",
        "ends": [list(marks["breastbone"]), list(marks["last_rib"])],
        "length": "36 cm",
        "corner_spread_px": 3,
    }
    yield "two_points", "sorrel", told

    told = _of("moss")
    for kind in ("a4", "letter"):
        told = copy.deepcopy(told)
        told["photos"][0]["reference"] = {
            "kind": kind,
            "place": "unknown",
            "corners": [[300, 700], [470, 706], [468, 946], [298, 938]],
        }
        yield f"{kind}_by_hand", "moss", told

    told = _of("pike")
    told["photos"][0]["reference"] = {
        "kind": "ball",
        "place": "near_feet",
        "diameter": "66 mm",
        "outline": [[700, 900], [728, 912], [740, 940], [728, 968], [700, 980], [672, 968],
                    [660, 940], [672, 912]],
    }  # fmt: skip
    yield "ball_by_hand", "pike", told

    told = _of("bramble")
    second = copy.deepcopy(told["photos"][0]["markings"][0])
    second["by"] = "staff"
    for xy in second["marks"].values():
        xy[0] += 4.0
        xy[1] -= 3.0
    second["marks"]["tail_base"][0] += 60.0
    told["photos"][0]["markings"].append(second)
    yield "two_markings", "bramble", told

    told = _of("tarn")
    told["dog"] |= {"age_months": 7, "coat": "long", "coat_depth": "3 cm", "build": "broad"}
    yield "puppy_with_a_coat", "tarn", told

    told = _of("sorrel")
    told["unit"] = "in"
    told["readings"] = {"half_neck": "41 cm", "front_length": "16 1/4", "rear_length": "16"}
    yield "mixed_units", "sorrel", told


def _between(
    one: list[float], other: list[float], share: float, right: float, down: float
) -> list[float]:
    return [
        one[0] + share * (other[0] - one[0]) + right,
        one[1] + share * (other[1] - one[1]) + down,
    ]


LANGUAGES = {
    "flint": "de",
    "tarn": "de",
    "wall_measured": "de",
    "one_reading": "de",
    "two_markings": "de",
    "mixed_units": "de",
}
"""Cases whose report is held in German too."""
