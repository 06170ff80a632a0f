"""Learning the shop's own ratios tape / photo from orders whose harness fitted.

Finished orders in, a new version of the ratios out: only when orders left out of the
learning are predicted better by it than by the shipped ratios.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photocheck.body.shape import BASE_WAYS, TAGGED, WAYS
from photocheck.judge.evidence import FinishedOrder, build_of, evidence_of
from photocheck.judge.held_out import Gain, folds_of, mean_gain, rounded
from photocheck.judge.hierarchy import (
    MADE_OF,
    NOMINAL,
    PARTS,
    Evidence,
    Fit,
    expected,
    fit,
    information,
    log_density,
    posterior,
    predictive,
    prior_spreads,
)
from photocheck.judge.ratios import GroupRatios, HeldOut, Ratios, Version, WayRatio
from photocheck.judge.repeats import TapeHabits
from photocheck.judge.tape_habits import held_out_tape, learnt_habits
from photocheck.speech import tr
from photocheck.words import BUILDS, READINGS

Array = NDArray[np.float64]

LEAST_ORDERS = 5
"""Fewer accepted orders teach nothing that could be checked (judgement)."""
LEAST_KEPT = 0.5
"""Share of the orders behind the version in use that must be given again, whatever became of
them: learning starts afresh each time, and fewer would throw knowledge away (judgement)."""
CLEARLY = 2.0
"""Standard errors by which the version in use must predict new orders better to stay."""
WORTH = 0.05
"""And by how much, in ln density per order: two versions that differ by chance alone do so
for all orders alike, which no standard error shows (judgement)."""
OUTLYING = 3.5
"""Orders with a reading this many standard deviations off the others of their group may hold
a slip of the tape and do not teach."""
SCREEN_SHIFT = 0.05
"""Standard deviation of a group's ln(ratio) while outlying orders are looked for: wide enough
to flag no whole group, narrow enough to doubt a lone order (judgement)."""


@dataclass(frozen=True)
class LeftOut:
    """An order that did not teach, and why; `outlying` for a reading far off the others'."""

    name: str
    reason: str
    outlying: bool = False


@dataclass(frozen=True)
class Learning:
    """The outcome of learning.

    Attributes
    ----------
    adopted : bool
        Whether a new version is in use.
    ratios : Ratios
        With the new version when adopted, else as they were.
    version : Version or None
        What was learnt, adopted or not; None when there were too few orders.
    left_out : tuple of LeftOut
    reason : str
        Why the ratios are new or not, one sentence.
    tape_reason : str
        The same of how the shop's owners measure; empty where too few orders tell of it.
    """

    adopted: bool
    ratios: Ratios
    version: Version | None
    left_out: tuple[LeftOut, ...]
    reason: str
    tape_reason: str = ""


def learn(orders: Sequence[FinishedOrder], ratios: Ratios | None = None) -> Learning:
    """Learn from finished orders; the order in which they are given does not matter.

    Parameters
    ----------
    orders : sequence of FinishedOrder
        All of the shop's orders worth learning from, not only new ones, those accepted of which
        nobody has heard yet among them (`evidence.TEACHES`): learning starts
        from the shipped ratios each time, so that an order since returned is forgotten.
    ratios : Ratios, optional
        The versions so far.
    """
    before = ratios or Ratios()
    usable, left_out = _usable(orders)
    groups = sorted({order.group for order in usable})
    kept, outlying = screen(usable, groups)
    left_out += [
        LeftOut(
            order.name,
            tr("a reading is {score:.1f} standard deviations off the other orders", score=score),
            outlying=True,
        )
        for order, score in outlying
    ]
    if len(kept) < LEAST_ORDERS:
        return Learning(
            False,
            before,
            None,
            tuple(left_out),
            tr(
                "only {count} orders can teach, at least {least} are needed: nothing was changed",
                count=len(kept),
                least=LEAST_ORDERS,
            ),
        )
    groups = sorted({order.group for order in kept})
    found = fit(evidence_of(kept, groups))
    learnt = _version(kept, groups, found, held_out(kept, groups), before, len(outlying))
    forgotten = _forgotten(orders, before)
    reason = forgotten or _against(learnt, before, kept, groups)
    tags_before = None if before.in_use is None else before.in_use.tape_at_tags
    tape, tape_check, tape_reason = _tape(
        [order for order in kept if not order.at_tags], before.tape, forgotten
    )
    at_tags, _, tags_reason = _tape(
        [order for order in kept if order.at_tags], tags_before, forgotten
    )
    if tags_reason:
        told = tr("where it was held at tags, {reason}", reason=tags_reason)
        tape_reason = "; ".join(filter(None, (tape_reason, told)))
    learnt = replace(learnt, tape=tape, tape_check=tape_check, tape_at_tags=at_tags)
    adopted = not reason or tape != before.tape or at_tags != tags_before
    if reason and adopted:
        learnt = _with_ratios_of(learnt, before.in_use)
    learnt = learnt.named()
    after = before.adding(learnt) if adopted else before
    if not reason:
        reason = tr(
            "orders left out of the learning are predicted better: the new ratios are in use"
        )
    return Learning(adopted, after, learnt, tuple(left_out), reason, tape_reason)


