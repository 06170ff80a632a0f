"""What confidence is worth: from the mass about a peak to the chance of lying within 5 %.

Measured with the looks of a photo averaged as `photocheck.propose` averages them, on held-out
synthetic photographs.  Real photographs are harder than synthetic ones by a factor that only
real ones can tell: `PILOT` is taken from a pilot with another network of the same kind.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from photocheck.phantom.teaching.drawn_look import KINDS, DrawnLook
from photocheck.phantom.teaching.teaching_bodies import POINTS

NEAR: Final = 5.0
"""Per cent of the trunk within which a mark counts as right."""
PILOT: Final = 6.3
"""Median error of a pilot's four marks on 28 real photographs, per cent of the trunk: simulated
errors are stretched so that their median is this (the more varied the looks, the less)."""
OWNERS_SIDE_ON: Final = 0.9
"""Share of photos that show a dog from the side where owners are asked for that (judgement)."""
SURE: Final = 2.0 / 3.0
"""Probability of a dog side-on, at that share, from which marks are proposed (judgement)."""
REFUSED: Final = 0.9
"""Mean probability of another kind from which a photo is refused (judgement)."""

EYE: Final = {
    "breastbone": (2.7, 3.6),
    "shoulder_top": (-4.3, -2.8),
    "tail_base": (-3.0, -1.2),
}
"""How far an eye places a point from where these looks have it, on photographs: ahead along the
trunk and up, per cent of the trunk.  Means of the medians on two sets that two of its makers marked
before any proposal was seen (24 and 12 dogs), which agree within 2; on the last rib they do not."""
ON_PHOTOGRAPHS: Final = (0.79, 0.96)
"""Slope and offset of the logit of confidence on those photographs against that of stretched
simulated ones: 144 marks, maximum likelihood, the slope held to 1 by a deviation of 0.3."""
LESS_SPREAD: Final = 0.8
"""Of what the stretch gives, on the same photographs (0.74 measured)."""

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Measured:
    """What the network said of held-out photographs.

    ``mass``, ``error`` (n, 11): error per cent of the trunk, NaN where there is no truth;
    ``kinds`` (n, 7) probabilities; ``truth`` (n,) numbers of kinds.
    """

    mass: Floats
    error: Floats
    kinds: Floats
    truth: npt.NDArray[np.intp]


def measure(looks: Iterable[DrawnLook], network: Any) -> Measured:
    """Have a network look at synthetic photographs the way photographs are looked at."""
    from photocheck.propose.proposing import seen_in

    masses, errors, kinds, truth = [], [], [], []
    for look in looks:
        seen = seen_in(look.picture, network)
        mass, error = np.full(len(POINTS), np.nan), np.full(len(POINTS), np.nan)
        for k, name in enumerate(POINTS):
            if name in seen.places:
                gap = np.subtract(seen.places[name].xy, look.points[k])
                mass[k] = seen.places[name].mass
                error[k] = 100.0 * float(np.hypot(*gap)) / look.trunk
        masses.append(mass)
        errors.append(error)
        kinds.append([seen.kinds[name] for name in KINDS])
        truth.append(KINDS.index(look.kind))
    return Measured(np.array(masses), np.array(errors), np.array(kinds), np.array(truth))


def logistic(x: Floats, right: Floats) -> tuple[float, float]:
    """Slope and offset of P(right) = 1 / (1 + exp(-(a x + b))) by maximum likelihood.

    Newton's way; a weak prior on the slope over the spread of x, so that it exists.

    >>> rng = np.random.default_rng(1)
    >>> x = rng.uniform(0, 1, 20_000)
    >>> a, b = logistic(x, (rng.random(20_000) < 1 / (1 + np.exp(-(6 * x - 3)))).astype(float))
    >>> bool(abs(a - 6) < 0.3 and abs(b + 3) < 0.2)
    True
    """
    middle, unit = float(np.mean(x)), float(np.std(x)) + 1e-9
    design = np.stack([(x - middle) / unit, np.ones_like(x)], axis=1)
    beta = np.zeros(2)
    prior = np.diag([1 / 3.0**2, 1 / 10.0**2])
    for _ in range(100):
        chance = 1.0 / (1.0 + np.exp(-np.clip(design @ beta, -30, 30)))
        slope = design.T @ (right - chance) - prior @ beta
        curve = (design * (chance * (1 - chance))[:, None]).T @ design + prior
        step = np.linalg.solve(curve, slope)
        beta = beta + np.clip(step, -1, 1)
        if np.abs(step).max() < 1e-9:
            break
    a = float(beta[0]) / unit
    return a, float(beta[1]) - a * middle


def harder(measured: Measured) -> float:
    """Errors on real photographs over simulated ones, from the median of the four marks."""
    side = measured.truth == KINDS.index("side_on")
    return PILOT / float(np.nanmedian(measured.error[side, : POINTS.index("tail_base") + 1]))


def calibrated(measured: Measured, stretch: float) -> dict[str, Any]:
    """The entries of ``weights.json`` that say what confidence is worth.

    Parameters
    ----------
    measured : Measured
    stretch : float
        What simulated errors are multiplied with, as `harder` tells.
    """
    side = measured.truth == KINDS.index("side_on")
    curves: dict[str, list[float]] = {}
    spreads: dict[str, Mapping[str, list[float]]] = {}
    for k, name in enumerate(POINTS):
        good = side & np.isfinite(measured.error[:, k])
        mass, error = measured.mass[good, k], stretch * measured.error[good, k]
        a, b = logistic(mass, (error < NEAR).astype(float))
        a = max(a, 0.0)  # more mass is never less sure
        curves[name] = [round(a, 3), round(b, 3)]
        chance = 1.0 / (1.0 + np.exp(-(a * mass + b)))
        spreads[name] = _spread(chance, error)
    prior = OWNERS_SIDE_ON / (1 - OWNERS_SIDE_ON)
    taught = float(np.mean(side)) / (1.0 - float(np.mean(side)))
    odds = SURE / (1 - SURE) * taught / prior
    return {
        "calibration": curves,
        "spread": spreads,
        "stretched": round(stretch, 3),
        "side_on_from": round(odds / (1 + odds), 3),
        "refused_from": {name: REFUSED for name in KINDS if name != "side_on"},
    }


def _spread(chance: Floats, error: Floats) -> dict[str, list[float]]:
    """Standard deviation per axis, per cent of the trunk, by confidence: thirds of the photos.

    From the median error (1.177 standard deviations of an isotropic normal), which outliers
    do not move; never rising with confidence.
    """
    edges = np.quantile(chance, [0.0, 1 / 3, 2 / 3, 1.0])
    at, sd = [], []
    for low, high in pairwise(edges):
        some = (chance >= low) & (chance <= high)
        at.append(float(np.median(chance[some])))
        sd.append(float(np.median(error[some])) / 1.177)
    falling = np.minimum.accumulate(sd)
    return {
        "chance": [round(v, 4) for v in np.maximum.accumulate(at)],
        "percent": [round(float(v), 2) for v in falling],
    }


def as_on_photographs(told: Mapping[str, Any]) -> dict[str, Any]:
    """The same entries as photographs have them, and where an eye places points (`EYE`).

    Parameters
    ----------
    told : mapping
        As `calibrated` gives it.

    Examples
    --------
    >>> spread = {"chance": [0.2, 0.6], "percent": [5.0, 2.5]}
    >>> told = {"calibration": {"nose": [7.0, -6.0]}, "spread": {"nose": spread}}
    >>> found = as_on_photographs(told)
    >>> found["calibration"]["nose"], found["spread"]["nose"]["percent"]
    ([5.53, -3.78], [4.0, 2.0])
    """
    slope, offset = ON_PHOTOGRAPHS
    return {
        **told,
        "calibration": {
            name: [round(slope * a, 3), round(slope * b + offset, 3)]
            for name, (a, b) in told["calibration"].items()
        },
        "spread": {
            name: {
                "chance": [round(_moved(chance, slope, offset), 4) for chance in table["chance"]],
                "percent": [round(LESS_SPREAD * sd, 2) for sd in table["percent"]],
            }
            for name, table in told["spread"].items()
        },
        "eye": {name: list(moved) for name, moved in EYE.items()},
    }


def _moved(chance: float, slope: float, offset: float) -> float:
    logit = slope * np.log(chance / (1.0 - chance)) + offset
    return float(1.0 / (1.0 + np.exp(-logit)))
