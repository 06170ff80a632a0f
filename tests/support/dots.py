"""Networks of known answers: each landmark is a dot of its own colour, and they look for that.

No dog is recognised here; what is tested is what happens to what a network says.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from photocheck.photo.photo import CameraFacts, Photo
from photocheck.propose.network import FACTS, WEIGHTS, SeenInLook
from photocheck.propose.weights_facts import Facts, facts_of

COLOURS: Mapping[str, tuple[int, int, int]] = {
    "breastbone": (255, 0, 0),
    "shoulder_top": (0, 255, 0),
    "last_rib": (0, 0, 255),
    "tail_base": (255, 255, 0),
    "near_front_foot": (255, 0, 255),
    "near_hind_foot": (0, 255, 255),
    "nose": (255, 255, 255),
}
KINDS = ("side_on", "no_dog", "turned", "sitting", "lying", "bowing", "cut_off")
PLAIN = (70, 80, 90)
"""What lies between the dots: of no dot's colour."""
SHARP = 200.0
"""How steeply the logits of the written network fall with the distance of colours."""
SPREAD_CELLS = 1.3
"""Of each map of `Dots`, standard deviation: as training has its targets."""


def facts_told(**told: Any) -> dict[str, Any]:
    """A `weights.json` for these, in which a mass counts for what it is."""
    return {
        "version": "dots",
        "side": 256,
        "stride": 4,
        "points": list(COLOURS),
        "kinds": list(KINDS),
        "calibration": {n: {"mass": [0.0, 1.0], "chance": [0.0, 1.0]} for n in COLOURS},
        "spread": {n: {"chance": [0.5, 1.0], "percent": [8.0, 4.0]} for n in COLOURS},
        "shown_from": 0.5,
        "sha256": "",
    } | told


def facts(**told: Any) -> Facts:
    return facts_of(json.dumps(facts_told(**told)))


def dotted(
    places: Mapping[str, tuple[float, float]],
    size: tuple[int, int] = (1200, 900),
    radius: float = 14.0,
) -> Photo:
    """A photo with a dot at each place, px."""
    rgb = np.full((size[1], size[0], 3), PLAIN, np.uint8)
    with_dots(rgb, places, radius)
    return Photo(rgb, CameraFacts(None, "prior"), "0" * 64, "PNG")


def with_dots(
    rgb: np.ndarray, places: Mapping[str, tuple[float, float]], radius: float = 14.0
) -> None:
    """The same onto a picture."""
    for name, (x, y) in places.items():
        at = (round(16 * x), round(16 * y))
        cv2.circle(rgb, at, round(16 * radius), COLOURS[name], -1, cv2.LINE_8, 4)


@dataclass
class Dots:
    """Sees dots; what kind of photo it is, it is told."""

    facts: Facts = field(default_factory=facts)
    kind: str = "side_on"
    sure: float = 9.0
    seen: list[np.ndarray] = field(default_factory=list)

    def see(self, look_rgb: np.ndarray) -> SeenInLook:
        self.seen.append(look_rgb)
        cells, stride = self.facts.cells, self.facts.stride
        rows, columns = np.mgrid[:cells, :cells]
        heat, middles = [], []
        for colour in COLOURS.values():
            off = np.linalg.norm(look_rgb.astype(float) - colour, axis=-1)
            weight = np.clip(1.0 - off / 150.0, 0.0, None)
            if weight.sum() < 0.5:
                heat.append(np.zeros((cells, cells)))
                continue
            across, down = weight.sum(axis=0), weight.sum(axis=1)
            pixels = np.arange(len(down)) + 0.5
            x, y = (float(each @ pixels / each.sum()) for each in (across, down))
            middles.append((x / len(across), y / len(down)))
            # a cell's middle is half a cell from its corner
            gaps = (columns + 0.5 - x / stride) ** 2 + (rows + 0.5 - y / stride) ** 2
            heat.append(-gaps / (2 * SPREAD_CELLS**2))
        kind = np.where(np.array(self.facts.kinds) == self.kind, self.sure, 0.0)
        seen = np.array(middles if middles else [(0.2, 0.2), (0.8, 0.8)])
        breast, tail = (int(np.argmax(heat[index])) % cells for index in (0, 3))
        return SeenInLook(
            np.array(heat, np.float32),
            kind.astype(np.float32),
            0.3 * (breast - tail),
            np.array([*seen.min(axis=0), *seen.max(axis=0)], np.float32),
        )


def write_network(folder: Path, **told: Any) -> Facts:
    """The same as ONNX with its facts, as training writes them: the frame is always the same."""
    import onnx
    from onnx import TensorProto, helper, numpy_helper

    colours = np.array(list(COLOURS.values()), np.float32) / 255.0
    weights = np.concatenate([2.0 * colours, -np.ones_like(colours)], axis=1) * SHARP
    # Of the look, so that they are outputs like any other: nothing times its mean, and these.
    always = {
        "kind": [9.0 if kind == "side_on" else 0.0 for kind in KINDS],
        "facing": [-3.0],
        "frame": [0.25, 0.3, 0.75, 0.7],
    }
    held = {
        "w": weights[:, :, None, None].astype(np.float32),
        "b": (-SHARP * np.sum(colours**2, axis=1)).astype(np.float32),
    }
    for name, value in always.items():
        held[f"{name}_times"] = np.zeros((3, len(value)), np.float32)
        held[f"{name}_always"] = np.array([value], np.float32)
    nodes = [
        helper.make_node("Mul", ["look", "look"], ["squares"]),
        helper.make_node("Concat", ["look", "squares"], ["both"], axis=1),
        helper.make_node("Conv", ["both", "w", "b"], ["fine"]),
        helper.make_node("AveragePool", ["fine"], ["heat"], kernel_shape=[4, 4], strides=[4, 4]),
        helper.make_node("GlobalAveragePool", ["look"], ["means"]),
        helper.make_node("Flatten", ["means"], ["mean"]),
        *(
            helper.make_node("Gemm", ["mean", f"{name}_times", f"{name}_always"], [name])
            for name in always
        ),
    ]

    def told_as(name: str, shape: Sequence[Any]) -> Any:
        return helper.make_tensor_value_info(name, TensorProto.FLOAT, ["n", *shape])

    graph = helper.make_graph(
        nodes,
        "dots",
        [told_as("look", (3, 256, 256))],
        [
            told_as("heat", (len(COLOURS), 64, 64)),
            told_as("kind", (len(KINDS),)),
            told_as("facing", (1,)),
            told_as("frame", (4,)),
        ],
        [numpy_helper.from_array(value, name) for name, value in held.items()],
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 13)], ir_version=8)
    onnx.checker.check_model(model)
    content = model.SerializeToString()
    (folder / WEIGHTS).write_bytes(content)
    said = facts_told(sha256=hashlib.sha256(content).hexdigest(), **told)
    (folder / FACTS).write_text(json.dumps(said), encoding="utf-8")
    return replace(facts(**told), sha256=said["sha256"])
