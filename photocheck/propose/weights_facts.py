"""What is known of the weights: `weights.json`, written by whoever trained them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Protocol

import numpy as np

from photocheck.propose.proposal import SIDE_ON
from photocheck.words import LANDMARKS

SIDE_ON_FROM: Final = 0.5
"""Probability of a dog side-on from which marks are proposed, where the file names none."""


class Curve(Protocol):
    """A figure as a function of one that was measured."""

    def __call__(self, value: float) -> float:
        """The figure."""


@dataclass(frozen=True)
class LogisticCurve:
    """1 / (1 + exp(-(a x + b))): Platt's way of calibrating (Probabilistic outputs for support
    vector machines, 1999).

    >>> LogisticCurve(2.0, -1.0)(0.5)
    0.5
    """

    a: float
    b: float

    def __call__(self, value: float) -> float:
        """The probability."""
        # beyond this it differs from 0 or 1 by less than anybody measured
        return float(1.0 / (1.0 + np.exp(-np.clip(self.a * value + self.b, -50.0, 50.0))))


@dataclass(frozen=True)
class Interpolated:
    """Linear between rows, and constant beyond them.

    >>> Interpolated((0.0, 1.0), (8.0, 2.0))(0.5)
    5.0
    """

    at: tuple[float, ...]
    values: tuple[float, ...]

    def __post_init__(self) -> None:
        """Rows that cannot be gone along are no table."""
        if len(self.at) != len(self.values) or not self.at or list(self.at) != sorted(self.at):
            raise ValueError("not a table")

    def __call__(self, value: float) -> float:
        """The figure."""
        return float(np.interp(value, self.at, self.values))


@dataclass(frozen=True)
class Facts:
    """What the weights' file says of itself.

    Attributes
    ----------
    version : str
    side : int
        Of a look, px.
    stride : int
        Px of a look that one cell of a heat map takes, each way.
    points : tuple of str
        What each heat map looks for.
    kinds : tuple of str
        Of photos.
    chance : mapping of point to Curve
        From the mass about a peak to the probability of lying within 5 % of the trunk.
    spread : mapping of point to Curve
        From that probability to the standard deviation per axis, per cent of the trunk.
    shown_from : float
        Probability from which a mark is shown.
    side_on_from : float
        Probability of `SIDE_ON` from which anything is proposed.
    refused_from : mapping of kind to float
        Probability of each kind from which a photo is refused; kinds without one never are.
    sha256 : str
        Of the weights, hexadecimal.
    eye : mapping of point to (float, float)
        How far from where the network's teaching has a point an eye places it on photographs:
        ahead along the trunk and up in the photo, per cent of the trunk; nothing where it is not
        known.
    """

    version: str
    side: int
    stride: int
    points: tuple[str, ...]
    kinds: tuple[str, ...]
    chance: Mapping[str, Curve]
    spread: Mapping[str, Curve]
    shown_from: float
    side_on_from: float
    refused_from: Mapping[str, float]
    sha256: str
    eye: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def cells(self) -> int:
        """Of a heat map, each way."""
        return self.side // self.stride


def facts_of(text: str) -> Facts:
    """The facts in the text of a `weights.json`.

    Raises
    ------
    ValueError
        When it is none.
    """
    try:
        return _facts(json.loads(text))
    except (LookupError, TypeError, AttributeError, RecursionError) as error:
        raise ValueError(f"not what weights.json says: {error}") from error


def _facts(data: Mapping[str, Any]) -> Facts:
    points, kinds = tuple(data["points"]), tuple(data["kinds"])
    facts = Facts(
        version=str(data["version"]),
        side=int(data["side"]),
        stride=int(data["stride"]),
        points=points,
        kinds=kinds,
        chance={name: _chance(data["calibration"][name]) for name in points},
        spread={name: _spread(data["spread"][name]) for name in points},
        shown_from=float(data["shown_from"]),
        side_on_from=float(data.get("side_on_from", SIDE_ON_FROM)),
        refused_from={str(k): float(p) for k, p in data.get("refused_from", {}).items()},
        sha256=str(data["sha256"]),
        eye={str(name): _pair(told) for name, told in data.get("eye", {}).items()},
    )
    named = set(LANDMARKS) <= set(points) and SIDE_ON in kinds
    whole = facts.stride > 0 and facts.side > 0 and facts.side % facts.stride == 0
    known = set(facts.refused_from) <= set(kinds) - {SIDE_ON} and set(facts.eye) <= set(points)
    if not (named and whole and known):
        raise ValueError("points, kinds or sides are missing")
    return facts


def _pair(told: Any) -> tuple[float, float]:
    ahead, up = map(float, told)
    return ahead, up


def _chance(told: Any) -> Curve:
    if isinstance(told, Mapping):
        if "a" in told:
            return LogisticCurve(float(told["a"]), float(told["b"]))
        return _table(told["mass"], told["chance"])
    a, b = told
    return LogisticCurve(float(a), float(b))


def _spread(told: Any) -> Curve:
    if isinstance(told, Mapping):
        return _table(told["chance"], told["percent"])
    return Interpolated((0.0,), (float(told),))


def _table(at: Any, values: Any) -> Interpolated:
    return Interpolated(tuple(map(float, at)), tuple(map(float, values)))
