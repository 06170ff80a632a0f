"""The joint estimate of the four spans from the photos, with its covariance.

Following the GUM (JCGM 100:2008, 5.1.2 and 5.2.2): each residual of the model is
an independent input of unit standard deviation, the spans are functions of
them, and the covariance is the sum of what each input brings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photocheck.case import DogFacts, Marking
from photocheck.judge.joint import CameraView, Joint, Shot
from photocheck.judge.outliers import outlying_mark, outlying_photos
from photocheck.judge.solve import Mode, solve
from photocheck.numerics import derivative
from photocheck.scale.pose import View, likely_poses
from photocheck.words import SPAN_ENDS, SPANS

Array = NDArray[np.float64]

# A rival pose this much less likely (in natural logarithms) is not worth mixing in.
LEAST_EVIDENCE = 6.0
OWN_SOURCES = frozenset({"marks", "corners", "square", "offset", "dog_turn"})
"""Sources that another photo brings afresh, so that fusing averages them."""


@dataclass(frozen=True)
class Estimate:
    """The spans as the photos show them.

    Attributes
    ----------
    log_spans : (4,)
        ln(mm), order of `words.SPANS`.
    covariance : (4, 4)
    shares : mapping of source to (4,)
        Variance each source of doubt brings to each log-span; sums to the diagonal.
    straight_mm : (4,)
        Straight distance between each span's marks in the dog's side view, mm.
    cameras : tuple of CameraView
        One per photo of the case.
    outliers : tuple of str
        Sentences on marks or photos that do not fit the others.
    """

    log_spans: Array
    covariance: Array
    shares: Mapping[str, Array]
    straight_mm: Array
    cameras: tuple[CameraView, ...]
    outliers: tuple[str, ...]


def estimate(
    views: Sequence[View], markings: Sequence[Sequence[Marking]], dog: DogFacts
) -> Estimate:
    """Fuse all photos and markings of one dog.

    Parameters
    ----------
    views : sequence of View, one per photo
    markings : sequence of sequence of Marking, one per photo, none empty
    dog : DogFacts
    """
    candidates = [
        [Shot(view, pose, tuple(marks)) for pose in likely_poses(view)]
        for view, marks in zip(views, markings, strict=True)
    ]
    all_best = [shots[0] for shots in candidates]
    outliers: list[str] = []
    keep = list(range(len(all_best)))
    for k, sentence, drop in outlying_photos(all_best, dog):
        outliers.append(sentence)
        if drop:
            keep.remove(k)
    candidates = [candidates[k] for k in keep]
    best = [all_best[k] for k in keep]

    dropped: frozenset[tuple[int, int, str]] = frozenset()
    joint = Joint(best, dog)
    mode = solve(joint)
    while named := outlying_mark(joint, mode):
        # photos are named by their place in the case, not by the place among those kept
        outliers.append(named.sentence.replace("{photo}", str(keep[named.mark.shot] + 1)))
        if not named.drop:
            break
        dropped |= {(named.mark.shot, named.mark.marking, named.mark.landmark)}
        joint = Joint(best, dog, dropped)
        mode = solve(joint)

    modes = [(joint, mode)]
    for k, shots in enumerate(candidates):
        for other in shots[1:]:
            other_joint = Joint([*best[:k], other, *best[k + 1 :]], dog, dropped)
            other_mode = solve(other_joint)
            if _is_new(other_mode, other_joint, modes):
                modes.append((other_joint, other_mode))

    cameras = []
    for k, shot in enumerate(all_best):
        if k in keep:
            cameras.append(joint.camera_view(mode.theta, mode.covariance, keep.index(k)))
        else:
            alone = Joint([shot], dog)
            solved = solve(alone)
            cameras.append(alone.camera_view(solved.theta, solved.covariance, 0))
    points = joint.trunk(mode.theta).points
    straight = np.array(
        [np.linalg.norm(points[SPAN_ENDS[s][1]] - points[SPAN_ENDS[s][0]]) for s in SPANS]
    )
    mean, covariance, shares = _mix(modes)
    return Estimate(mean, covariance, shares, straight, tuple(cameras), tuple(outliers))


def spans_of(joint: Joint, mode: Mode) -> tuple[Array, Array]:
    """Log-spans (4,) and what each residual's unit error moves them by, (4, m)."""
    gradient = derivative(joint.log_spans, mode.theta, joint.unknowns.steps)
    return joint.log_spans(mode.theta), gradient @ mode.covariance @ mode.jacobian.T


def _is_new(mode: Mode, joint: Joint, modes: list[tuple[Joint, Mode]]) -> bool:
    """Whether a maximum differs from those already found and weighs anything."""
    best = max(known.log_evidence for _, known in modes)
    if mode.log_evidence < best - LEAST_EVIDENCE:
        return False
    spans = joint.log_spans(mode.theta)
    return all(
        np.abs(spans - known_joint.log_spans(known.theta)).max() > 1e-4
        for known_joint, known in modes
    )


def _mix(modes: list[tuple[Joint, Mode]]) -> tuple[Array, Array, dict[str, Array]]:
    """Mean, covariance and shares over the maxima, weighed by their evidence."""
    evidence = np.array([mode.log_evidence for _, mode in modes])
    weights = np.exp(evidence - evidence.max())
    weights /= weights.sum()
    means, moved = zip(*(spans_of(joint, mode) for joint, mode in modes), strict=True)
    mean = np.einsum("i,ij->j", weights, np.array(means))
    shares: dict[str, Array] = {}
    covariance = np.zeros((4, 4))
    for weight, moves, its_mean, (joint, _) in zip(weights, moved, means, modes, strict=True):
        between = np.outer(its_mean - mean, its_mean - mean)
        covariance += weight * (moves @ moves.T + between)
        # which way the camera was tilted is doubt about how squarely it was held
        shares["square"] = shares.get("square", np.zeros(4)) + weight * np.diag(between)
        for i, source in enumerate(joint.sources):
            shares[source] = shares.get(source, np.zeros(4)) + weight * moves[:, i] ** 2
    return mean, covariance, shares
