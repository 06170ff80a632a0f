"""What was learnt, in plain text."""

from __future__ import annotations

from collections.abc import Mapping

from photocheck.judge.learning import Learning
from photocheck.judge.ratios import Version, WayRatio
from photocheck.speech import capital_first
from photocheck.words import READING_TITLES, SPAN_TITLES

MOST_LISTED = 20


def plain_learning(learning: Learning) -> str:
    """For people: the decision, the check behind it, the table, who was left out."""
    reason = capital_first(learning.reason)
    blocks = [f"{reason}."]
    version = learning.version
    if version is not None:
        if learning.adopted:
            blocks[0] += f"\nVersion {version.version}, after {version.parent}."
        blocks += [_check(version), _table(version)]
    if learning.left_out:
        said = [f"- {item.name}: {item.reason}" for item in learning.left_out[:MOST_LISTED]]
        rest = len(learning.left_out) - MOST_LISTED
        if rest > 0:
            said.append(f"- and {rest} more")
        blocks.append("Not learnt from\n" + "\n".join(said))
    return "\n\n".join(blocks)


def _check(version: Version) -> str:
    check = version.check
    lines = [f"{check.orders} orders, each predicted without it: tape against photo, RMSE"]
    for name, before in check.rmse_shipped.items():
        after = check.rmse_learnt[name]
        lines.append(f"- {READING_TITLES[name]}: {before:.1%} shipped, {after:.1%} learnt")
    return "\n".join(lines)


def _table(version: Version) -> str:
    lines = ["Tape over photo, against the shipped ratios (spread: over the shipped one)"]
    for group, ratios in version.groups.items():
        lines.append(f"- {group or 'not said'} ({ratios.orders} orders): {_ways(ratios.ways)}")
    lines.append(f"- any other: {_ways(version.others)}")
    return "\n".join(lines)


def _ways(ways: Mapping[str, WayRatio]) -> str:
    said = []
    for way, ratio in ways.items():
        if way in SPAN_TITLES:
            said.append(f"{SPAN_TITLES[way]} {ratio.shift:+.1%}, spread {ratio.spread_factor:.2f}")
    return "; ".join(said)