def _tape(
    kept: Sequence[FinishedOrder], before: TapeHabits | None, forgotten: str
) -> tuple[TapeHabits | None, Gain | None, str]:
    """How the shop's owners measure, what speaks for it, and whether it is new, in a sentence.

    Orders with tags and without are never mixed: how much more exact a tape is that is held at
    tags was chosen, and must not teach how exact one is that is not.
    """
    seen = [order.tape for order in kept if order.tape.tells]
    if len(seen) < LEAST_ORDERS:
        return before, None, ""
    check = held_out_tape(seen)
    found = learnt_habits(seen)
    found = TapeHabits(rounded(found.repeat), rounded(found.freedom), rounded(found.led))
    if forgotten:
        return before, check, forgotten
    if not check.improves:
        return (
            before,
            check,
            tr(
                "the tapes of {count} orders left out in turn are not predicted better (gain "
                "{gain:+.3f}, standard error {error:.3f} in ln density per order): how exact a "
                "tape is taken to be stays",
                count=check.orders,
                gain=check.gain,
                error=check.gain_spread,
            ),
        )
    if found == before:
        return found, check, tr("how exact a tape is taken to be was learnt already")
    return (
        found,
        check,
        tr("the tapes of orders left out of the learning are predicted better: that is in use"),
    )


def _with_ratios_of(learnt: Version, old: Version | None) -> Version:
    """A version whose tape alone is new: the ratios stay those of the version in use."""
    if old is None:
        shipped = posterior(evidence_of([], []), prior_spreads())
        old = _version([], [], shipped, learnt.check, Ratios(), 0)
    return replace(
        learnt,
        between_dogs=old.between_dogs,
        between_builds=old.between_builds,
        between_groups=old.between_groups,
        others=old.others,
        builds=old.builds,
        groups=old.groups,
    )


def _usable(orders: Sequence[FinishedOrder]) -> tuple[list[FinishedOrder], list[LeftOut]]:
    """Orders that teach, each once, in an order of their own; the others with the reason."""
    left_out: list[LeftOut] = []
    outcomes: dict[str, set[str]] = {}
    for order in orders:
        outcomes.setdefault(order.key, set()).add(order.outcome)
    usable: dict[str, FinishedOrder] = {}
    for order in orders:
        if order.outcome == "returned":
            left_out.append(LeftOut(order.name, tr("it was returned")))
        elif not order.weight:
            left_out.append(LeftOut(order.name, order.why_not or tr("nobody said that it fitted")))
        elif len(outcomes[order.key]) > 1:
            left_out.append(LeftOut(order.name, tr("it is listed with another outcome, too")))
        elif not order.readings:
            left_out.append(LeftOut(order.name, tr("it has no readings")))
        elif order.key in usable:
            left_out.append(
                LeftOut(order.name, tr("the same photos and readings are listed twice"))
            )
        else:
            usable[order.key] = order
    return [usable[key] for key in sorted(usable)], left_out


# -- outlying orders ---------------------------------------------------------------


def screen(
    orders: Sequence[FinishedOrder], groups: Sequence[str]
) -> tuple[list[FinishedOrder], list[tuple[FinishedOrder, float]]]:
    """Set outlying orders aside, the worst first, each held against the others that remain.

    The dogs' spread is kept at the shipped one here, so that gross slips cannot hide
    behind a spread learnt from themselves.

    Returns
    -------
    kept : list of FinishedOrder
    outlying : list of (FinishedOrder, float)
        With the score of the worst reading.
    """
    kept = list(orders)
    outlying: list[tuple[FinishedOrder, float]] = []
    while kept:
        scores = _scores(evidence_of(kept, groups))
        worst = int(np.argmax(scores))
        if scores[worst] <= OUTLYING:
            break
        outlying.append((kept.pop(worst), float(scores[worst])))
    return kept, outlying


