"""What was learnt, in plain text."""

from __future__ import annotations

from collections.abc import Mapping
from math import sqrt
from typing import Final

from photocheck.body.shape import TAGGED
from photocheck.judge.learning import Learning
from photocheck.judge.ratios import Version, WayRatio
from photocheck.judge.tolerances import TAPE_REPEAT_SHARE, TAPE_SPREAD_MM
from photocheck.speech import capital_first, later, tr
from photocheck.words import BUILD_TITLES, READING_TITLES, SPAN_TITLES

MOST_LISTED = 20

GROUP_TITLES: Final = {
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
    if learning.tape_reason:
        blocks.append(_tape(learning))
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
            group=tr(GROUP_TITLES.get(group, group)),
            count=ratios.orders,
            ways=_ways(ratios.ways),
        )
        lines.append(f"- {said}")
    for build, ratios in version.builds.items():
        said = tr(
            "any other of build {build} ({count} orders): {ways}",
            build=tr(BUILD_TITLES[build]),
            count=ratios.orders,
            ways=_ways(ratios.ways),
        )
        lines.append(f"- {said}")
    lines.append("- " + tr("any other: {ways}", ways=_ways(version.others)))
    return "\n".join(lines)


def _tape(learning: Learning) -> str:
    """How the shop's owners measure: in use or not, and in millimetres where it is."""
    said = f"{capital_first(learning.tape_reason)}."
    habits = learning.version.tape if learning.version else None
    if habits is None or not learning.adopted:
        return said
    alone = TAPE_SPREAD_MM * sqrt(TAPE_REPEAT_SHARE)
    led = TAPE_SPREAD_MM * sqrt(1.0 - TAPE_REPEAT_SHARE)
    return (
        said
        + "\n- "
        + tr(
            "a tape of half a metre repeats to {now:.1f} mm (shipped {before:.1f}) and is led to "
            "{led_now:.1f} mm (shipped {led_before:.1f})",
            now=alone * sqrt(habits.repeat),
            before=alone,
            led_now=led * sqrt(habits.led),
            led_before=led,
        )
    )


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
        elif (base := way.removesuffix(TAGGED)) in SPAN_TITLES:
            said.append(
                tr(
                    "{span} with the tape at tags {shift:+.1f}%, spread {spread:.2f}",
                    span=tr(SPAN_TITLES[base]),
                    shift=100 * ratio.shift,
                    spread=ratio.spread_factor,
                )
            )
    return "; ".join(said)
