"""The joint estimate of the four spans from the photos, with its covariance.

Following the GUM (JCGM 100:2008, 5.1.2 and 5.2.2): each residual of the model is
an independent input of unit standard deviation, the spans are functions of
them, and the covariance is the sum of what each input brings.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from photocheck.body.shape import SHIPPED, TapeRatios
from photocheck.case.model import DogFacts, Marking
from photocheck.judge.framed import doubted, unlike_file
from photocheck.judge.joint import Joint, facts_told
from photocheck.judge.outliers import outlying_fact, outlying_mark, outlying_photos
from photocheck.judge.shots import CameraView, Shot
from photocheck.judge.solve import Mode, solve
from photocheck.judge.tag_sizes import odd_tags, tag_look
from photocheck.judge.untold import taken_off
from photocheck.judge.widths import (
    FRONTS,
    against_photos,
    fits_without,
    front_left_out,
    unlikely_width,
    widths_of,
    without_width,
)
from photocheck.numerics import derivative
from photocheck.photo.whole import WEIGHED_FROM
from photocheck.scale.pose import View, likely_poses
from photocheck.speech import Said
from photocheck.words import SPAN_ENDS, SPANS

Array = NDArray[np.float64]

# A rival pose this much less likely (in natural logarithms) is not worth mixing in.
LEAST_EVIDENCE = 6.0
OWN_SOURCES = frozenset({"marks", "tags", "corners", "square", "offset", "dog_turn", "framing"})
"""Sources that another photo brings afresh, so that fusing averages them."""


@dataclass(frozen=True)
class Estimate:
    """The spans as the photos show them.

    Attributes
    ----------
    log_spans : (4,)
        ln(mm), order of `words.SPANS`.
    covariance : (4, 4)
    parts : mapping of source to (4, 4)
        What each source of doubt brings to the covariance; they sum to it.
    straight_mm : (4,)
        Straight distance between each span's marks in the dog's side view, mm.
    cameras : tuple of CameraView
        One per photo of the case.
    to_pixels : tuple of callable
        For each photo: how many mm nearer to the camera than the dog's middle plane, to
        the homography (3, 3) from that plane, mm, to px (`Joint.to_pixels`); from the front,
        than the plane across the neck's ring (`Fronts.to_pixels`).
    half_flank_mm : float
        Half the trunk's width at the last rib, mm.
    facts_left_out : mapping of fact to float
        What contradicts the photos, with what they let expect instead (`Joint.expected_fact`).
    outliers : tuple of str
        Sentences on marks or photos that do not fit the others.
    widths : mapping of "neck_width" and "chest_width" to (float, float)
        ln(mm) where a tape would lie, and its standard deviation.
    untold : mapping of fact to (4, 4)
        What each of `untold.askable` would take off the covariance, were it told.
    ratios_version : str
        Which learnt ratios were used; "shipped" for none.
    """

    log_spans: Array
    covariance: Array
    parts: Mapping[str, Array]
    straight_mm: Array
    cameras: tuple[CameraView, ...]
    to_pixels: tuple[Callable[[float], Array], ...]
    half_flank_mm: float
    outliers: tuple[str, ...]
    facts_left_out: Mapping[str, float]
    widths: Mapping[str, tuple[float, float]]
    untold: Mapping[str, Array]
    ratios_version: str = SHIPPED.version

    @property
    def shares(self) -> dict[str, Array]:
        """Variance each source brings to each log-span, (4,); sums to the diagonal."""
        return {source: np.diag(part).copy() for source, part in self.parts.items()}


def estimate(
    views: Sequence[View],
    markings: Sequence[Sequence[Marking]],
    dog: DogFacts,
    ratios: TapeRatios = SHIPPED,
    *,
    leave: str = "",
) -> Estimate:
    """Fuse all photos and markings of one dog.

    Parameters
    ----------
    views : sequence of View, one per photo
    markings : sequence of sequence of Marking, one per photo, none empty
    dog : DogFacts
    ratios : TapeRatios
        What the shop has learnt for dogs like this one.
    leave : str
        What to leave out as if it had not been told: one of `widths.told_widths`.
    """
    dog = without_width(dog, leave)
    candidates = [
        _candidates(view, tuple(marks)) for view, marks in zip(views, markings, strict=True)
    ]
    outliers: list[str] = []
    at_first: tuple[Joint, Mode] | None = None
    sides = [k for k, view in enumerate(views) if not view.from_front]
    every_fact = frozenset(facts_told(dog))
    for k in sides:
        # by itself and without what was told of the dog, so that only photo and file are held
        # against each other
        alone = Joint([candidates[k][0]], dog, ratios=ratios, facts_left_out=every_fact)
        view = views[k]
        for say in (odd_tags, tag_look):
            if look := say(alone, k + 1):
                outliers.append(look.sentence)
                view = look.view
                candidates[k] = _candidates(view, tuple(markings[k]))
                alone = Joint([candidates[k][0]], dog, ratios=ratios, facts_left_out=every_fact)
        solved = solve(alone)
        if unlike := unlike_file(alone, solved, k + 1):
            outliers.append(unlike)
            candidates[k] = _candidates(doubted(view), tuple(markings[k]))
        elif len(sides) == 1 and not every_fact:
            at_first = alone, solved
    all_best = [shots[0] for shots in candidates]
    fronts = [k for k, view in enumerate(views) if view.from_front]
    keep = list(sides)
    aside = [all_best[k] for k in sides]
    for i, sentence, drop in outlying_photos(aside, dog, [k + 1 for k in sides]):
        outliers.append(sentence)
        if drop:
            keep.remove(sides[i])
    best = [all_best[k] for k in keep]

    dropped: frozenset[tuple[int, int, str]] = frozenset()
    joint = at_first[0] if at_first else Joint(best, dog, ratios=ratios)
    mode = at_first[1] if at_first else solve(joint)
    while named := outlying_mark(joint, mode):
        # photos are named by their place in the case, not by the place among those kept
        number = str(keep[named.mark.shot] + 1)
        outliers.append(Said.by(str.replace, named.sentence, "{photo}", number))
        if not named.drop:
            break
        dropped |= {(named.mark.shot, named.mark.marking, named.mark.landmark)}
        joint = Joint(best, dog, dropped, ratios)
        mode = solve(joint)

    while wrong := unlikely_width(joint, mode):
        outliers.append(against_photos(wrong))
        dog = without_width(dog, wrong)
        joint = Joint(best, dog, dropped, ratios)
        mode = solve(joint)
    left_out: frozenset[str] = frozenset()
    while fact := outlying_fact(joint, mode):
        left_out |= {fact}
        joint = Joint(best, dog, dropped, ratios, left_out)
        mode = solve(joint)
    expected = joint.trunk(mode.theta)

    used: list[int] = []
    for k in fronts if leave != FRONTS else ():
        told = Joint(best, dog, dropped, ratios, left_out, [all_best[k]])
        if fits_without(told, solve(told), joint, mode):
            used.append(k)
        else:
            outliers.append(front_left_out(k + 1))
    ahead = [all_best[k] for k in used]
    if ahead:
        joint = Joint(best, dog, dropped, ratios, left_out, ahead)
        mode = solve(joint)

    modes = [(joint, mode)]
    shots = [*best, *ahead]
    for i, k in enumerate((*keep, *used)):
        for other in candidates[k][1:]:
            rival = [*shots[:i], other, *shots[i + 1 :]]
            other_joint = Joint(
                rival[: len(best)], dog, dropped, ratios, left_out, rival[len(best) :]
            )
            other_mode = solve(other_joint)
            if _is_new(other_mode, other_joint, modes):
                modes.append((other_joint, other_mode))

    cameras, to_pixels = [], []
    of_model = [*keep, *used]
    for k, shot in enumerate(all_best):
        its_joint, its_mode, place = joint, mode, of_model.index(k) if k in of_model else 0
        if k not in of_model:
            front = k in fronts
            its_joint = Joint(
                [shot] if not front else best,
                dog,
                ratios=ratios,
                facts_left_out=left_out,
                fronts=[shot] * front,
            )
            its_mode = solve(its_joint)
            place = len(best) if front else 0
        cameras.append(its_joint.camera_view(its_mode.theta, its_mode.covariance, place))
        to_pixels.append(partial(its_joint.to_pixels, its_mode.theta, place))
    trunk = joint.trunk(mode.theta)
    points = trunk.points
    straight = np.array(
        [np.linalg.norm(points[SPAN_ENDS[s][1]] - points[SPAN_ENDS[s][0]]) for s in SPANS]
    )
    mean, covariance, parts, untold = _mix(modes)
    return Estimate(
        log_spans=mean,
        covariance=covariance,
        parts=parts,
        straight_mm=straight,
        cameras=tuple(cameras),
        to_pixels=tuple(to_pixels),
        half_flank_mm=float(trunk.half_flank),
        outliers=tuple(outliers),
        facts_left_out={fact: float(joint.expected_fact(expected, fact)) for fact in left_out},
        widths=widths_of(joint, mode),
        untold=untold,
        ratios_version=ratios.version,
    )


def _candidates(view: View, marks: tuple[Marking, ...]) -> list[Shot]:
    """What may explain one photo, the likeliest first: its poses, for each way it may be framed."""
    cut = view.camera.framing.cut
    if view.cut is not None or not WEIGHED_FROM < cut < 1.0 - WEIGHED_FROM:
        return [Shot(view, pose, marks) for pose in likely_poses(view)]
    ways = sorted(((cut, True), (1.0 - cut, False)), reverse=True)
    return [
        Shot(way, pose, marks, float(np.log(chance)))
        for chance, is_cut in ways
        for way in (replace(view, cut=is_cut),)
        for pose in likely_poses(way)
    ]


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


def _framed_alike(one: Joint, other: Joint) -> bool:
    return [s.view.cut for s in one.shots] == [s.view.cut for s in other.shots]


def _mix(
    modes: list[tuple[Joint, Mode]],
) -> tuple[Array, Array, dict[str, Array], dict[str, Array]]:
    """Mean, covariance, its parts and what untold facts take off, over the maxima by evidence."""
    evidence = np.array([mode.log_evidence for _, mode in modes])
    weights = np.exp(evidence - evidence.max())
    weights /= weights.sum()
    means = np.array([joint.log_spans(mode.theta) for joint, mode in modes])
    mean = np.einsum("i,ij->j", weights, means)
    parts: dict[str, Array] = {}
    untold: dict[str, Array] = {}
    for weight, its_mean, (joint, mode) in zip(weights, means, modes, strict=True):
        slopes = derivative(joint.log_spans, mode.theta, joint.unknowns.steps)
        moves = slopes @ mode.covariance @ mode.jacobian.T  # by each residual's unit error, (4, m)
        for source in dict.fromkeys(joint.sources):
            rows = moves[:, [name == source for name in joint.sources]]
            parts[source] = parts.get(source, np.zeros((4, 4))) + weight * rows @ rows.T
        # which way the camera was tilted is doubt about how squarely it was held
        source = "square" if _framed_alike(joint, modes[0][0]) else "framing"
        parts[source] = parts[source] + weight * np.outer(its_mean - mean, its_mean - mean)
        for fact, taken in taken_off(joint, mode, slopes).items():
            untold[fact] = untold.get(fact, np.zeros((4, 4))) + weight * taken
    return mean, np.sum(list(parts.values()), axis=0), parts, untold