def _scores(evidence: Evidence) -> Array:
    """Largest score of each order's readings, alone or given its others, (n,)."""
    ways = len(PARTS)
    precision, score = information(evidence, np.ones(ways))
    total, scores = np.zeros((evidence.groups, ways, ways)), np.zeros((evidence.groups, ways))
    np.add.at(total, evidence.group, precision)
    np.add.at(scores, evidence.group, score)
    # the group's shift by the other orders only
    loose = np.where([part.endswith(TAGGED) for part in PARTS], NOMINAL, SCREEN_SHIFT)
    others = total[evidence.group] - precision + np.diag(loose**-2)
    around = np.linalg.inv(others)
    shift = np.einsum("nij,nj->ni", around, scores[evidence.group] - score)
    mean, covariance = expected(evidence, shift @ MADE_OF.T, np.ones_like(evidence.own))
    design = evidence.parts
    covariance = covariance + design @ around @ np.swapaxes(design, 1, 2)
    miss = evidence.differences - mean
    alone = np.abs(miss) / np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
    inverse = np.linalg.inv(covariance)
    given = np.abs(np.einsum("nrs,ns->nr", inverse, miss))
    given /= np.sqrt(np.diagonal(inverse, axis1=1, axis2=2))
    return np.asarray(np.maximum(alone, given).max(axis=1))


# -- does it help ------------------------------------------------------------------


def held_out(orders: Sequence[FinishedOrder], groups: Sequence[str]) -> HeldOut:
    """Predict each order by ratios learnt without it, in up to `MOST_FOLDS` folds."""
    evidence = evidence_of(orders, groups)
    count = len(orders)
    # orders come sorted by a hash of their content: every n-th is a fair draw
    fold = folds_of(count)
    gain = np.zeros(count)
    learnt = np.zeros_like(evidence.differences)
    for number in np.unique(fold):
        out = fold == number
        left = evidence.only(out)
        mean, covariance = predictive(left, fit(evidence.only(~out)))
        gain[out] = log_density(left, mean, covariance) - log_density(left, *predictive(left, None))
        learnt[out] = left.differences - mean
    # what nobody has heard of yet proves as little as it teaches
    middle, error = mean_gain(gain, evidence.weight)
    before, after = _rmse(orders, evidence.differences), _rmse(orders, learnt)
    used = evidence.design.any(axis=2)
    smaller = float(np.sum(learnt[used] ** 2)) < float(np.sum(evidence.differences[used] ** 2))
    return HeldOut(
        orders=count,
        folds=int(fold.max()) + 1,
        gain=rounded(middle),
        gain_spread=rounded(error),
        rmse_shipped=before,
        rmse_learnt=after,
        improves=middle > error and smaller,
    )


def _rmse(orders: Sequence[FinishedOrder], differences: Array) -> dict[str, float]:
    squares: dict[str, list[float]] = {}
    for order, row in zip(orders, differences, strict=True):
        for name, value in zip(order.readings, row, strict=False):
            squares.setdefault(name, []).append(float(value**2))
    return {n: rounded(np.sqrt(np.mean(squares[n]))) for n in READINGS if n in squares}


def _forgotten(orders: Sequence[FinishedOrder], before: Ratios) -> str:
    """Why not to adopt when too few of the orders already learnt from are given."""
    old = before.in_use
    if old is None:
        return ""
    given = {order.key for order in orders}
    again = sum(key in given for key in old.learnt_from)
    if again >= LEAST_KEPT * len(old.learnt_from):
        return ""
    return tr(
        "only {again} of the {count} orders behind version {version} are given, and learning "
        "needs all orders, not only new ones: the old ratios stay",
        again=again,
        count=len(old.learnt_from),
        version=old.version,
    )


