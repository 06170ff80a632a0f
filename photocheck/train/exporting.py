"""From the fitted network to the two files that are read: ``weights.onnx`` and ``weights.json``."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper

from photocheck.phantom.teaching.drawn_look import KINDS, SIDE
from photocheck.phantom.teaching.teaching_bodies import POINTS
from photocheck.train.net import Teachable, new_network
from photocheck.train.network_fit import STRIDE

OPSET: Final = 13
OUTPUTS: Final = ("heat", "kind", "facing", "frame")
VERSION: Final = "1"
SHOWN_FROM: Final = 0.35
"""Confidence from which a mark is shown: on the photographs that `calibrate.EYE` tells of, of 128
shown one lay beyond a fifth of the trunk, as of the 94 that a bound of 0.5 would show."""
SMALL: Final = 64
"""Constants with fewer numbers stay in single precision."""


def write_onnx(network: Teachable, path: Path) -> None:
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
    calibration: Mapping[str, list[float]],
    spread: Mapping[str, Mapping[str, list[float]]],
    more: Mapping[str, Any],
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
        "shown_from": SHOWN_FROM,
        **more,
        "sha256": digest,
    }
    (folder / "weights.json").write_text(json.dumps(facts, indent=1) + "\n")


def export_all(
    fitted: Path,
    material: Path,
    out: Path,
    seed: int,
    blocks: int,
    say: Callable[[str], object],
) -> None:
    """Both files from ``fitted/net.pt``, confidence calibrated on blocks nobody trained with."""
    from photocheck.propose.network import Network
    from photocheck.train.calibrate import as_on_photographs, calibrated, harder, measure
    from photocheck.train.material import held_out_looks

    network = new_network()
    kept = torch.load(fitted / "net.pt", map_location="cpu")
    network.load_state_dict({name: value.float() for name, value in kept.items()})
    out.mkdir(parents=True, exist_ok=True)
    write_onnx(network, out / "weights.onnx")
    plain = {name: [10.0, -5.0] for name in POINTS}
    write_facts(out, plain, {name: {"chance": [0.5], "percent": [5.0]} for name in POINTS}, {})
    seen = measure(held_out_looks(material, seed, blocks), Network.read(out))
    told = as_on_photographs(calibrated(seen, harder(seen)))
    write_facts(out, told.pop("calibration"), told.pop("spread"), told)
    say(f"{out / 'weights.onnx'}: off by at most {off(network, out / 'weights.onnx', seed):.4f}")


def off(network: Teachable, path: Path, seed: int) -> float:
    """Largest difference of the written file, read by OpenCV, from the network; looks of noise.

    Of the heat maps' logits, over their spread.
    """
    import cv2

    rng = np.random.default_rng(seed)
    read = cv2.dnn.readNetFromONNX(str(path))
    worst = 0.0
    for _ in range(4):
        look = cv2.GaussianBlur(rng.random((SIDE, SIDE, 3)).astype(np.float32), (0, 0), 4.0)
        look = np.ascontiguousarray(look.transpose(2, 0, 1)[None])
        read.setInput(look, "look")
        written = read.forward(list(OUTPUTS))[0]
        with torch.no_grad():
            heat = network(torch.from_numpy(look))[0].numpy()
        worst = max(worst, float(np.abs(written - heat).max() / heat.std()))
    return worst
