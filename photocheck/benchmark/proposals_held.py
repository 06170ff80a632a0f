"""Marks proposed, against marks by eye or against the truth of simulated photographs.

A folder holds pictures and a `truth.json` (its schema: `photocheck schema photographs`); of a
photo's dogs the first with its four marks counts.  None are shipped.  Marks by eye are good to
2 or 3 % of the trunk, and where a last rib lies beneath a coat is partly a matter of opinion,
so that errors are a little too large there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice, pairwise
from math import hypot
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.benchmark.photographs import read_truths
from photocheck.case.model import Point
from photocheck.photo.load import load_photo
from photocheck.propose.network import Sees, shared
from photocheck.propose.proposal import SIDE_ON
from photocheck.propose.proposing import as_an_eye_places, proposal_of, seen_in
from photocheck.words import LANDMARKS

NEAR: Final = 5.0
"""Per cent of the trunk within which a confidence says that a mark lies."""
BINS: Final = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)


@dataclass(frozen=True)
class Photographed:
    """A photo with its truth.

    Attributes
    ----------
    name : str
    rgb : (H, W, 3) uint8
    side_on : bool
        Whether marks should be proposed.
    marks : mapping of landmark to Point
        The four, px; empty where there are none.
    facing : str
        "left" or "right"; "" where there are no marks.
    """

    name: str
    rgb: NDArray[np.uint8]
    side_on: bool
    marks: Mapping[str, Point]

    @property
    def facing(self) -> str:
        """Which way the dog looks, by its marks."""
        if not self.marks:
            return ""
        return "left" if self.marks["breastbone"][0] < self.marks["tail_base"][0] else "right"

    @property
    def trunk(self) -> float:
        """Breastbone to tail base, px."""
        (x0, y0), (x1, y1) = self.marks["breastbone"], self.marks["tail_base"]
        return hypot(x1 - x0, y1 - y0)


@dataclass(frozen=True)
class HeldProposal:
    """What was proposed for one photo, against its truth.

    ``errors`` per cent of the trunk and ``confidences``, of the four marks where they are
    known, whether shown or not; ``shown`` which of them would be; ``proposed`` whether any was.
    """

    name: str
    side_on: bool
    proposed: bool
    refused: bool
    facing_right: bool | None
    errors: Mapping[str, float]
    confidences: Mapping[str, float]
    shown: frozenset[str]


def of_folder(folder: Path) -> Iterator[Photographed]:
    """The photos of a folder with a truth file.

    Raises
    ------
    PhotocheckError
        When there is no truth file, or a picture cannot be read.
    """
    for entry in read_truths(folder)["photos"]:
        marks = _four(entry.get("dogs", ()))
        side_on = bool(entry.get("side_on", bool(marks)))
        yield Photographed(entry["file"], load_photo(folder / entry["file"]).rgb, side_on, marks)


def _four(dogs: Sequence[Mapping[str, Any]]) -> dict[str, Point]:
    for dog in dogs:
        marks = dog.get("marks", {})
        if set(LANDMARKS) <= set(marks):
            return {name: (float(marks[name][0]), float(marks[name][1])) for name in LANDMARKS}
    return {}


def simulated(seed: int, material: Path | None) -> Iterator[Photographed]:
    """Simulated photographs that no training used, without end; small ones, 256 px wide."""
    from photocheck.phantom.teaching.drawn_look import HELD_OUT_FROM, looks_of_block
    from photocheck.phantom.teaching.sceneries import read_scenery
    from photocheck.phantom.teaching.teaching_bodies import POINTS, read_bodies

    scenery = read_scenery(material)
    dogs, others = (
        read_bodies(material / name) if material and (material / name).exists() else []
        for name in ("dogs.npz", "others.npz")
    )
    number = HELD_OUT_FROM + 100_000  # others than those that confidence was calibrated on
    while True:
        for k, look in enumerate(looks_of_block(seed, number, scenery, dogs, others)):
            at = {name: look.points[POINTS.index(name)] for name in LANDMARKS}
            whole = look.kind == SIDE_ON and all(np.isfinite(xy).all() for xy in at.values())
            marks = {name: (float(x), float(y)) for name, (x, y) in at.items()} if whole else {}
            yield Photographed(f"{number}/{k} {look.kind}", look.picture, whole, marks)
        number += 1


def held(
    photos: Iterable[Photographed], network: Sees, *, by_eye: bool = True
) -> Iterator[HeldProposal]:
    """Each photo's proposal against its truth.

    Parameters
    ----------
    photos : iterable of Photographed
    network : Sees
    by_eye : bool
        Whether people marked them; a simulated dog's points are where the teaching has them.
    """
    facts = network.facts if by_eye else replace(network.facts, eye={})
    for photo in photos:
        seen = seen_in(photo.rgb, network)
        proposal = proposal_of(seen, facts)
        at = as_an_eye_places(seen, facts)
        errors, confidences = {}, {}
        for name, (x, y) in photo.marks.items():
            if name in at:
                errors[name] = 100.0 * hypot(at[name][0] - x, at[name][1] - y) / photo.trunk
                confidences[name] = facts.chance[name](seen.places[name].mass)
        shown = frozenset(name for name in LANDMARKS if name in proposal.marks)
        right = (seen.facing_right >= 0.5) == (photo.facing == "right") if photo.marks else None
        yield HeldProposal(
            photo.name,
            photo.side_on,
            bool(shown),
            proposal.refused,
            right,
            errors,
            confidences,
            shown,
        )


def report(folder: Path, network: Sees | None = None) -> str:
    """The tables for a folder of photographs, as Markdown."""
    return tables(list(held(of_folder(folder), network or shared())), "photographs")


def report_simulated(
    looks: int, seed: int, material: Path | None, network: Sees | None = None
) -> str:
    """The tables for simulated photographs, as Markdown."""
    photos = islice(simulated(seed, material), looks)
    return tables(
        list(held(photos, network or shared(), by_eye=False)), f"simulated photographs, seed {seed}"
    )


def tables(photos: Sequence[HeldProposal], what: str) -> str:
    """Errors per mark, what is shown of them, calibration and refusals, as Markdown."""
    side = [one for one in photos if one.side_on]
    lines = [f"{len(photos)} {what}; {len(side)} with a dog from the side.", ""]
    lines += [
        "| % of the trunk | marks | median | 80th percentile | within 10 | beyond 20 |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    rows = [(name.replace("_", " "), [o.errors[name] for o in side if name in o.errors])
            for name in LANDMARKS]  # fmt: skip
    rows.append(("all four", [error for _, errors in rows for error in errors]))
    rows.append(
        ("of those shown", [o.errors[n] for o in side for n in sorted(o.shown) if n in o.errors])
    )
    lines += [_errors(name, errors) for name, errors in rows]
    lines += ["", "| confidence | marks | said | within 5 % |", "| --- | --- | --- | --- |"]
    pairs = [(o.confidences[name], o.errors[name] <= NEAR) for o in side for name in o.errors]
    lines += _bins(np.array(pairs, float).reshape(-1, 2))
    none = [one for one in photos if not one.side_on]
    lines += ["", "| | share | of |", "| --- | --- | --- |"]
    for name, cases in (
        ("dogs from the side: something proposed", [o.proposed for o in side]),
        ("dogs from the side: all four proposed", [len(o.shown) == 4 for o in side]),
        ("dogs from the side: photo refused", [o.refused for o in side]),
        ("facing right", [o.facing_right for o in side if o.facing_right is not None]),
        ("no dog from the side: nothing proposed", [not o.proposed for o in none]),
        ("no dog from the side: photo refused", [o.refused for o in none]),
    ):
        share = f"{100 * np.mean(cases):.1f} %" if cases else "-"
        lines.append(f"| {name} | {share} | {len(cases)} |")
    return "\n".join(lines)


def _errors(name: str, errors: Sequence[float]) -> str:
    if not errors:
        return f"| {name} | 0 | - | - | - | - |"
    e = np.array(errors)
    return (
        f"| {name} | {len(e)} | {np.median(e):.1f} | {np.percentile(e, 80):.1f} "
        f"| {100 * np.mean(e <= 10):.1f} % | {100 * np.mean(e > 20):.1f} % |"
    )


def _bins(pairs: NDArray[np.float64]) -> list[str]:
    lines = []
    for low, high in pairwise(BINS):
        last = high == BINS[-1]
        some = pairs[(pairs[:, 0] >= low) & ((pairs[:, 0] < high) | last)]
        told = "- | -"
        if len(some):
            told = f"{100 * some[:, 0].mean():.0f} % | {100 * some[:, 1].mean():.0f} %"
        lines.append(f"| {low:.1f} to {high:.1f} | {len(some)} | {told} |")
    return lines
