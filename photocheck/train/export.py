"""From the fitted network to the two files that are read: ``weights.onnx`` and ``weights.json``."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any, Final

import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper

from photocheck.phantom.looks.bodies import POINTS
from photocheck.phantom.looks.look import KINDS, SIDE
from photocheck.train.fit import STRIDE
from photocheck.train.net import Network

OPSET: Final = 13
OUTPUTS: Final = ("heat", "kind", "facing", "frame")
VERSION: Final = "1"
SMALL: Final = 64
"""Constants with fewer numbers stay in single precision."""


def write_onnx(network: Network, path: Path) -> None:
    """Write the network, batch normalisation folded in by the exporter, weights as float16.

    Each float16 weight is cast to float32 where it is used: arithmetic stays single.
    """
    network = network.cpu().float().eval()
    plain = path.with_suffix(".plain.onnx")
    torch.onnx.export(
        network,
        (torch.zeros(1, 3, SIDE, SIDE),),
        str(plain),
        input_names=["look"],
        output_names=list(OUTPUTS),
        opset_version=OPSET,
        dynamo=False,
        do_constant_folding=True,
    )
    model = onnx.load(str(plain))
    halved(model)
    onnx.checker.check_model(model)
    onnx.save(model, str(path))
    plain.unlink()


def halved(model: Any) -> None:
    """Keep the weights as float16 behind a cast, in place."""
    graph = model.graph
    casts = []
    for constant in list(graph.initializer):
        values = numpy_helper.to_array(constant)
        if values.dtype != np.float32 or values.size < SMALL:
            continue
        name = constant.name
        half = numpy_helper.from_array(values.astype(np.float16), name + "_half")
        graph.initializer.remove(constant)
        graph.initializer.append(half)
        casts.append(helper.make_node("Cast", [name + "_half"], [name], to=TensorProto.FLOAT))
    nodes = [*casts, *graph.node]
    del graph.node[:]
    graph.node.extend(nodes)


def write_facts(
    folder: Path,
    calibration: dict[str, list[float]],
    spread: dict[str, dict[str, list[float]]],
    more: dict[str, Any],
) -> None:
    """Write ``weights.json`` beside ``weights.onnx``."""
    digest = hashlib.sha256((folder / "weights.onnx").read_bytes()).hexdigest()
    facts = {
        "version": VERSION,
        "side": SIDE,
        "stride": STRIDE,
        "points": list(POINTS),
        "kinds": list(KINDS),
        "calibration": calibration,
        "spread": spread,
        "shown_from": 0.5,
        **more,
        "sha256": digest,
    }
    (folder / "weights.json").write_text(json.dumps(facts, indent=1) + "\n")
