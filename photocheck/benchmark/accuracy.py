"""The accuracy tables: many phantoms, several settings, per span."""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray

from photocheck.benchmark.pooled import over_phantoms
from photocheck.benchmark.subjects import shape_row, shape_spread, subject
from photocheck.benchmark.trial import Setting, TrialOutcome, run
from photocheck.numerics import IN_95
from photocheck.words import SPAN_TITLES, SPANS

Array = NDArray[np.float64]

BESIDE = "near_flank near_feet middle far_feet"
SETTINGS = (
    Setting("Mixed: any reference, any place, marks 3 to 8 mm"),
    Setting("Marker sheet beside the dog, marks 3 mm", "marker_sheet", BESIDE, 1, (3.0, 3.0)),
    Setting("ID-1 card beside the dog, marks 3 mm", "id_card", BESIDE, 1, (3.0, 3.0)),
    Setting("The same card with corners 1 px off", "id_card", BESIDE, 1, (3.0, 3.0), corner_px=1.0),
    Setting(
        "Marker sheet beside the dog, marks 6 mm, three photos",
        "marker_sheet",
        BESIDE,
        3,
        (6.0, 6.0),
    ),
    Setting("Mixed, three photos", photos=3),
    Setting("Careless: as mixed, camera at any height, no wall measured", careless=True),
)


def report(dogs: int, seed: int, jobs: int) -> str:
    """Run everything and lay it out as Markdown."""
    results = over_phantoms(partial(_all_settings, seed), dogs, jobs)
    spread = shape_spread([row for row, _ in results])
    shapes = ", ".join(
        f"{SPAN_TITLES[s]} {100 * v:.1f} %" for s, v in zip(SPANS, spread, strict=False)
    )
    parts = [
        f"{dogs} phantoms, seed {seed}. Between-dog spread of the tape over the straight length "
        f"that no photo shows (1 sd): {shapes}."
    ]
    for k, setting in enumerate(SETTINGS):
        parts.append(table(setting.name, [outcomes[k] for _, outcomes in results], spread))
    return "\n\n".join(parts)


def _all_settings(seed: int, number: int) -> tuple[tuple[Array, Array], list[TrialOutcome]]:
    """One phantom's shape and its outcome in every setting."""
    body = subject(seed, number)
    outcomes = [
        run(body, setting, np.random.default_rng([seed, number, k]))
        for k, setting in enumerate(SETTINGS)
    ]
    return shape_row(body), outcomes


def table(name: str, outcomes: list[TrialOutcome], shapes: Array) -> str:
    """One setting as a Markdown table."""
    error = np.array([o.error for o in outcomes])
    spread = np.array([o.spread for o in outcomes])
    bound = np.array([o.bound.spread(shapes) for o in outcomes])
    naive = np.array([o.naive for o in outcomes])
    inside = np.abs(error) <= IN_95 * spread
    rmse = np.sqrt(np.mean(error**2, axis=0))
    least = np.sqrt(np.mean(bound**2, axis=0))
    ruler = naive.std(axis=0)  # its best constant factor allowed
    passed = np.array([o.off_passed for o in outcomes]).mean(axis=(0, 2))
    off = np.array([o.off_flagged for o in outcomes]).mean(axis=(0, 2))
    lines = [
        f"**{name}** ({len(outcomes)} dogs)",
        "",
        "| span | bias % | RMSE % | stated sd % | 95 % covers % | bound % | RMSE / bound "
        "| ruler % | ruler / RMSE | 25 % off: flagged % | passed % |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for i, span in enumerate(SPANS):
        lines.append(
            f"| {SPAN_TITLES[span]} | {100 * error[:, i].mean():+.1f} | {100 * rmse[i]:.1f} "
            f"| {100 * np.sqrt(np.mean(spread[:, i] ** 2)):.1f} "
            f"| {100 * inside[:, i].mean():.0f} | {100 * least[i]:.1f} | {rmse[i] / least[i]:.2f} "
            f"| {100 * ruler[i]:.1f} | {ruler[i] / rmse[i]:.1f} | {100 * off[i]:.0f} "
            f"| {100 * passed[i]:.0f} |"
        )
    flagged = np.mean([o.good_flagged for o in outcomes])
    told = np.mean([o.good_told for o in outcomes])
    ring_flagged = np.mean([o.ring_flagged for o in outcomes])
    ring_told = np.mean([o.ring_told for o in outcomes])
    lines += [
        "",
        f"Good orders flagged: {100 * flagged:.1f} %; told that they agree: {100 * told:.0f} %. "
        f"With the neck ring as well: {100 * ring_flagged:.1f} % and {100 * ring_told:.0f} %.",
    ]
    return "\n".join(lines)