def _against(
    learnt: Version, before: Ratios, kept: Sequence[FinishedOrder], groups: Sequence[str]
) -> str:
    """Why not to adopt; empty when nothing speaks against it."""
    check = learnt.check
    if not check.improves:
        clear = check.gain > check.gain_spread
        told = {"count": check.orders, "gain": check.gain, "error": check.gain_spread}
        if clear:
            return tr(
                "{count} orders left out in turn are not predicted better (gain {gain:+.3f}, "
                "standard error {error:.3f} in ln density per order: but the error itself does "
                "not fall): the old ratios stay",
                **told,
            )
        return tr(
            "{count} orders left out in turn are not predicted better (gain {gain:+.3f}, "
            "standard error {error:.3f} in ln density per order: no clear gain): the old ratios "
            "stay",
            **told,
        )
    old = before.in_use
    if old is None:
        return ""
    if old.groups == learnt.groups and old.learnt_from == learnt.learnt_from:
        return tr("these orders have been learnt already: the ratios stay as they are")
    unseen = [order for order in kept if order.key not in old.learnt_from]
    if len(unseen) >= LEAST_ORDERS and (lost := _lost(unseen, kept, groups, old)) > 0.0:
        return tr(
            "the {count} new orders are predicted better by version {version} than by the new "
            "ratios (by {lost:.3f} in ln density per order): the old ratios stay",
            count=len(unseen),
            version=old.version,
            lost=lost,
        )
    return ""


def _lost(
    unseen: Sequence[FinishedOrder],
    kept: Sequence[FinishedOrder],
    groups: Sequence[str],
    old: Version,
) -> float:
    """How clearly the old version predicts orders better that neither it nor the new has seen.

    The mean gain of the old; 0 when it is not clear.
    """
    evidence = evidence_of(kept, groups)
    keys = {order.key for order in unseen}
    is_new = np.array([order.key in keys for order in kept])
    fold = folds_of(len(kept))
    gains: list[float] = []
    for number in np.unique(fold[is_new]):
        out = is_new & (fold == number)
        left = evidence.only(out)
        new = log_density(left, *predictive(left, fit(evidence.only(fold != number))))
        shift, factor = np.zeros_like(left.own), np.ones_like(left.own)
        for i, group in enumerate(left.group):
            ratios = old.for_group(groups[group], BUILDS[left.build[group]])
            shift[i] = [ratios.way(way).shift for way in WAYS]
            factor[i] = [ratios.way(way).spread_factor for way in WAYS]
        gains += list(log_density(left, *expected(left, shift, factor)) - new)
    mean, error = np.mean(gains), np.std(gains, ddof=1) / np.sqrt(len(gains))
    return float(mean) if mean > max(CLEARLY * error, WORTH) else 0.0


# -- to the file -------------------------------------------------------------------


def _version(
    kept: Sequence[FinishedOrder],
    groups: Sequence[str],
    found: Fit,
    check: HeldOut,
    before: Ratios,
    outlying: int,
) -> Version:
    counts = Counter(order.group for order in kept)
    tags = WAYS.index(next(way for way in WAYS if way.endswith(TAGGED)))
    ways = WAYS if any(order.design[:, tags:].any() for order in kept) else BASE_WAYS
    of_build = {build: [g for g in groups if build_of(kept, g) == build] for build in BUILDS}
    return Version(
        version="",
        number=1 + max((item.number for item in before.versions), default=0),
        parent=before.current,
        orders=len(kept),
        left_out=outlying,
        between_dogs=_by_way(found.spreads.between * NOMINAL),
        between_builds=_by_way(found.spreads.builds),
        between_groups=_by_way(found.spreads.groups),
        others=_ways(ways, found, len(groups) + BUILDS.index("unknown")),
        builds={
            build: GroupRatios(sum(counts[g] for g in among), _ways(ways, found, len(groups) + k))
            for k, (build, among) in enumerate(of_build.items())
            if among and build != "unknown"
        },
        groups={g: GroupRatios(counts[g], _ways(ways, found, i)) for i, g in enumerate(groups)},
        check=check,
        learnt_from=tuple(order.key for order in kept),
    )


def _by_way(values: Array) -> dict[str, float]:
    return {way: rounded(value) for way, value in zip(BASE_WAYS, values, strict=False)}


def _ways(ways: Sequence[str], found: Fit, row: int) -> dict[str, WayRatio]:
    columns = zip(WAYS, found.shift[row], found.shift_spread[row], found.factor[row], strict=True)
    return {
        way: WayRatio(*(rounded(value) for value in values))
        for way, *values in columns
        if way in ways
    }
