"""From which bend on a marker sheet is told not to lie flat, and how often a flat one is."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import Final

import numpy as np

from photocheck.phantom.bent_sheet import Bend, bent_sheet
from photocheck.scale.markers import find_sheet

DEPTHS_MM: Final = {"curl": (2.0, 4.0, 8.0, 12.0, 20.0), "fold": (2.0, 5.0, 10.0, 20.0)}
"""How far the edge stands off."""

CARE_MM: Final = 1.0
"""Sheets that were glued on with care are curled by up to so much (judgement)."""

FIRST_SEED: Final = 10_000
"""The limits of `photocheck.scale.bent` were chosen on seeds below it."""


@dataclass(frozen=True)
class _Photographed:
    seed: int
    bend: Bend


def report(sheets: int, seed: int, jobs: int) -> str:
    """Count over simulated photos and lay it out as Markdown.

    Parameters
    ----------
    sheets : int
        Of each kind and depth; of flat ones five times as many.
    """
    asked = list(_asked(sheets, FIRST_SEED + seed))
    with ProcessPoolExecutor(jobs) as executor:
        told = list(executor.map(_told, asked, chunksize=8))
    rows: dict[tuple[str, float], list[tuple[bool, bool]]] = {}
    for one, said in zip(asked, told, strict=True):
        depth = 0.0 if one.bend.kind == "flat" else abs(one.bend.depth_mm)
        care = one.bend.kind == "curl" and depth <= CARE_MM
        kind = "glued with care, curled by up to 1 mm" if care else one.bend.kind
        rows.setdefault((kind, 0.0 if care else depth), []).append(said)
    lines = [
        "| sheet | its edge stands off, mm | photos | sheet found | told not to lie flat |",
        "| --- | --- | --- | --- | --- |",
    ]
    for (kind, depth), counted in rows.items():
        found = sum(seen for seen, _ in counted)
        bent = sum(noticed for _, noticed in counted)
        share = f"{bent} ({100 * bent / len(counted):.1f} %)"
        lines.append(f"| {kind} | {depth:g} | {len(counted)} | {found} | {share} |")
    return "\n".join(lines)


def _asked(sheets: int, seed: int) -> list[_Photographed]:
    rng = np.random.default_rng(seed)
    asked = [_Photographed(seed + k, Bend()) for k in range(5 * sheets)]
    begin = seed + 5 * sheets
    for k in range(2 * sheets):
        depth = float(rng.uniform(-CARE_MM, CARE_MM))
        asked.append(_Photographed(begin + k, Bend("curl", depth, float(rng.uniform(0, np.pi)))))
    begin += 2 * sheets
    for kind, depths in DEPTHS_MM.items():
        for depth in depths:
            for k in range(sheets):
                # rolled or folded along a side more often than aslant
                turn = float(rng.choice([0.0, np.pi / 2, rng.uniform(0.0, np.pi)]))
                at = float(rng.uniform(-15.0, 15.0)) if kind == "fold" else 0.0
                bend = Bend(kind, float(depth * rng.choice([-1.0, 1.0])), turn, at)
                asked.append(_Photographed(begin + k, bend))
            begin += sheets
    return asked


def _told(asked: _Photographed) -> tuple[bool, bool]:
    """Whether the sheet was found, and whether it was said not to lie flat."""
    seen = find_sheet(bent_sheet(asked.seed, bend=asked.bend), bar_mm=150.0)
    return seen is not None, seen is not None and any("lie flat" in one for one in seen.remarks)
