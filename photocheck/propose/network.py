"""The network that looks at photos: read when it is first asked, shared by all threads."""

from __future__ import annotations

import hashlib
import logging
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock
from typing import Any, Final, Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.errors import PhotocheckError, reason_of
from photocheck.propose.weights_facts import Facts, facts_of
from photocheck.speech import tr

_log = logging.getLogger(__name__)

Floats = NDArray[np.float32]

FOLDER: Final = Path(__file__).parent
"""Where the weights lie, with what is known of them beside them."""
WEIGHTS: Final = "weights.onnx"
FACTS: Final = "weights.json"

MOST_BYTES: Final = 64_000_000
"""Of a file that is read at all; ours has a sixth of it."""

OUTPUTS: Final = ("heat", "kind", "facing", "frame")


class WeightsError(PhotocheckError):
    """The weights are missing, damaged or of another kind; nothing can be proposed."""


@dataclass(frozen=True)
class SeenInLook:
    """What the network makes of one look.

    Attributes
    ----------
    heat : (K, cells, cells) float32
        Logits; a softmax over the cells of one point is the distribution of its place.
    kind : (C,) float32
        Logits of the kinds of photo.
    facing : float
        Logit of the dog's facing right in the look.
    frame : (4,) float32
        Left, top, right and bottom of the dog, in parts of the look's side.
    """

    heat: Floats
    kind: Floats
    facing: float
    frame: Floats


class Sees(Protocol):
    """Whatever can look."""

    @property
    def facts(self) -> Facts:
        """What is known of it."""

    def see(self, look_rgb: NDArray[np.uint8]) -> SeenInLook:
        """What it makes of one look, (side, side, 3) RGB."""


@dataclass(frozen=True)
class Network:
    """Weights that were read.

    Attributes
    ----------
    facts : Facts
    net : cv2.dnn.Net
        Keeps what it is given between two calls, so that one thread at a time may use it.
    """

    facts: Facts
    net: Any = field(repr=False)
    _lock: Lock = field(default_factory=Lock, repr=False, compare=False)

    @classmethod
    def read(cls, folder: Path = FOLDER) -> Network:
        """The network whose files lie in a folder.

        Raises
        ------
        WeightsError
            When they are missing, cannot be read, or are not those that belong together.
        """
        facts = _facts_in(folder)
        path = folder / WEIGHTS
        content = _content(path)
        if hashlib.sha256(content).hexdigest() != facts.sha256:
            raise _damaged(path)
        try:
            net = cv2.dnn.readNetFromONNX(np.frombuffer(content, np.uint8))
        except cv2.error as error:
            _log.warning("the weights cannot be understood: %s", error)
            raise _damaged(path) from error
        return cls(facts, net)

    def see(self, look_rgb: NDArray[np.uint8]) -> SeenInLook:
        """What it makes of one look.

        Parameters
        ----------
        look_rgb : (side, side, 3) uint8

        Raises
        ------
        WeightsError
            When what comes out is not what the facts say: other weights than these.
        """
        facts = self.facts
        look = cv2.dnn.blobFromImage(look_rgb, 1.0 / 255.0)
        try:
            with self._lock:
                self.net.setInput(look, "look")
                # what is given out is the network's own memory
                heat, kind, facing, frame = map(np.array, self.net.forward(list(OUTPUTS)))
        except (cv2.error, ValueError) as error:
            _log.warning("the network failed: %s", error)
            raise _damaged(FOLDER / WEIGHTS) from error
        cells = facts.cells
        if heat.size != len(facts.points) * cells**2 or kind.size != len(facts.kinds):
            raise _damaged(FOLDER / WEIGHTS)
        return SeenInLook(
            heat.reshape(-1, cells, cells).astype(np.float32),
            kind.ravel().astype(np.float32),
            float(facing.ravel()[0]),
            frame.ravel()[:4].astype(np.float32),
        )


def _facts_in(folder: Path) -> Facts:
    path = folder / FACTS
    try:
        return facts_of(_content(path).decode("utf-8"))
    except ValueError as error:  # UnicodeDecodeError is one
        raise _damaged(path) from error


def _content(path: Path) -> bytes:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise _damaged(path)
        return path.read_bytes()
    except FileNotFoundError as error:
        raise WeightsError(
            tr("no marks can be proposed, for the file is not there"), where=str(path), do=_do()
        ) from error
    except OSError as error:
        raise WeightsError(
            tr(
                "no marks can be proposed, for the file cannot be read ({reason})",
                reason=reason_of(error),
            ),
            where=str(path),
            do=_do(),
        ) from error


def _damaged(path: Path) -> WeightsError:
    return WeightsError(
        tr("no marks can be proposed, for the file is damaged or of another version"),
        where=str(path),
        do=_do(),
    )


def _do() -> str:
    return tr("Install photocheck again; all else works without it")


_one: Network | None = None
_reading: Final = Lock()


def shared() -> Network:
    """The one network of this process, read when it is first asked for.

    Raises
    ------
    WeightsError
        As `Network.read`; the next call tries again.
    """
    global _one
    with _reading:
        if _one is None:
            _one = Network.read(FOLDER)
        return _one
