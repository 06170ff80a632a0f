"""The maximum of the joint posterior and the curvature around it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from photocheck.judge.joint import Joint
from photocheck.least_squares import least_squares
from photocheck.numerics import Sloped, derivative

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Mode:
    """One maximum of the posterior.

    Attributes
    ----------
    theta : (p,)
    covariance : (p, p)
        Of the unknowns.
    jacobian : (m, p)
    residuals : (m,)
    log_evidence : float
        Laplace approximation of its weight, up to a constant.
    """

    theta: Array
    covariance: Array
    jacobian: Array
    residuals: Array
    log_evidence: float


def solve(joint: Joint) -> Mode:
    """The maximum a posteriori unknowns from the joint's starting point."""
    steps = joint.unknowns.steps
    together = Sloped(joint.residuals, steps)
    misfit, slopes = together.value, together.slopes
    if "tags" in joint.sources:
        # their misfits are multiplied by a matrix, which for one place rounds otherwise than for
        # many: a last digit that moves what the fit ends with by 1e-7
        misfit, slopes = joint.residuals, partial(derivative, joint.residuals, steps=steps)
    found = least_squares(
        misfit,
        joint.unknowns.start,
        slopes,
        xtol=1e-7,
        ftol=1e-9,
        most_calls=100,
    )
    jacobian = slopes(found.x)
    information = jacobian.T @ jacobian
    scale = 1.0 / np.sqrt(np.diag(information))
    scaled = information * np.outer(scale, scale)
    covariance = np.linalg.inv(scaled) * np.outer(scale, scale)
    odds = sum(shot.log_odds for shot in (*joint.shots, *joint.fronts.shots))
    log_evidence = (
        odds - found.cost - 0.5 * (np.linalg.slogdet(scaled)[1] - 2.0 * np.sum(np.log(scale)))
    )
    return Mode(found.x, covariance, jacobian, found.residuals, float(log_evidence))
