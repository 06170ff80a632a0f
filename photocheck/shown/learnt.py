"""What a version of the learnt ratios says, as rows of tables: the groups, and what it did."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from photocheck.body.shape import WAY_LOG_SPREAD, WAY_TERMS
from photocheck.judge.learning import OUTLYING, LeftOut
from photocheck.judge.ratios import Version, WayRatio
from photocheck.shown.plain_learning import GROUP_TITLES
from photocheck.speech import number, tr
from photocheck.words import BUILD_TITLES, READING_TITLES, SPAN_TITLES

Rows = list[tuple[str, ...]]
"""A table's rows, its heads first."""

MOST_LEFT_OUT = 200
"""Orders named that did not teach; the rest is counted (judgement)."""


@dataclass(frozen=True)
class Refusal:
    """Why orders did not teach, how many, and some of their names."""

    reason: str
    count: int
    names: tuple[str, ...]


def group_rows(version: Version) -> Rows:
    """Each group, build and any other dog, with what its tape reads against the shipped ratios.

    The doubt is the standard deviation of ln(tape / photo) that the dog's own shape brings, before
    and now, for usual proportions; what marks, scale and tape bring is not changed by learning.
    """
    spans = tuple(WAY_TERMS)
    groups = [
        (tr(GROUP_TITLES.get(name, name)), ratios.orders, ratios.ways)
        for name, ratios in version.groups.items()
    ]
    groups += [
        (
            tr("any other of build {build}", build=tr(BUILD_TITLES[build])),
            ratios.orders,
            ratios.ways,
        )
        for build, ratios in version.builds.items()
    ]
    rows = [
        (name, str(count), *(_said(span, ways) for span in spans)) for name, count, ways in groups
    ]
    rows.append((tr("any other"), "", *(_said(span, version.others) for span in spans)))
    heads = (tr("group"), tr("orders"), *(tr(SPAN_TITLES[span]) for span in spans))
    return [heads, *rows]


def _said(span: str, ways: Mapping[str, WayRatio]) -> str:
    ratio = ways[span]
    return tr(
        "{shift:+.1f} % ± {spread:.1f}; doubt {before:.1f} → {now:.1f} %",
        shift=100 * ratio.shift,
        spread=100 * ratio.shift_spread,
        before=100 * WAY_LOG_SPREAD[span],
        now=100 * WAY_LOG_SPREAD[span] * ratio.spread_factor,
    )


def predicted_rows(version: Version) -> Rows:
    """How far tape and photo were apart in orders left out of the learning, before and now."""
    check = version.check
    rows = [
        (
            tr(READING_TITLES[name]),
            number(f"{100 * before:.1f} %"),
            number(f"{100 * check.rmse_learnt[name]:.1f} %"),
        )
        for name, before in check.rmse_shipped.items()
    ]
    return [(tr("reading"), tr("as shipped"), tr("as learnt")), *rows]


def refusals(left_out: tuple[LeftOut, ...]) -> tuple[Refusal, ...]:
    """Orders that did not teach by their reasons, the commonest first; outlying ones together."""
    outlying = tr(
        "a reading is more than {limit:.1f} standard deviations off the other orders",
        limit=OUTLYING,
    )

    def why(item: LeftOut) -> str:
        return outlying if item.outlying else item.reason

    counts = Counter(why(item) for item in left_out)
    return tuple(
        Refusal(
            reason,
            count,
            tuple(item.name for item in left_out if why(item) == reason)[:MOST_LEFT_OUT],
        )
        for reason, count in counts.most_common()
    )
