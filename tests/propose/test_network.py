"""The weights' files: read as they are, and told in a sentence where they are not."""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from photocheck.propose import network as room
from photocheck.propose import propose
from photocheck.propose.network import FACTS, WEIGHTS, Network, WeightsError
from tests.support.dots import dotted, write_network
from tests.support.places import SAMPLES

DOG = {"breastbone": (500.0, 500.0), "shoulder_top": (560.0, 380.0)}
DOG |= {"last_rib": (640.0, 480.0), "tail_base": (720.0, 400.0)}


def test_a_written_network_sees_what_was_painted(tmp_path: Path) -> None:
    write_network(tmp_path)
    proposal = propose(dotted(DOG, radius=20.0), Network.read(tmp_path))
    # a dot is a few cells of a look, and cells are flat
    for name, at in DOG.items():
        assert proposal.marks[name].xy == pytest.approx(at, abs=10.0)


def test_threads_share_one_network(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_network(tmp_path)
    monkeypatch.setattr(room, "FOLDER", tmp_path)
    monkeypatch.setattr(room, "_one", None)
    photo = dotted(DOG)
    with ThreadPoolExecutor(4) as threads:
        networks = list(threads.map(lambda _: room.shared(), range(8)))
        proposals = list(threads.map(lambda _: propose(photo), range(8)))
    assert len({id(network) for network in networks}) == 1
    assert all(proposal == proposals[0] for proposal in proposals)


def broken(folder: Path, how: str) -> None:
    write_network(folder)
    weights, facts = folder / WEIGHTS, folder / FACTS
    content = weights.read_bytes()
    if how == "no weights":
        weights.unlink()
    elif how == "no facts":
        facts.unlink()
    elif how == "cut":
        weights.write_bytes(content[:-7])
    elif how == "one bit":
        weights.write_bytes(bytes([content[0] ^ 1]) + content[1:])
    elif how == "empty facts":
        facts.write_bytes(b"")
    elif how == "no text":
        facts.write_bytes(b"\xff\xfe\x00")
    elif how == "a folder":
        weights.unlink()
        weights.mkdir()
    elif how == "other weights":
        import hashlib

        weights.write_bytes(b"nothing of ONNX")
        text = facts.read_text(encoding="utf-8")
        old = hashlib.sha256(content).hexdigest()
        new = hashlib.sha256(b"nothing of ONNX").hexdigest()
        facts.write_text(text.replace(old, new), encoding="utf-8")
    else:
        weights.write_bytes(b"0" * (room.MOST_BYTES + 1))


@pytest.mark.parametrize(
    "how",
    [
        *("no weights", "no facts", "cut", "one bit", "empty facts", "no text", "a folder"),
        *("other weights", "too large"),
    ],
)
def test_what_is_wrong_with_the_files_is_one_clear_sentence(tmp_path: Path, how: str) -> None:
    broken(tmp_path, how)
    with pytest.raises(WeightsError) as told:
        Network.read(tmp_path)
    assert "no marks can be proposed" in str(told.value)
    assert "all else works without it" in str(told.value)


def test_weights_with_other_outputs_are_told(tmp_path: Path) -> None:
    write_network(tmp_path)
    text = (tmp_path / FACTS).read_text(encoding="utf-8")
    fewer = text.replace('"stride": 4', '"stride": 8')
    (tmp_path / FACTS).write_text(fewer, encoding="utf-8")
    network = Network.read(tmp_path)
    with pytest.raises(WeightsError):
        network.see(np.zeros((256, 256, 3), np.uint8))


def test_a_file_that_comes_later_is_read_then(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, "FOLDER", tmp_path)
    monkeypatch.setattr(room, "_one", None)
    with pytest.raises(WeightsError):
        room.shared()
    write_network(tmp_path)
    assert room.shared() is room.shared()


@pytest.mark.slow
def test_a_check_never_reads_the_weights() -> None:
    """Not even their room: by a process that checks an order and then says what it loaded."""
    case = SAMPLES / "sorrel" / "case.json"
    code = (
        "import sys, photocheck\n"
        f"photocheck.check(photocheck.read_case({str(case)!r}))\n"
        "print([name for name in sys.modules if name.startswith('photocheck.propose')])"
    )
    said = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120
    )
    assert said.stdout.strip() == "[]"
