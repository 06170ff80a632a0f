"""What was learnt, in plain text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from photocheck.judge.learning import Learning
from photocheck.judge.ratios import Version, WayRatio
from photocheck.speech import capital_first, later, tr
from photocheck.words import READING_TITLES, SPAN_TITLES

MOST_LISTED = 20

_GROUPS: Final = {
    "": later("not said"),
    "build slim": later("build slim"),
    "build medium": later("build medium"),
    "build broad": later("build broad"),
}
"""Names of the groups of dogs that have no breed; other groups are called as breeds were typed."""


def plain_learning(learning: Learning) -> str:
    """For people: the decision, the check behind it, the table, who was left out."""
    reason = capital_first(learning.reason)
    blocks = [f"{reason}."]
    version = learning.version
    if version is not None:
        if learning.adopted:
            blocks[0] += f"\n{_succession(version)}"
        blocks += [_check(version), _table(version)]
    if learning.left_out:
        said = [f"- {item.name}: {item.reason}" for item in learning.left_out[:MOST_LISTED]]
        rest = len(learning.left_out) - MOST_LISTED
        if rest > 0:
            said.append("- " + tr("and {count} more", count=rest))
        blocks.append(tr("Not learnt from") + "\n" + "\n".join(said))
    return "\n\n".join(blocks)


def _succession(version: Version) -> str:
    if version.parent == "shipped":
        return tr("Version {version}, after shipped.", version=version.version)
    return tr("Version {version}, after {parent}.", version=version.version, parent=version.parent)


def _check(version: Version) -> str:
    check = version.check
    lines = [
        tr(
            "{count} orders, each predicted without it: tape against photo, RMSE",
            count=check.orders,
        )
    ]
    for name, before in check.rmse_shipped.items():
        after = check.rmse_learnt[name]
        said = tr(
            "{reading}: {before:.1f}% shipped, {after:.1f}% learnt",
            reading=tr(READING_TITLES[name]),
            before=100 * before,
            after=100 * after,
        )
        lines.append(f"- {said}")
    return "\n".join(lines)


def _table(version: Version) -> str:
    lines = [tr("Tape over photo, against the shipped ratios (spread: over the shipped one)")]
    for group, ratios in version.groups.items():
        said = tr(
            "{group} ({count} orders): {ways}",
            group=tr(_GROUPS.get(group, group)),
            count=ratios.orders,
            ways=_ways(ratios.ways),
        )
        lines.append(f"- {said}")
    lines.append("- " + tr("any other: {ways}", ways=_ways(version.others)))
    return "\n".join(lines)


def _ways(ways: Mapping[str, WayRatio]) -> str:
    said = []
    for way, ratio in ways.items():
        if way in SPAN_TITLES:
            said.append(
                tr(
                    "{span} {shift:+.1f}%, spread {spread:.2f}",
                    span=tr(SPAN_TITLES[way]),
                    shift=100 * ratio.shift,
                    spread=ratio.spread_factor,
                )
            )
    return "; ".join(said)
